"""A capture in a thread, on a real terminal port whose other end the test holds."""

import os
import threading
import tty
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, Self

from wattsump_logger.bench.controller import EmulatedController
from wattsump_logger.capture import loop
from wattsump_logger.capture.link import PortSource
from wattsump_logger.capture.ports import PortInfo, SerialSource
from wattsump_logger.session.rows import Row
from wattsump_logger.wire.events import WireChannel

PATIENCE_S = 30.0  # how long a test waits for what must come; it waits on an event, not by sleep
TANK = WireChannel(name="tank", source="max31855", detail="K")
FAN = WireChannel(name="fan", source="state")
ENGINE = WireChannel(name="engine", source="value", detail="rpm")
CHANNELS = (TANK, FAN, ENGINE)


def controller(period_ms: int = 1000) -> EmulatedController:
    """Return a controller whose `engine` channel counts the seconds since power-up."""

    def source(elapsed_s: float) -> dict[str, float | str | None]:
        return {"tank": 20 + elapsed_s / 60, "fan": int(elapsed_s / 30) % 2, "engine": elapsed_s}

    return EmulatedController(source, CHANNELS, period_ms)


class Cable:
    """A terminal port that can be unplugged and comes back under another name."""

    identity = "usb 1209:0001 test"

    def __init__(self) -> None:
        self._ours: int | None = None
        self._theirs: int | None = None
        self._spare: list[int] = []
        self._names: set[str] = set()
        self.name = ""
        self.plug()

    def plug(self) -> None:
        """Plug in: a port with a name it never had appears."""
        while not self.name:
            self._ours, self._theirs = os.openpty()
            name = os.ttyname(self._theirs)
            if name in self._names:
                self._spare += (self._ours, self._theirs)
            else:
                self.name = name
        assert self._theirs is not None
        tty.setraw(self._theirs)
        self._names.add(self.name)

    def unplug(self) -> None:
        """Pull the plug: whoever reads the port is told that it is gone."""
        assert self._ours is not None
        assert self._theirs is not None
        os.close(self._theirs)
        os.close(self._ours)
        self._ours = self._theirs = None
        self.name = ""

    def listing(self) -> tuple[PortInfo, ...]:
        """Return what the system would list."""
        if not self.name:
            return ()
        return (PortInfo(name=self.name, description="test", identity=self.identity),)

    def source(self) -> SerialSource:
        """Return the port source a capture of this cable uses."""
        return SerialSource(self.name, listing=self.listing)

    def send(self, data: bytes) -> None:
        """Send bytes, waiting while the port's buffer is full."""
        assert self._ours is not None
        view = memoryview(data)
        while view:
            view = view[os.write(self._ours, view) :]

    def play(self, frames: Iterable[bytes]) -> None:
        """Send frame by frame."""
        for one in frames:
            self.send(one)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for handle in (self._ours, self._theirs, *self._spare):
            if handle is not None:
                os.close(handle)


class Capture:
    """`loop.run` in a thread; the test waits for what it does and then stops it."""

    def __init__(self, source: PortSource, folder: Path, **options: Any) -> None:
        self.rows: list[Row] = []
        self.last_status: loop.Status | None = None
        self._stop = threading.Event()
        self._changed = threading.Condition()
        self._result: loop.Captured | BaseException | None = None
        self._options = {"status_s": 0.0, **options}
        self._thread = threading.Thread(target=self._run, args=(source, folder), daemon=True)

    def _run(self, source: PortSource, folder: Path) -> None:
        try:
            self._result = loop.run(
                source,
                folder,
                stop=self._stop.is_set,
                on_status=self._take_status,
                on_rows=self._take_rows,
                **self._options,
            )
        except BaseException as error:
            self._result = error
        with self._changed:
            self._changed.notify_all()

    def _take_rows(self, rows: Sequence[Row]) -> None:
        with self._changed:
            self.rows += rows
            self._changed.notify_all()

    def _take_status(self, status: loop.Status) -> None:
        with self._changed:
            self.last_status = status
            self._changed.notify_all()

    def wait(self, is_so: Callable[[], bool]) -> None:
        """Wait until something is so, or fail."""
        with self._changed:
            assert self._changed.wait_for(
                lambda: is_so() or self._result is not None, PATIENCE_S
            ), "it never came"
        assert is_so(), self._result

    def wait_status(self, is_so: Callable[[loop.Status], bool]) -> None:
        """Wait for a status of which something is so."""
        self.wait(lambda: self.last_status is not None and is_so(self.last_status))

    def wait_rows(self, count: int) -> None:
        """Wait until so many rows were made."""
        self.wait(lambda: len(self.rows) >= count)

    def end(self) -> loop.Captured:
        """Stop as Ctrl-C does, and return what was left."""
        self._stop.set()
        self._thread.join(PATIENCE_S)
        assert isinstance(self._result, loop.Captured), self._result
        return self._result

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(PATIENCE_S)
