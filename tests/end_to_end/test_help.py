"""What the program says of itself: help, completion, version, and what goes where."""

import contextlib
import os
import re
import shutil
import signal
import subprocess
import sys
from importlib import metadata
from pathlib import Path

import pytest

from wattsump_analysis.commands import program, prove, version
from wattsump_logger import errors
from wattsump_logger.commands.log import NOT_ON_DISK

ROOT = Path(__file__).parents[2]
PROGRAM = [
    sys.executable,
    "-c",
    "import sys; from wattsump_analysis.commands.program import main; sys.exit(main())",
]
WIDTH = 80
TREE = program.command_tree()


def run(*words: str | Path, **environment: str) -> "subprocess.CompletedProcess[str]":
    paths = os.pathsep.join(str(ROOT / name) for name in ("logger", "analysis"))
    return subprocess.run(
        [*PROGRAM, *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
        timeout=100,
        env={**os.environ, "PYTHONPATH": paths, "COLUMNS": str(WIDTH), **environment},
    )


def paths_of_commands() -> list[tuple[str, ...]]:
    found: list[tuple[str, ...]] = []
    for name, command in TREE.commands.items():
        found.append((name,))
        found += [(name, below) for below in getattr(command, "commands", {})]
    return found


@pytest.mark.parametrize("path", paths_of_commands(), ids=" ".join)
def test_each_commands_first_sentence_is_short_and_stands_whole_in_the_list(
    path: tuple[str, ...],
) -> None:
    above = TREE
    for name in path[:-1]:
        above = above.commands[name]
    sentence = re.split(r"\.(?:\s|$)", " ".join((above.commands[path[-1]].help or "").split()))[0]
    assert 10 < len(sentence) < WIDTH
    listed = run(*path[:-1], "--help").stdout
    assert "..." not in listed.replace("[ARGS]...", "")
    assert sentence in " ".join(listed.split())
    assert [line for line in listed.splitlines() if len(line) > WIDTH] == []


@pytest.mark.parametrize("path", paths_of_commands(), ids=" ".join)
def test_each_command_offers_quiet_and_explains_each_option(path: tuple[str, ...]) -> None:
    command = TREE
    for name in path:
        command = command.commands[name]
    named = {option for parameter in command.params for option in parameter.opts}
    assert "--quiet" in named
    assert [parameter.name for parameter in command.params if not parameter.help] == []


def test_completion_is_offered_and_completes() -> None:
    script = run("--show-completion", "bash").stdout
    assert "complete -o default -F _wattsump_completion wattsump" in script
    words = {"_WATTSUMP_COMPLETE": "complete_bash", "COMP_WORDS": "wattsump pr", "COMP_CWORD": "1"}
    assert run(**words).stdout.split() == ["prove", "practice", "preheat"]
    options = words | {"COMP_WORDS": "wattsump prove --re", "COMP_CWORD": "2"}
    assert run(**options).stdout.split() == ["--report"]
    assert "--install-completion" in run("--help").stdout


def test_version_tells_release_python_system_and_libraries() -> None:
    said = run("--version").stdout.splitlines()
    assert said[0].startswith(f"wattsump {metadata.version('wattsump')}")
    assert f"Python {sys.version.split()[0]}" in said[1]
    for name in ("numpy", "scipy", "pandas", "pyserial"):
        assert f"{name} {metadata.version(name)}" in said[2]
    assert set(version.libraries()) >= {"numpy", "typer", "jinja2"}
    assert "dask" not in version.libraries()  # an extra is not what a number came from


@pytest.mark.skipif(not shutil.which("git"), reason="git")
def test_the_commit_is_the_checkouts_own_and_says_when_files_were_changed(tmp_path: Path) -> None:
    def git(*words: str) -> str:
        who = ["-c", "user.name=a", "-c", "user.email=a@b", "-c", "commit.gpgsign=false"]
        said = subprocess.run(
            ["git", "-C", str(tmp_path), *who, *words], check=True, capture_output=True, text=True
        )
        return said.stdout.strip()

    git("init", "-q")
    (tmp_path / "file").write_text("one", encoding="utf-8")
    git("add", "file")
    git("commit", "-q", "-m", "first")
    assert version.commit(tmp_path) == git("rev-parse", "--short=12", "HEAD")
    (tmp_path / "file").write_text("two", encoding="utf-8")
    assert version.commit(tmp_path) == git("rev-parse", "--short=12", "HEAD") + "+"


def test_a_commit_that_nothing_tells_is_left_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Installed:
        text: str | None = None

        def read_text(self, name: str) -> str | None:
            assert name == "direct_url.json"
            return self.text

    monkeypatch.setattr(metadata, "distribution", lambda name: Installed())
    assert version.commit(tmp_path) is None
    Installed.text = (
        '{"url": "https://example.org/a", "vcs_info": {"commit_id": "0123456789abcdef"}}'
    )
    assert version.commit(tmp_path) == "0123456789ab"
    (tmp_path / ".git").mkdir()  # no repository git would know
    assert version.commit(tmp_path) is None


def test_quiet_leaves_out_talk_and_keeps_answers_and_errors() -> None:
    boiling = ("sensors", "boil", "none.csv", "--altitude", "350 m")
    said = run(*boiling)
    assert said.stderr.startswith("caution: ")
    assert "caution" not in said.stdout
    for words in (("--quiet", *boiling), (*boiling, "--quiet")):
        hushed = run(*words)
        assert hushed.stdout == said.stdout != ""
        assert hushed.stderr == said.stderr.splitlines(keepends=True)[-1]
        assert "none.csv: expected" in hushed.stderr
    assert "Missing argument" in run("--quiet", "log").stderr


# The answer of `prove` without its fit, which the demonstration's test waits for.
SHOWS = """
import sys
from analysis import proof_fixture
from wattsump_analysis.commands import program, prove
proved = prove.Proved(proof=proof_fixture.falls_short())
prove.prove_file = lambda *given: proved
sys.exit(program.main(["prove", "a.csv"]))
"""


def shown(out: int, **environment: str) -> None:
    paths = os.pathsep.join(str(ROOT / name) for name in ("logger", "analysis", "tests"))
    kept = {name: value for name, value in os.environ.items() if name not in DECIDES_ON_COLOUR}
    subprocess.run(
        [sys.executable, "-c", SHOWS],
        stdout=out,
        check=True,
        timeout=60,
        env={**kept, "PYTHONPATH": paths, "TERM": "xterm-256color", **environment},
    )


def shown_on_a_terminal(**environment: str) -> str:
    ours, theirs = os.openpty()
    shown(theirs, **environment)
    os.close(theirs)
    pieces = []
    with contextlib.suppress(OSError):  # how a terminal tells its end
        while piece := os.read(ours, 65536):
            pieces.append(piece)
    os.close(ours)
    return b"".join(pieces).decode()


DECIDES_ON_COLOUR = ("NO_COLOR", "FORCE_COLOR", "CLICOLOR_FORCE", "TTY_COMPATIBLE")
COLOUR = re.compile(r"\x1b\[(?:\d+;)*(?:3[0-8]|4[0-8]|9\d|10[0-7])(?:;\d+)*m")


@pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals")
def test_colour_is_for_terminals_and_not_where_no_color_is_set(tmp_path: Path) -> None:
    assert COLOUR.search(shown_on_a_terminal())
    assert not COLOUR.search(shown_on_a_terminal(NO_COLOR="1"))
    file = tmp_path / "answer.txt"
    with file.open("wb") as out:
        shown(out.fileno())
    assert "FALLS SHORT" in file.read_text(encoding="utf-8")
    assert "\x1b" not in file.read_text(encoding="utf-8")


@pytest.mark.skipif(os.name != "posix", reason="signals and pipes")
@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--version",), 0),
        (("prove",), 2),
        (("rating",), 2),
        (("prove", "none.csv"), 3),
        (("prove", "short.csv", "--machine", "none.toml"), 3),
        (("oil", "--grade", "VG 46", "--cold", "5 litres"), 3),
        (("log", "no-such-port"), 4),
        (("prove", "short.csv"), 5),
    ],
)
def test_a_run_ends_with_the_code_the_page_gives_it(
    words: tuple[str, ...], code: int, tmp_path: Path
) -> None:
    rows = ["time_utc,elapsed_s,seq,tank_c,ambient_c,fault,mark"]
    rows += [f",{i}.000,{i},20.000,20.000,," for i in range(120)]  # nothing was warm
    (tmp_path / "short.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    said = run(*[str(tmp_path / word) if word == "short.csv" else word for word in words])
    assert said.returncode == code, said.stderr
    if code in (2, 3, 4):
        assert said.stdout == ""
        assert said.stderr


def test_each_class_of_error_has_a_code_of_the_page() -> None:
    page = (ROOT / "docs" / "exit-codes.md").read_text(encoding="utf-8")
    listed = {int(code) for code in re.findall(r"^\| (\d+) \|", page, re.MULTILINE)}
    kinds = [getattr(errors, name) for name in errors.__all__ if name.endswith("Error")]
    used = {kind.exit_code for kind in kinds} | {0, 1, 130, prove.CANNOT_TELL, NOT_ON_DISK}
    assert listed == used


def test_a_bug_of_ours_ends_with_1_and_a_traceback() -> None:
    code = (
        "import sys\nfrom wattsump_analysis.commands import program, prove\n"
        "prove.prove_file = lambda *a: 1 // 0\nsys.exit(program.main(['prove', 'a.csv']))"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert said.returncode == 1
    assert "ZeroDivisionError" in said.stderr


def test_ctrl_c_ends_with_130() -> None:
    code = (
        "import sys\nfrom wattsump_analysis.commands import program, prove\n"
        "def press(*a): raise KeyboardInterrupt\n"
        "prove.prove_file = press\nsys.exit(program.main(['prove', 'a.csv']))"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert said.returncode == 130
    assert "Traceback" not in said.stderr


@pytest.mark.skipif(os.name != "posix", reason="pipes")
def test_a_reader_that_went_away_ends_it_without_a_traceback() -> None:
    ours, theirs = os.pipe()
    os.close(ours)
    with os.fdopen(theirs, "w") as out:
        said = subprocess.run(
            [*PROGRAM, "oil", "--grade", "VG 46", "--json"],
            stdout=out,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert said.returncode == 1
    assert "Traceback" not in said.stderr


def test_a_port_that_is_not_there_is_told_before_anything_else() -> None:
    said = run("log", "no-such-port")
    assert said.stderr.count("\n") == 1
    assert "recording" not in said.stderr
    assert said.stderr.startswith("wattsump: no-such-port: ")


def test_each_command_is_listed_under_a_heading_of_its_use() -> None:
    grouped = [name for names in program.GROUPS.values() for name in names]
    assert sorted(grouped) == sorted(TREE.commands)
    said = run("--help").stdout
    for heading in program.GROUPS:
        assert f"\n{heading}:\n" in said


@pytest.mark.skipif(os.name != "posix", reason="signals")
@pytest.mark.parametrize("wait_s", [0.1, 0.2, 0.3, 0.4, 0.5])
def test_ctrl_c_while_the_program_loads_ends_it_silently(wait_s: float) -> None:
    # The program is let run for a while by a timer of its own, so that no test sleeps.
    code = (
        "import signal, runpy, sys, os, threading\n"
        f"pressed = threading.Timer({wait_s}, os.kill, (os.getpid(), signal.SIGINT))\n"
        "pressed.daemon = True\n"
        "pressed.start()\n"
        "sys.argv = ['wattsump', 'ports', '--listen', '30']\n"
        "runpy.run_module('wattsump_analysis', run_name='__main__')\n"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert said.returncode in (130, -signal.SIGINT, 0)
    assert "Traceback" not in said.stderr


def test_without_a_name_the_last_outing_of_the_folder_is_proved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, day in (("a", 4), ("b", 3)):
        rows = ["time_utc,elapsed_s,seq,tank_c,ambient_c,fault,mark"]
        rows += [f"2026-05-0{day}T07:00:{i:02d}.000Z,{i}.000,{i},20.0,20.0,," for i in range(60)]
        (tmp_path / f"{name}.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    for words in ((), (str(tmp_path),)):
        with pytest.raises(SystemExit) as ended:
            program.main(["prove", *words])
        assert ended.value.code == prove.CANNOT_TELL
        said = capsys.readouterr()
        assert re.search(r"proving .*a\.csv, the last outing of this folder\n", said.err)
        assert said.out.startswith("a.csv\n")
    (tmp_path / "none").mkdir()
    assert program.main(["prove", "none"]) == 2
