"""A file that only grows, by whole pieces, and says when it cannot.

Each piece is handed to the operating system before `append` returns, so it survives the
end of this process. `sync` puts it on the disk, so it survives a power cut; it does so at
most once per interval because a card takes tens of milliseconds for it.
"""

import os
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self

from wattsump_logger.errors import SessionError
from wattsump_logger.session.wholefile import sync_folder

__all__ = ("SYNC_S", "AppendFile")

SYNC_S = 5.0  # at most so much is lost by a power cut; longer wears a card less


class AppendFile:
    """Appends whole pieces to a new file; a piece that does not fit leaves no part of itself."""

    def __init__(
        self,
        path: Path,
        *,
        sync_s: float = SYNC_S,
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.path = path
        self.size = 0
        self.sync_trouble = ""
        self._sync_s = sync_s
        self._monotonic_s = monotonic_s
        self._synced_at_s = monotonic_s()
        self._dirty = False
        try:
            self._file = path.open("xb", buffering=0)
        except FileExistsError as error:
            raise _cannot_create(path, "a file of that name", "give another --name") from error
        except OSError as error:
            raise _cannot_create(
                path, error.strerror or str(error), "choose another folder with --out"
            ) from error
        sync_folder(path.parent)

    def append(self, piece: bytes) -> None:
        """Write all of `piece`; an OSError means that none of it is in the file.

        A disk that takes the piece but fails to be synced is told in `sync_trouble`.
        """
        done = 0
        try:
            while done < len(piece):
                done += self._file.write(memoryview(piece)[done:])
        except OSError:
            self._take_back(done)
            raise
        self.size += done
        self._dirty = True
        self.sync_if_due()

    def sync_if_due(self) -> None:
        """Put on the disk what has waited for the interval; also to be called in a silence."""
        if not self._dirty or self._monotonic_s() - self._synced_at_s < self._sync_s:
            return
        try:
            self.sync()
            self.sync_trouble = ""
        except OSError as error:
            self.sync_trouble = error.strerror or str(error)

    def _take_back(self, done: int) -> None:
        if done:
            self._file.truncate(self.size)
            self._file.seek(self.size)

    def sync(self) -> None:
        """Put what was appended on the disk."""
        self._synced_at_s = self._monotonic_s()
        if self._dirty:
            os.fsync(self._file.fileno())
            self._dirty = False

    def close(self) -> None:
        """Put everything on the disk and let go of the file."""
        if not self._file.closed:
            try:
                self.sync()
            finally:
                self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def _cannot_create(path: Path, found: str, do: str) -> SessionError:
    return SessionError(expected="to create a new file", found=found, where=str(path), do=do)
