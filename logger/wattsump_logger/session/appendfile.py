"""A file that grows by whole pieces, and reports when it cannot.

Each piece is handed to the operating system before `append` returns, so it survives the
end of this process. `keep` syncs it to the disk, so it survives a power cut; that takes from
milliseconds to many seconds, so a `Keeper` does it in a thread of its own.
"""

import contextlib
import os
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Self

from wattsump_logger.errors import SessionError, reason_of
from wattsump_logger.session.wholefile import sync_folder

__all__ = ("DUE_S", "SYNC_S", "AppendFile")

SYNC_S = 5.0  # lost at most by a power cut; a longer time wears a card less
DUE_S = 4.0  # which leaves the disk a second for it
_AGAIN_S = 1.0  # after a failure
_BLOCK = 1 << 20


class AppendFile:
    """Appends whole pieces to a new file; a piece that does not fit leaves no part of itself.

    One thread appends; `keep` may be called by another. `sync_trouble` says why the last
    `keep` failed, `sync_failures` how many did, `lost` what became of a file that is no
    longer where it was made: it still takes what is appended, and `anew` copies it.
    """

    def __init__(self, path: Path, *, monotonic_s: Callable[[], float] = time.monotonic) -> None:
        self.path = path
        self.size = 0
        self.sync_trouble = ""
        self.sync_failures = 0
        self.lost = ""
        self._monotonic_s = monotonic_s
        self._unkept_since_s: float | None = None  # of what came after the last `keep` began,
        self._in_keeping_since_s: float | None = None  # and of what it is about
        self._not_before_s = float("-inf")
        self._numbers = threading.Lock()
        self._keeping = threading.Lock()
        self._torn = False
        try:
            # Append mode: if another program cuts the file, the cut is not filled with zeros.
            flags = os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)
            self._file = os.fdopen(os.open(path, flags, 0o666), "r+b", buffering=0)
        except FileExistsError as error:
            raise _cannot_create(path, "a file of that name", "give another --name") from error
        except OSError as error:
            raise _cannot_create(
                path, reason_of(error), "choose another folder with --out"
            ) from error
        sync_folder(path.parent)

    def append(self, piece: bytes) -> None:
        """Write all of `piece`; an OSError means that none of it is in the file."""
        if self._torn:
            self._take_back()
        done = 0
        try:
            while done < len(piece):
                done += self._file.write(memoryview(piece)[done:])
        except OSError:
            if done:
                self._torn = True
                self._take_back()
            raise
        with self._numbers:
            self.size += done
            if self._unkept_since_s is None:
                self._unkept_since_s = self._monotonic_s()

    def _take_back(self) -> None:
        if os.fstat(self._file.fileno()).st_size > self.size:
            self._file.truncate(self.size)
        self._torn = False

    @property
    def unkept_s(self) -> float:
        """Age of the oldest byte that is not on the disk; 0 if all are."""
        since_s = self._in_keeping_since_s
        since_s = self._unkept_since_s if since_s is None else since_s
        return 0.0 if since_s is None else self._monotonic_s() - since_s

    @property
    def trouble(self) -> str:
        """Say why what was written may not be on the disk, "" if it is or soon will be."""
        if self.sync_trouble or self.unkept_s <= SYNC_S:
            return self.sync_trouble
        return f"slow disk: the last {self.unkept_s:.0f} s are not on it yet"

    def keep_if_due(self, due_s: float | None = None) -> None:
        """Sync bytes that have waited for `due_s`, also while none come; never raise."""
        due_s = DUE_S if due_s is None else due_s
        if self._unkept_since_s is None or self.unkept_s < due_s:
            return
        if self._monotonic_s() >= self._not_before_s:
            with contextlib.suppress(OSError):
                self.keep()

    def keep(self) -> None:
        """Sync appended bytes to the disk."""
        with self._keeping:
            if self._file.closed:
                return
            with self._numbers:
                if self._unkept_since_s is None:
                    return
                size = self.size
                self._in_keeping_since_s, self._unkept_since_s = self._unkept_since_s, None
            self.lost = self.lost or self._where_it_went(size)
            try:
                os.fsync(self._file.fileno())
            except OSError as error:
                self.sync_trouble = reason_of(error)
                self.sync_failures += 1
                self._not_before_s = self._monotonic_s() + _AGAIN_S
                with self._numbers:
                    self._unkept_since_s = self._in_keeping_since_s
                raise
            finally:
                self._in_keeping_since_s = None
            self.sync_trouble = ""

    def _where_it_went(self, size: int) -> str:
        try:
            there, ours = self.path.stat(), os.fstat(self._file.fileno())
        except OSError:
            return "deleted or moved"
        if (there.st_dev, there.st_ino) != (ours.st_dev, ours.st_ino):
            return "replaced"
        return "cut short" if there.st_size < size else ""

    def anew(self, path: Path, head: bytes = b"") -> "AppendFile":
        """Return a new file at `path`: `head`, then every whole line that this one still holds."""
        fresh = AppendFile(path, monotonic_s=self._monotonic_s)
        try:
            self._file.seek(0)
            rest = b""
            if self._file.read(len(head)) != head:
                fresh.append(head)
                self._file.seek(0)
            else:
                rest = head
            while block := self._file.read(_BLOCK):
                lines, end, rest = (rest + block).rpartition(b"\n")
                fresh.append(lines + end)
        except OSError:
            fresh.close()
            path.unlink()
            raise
        with self._keeping, contextlib.suppress(OSError):
            self._file.close()
        return fresh

    def close(self) -> None:
        """Sync everything to the disk and close the file."""
        try:
            self.keep()
        finally:
            with self._keeping:
                self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _cannot_create(path: Path, found: str, do: str) -> SessionError:
    return SessionError(expected="to create a new file", found=found, where=str(path), do=do)
