"""Keeps a port open and reads it, however slow the disk is.

A thread reads, so that a slow card never makes the port's small buffer overflow. It yields
wire items: the bytes, and when they came. A lost port is opened again, with growing pauses.
Drivers raise errors of many types, so any exception of a port means that the port is lost.
"""

import contextlib
import queue
import threading
from collections.abc import Iterator
from itertools import chain, repeat
from typing import Protocol

from wattsump_logger.capture.clock import Clock
from wattsump_logger.capture.wirefile import MAX_CHUNK, Chunk, HostNote, WireItem

__all__ = ("PAUSES_S", "BytePort", "Link", "OpenedFirst", "PortSource")

PAUSES_S = (0.25, 0.5, 1.0, 2.0, 5.0)  # between tries; a board takes 1 to 3 s to come back
_READ_S = 0.25  # longest read before it checks whether to stop
_QUEUED = 4096  # chunks; at 100 a second the disk may stand still for 40 s


class BytePort(Protocol):
    """An open port: bytes, b"" for silence, None at the end of the stream."""

    name: str

    def read(self, timeout_s: float) -> bytes | None:
        """Return what came within `timeout_s`; PortError once the port is gone."""

    def close(self) -> None:
        """Close the port."""


class PortSource(Protocol):
    """A port that can be opened more than once."""

    name: str

    def open(self) -> BytePort:
        """Return an open port, or raise PortError."""


class OpenedFirst:
    """A source that is opened at once, so that a missing port is reported first.

    The first `open` returns that port; later ones open the source again.
    """

    def __init__(self, source: PortSource) -> None:
        self._source = source
        self._opened: BytePort | None = source.open()
        self.name = source.name

    def open(self) -> BytePort:
        """Return the port that is open, or open it again."""
        port, self._opened = self._opened or self._source.open(), None
        self.name = self._source.name
        return port

    def close(self) -> None:
        """Close the port if nobody has asked for it."""
        port, self._opened = self._opened, None
        if port is not None:
            port.close()


class Link:
    """A running reader; take its items with `next`, end it with `close`."""

    def __init__(
        self, source: PortSource, clock: Clock, *, pauses_s: tuple[float, ...] | None = None
    ) -> None:
        self.is_open = False
        self.ended = False
        self.failure: BaseException | None = None  # what ended the thread, other than `close`
        self._source = source
        self._clock = clock
        self._pauses_s = pauses_s or PAUSES_S
        self._pauses = self._growing()
        self._items: queue.Queue[WireItem] = queue.Queue(_QUEUED)
        self._stop = threading.Event()
        # A failure of the first open is raised to the caller.
        self._port: BytePort | None = source.open()
        self._say("opened", self._port.name)
        self._thread = threading.Thread(target=self._run, name="wattsump-link", daemon=True)
        self._thread.start()

    def next(self, timeout_s: float) -> list[WireItem]:
        """Return all items received, waiting up to `timeout_s` for the first."""
        items: list[WireItem] = []
        try:
            items.append(self._items.get(timeout=timeout_s))
            while True:
                items.append(self._items.get_nowait())
        except queue.Empty:
            return items

    @property
    def is_over(self) -> bool:
        """Tell whether the stream has ended and every item was taken."""
        return self.ended and self._items.empty()

    def close(self) -> list[WireItem]:
        """Stop reading; return the items not taken yet."""
        self._stop.set()
        remaining: list[WireItem] = []
        while self._thread.is_alive():
            remaining += self.next(0.02)
        return remaining + self.next(0)

    def _run(self) -> None:
        try:
            while not self._stop.is_set() and not self.ended:
                if self._port is None:
                    self._reopen()
                else:
                    self._read(self._port)
        except BaseException as error:
            self.failure = error
        finally:
            self.ended = True
            self._let_go()

    def _read(self, port: BytePort) -> None:
        try:
            data = port.read(_READ_S)
        except Exception as error:
            self._let_go()
            self._say("lost", getattr(error, "found", None) or f"{type(error).__name__}: {error}")
            return
        anchor = self._clock.anchor()
        if data is None:
            self.ended = True
        elif data:
            self._pauses = self._growing()
        for start in range(0, len(data or b""), MAX_CHUNK):
            assert data is not None
            self._put(Chunk(anchor=anchor, data=data[start : start + MAX_CHUNK]))

    def _growing(self) -> Iterator[float]:
        """Yield growing pauses; they start again once bytes have come, not once a port opens."""
        return chain(self._pauses_s, repeat(self._pauses_s[-1]))

    def _reopen(self) -> None:
        if self._stop.wait(next(self._pauses)):
            return
        with contextlib.suppress(Exception):
            self._port = self._source.open()
            self._say("opened", self._port.name)

    def _let_go(self) -> None:
        port, self._port, self.is_open = self._port, None, False
        if port is not None:
            with contextlib.suppress(Exception):
                port.close()

    def _say(self, word: str, detail: str) -> None:
        self.is_open = word == "opened"
        self._put(HostNote(anchor=self._clock.anchor(), word=word, detail=detail))

    def _put(self, item: WireItem) -> None:
        self._items.put(item)  # waits while the queue is full; `close` makes room
