"""An emulated controller: frames from any source of channel values.

It sends the same as real hardware: converter words with their steps, straight-line error and
fault bits, a hello at boot and every minute, a boot event, marks. `serve_pty`
puts it behind a real terminal port, `MemoryPort` behind an object with the same methods
for systems that have no such ports.
"""

import contextlib
import os
import select
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Self

from wattsump_logger.errors import UsageError
from wattsump_logger.thermocouples.converters import encode
from wattsump_logger.wire.events import HEX_DIGITS, WireChannel
from wattsump_logger.wire.frames import format_event, format_hello, format_reading

__all__ = ("HELLO_MS", "EmulatedController", "MemoryPort", "Source", "has_ptys", "serve_pty")

HELLO_MS = 60_000
_USUAL_BOARD_C = 25.0
_WAIT_S = 0.05  # between looks at whether to stop

Source = Callable[[float], Mapping[str, "float | str | None"]]


class EmulatedController:
    """Speaks the line protocol about `source(elapsed_s)`.

    Parameters
    ----------
    source : callable
        From seconds since power-up to channel name -> °C, state or value; None or no
        entry is no reading, "fault:<code>" the converter's own fault. The entry `board`
        [°C], if there is one, is the converters' cold junction.
    channels : sequence of WireChannel
        What the hello declares.
    period_ms : int
        Interval between readings.
    firmware : str
        Its name in the hello.
    """

    def __init__(
        self,
        source: Source,
        channels: Sequence[WireChannel],
        period_ms: int = 1000,
        firmware: str = "emulated-1",
    ) -> None:
        self.channels = tuple(channels)
        self.period_ms = period_ms
        self.now_ms = 0  # since power-up of the whole machine, over all boots
        self._source = source
        self._firmware = firmware
        self._booted_ms = 0
        self._seq = 0
        self._next_hello_ms = 0
        self._waiting: list[bytes] = []
        self.reboot("power")

    @property
    def uptime_ms(self) -> int:
        """Milliseconds since the last boot."""
        return self.now_ms - self._booted_ms

    def reboot(self, cause: str = "unknown") -> None:
        """Restart: counter and uptime at 0, hello and cause come next."""
        self._booted_ms = self.now_ms
        self._seq = 0
        self._waiting = [self._hello(), self._event("boot", cause)]

    def press(self, name: str) -> None:
        """Let the driver press a button; its event goes out before the next reading."""
        self._waiting.append(self._event("mark", name))

    def note(self, text: str) -> None:
        """Send a note event before the next reading."""
        self._waiting.append(self._event("note", text))

    def pending(self) -> bytes:
        """Return the frames that wait for the next reading, without it."""
        frames, self._waiting = b"".join(self._waiting), []
        return frames

    def step(self) -> bytes:
        """Return the frames of one reading period and move on to the next."""
        if self.uptime_ms >= self._next_hello_ms:
            self._waiting.append(self._hello())
        frames = self.pending() + self._reading()
        self.now_ms += self.period_ms
        return frames

    def until(self, elapsed_s: float) -> Iterator[bytes]:
        """Yield the frames of each period that begins before `elapsed_s`."""
        while self.now_ms < elapsed_s * 1000:
            yield self.step()

    def _count(self) -> int:
        self._seq += 1
        return self._seq - 1

    def _hello(self) -> bytes:
        self._next_hello_ms = self.uptime_ms + HELLO_MS
        return format_hello(
            seq=self._count(),
            uptime_ms=self.uptime_ms,
            firmware=self._firmware,
            period_ms=self.period_ms,
            channels=self.channels,
        )

    def _event(self, code: str, detail: str) -> bytes:
        return format_event(seq=self._count(), uptime_ms=self.uptime_ms, code=code, detail=detail)

    def _reading(self) -> bytes:
        values = self._source(self.now_ms / 1000)
        board_c = values.get("board")
        cold_c = board_c if isinstance(board_c, int | float) else _USUAL_BOARD_C
        fields = [_field(channel, values.get(channel.name), cold_c) for channel in self.channels]
        return format_reading(seq=self._count(), uptime_ms=self.uptime_ms, fields=fields)


