"""What befalls the files of a capture while it runs: noticed, said, and no row lost for it."""

import errno
import os
import shutil
import threading
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from end_to_end.rig import TANK, Cable, Capture, controller
from end_to_end.test_capture_faults import check_rows_are_true, codes
from wattsump_logger.bench.controller import EmulatedController, MemoryPort
from wattsump_logger.capture import loop
from wattsump_logger.capture.importing import import_files
from wattsump_logger.errors import SessionError
from wattsump_logger.session import appendfile, writer
from wattsump_logger.session.reader import load_session
from wattsump_logger.session.sidecar import sidecar_path

_POSIX = pytest.mark.skipif(os.name != "posix", reason="an open file cannot be deleted elsewhere")


HARMS: dict[str, Callable[[Path], object]] = {
    "csv deleted": lambda folder: (folder / "a.csv").unlink(),
    "wire deleted": lambda folder: (folder / "a.wire").unlink(),
    "folder deleted": shutil.rmtree,
    "folder renamed": lambda folder: folder.rename(folder.with_name("elsewhere")),
    "csv renamed": lambda folder: (folder / "a.csv").rename(folder / "b.csv"),
    "csv cut short": lambda folder: os.truncate(folder / "a.csv", 300),
    "csv emptied": lambda folder: os.truncate(folder / "a.csv", 0),
    "wire emptied": lambda folder: os.truncate(folder / "a.wire", 0),
}


