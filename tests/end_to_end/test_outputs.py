"""Where answers go that nobody can take: one line and a code, and no file is lost for it."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
_PROGRAM = "import sys; from wattsump_analysis.commands.program import main; sys.exit(main())"
_FULL = Path("/dev/full")
needs_full = pytest.mark.skipif(not _FULL.exists(), reason="needs a device that is always full")


def run(*words: str | Path, **options: Any) -> subprocess.CompletedProcess[str]:
    """Run the program in a process of its own."""
    command = [sys.executable, "-c", _PROGRAM, *map(str, words)]
    options = {"stdout": subprocess.PIPE, **options}
    return subprocess.run(
        command, check=False, stderr=subprocess.PIPE, text=True, timeout=100, **options
    )


@needs_full
@pytest.mark.parametrize("words", [("--version",), ("prove", "{session}", "--json"), ("ports",)])
def test_output_to_a_full_disk_is_one_line_and_a_code(
    session: Path, words: tuple[str, ...]
) -> None:
    with _FULL.open("w") as full:
        done = run(*(word.replace("{session}", str(session)) for word in words), stdout=full)
    if words != ("ports",):  # it may have nothing to say
        assert done.stderr.splitlines()[-1].startswith("wattsump: output: No space left on device")
        assert done.returncode == 3
    assert "Traceback" not in done.stderr
    assert "Exception" not in done.stderr


def test_a_pipe_whose_reader_is_gone_ends_without_a_word(session: Path) -> None:
    out, into = os.pipe()
    os.close(out)
    done = run("prove", session, stdout=into)
    os.close(into)
    assert done.returncode == 1
    assert done.stderr == ""


def test_with_output_closed_files_are_written_all_the_same(session: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    done = run("prove", session, "--report", page, preexec_fn=lambda: os.close(1))
    assert done.returncode == 0, done.stderr
    assert page.read_text().rstrip().endswith("</html>")


@needs_full
def test_a_report_that_cannot_be_written_hides_no_answer_and_no_plot(
    session: Path, tmp_path: Path
) -> None:
    plot = tmp_path / "a.svg"
    done = run("prove", session, "--report", _FULL, "--plot", plot)
    assert "ITS LABEL" in done.stdout
    assert done.stderr.startswith("wattsump: /dev/full: expected a place to write to, found No sp")
    assert done.returncode == 2
    assert plot.exists()


@pytest.mark.parametrize("option", ["--report", "--plot"])
def test_a_session_is_never_replaced_by_what_was_made_of_it(
    session: Path, tmp_path: Path, option: str
) -> None:
    copy = tmp_path / "copy.svg"
    copy.write_bytes(session.read_bytes())
    done = run("prove", copy, option, copy, "--machine", session.with_name("bracken.toml"))
    assert done.returncode == 2
    assert "ITS LABEL" in done.stdout
    assert copy.read_bytes() == session.read_bytes()


def test_letters_a_terminal_does_not_have_end_nothing(session: Path) -> None:
    plain = {**os.environ, "PYTHONIOENCODING": "ascii", "LC_ALL": "C", "PYTHONUTF8": "0"}
    done = run("prove", session, env=plain)
    assert done.returncode == 0, done.stderr
