"""Surroundings nobody imagines when writing a program: the answer comes all the same."""

import contextlib
import io
import os
import shutil
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from fuzzing.adversarial import words_of
from wattsump_analysis.commands.program import main

LINUX = pytest.mark.skipif(sys.platform != "linux", reason="set by a Linux shell")
SURROUNDINGS: Mapping[str, tuple[str, Mapping[str, str | None]]] = {
    "the working folder is gone": ("mkdir gone; cd gone; rmdir ../gone", {}),
    "no home and no place for drafts": ("", {"HOME": None, "TMPDIR": "/nowhere"}),
    "nothing but ASCII": ("", {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}),
    "a terminal of one alphabet": ("", {"PYTHONIOENCODING": "cp437"}),
    "a terminal one column wide": ("", {"COLUMNS": "1", "LINES": "1"}),
    "a terminal without end": ("", {"COLUMNS": "100000"}),
    "a width that is no number": ("", {"COLUMNS": "wide"}),
    "a time zone that is none": ("", {"TZ": "Nowhere/Strange"}),
    "no standard input": ("exec <&-", {}),
    "eight open files": ("ulimit -n 8", {}),
    "one process": ("ulimit -u 1", {}),
    "a small stack": ("ulimit -s 256", {}),
    "asserts taken out": ("", {"PYTHONOPTIMIZE": "2"}),
}


def run(folder: Path, before: str, extra: Mapping[str, str | None], *words: str) -> str:
    environment = {**os.environ, **{key: value for key, value in extra.items() if value}}
    for key, value in extra.items():
        if value is None:
            environment.pop(key, None)
    ran = subprocess.run(
        ["bash", "-c", f'{before or ":"}\nexec "$0" "$@"', sys.executable, *_PROGRAM, *words],
        cwd=folder,
        env=environment,
        capture_output=True,
        timeout=100,
        check=False,
    )
    assert ran.returncode == 5, ran.stderr  # it cannot tell: there is no air probe
    assert b"Traceback" not in ran.stderr
    return ran.stdout.decode(errors="replace")


ROOT = Path(__file__).parents[2]
_PROGRAM = ("-m", "wattsump_analysis")


@LINUX
@pytest.mark.parametrize("name", SURROUNDINGS)
def test_whatever_surrounds_it_the_answer_comes(name: str, tmp_path: Path) -> None:
    before, extra = SURROUNDINGS[name]
    words = words_of("a mark of a megabyte", tmp_path, 0)
    assert "annot tell" in run(tmp_path, before, extra, *words)


@LINUX
@pytest.mark.parametrize("name", [b"new\nline.csv", b"no text \xff\xfe.csv", b" .csv", b"~.csv"])
def test_a_name_only_a_file_system_could_like_is_answered_and_reported(
    name: bytes, tmp_path: Path
) -> None:
    sound = Path(words_of("a mark of a megabyte", tmp_path, 0)[1])
    odd = tmp_path / os.fsdecode(name)
    sound.rename(odd)
    report = tmp_path / "report.html"
    run(tmp_path, "", {}, "prove", str(odd), "--report", str(report))
    assert report.read_bytes().decode("utf-8")


def test_an_output_held_in_memory_takes_the_answer() -> None:
    held = io.StringIO()
    with contextlib.redirect_stdout(held), pytest.raises(SystemExit):
        main(["rating", "--label-heat", "6 kW"])
    assert "6.00 kW" in held.getvalue()


@LINUX
@pytest.mark.parametrize("place", ["an environment", "{}/an environment"])
def test_start_finds_its_environment_from_any_folder(place: str, tmp_path: Path) -> None:
    checkout = tmp_path / "the checkout"
    checkout.mkdir()
    shutil.copy(ROOT / "start", checkout)
    for name in ("pyproject.toml", "constraints.txt"):
        (checkout / name).write_text("")
    python = tmp_path / "an environment" / "bin" / "python"
    python.parent.mkdir(parents=True)
    python.write_text('#!/bin/sh\necho "$PWD" "$@"\n')
    python.chmod(0o755)
    seal = f"printf '%s\\n' '{checkout}' | cksum > '{python.parents[1]}/wattsump-tests'"
    subprocess.run(["sh", "-c", seal], check=True)
    ran = subprocess.run(
        ["sh", checkout / "start", "tests", "one test.py"],
        cwd=tmp_path,
        env={**os.environ, "WATTSUMP_VENV": place.format(tmp_path)},
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )
    assert ran.stdout.splitlines()[-1:] == [
        f"{checkout} -m pytest -n auto --dist loadfile one test.py"
    ], ran.stderr