@pytest.fixture
def kept_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Put everything on the disk as soon as the keeper looks."""
    monkeypatch.setattr(appendfile, "DUE_S", 0.0)


def every_row(folder: Path, count: int) -> None:
    """Check that the sessions of a folder hold so many rows between them, all of them true."""
    seqs = []
    for path in sorted(folder.glob("*.csv")):
        session = load_session(path)
        check_rows_are_true(session)
        seqs += session.columns["seq"].tolist()
    assert len(set(seqs)) == count


@_POSIX
@pytest.mark.usefixtures("kept_at_once")
@pytest.mark.parametrize("harm", HARMS.values(), ids=HARMS)
def test_files_taken_away_are_noticed_said_and_begun_anew(
    tmp_path: Path, harm: Callable[[Path], object]
) -> None:
    folder = tmp_path / "outings"
    with Cable() as cable, Capture(cable.source(), folder, name="a") as running:
        sender = controller()
        cable.play(sender.step() for _ in range(20))
        running.wait_rows(20)
        harm(folder)
        while "wire:file_lost" not in running.rows[-1].fault:
            seen = len(running.rows)
            cable.send(sender.step())
            running.wait_rows(seen + 1)
        seen = len(running.rows)
        cable.play(sender.step() for _ in range(10))
        running.wait_rows(seen + 10)
        captured = running.end()
    assert captured.trouble == ""
    harmed = {folder / "a.csv"} if len(captured.sessions) > 1 else set()
    sessions = [load_session(path) for path in captured.sessions if path not in harmed]
    assert any("file_lost" in codes(session) for session in sessions)
    newest = load_session(captured.sessions[-1])
    # A loss noticed behind the last reading has a row without a number.
    assert np.nanmax(newest.columns["seq"]) == running.rows[-1].seq
    assert newest.metadata["controller"] == "emulated-1"
    saved = {seq for session in sessions for seq in session.columns["seq"].tolist()}
    assert len(saved) >= len(running.rows) - (21 if harmed else 0)  # all that was not cut off


@pytest.mark.usefixtures("kept_at_once")
def test_a_sync_that_fails_is_remembered_in_the_session_and_again_from_the_wire(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    failed = threading.Event()
    real = os.fsync

    def fail_once(handle: int) -> None:
        name = Path(f"/proc/self/fd/{handle}").readlink().name
        if name == "a.csv" and not failed.is_set():
            failed.set()
            raise OSError(errno.EIO, "Input/output error")
        real(handle)

    monkeypatch.setattr(os, "fsync", fail_once)
    with Cable() as cable, Capture(cable.source(), tmp_path, name="a") as running:
        sender = controller()
        cable.send(sender.step())
        assert failed.wait(30)
        while not any("sync_failed" in row.fault for row in running.rows):
            seen = len(running.rows)
            cable.send(sender.step())
            running.wait_rows(seen + 1)
        running.end()
    assert "sync_failed" in codes(load_session(tmp_path / "a.csv"))
    import_files([tmp_path / "a.wire"], tmp_path, "again")
    assert (tmp_path / "again.csv").read_bytes() == (tmp_path / "a.csv").read_bytes()


@pytest.mark.usefixtures("kept_at_once")
def test_a_disk_that_stands_still_in_a_sync_holds_up_no_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    go_on, real = threading.Event(), os.fsync

    def stand_still(handle: int) -> None:
        assert go_on.wait(60)
        real(handle)

    with Cable() as cable, Capture(cable.source(), tmp_path, name="a") as running:
        cable.send(controller().step())
        running.wait_rows(1)
        monkeypatch.setattr(os, "fsync", stand_still)
        sender = controller()
        cable.play(sender.until(200))
        running.wait_rows(200)
        assert (tmp_path / "a.csv").read_bytes().count(b"\n") > 200
        go_on.set()
        running.end()


def test_a_disk_full_as_the_hello_comes_makes_one_file_and_every_row_is_in_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    full, real = threading.Event(), appendfile.AppendFile.append
    full.set()

    def append(file: appendfile.AppendFile, piece: bytes) -> None:
        if full.is_set() and file.path.suffix == ".csv":
            raise OSError(errno.ENOSPC, "No space left on device")
        real(file, piece)

    monkeypatch.setattr(appendfile.AppendFile, "append", append)
    with Cable() as cable, Capture(cable.source(), tmp_path, name="a") as running:
        for frames in controller().until(50):
            cable.send(frames)
        running.wait_rows(50)
        running.wait_status(lambda status: status.trouble == "No space left on device")
        full.clear()
        captured = running.end()
    assert [path.name for path in tmp_path.glob("*.csv")] == ["a.csv"]
    assert captured.row_count == 50
    every_row(tmp_path, 50)


def test_a_folder_that_cannot_be_synced_costs_no_session(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = os.fsync

    def fail_for_folders(handle: int) -> None:
        if Path(f"/proc/self/fd/{handle}").readlink().is_dir():
            raise OSError(errno.EINVAL, "Invalid argument")
        real(handle)

    monkeypatch.setattr(os, "fsync", fail_for_folders)
    loop.run(MemoryPort(controller(), until_s=20), tmp_path, name="a")
    every_row(tmp_path, 20)


def test_further_sessions_take_names_that_are_free(tmp_path: Path) -> None:
    (tmp_path / "a-2.csv").write_text("precious")
    sidecar_path(tmp_path / "a-3.csv").write_text("precious too")
    (tmp_path / "a-4.csv").symlink_to(tmp_path / "elsewhere")
    one, other = controller(), EmulatedController(lambda _: {"tank": 20.0}, [TANK])

    first, second = b"".join(one.until(5)), b"".join(other.until(5))

    class Script:
        name = "script"

        def __init__(self) -> None:
            self.says = [first, second]

        def open(self) -> "Script":
            return self

        def read(self, timeout_s: float) -> bytes | None:
            return self.says.pop(0) if self.says else None

        def close(self) -> None:
            pass

    captured = loop.run(Script(), tmp_path, name="a")
    assert [path.name for path in captured.sessions] == ["a.csv", "a-5.csv"]
    assert (tmp_path / "a-2.csv").read_text() == "precious"
    assert not (tmp_path / "elsewhere").exists()


def test_a_new_outing_in_a_folder_that_takes_none_waits_in_memory_and_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = appendfile.AppendFile.__init__
    refused = threading.Event()

    def make(file: appendfile.AppendFile, path: Path, **options: object) -> None:
        if refused.is_set():
            raise SessionError(expected="a file", found="Read-only", where=str(path), do="x")
        real(file, path, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(appendfile.AppendFile, "__init__", make)
    over, asked = threading.Event(), threading.Event()

    def is_over() -> bool:
        if over.is_set():
            asked.set()
        return over.is_set()

    with Cable() as cable, Capture(cable.source(), tmp_path, name="a", is_over=is_over) as running:
        sender = controller()
        cable.play(sender.step() for _ in range(5))
        running.wait_rows(5)
        refused.set()
        over.set()
        running.wait(asked.is_set)
        sender.reboot("power")
        cable.play(sender.step() for _ in range(5))
        running.wait_rows(10)
        running.wait_status(lambda status: status.trouble == "Read-only")
        over.clear()
        refused.clear()
        captured = running.end()
    assert captured.trouble == ""
    assert captured.row_count == 10


def test_a_sidecar_that_cannot_be_written_is_told_and_costs_no_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise SessionError(expected="x", found="No space left", where="y", do="z")

    monkeypatch.setattr(writer, "write_sidecar", refuse)
    with Cable() as cable, Capture(cable.source(), tmp_path, name="a") as running:
        for frames in controller().until(10):
            cable.send(frames)
        running.wait_rows(10)
        running.wait_status(lambda status: "the sidecar: No space left" in status.trouble)
        captured = running.end()
    assert captured.trouble == "No space left"
    assert np.size(load_session(tmp_path / "a.csv").elapsed_s) == 10