def _field(channel: WireChannel, value: float | str | None, cold_c: float) -> str:
    """Return the field that the channel's hardware would send for this value."""
    if value is None:
        return ""
    if channel.source in HEX_DIGITS:
        if isinstance(value, str):
            return encode(channel.source, channel.detail, 20.0, cold_c, _fault(channel, value))
        return encode(channel.source, channel.detail, value, cold_c)
    if isinstance(value, str):
        _fault(channel, value)
        return ""  # a plain channel has no fault codes, only no reading
    if channel.source == "state":
        return "1" if value else "0"
    return f"{value:.2f}"


def _fault(channel: WireChannel, value: str) -> str:
    head, _, code = value.partition(":")
    if head != "fault" or not code:
        raise UsageError(
            expected="a number, None or 'fault:<code>'",
            found=repr(value),
            where=f"emulated channel {channel.name!r}",
            do="correct the source of values",
        )
    return code


class MemoryPort:
    """A port in memory that returns an emulated controller's frames.

    Time passes by reading: each read gives the frames of the next `periods` periods,
    so it is as fast as its reader. For systems without terminal ports, and tests.
    """

    def __init__(
        self, controller: EmulatedController, *, until_s: float = float("inf"), periods: int = 1
    ) -> None:
        self.name = "memory"
        self._controller = controller
        self._until_s = until_s
        self._periods = periods

    def open(self) -> Self:
        """Return this port: it is its own source."""
        return self

    def read(self, timeout_s: float) -> bytes | None:
        """Return the next frames, None once the controller's time is over."""
        pieces: list[bytes] = []
        while len(pieces) < self._periods and self._controller.now_ms < self._until_s * 1000:
            pieces.append(self._controller.step())
        return b"".join(pieces) or None

    def close(self) -> None:
        """Do nothing."""


def has_ptys() -> bool:
    """Tell whether this system has pseudo-terminals."""
    return hasattr(os, "openpty")


@contextlib.contextmanager
def serve_pty(
    controller: EmulatedController,
    speed: float = 1.0,
    *,
    until_s: float = float("inf"),
    drops: bool = False,
) -> Iterator[str]:
    """Put the controller behind a real terminal port, its time `speed` times ours.

    Yields the port's name. Frames wait for the reader when it is slow, as a serial
    driver's buffer would not: at any speed nothing is lost here. With `drops` what nobody
    has read by then is lost, as on a real line, and the controller's time goes on. After
    `until_s` of controller time the line stays open and silent.
    """
    import tty

    ours, theirs = os.openpty()
    stop = threading.Event()
    try:
        tty.setraw(theirs)
        os.set_blocking(ours, False)
        server = threading.Thread(
            target=_serve,
            args=(controller, ours, speed, until_s, stop, theirs if drops else None),
            daemon=True,
        )
        server.start()
        yield os.ttyname(theirs)
        stop.set()
        server.join()
    finally:
        stop.set()
        os.close(ours)
        os.close(theirs)


def _serve(
    controller: EmulatedController,
    handle: int,
    speed: float,
    until_s: float,
    stop: threading.Event,
    unread: int | None,
) -> None:
    import termios

    began_s = time.monotonic()
    first_ms = controller.now_ms
    for frames in controller.until(until_s):
        due_s = began_s + (controller.now_ms - first_ms) / 1000 / speed
        if unread is not None and not select.select([], [handle], [], 0)[1]:
            termios.tcflush(unread, termios.TCIFLUSH)
        if not _write_all(handle, frames, stop):
            return
        if (wait_s := due_s - time.monotonic()) > 0 and stop.wait(wait_s):
            return


def _write_all(handle: int, data: bytes, stop: threading.Event) -> bool:
    while data:
        if stop.is_set():
            return False
        _, ready, _ = select.select([], [handle], [], _WAIT_S)
        if ready:
            with contextlib.suppress(BlockingIOError):
                data = data[os.write(handle, data) :]
    return True
