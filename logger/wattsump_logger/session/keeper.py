"""Puts files on the disk in a thread of its own, so that a slow card never delays a reading."""

import threading
from typing import Protocol

__all__ = ("Keeper", "Kept")

_LOOK_S = 0.1


class Kept(Protocol):
    """What wants to be put on the disk now and then."""

    def keep_if_due(self) -> None:
        """Do it if it is time; never raise."""


class Keeper:
    """Looks after files from `add` to `remove`."""

    def __init__(self) -> None:
        self._kept: tuple[Kept, ...] = ()
        self._over = threading.Event()
        threading.Thread(target=self._run, name="wattsump-keeper", daemon=True).start()

    def add(self, file: Kept) -> None:
        """Keep this file from now on."""
        self._kept = (*self._kept, file)

    def remove(self, file: Kept) -> None:
        """Keep this file no more; its own `close` waits for what is being done with it."""
        self._kept = tuple(kept for kept in self._kept if kept is not file)

    def close(self) -> None:
        """End."""
        self._over.set()

    def _run(self) -> None:
        while not self._over.wait(_LOOK_S):
            for file in self._kept:
                file.keep_if_due()
