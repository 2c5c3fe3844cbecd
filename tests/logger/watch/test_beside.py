"""A watch beside the capture: what it does wrong costs the recording nothing."""

import threading
from collections.abc import Sequence
from typing import Any

from wattsump_logger.capture.loop import Status
from wattsump_logger.session.rows import Row
from wattsump_logger.watch.beside import beside

_PATIENCE_S = 30.0
STATUS = Status(
    port="p",
    is_open=True,
    name="a",
    row_count=1,
    elapsed_s=1.0,
)
ROW = Row(time_utc="", elapsed_ms=0, seq=0, cells=())


class Watching:
    """A stand-in for a watch: hangs or fails when it is told to."""

    def __init__(self, error: Exception | None = None) -> None:
        self.go = threading.Event()
        self.go.set()
        self.seen: list[object] = []
        self.looked = threading.Semaphore(0)
        self._error = error
        self._marks = ["fan"]
        self._over = [True]

    def on_rows(self, rows: Sequence[Row]) -> None:
        self.seen += rows

    def on_status(self, status: Status) -> None:
        self.go.wait(_PATIENCE_S)
        self.looked.release()
        if self._error:
            raise self._error
        self.seen.append(status)

    def marks(self) -> list[str]:
        marks, self._marks = self._marks, []
        return marks

    def is_over(self) -> bool:
        return bool(self._over) and self._over.pop()


def until(ask: Any) -> Any:
    """Ask until there is an answer."""
    pause = threading.Event()
    for _ in range(round(_PATIENCE_S / 0.01)):
        if answer := ask():
            return answer
        pause.wait(0.01)
    raise AssertionError("no answer came")


def test_rows_and_statuses_go_in_and_marks_and_the_end_come_out() -> None:
    watch: Any = Watching()
    with beside(watch, complain=print) as running:
        running.on_rows([ROW])
        running.on_status(STATUS)
        assert until(running.marks) == ["fan"]
        assert until(running.is_over)
        assert not running.is_over()
    assert watch.seen == [ROW, STATUS]


def test_a_watch_that_hangs_is_not_waited_for() -> None:
    watch: Any = Watching()
    watch.go.clear()
    with beside(watch, complain=print, patience_s=0.01) as running:
        for _ in range(10_000):
            running.on_rows([ROW])
            running.on_status(STATUS)
        assert running.marks() in ([], ["fan"])
    watch.go.set()


def test_a_watch_that_fails_is_told_once_on_stderr_and_in_the_session() -> None:
    watch: Any = Watching(ZeroDivisionError("division by zero"))
    told: list[str] = []
    with beside(watch, complain=told.append) as running:
        for _ in range(3):
            running.on_status(STATUS)
            assert watch.looked.acquire(timeout=_PATIENCE_S)
        marks = until(running.marks)
    assert told == ["watching failed: ZeroDivisionError: division by zero"]
    assert marks[0] == told[0]
