"""Whoever watches a capture, or no longer does, the recording goes on and ends when asked."""

import fcntl
import os
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from end_to_end.rig import Cable, controller
from end_to_end.test_capture_faults import log_command, start_log, wait_for_rows
from wattsump_logger.session.reader import load_session

_ROWS = 30
_CTRL_S, _CTRL_Z = b"\x13", b"\x1a"


def fill(handle: int) -> None:
    """Write to a terminal or a pipe until it takes no more."""
    os.set_blocking(handle, False)
    try:
        while os.write(handle, b"x"):
            pass
    except BlockingIOError:
        os.set_blocking(handle, True)


def records(options: dict[str, Any], folder: Path) -> int:
    """Record with this stdout and stderr; return the exit code of a request to end."""
    with Cable() as cable:
        program = start_log(cable.name, folder, **options)
        for count, frames in enumerate(controller().until(_ROWS), start=1):
            cable.send(frames)
            wait_for_rows(folder / "a.csv", count)  # row by row, so that the screen has its turns
        program.send_signal(signal.SIGTERM)
        code = program.wait(timeout=10)  # so long at most, whoever stands still
    session = load_session(folder / "a.csv")
    assert len(session.elapsed_s) == _ROWS
    assert session.notes == ()
    return code


@pytest.fixture
def terminal() -> Iterator[tuple[int, int]]:
    """Give both ends of a terminal nobody reads."""
    ours, theirs = os.openpty()
    yield ours, theirs
    os.close(ours)
    os.close(theirs)


def test_a_screen_that_takes_nothing_stops_neither_the_recording_nor_its_end(
    tmp_path: Path, terminal: tuple[int, int]
) -> None:
    _, theirs = terminal
    fill(theirs)
    assert records({"stdin": theirs, "stdout": theirs, "stderr": theirs}, tmp_path) == 0


def test_a_terminal_stopped_by_a_key_stops_neither_the_recording_nor_its_end(
    tmp_path: Path, terminal: tuple[int, int]
) -> None:
    ours, theirs = terminal
    os.write(ours, _CTRL_S)
    assert records({"stdout": theirs, "stderr": theirs}, tmp_path) == 0


def test_stopping_keys_pressed_while_it_records_do_nothing(tmp_path: Path) -> None:
    with Cable() as cable:
        pid, ours = os.forkpty()
        if not pid:
            words = log_command(cable.name, tmp_path)
            os.execv(words[0], words)
        sender = controller()
        cable.send(sender.step())
        wait_for_rows(tmp_path / "a.csv", 1)
        os.write(ours, _CTRL_Z + _CTRL_S)
        cable.play(sender.step() for _ in range(_ROWS - 1))
        wait_for_rows(tmp_path / "a.csv", _ROWS)
        os.kill(pid, signal.SIGTERM)
        assert os.waitpid(pid, 0)[1] == 0
        os.close(ours)


def test_a_pipe_nobody_empties_stops_neither_the_recording_nor_its_end(tmp_path: Path) -> None:
    out, into = os.pipe()
    fcntl.fcntl(into, fcntl.F_SETPIPE_SZ, 4096)
    fill(into)
    assert records({"stdout": into, "stderr": into}, tmp_path) == 0
    os.close(into)
    os.close(out)


def test_a_pipe_whose_reader_is_gone_ends_nothing(tmp_path: Path) -> None:
    out, into = os.pipe()
    os.close(out)
    assert records({"stdout": into, "stderr": into}, tmp_path) == 0
    os.close(into)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_output_to_a_full_disk_ends_nothing_and_is_told_once(tmp_path: Path) -> None:
    with Path("/dev/full").open("wb") as full, (tmp_path / "err").open("wb") as err:
        assert records({"stdout": full, "stderr": err}, tmp_path) == 0
    told = (tmp_path / "err").read_text()
    assert told.count("No space left on device") == 1


def test_without_any_output_it_records(tmp_path: Path) -> None:
    def close_both() -> None:
        os.close(1)
        os.close(2)

    nowhere = subprocess.DEVNULL
    options = {"stdout": nowhere, "stderr": nowhere, "preexec_fn": close_both}
    assert records(options, tmp_path) == 0
