"""A file that only grows by whole pieces, and is put on the disk as often as it says."""

import os
import resource
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from wattsump_logger.errors import SessionError
from wattsump_logger.session.appendfile import AppendFile


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
    file = AppendFile(tmp_path / "a", sync_s=5.0, monotonic_s=lambda: now_s[0])
    before = len(synced)  # making the file syncs its folder
    for second in range(12):
        now_s[0] = float(second)
        file.append(b"x")
    assert len(synced) - before == 2
    file.close()
    assert len(synced) - before == 3
    file.close()
    assert len(synced) - before == 3


def test_a_silence_does_not_keep_the_last_piece_from_the_disk(
    tmp_path: Path, synced: list[int]
) -> None:
    now_s = [0.0]
    file = AppendFile(tmp_path / "a", sync_s=5.0, monotonic_s=lambda: now_s[0])
    file.append(b"x")
    before = len(synced)
    for second in range(30):
        now_s[0] = float(second)
        file.sync_if_due()
    assert len(synced) - before == 1
    file.close()


def test_nothing_new_is_not_synced_again(tmp_path: Path, synced: list[int]) -> None:
    file = AppendFile(tmp_path / "a")
    file.append(b"x")
    file.sync()
    before = len(synced)
    file.sync()
    assert len(synced) == before
    file.close()


def test_a_disk_that_takes_but_cannot_keep_is_told_and_nothing_is_written_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(handle: int) -> None:
        raise OSError(5, "Input/output error")

    file = AppendFile(tmp_path / "a", sync_s=0.0)
    with monkeypatch.context() as broken:
        broken.setattr(os, "fsync", fail)
        file.append(b"one")
        assert file.sync_trouble == "Input/output error"
    file.append(b"two")
    assert file.sync_trouble == ""
    file.close()
    assert (tmp_path / "a").read_bytes() == b"onetwo"


def test_a_name_in_use_and_a_folder_that_is_not_there_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("precious")
    with pytest.raises(SessionError, match="a file of that name; give another --name"):
        AppendFile(tmp_path / "a")
    with pytest.raises(SessionError, match="choose another folder with --out"):
        AppendFile(tmp_path / "none" / "a")
