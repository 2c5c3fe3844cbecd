"""Ctrl-C while the workers of a season load or work, on a terminal, with processes of its own."""

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from wattsump_analysis.season.folder import AHEAD

JOBS = 24
WORKERS = min(os.cpu_count() or 1, JOBS)
QUICK = 4
GATE = """
import os, sys
def wait(where):
    if os.environ["WAITS"] == where:
        with open(os.environ["BEGAN"], "wb", 0) as began, open(os.environ["GATE"], "rb", 0) as gate:
            began.write(b"x")
            gate.read(1)
"""
LOADED = "import sys, gate\nif '--multiprocessing-fork' in sys.orig_argv: gate.wait('loading')\n"
WORK = f"""
import gate
from wattsump_analysis.season import folder
from wattsump_analysis.season.store import Entry
from wattsump_logger.remark import Remark
whole = folder.in_processes
def work(job):
    if int(job.path.stem[-2:]) >= {QUICK}:
        gate.wait('working')
    entry = Entry(outing=None, why=Remark(code='none', text='none'))
    return folder.Summary(job=job, entry=entry, lasting=True)
def by_these(function, jobs):
    return whole(work, jobs)
"""
PROGRAM = """
import sys, work
from wattsump_analysis.season import folder
from wattsump_analysis.commands import program
folder.in_processes = work.by_these
sys.exit(program.main(['trend', sys.argv[1]]))
"""


@pytest.mark.skipif(os.name != "posix" or WORKERS < 2, reason="terminals, and workers")
@pytest.mark.parametrize("waits", ["loading", "working"])
def test_ctrl_c_reaches_all_processes_and_one_line_is_said(tmp_path: Path, waits: str) -> None:
    for name, text in (("gate", GATE), ("sitecustomize", LOADED), ("work", WORK)):
        (tmp_path / f"{name}.py").write_text(text, encoding="utf-8")
    season = tmp_path / "season"
    season.mkdir()
    for number in range(JOBS):
        (season / f"day-{number:02d}.csv").write_text(f"outing {number}", encoding="utf-8")
    pipes = {}
    for name in ("BEGAN", "GATE"):
        os.mkfifo(tmp_path / name)
        pipes[name] = os.open(tmp_path / name, os.O_RDWR)  # so that neither end waits for us
    ours, theirs = os.openpty()
    running = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, str(season)],
        stdout=subprocess.DEVNULL,
        stderr=theirs,
        start_new_session=True,
        env={
            **os.environ,
            "PYTHONPATH": os.pathsep.join([str(tmp_path), *filter(None, sys.path)]),
            "BEGAN": str(tmp_path / "BEGAN"),
            "GATE": str(tmp_path / "GATE"),
            "WAITS": waits,
            "TERM": "xterm",
            "COLUMNS": "100",
        },
    )
    os.close(theirs)
    screen = ""
    try:
        for _ in range(WORKERS):
            os.read(pipes["BEGAN"], 1)
        while waits == "working" and not re.search(rf"{QUICK}/{JOBS}\D*\d:\d\d:\d\d", screen):
            screen = plain(screen + os.read(ours, 4096).decode(errors="replace"))
        os.killpg(running.pid, signal.SIGINT)
        os.write(pipes["GATE"], b"x" * JOBS)
        screen += plain(to_end(ours))
        assert running.wait() == 130
    finally:
        running.kill()
        for end in (*pipes.values(), ours):
            os.close(end)
    last = re.search(r"stopped after (\d+) of (\d+) outings; they are kept", screen)
    assert last is not None, screen
    assert int(last[2]) == JOBS
    assert int(last[1]) <= QUICK + AHEAD * WORKERS
    assert not re.search("Traceback|KeyboardInterrupt|Error", screen), screen


def plain(text: str) -> str:
    """What a terminal shows of it, without its control sequences."""
    return re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", text)


def to_end(terminal: int) -> str:
    """All that is still written to a terminal until its last writer has ended."""
    written = b""
    try:
        while part := os.read(terminal, 4096):
            written += part
    except OSError:  # how a terminal says that nobody writes any more
        pass
    return written.decode(errors="replace")
