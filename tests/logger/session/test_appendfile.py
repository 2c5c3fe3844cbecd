"""A file that only grows by whole pieces, and is put on the disk as often as it says."""

import os
import resource
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from refusal import refused
from wattsump_logger.errors import SessionError
from wattsump_logger.session.appendfile import AppendFile

_PATIENCE_S = 30.0


@pytest.fixture
def synced(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Return a list that grows by one for each time the disk is made to keep a file."""
    calls: list[int] = []
    monkeypatch.setattr(os, "fsync", calls.append)
    return calls


@contextmanager
def small_files() -> Iterator[None]:
    """Let no file of this process grow beyond 100 bytes, as a full disk would not.

    No longer than the test itself: the test runner's own report may be going to a file.
    """
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_piece_that_fits_in_part_leaves_no_part_of_itself(tmp_path: Path) -> None:
    with small_files(), AppendFile(tmp_path / "a") as file:
        file.append(b"x" * 80)
        with pytest.raises(OSError, match="File too large"):
            file.append(b"y" * 30)
        assert (tmp_path / "a").read_bytes() == b"x" * 80
        file.append(b"z" * 20)
    assert (tmp_path / "a").read_bytes() == b"x" * 80 + b"z" * 20


def test_a_piece_that_fits_not_at_all_is_an_error(tmp_path: Path) -> None:
    with small_files(), AppendFile(tmp_path / "a") as file:
        file.append(b"x" * 100)
        with pytest.raises(OSError, match="File too large"):
            file.append(b"y")
        assert file.size == 100


def test_a_piece_can_be_read_by_others_at_once(tmp_path: Path) -> None:
    file = AppendFile(tmp_path / "a")
    file.append(b"one")
    assert (tmp_path / "a").read_bytes() == b"one"
    file.close()


def test_the_disk_is_made_to_keep_it_at_the_interval_and_at_the_end(
    tmp_path: Path, synced: list[int]
) -> None:
    now_s = [0.0]
    file = AppendFile(tmp_path / "a", monotonic_s=lambda: now_s[0])
    before = len(synced)  # making the file syncs its folder
    for second in range(13):
        now_s[0] = float(second)
        file.append(b"x")
        file.keep_if_due(5.0)
        assert file.unkept_s <= 5.0
    assert len(synced) - before == 2
    file.close()
    assert len(synced) - before == 3
    file.close()
    assert len(synced) - before == 3


def test_a_silence_does_not_keep_the_last_piece_from_the_disk(
    tmp_path: Path, synced: list[int]
) -> None:
    now_s = [0.0]
    file = AppendFile(tmp_path / "a", monotonic_s=lambda: now_s[0])
    file.append(b"x")
    before = len(synced)
    for second in range(30):
        now_s[0] = float(second)
        file.keep_if_due()
    assert len(synced) - before == 1
    file.close()


def test_nothing_new_is_not_synced_again(tmp_path: Path, synced: list[int]) -> None:
    file = AppendFile(tmp_path / "a")
    file.append(b"x")
    file.keep()
    before = len(synced)
    file.keep()
    assert len(synced) == before
    file.close()


def test_a_disk_that_takes_but_cannot_keep_is_told_and_nothing_is_written_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(handle: int) -> None:
        raise OSError(5, "Input/output error")

    now_s = [0.0]
    file = AppendFile(tmp_path / "a", monotonic_s=lambda: now_s[0])
    with monkeypatch.context() as broken:
        broken.setattr(os, "fsync", fail)
        file.append(b"one")
        now_s[0] = 5.0
        for _ in range(3):  # tried again after a second, not at every look
            file.keep_if_due()
        assert file.trouble == "Input/output error"
        assert file.sync_failures == 1
    now_s[0] = 7.0
    file.append(b"two")
    file.keep_if_due()
    assert file.trouble == ""
    file.close()
    assert (tmp_path / "a").read_bytes() == b"onetwo"


def test_a_name_in_use_and_a_folder_that_is_not_there_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("precious")
    with refused(SessionError, "a"):
        AppendFile(tmp_path / "a")
    with refused(SessionError, "a"):
        AppendFile(tmp_path / "none" / "a")


def test_a_disk_that_is_slow_holds_up_no_piece_and_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    now_s = [0.0]
    busy, go_on = threading.Event(), threading.Event()

    def slow(handle: int) -> None:
        busy.set()
        assert go_on.wait(_PATIENCE_S)

    file = AppendFile(tmp_path / "a", monotonic_s=lambda: now_s[0])
    monkeypatch.setattr(os, "fsync", slow)
    file.append(b"one")
    thread = threading.Thread(target=file.keep)
    thread.start()
    assert busy.wait(_PATIENCE_S)
    now_s[0] = 20.0
    file.append(b"two")
    assert (tmp_path / "a").read_bytes() == b"onetwo"
    assert file.trouble == "slow disk: the last 20 s are not on it yet"
    go_on.set()
    thread.join(_PATIENCE_S)
    assert file.trouble == ""  # what came meanwhile is due from when that began
    file.close()


@pytest.mark.skipif(os.name != "posix", reason="an open file cannot be deleted elsewhere")
@pytest.mark.parametrize(
    ("harm", "word", "kept"),
    ids=["deleted", "moved", "cut short", "replaced"],
    argvalues=[
        (Path.unlink, "deleted or moved", b"one\ntwo\n"),
        (lambda path: path.rename(path.with_name("b")), "deleted or moved", b"one\ntwo\n"),
        (lambda path: os.truncate(path, 2), "cut short", b"ontwo\n"),
        (lambda path: path.unlink() or path.write_text("x"), "replaced", b"one\ntwo\n"),
    ],
)
def test_a_file_that_is_no_longer_there_is_noticed_and_its_lines_are_saved(
    tmp_path: Path, harm: Callable[[Path], object], word: str, kept: bytes
) -> None:
    file = AppendFile(tmp_path / "a")
    file.append(b"one\n")
    file.keep()
    harm(tmp_path / "a")
    file.append(b"two\n")
    file.keep()
    assert file.lost == word
    fresh = file.anew(tmp_path / "c")
    fresh.close()
    assert (tmp_path / "c").read_bytes() == kept


def test_a_folder_that_cannot_be_synced_costs_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(handle: int) -> None:
        raise OSError(22, "Invalid argument")

    with monkeypatch.context() as broken:
        broken.setattr(os, "fsync", fail)
        file = AppendFile(tmp_path / "a")
    file.append(b"x")
    file.close()
    assert (tmp_path / "a").read_bytes() == b"x"
