"""Runs a watch in a thread beside the capture.

A slow forecast, a bug in a guide or a command that hangs neither delays nor ends the recording.
"""

import contextlib
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

from wattsump_logger.capture.loop import Status
from wattsump_logger.session.rows import Row
from wattsump_logger.watch.publish import Latest
from wattsump_logger.watch.watch import Watch

__all__ = ("Beside", "beside")

T = TypeVar("T")
_LOOK_S = 0.1  # between looks at the keys
_MOST_ROWS = 4096  # rows waiting for the watch; of more, the oldest are skipped


class Beside:
    """A watch's four methods for `capture.run`, none of which waits for the watch."""

    def __init__(self, watch: Watch, complain: Callable[[str], None]) -> None:
        self.watch = watch
        self._complain = complain
        self._statuses: Latest[Status] = Latest()
        self._rows: deque[Row] = deque(maxlen=_MOST_ROWS)
        self._marks: deque[str] = deque()
        self._over = threading.Event()

    def on_status(self, status: Status) -> None:
        """Take the capture's status."""
        self._statuses.put(status)

    def on_rows(self, rows: Sequence[Row]) -> None:
        """Take new rows."""
        self._rows.extend(rows)

    def marks(self) -> list[str]:
        """Return the marks to write into the session."""
        return _drained(self._marks)

    def is_over(self) -> bool:
        """Tell whether the outing is over; True once."""
        is_over = self._over.is_set()
        self._over.clear()
        return is_over

    def run(self) -> None:
        """Watch until `close`; an error is reported once, and becomes a mark of the session."""
        number = 0
        complaint = ""
        while not self._statuses.wait_closed(0):
            new = self._statuses.after(number, _LOOK_S)
            number = new[0] if new else number
            try:
                self._look(new[1] if new else None)
            except Exception as error:  # no error here may end the recording
                if not complaint:
                    complaint = f"watching failed: {type(error).__name__}: {error}"
                    self._marks.append(complaint)
                    self._complain(complaint)

    def _look(self, status: Status | None) -> None:
        self.watch.on_rows(_drained(self._rows))
        if status is not None:
            self.watch.on_status(status)
        self._marks.extend(self.watch.marks())
        if self.watch.is_over():
            self._over.set()

    def close(self) -> None:
        """Let `run` end."""
        self._statuses.close()


def _drained(queue: "deque[T]") -> list[T]:
    """Take everything out of a queue that another thread may be filling."""
    return [queue.popleft() for _ in range(len(queue))]


@contextlib.contextmanager
def beside(
    watch: Watch, *, complain: Callable[[str], None], patience_s: float = 1.0
) -> Iterator[Beside]:
    """Yield a watch at work in a thread of its own."""
    running = Beside(watch, complain)
    thread = threading.Thread(target=running.run, name="wattsump-watch", daemon=True)
    thread.start()
    try:
        yield running
    finally:
        running.close()
        thread.join(patience_s)
