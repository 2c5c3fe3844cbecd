"""The newest state for those who look; who makes it waits for nobody."""

import contextlib
import threading
from collections.abc import Callable, Iterator

import pytest

from wattsump_logger.watch.publish import Latest, finishes, following

_PATIENCE_S = 30.0


class Reader:
    """Takes values; the test can hold it up, let it fail and wait for what it took."""

    def __init__(self, errors: list[BaseException] | None = None) -> None:
        self.taken: list[int] = []
        self.openings = 0
        self.go = threading.Event()
        self.go.set()
        self._errors = errors or []
        self._took = threading.Condition()

    @contextlib.contextmanager
    def opening(self) -> Iterator[Callable[[int], None]]:
        self.openings += 1
        yield self._take

    def _take(self, value: int) -> None:
        self.go.wait(_PATIENCE_S)
        if self._errors:
            raise self._errors.pop()
        with self._took:
            self.taken.append(value)
            self._took.notify_all()

    def wait_for(self, value: int) -> None:
        with self._took:
            assert self._took.wait_for(lambda: value in self.taken, _PATIENCE_S)


def test_a_reader_that_stands_still_delays_nobody_and_then_gets_the_newest_only() -> None:
    latest: Latest[int] = Latest()
    slow, quick = Reader(), Reader()
    slow.go.clear()
    with (
        following(latest, slow.opening, complain=print),
        following(latest, quick.opening, complain=print),
    ):
        for number in range(1000):
            latest.put(number)
        quick.wait_for(999)
        slow.go.set()
        slow.wait_for(999)
    assert len(slow.taken) <= 2


def test_what_was_put_last_is_read_though_the_end_comes_at_once() -> None:
    latest: Latest[int] = Latest()
    reader = Reader()
    with following(latest, reader.opening, complain=print) as thread:
        latest.put(7)
    assert reader.taken == [7]
    assert not thread.is_alive()


def test_a_reader_that_fails_is_told_once_and_opened_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("wattsump_logger.watch.publish._AGAIN_S", 0.01)
    latest: Latest[int] = Latest()
    told: list[str] = []
    errors = [OSError(28, "No space left on device"), SystemExit(1), ValueError("no")]
    reader = Reader(errors)  # taken from its end
    with following(latest, reader.opening, complain=told.append):
        latest.put(7)
        reader.wait_for(7)
    assert told == ["no"]
    assert reader.openings == 4


def test_a_reader_that_stands_still_for_ever_holds_up_the_end_for_its_patience_only() -> None:
    latest: Latest[int] = Latest()
    reader = Reader()
    reader.go.clear()
    with following(latest, reader.opening, complain=print, patience_s=0.01) as thread:
        latest.put(7)
    assert thread.is_alive()
    reader.go.set()
    thread.join(_PATIENCE_S)


def test_whoever_asks_for_newer_than_there_is_waits_at_most_so_long() -> None:
    latest: Latest[str] = Latest()
    assert latest.after(0, 0.0) is None
    latest.put("a")
    latest.put("b")
    assert latest.newest == "b"
    assert latest.after(0, 0.0) == (2, "b")
    assert latest.after(2, 0.0) is None


def test_work_that_does_not_end_is_waited_for_no_longer_than_asked() -> None:
    go = threading.Event()
    assert not finishes(lambda: go.wait(_PATIENCE_S), 0.01)
    go.set()


def test_work_that_fails_has_ended() -> None:
    def fail() -> None:
        raise BrokenPipeError

    assert finishes(fail, _PATIENCE_S)
