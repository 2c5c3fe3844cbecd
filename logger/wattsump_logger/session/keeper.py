"""Syncs files to the disk in a thread of its own, so that a slow card never delays a reading."""

import threading
from typing import Protocol

__all__ = ("Keeper", "Kept")

_LOOK_S = 0.1


class Kept(Protocol):
    """A file that is synced now and then."""

    def keep_if_due(self) -> None:
        """Sync if it is time; never raise."""


class Keeper:
    """Syncs each file from `add` to `remove`."""

    def __init__(self) -> None:
        self._kept: tuple[Kept, ...] = ()
        self._over = threading.Event()
        threading.Thread(target=self._run, name="wattsump-keeper", daemon=True).start()

    def add(self, file: Kept) -> None:
        """Sync this file from now on."""
        self._kept = (*self._kept, file)

    def remove(self, file: Kept) -> None:
        """Stop syncing this file; its own `close` waits for a sync in progress."""
        self._kept = tuple(kept for kept in self._kept if kept is not file)

    def close(self) -> None:
        """End."""
        self._over.set()

    def _run(self) -> None:
        while not self._over.wait(_LOOK_S):
            for file in self._kept:
                file.keep_if_due()
