"""Publishes the newest value to any number of readers, and waits for none of them.

A terminal is stopped by one key, a remote shell freezes, a pipe fills up, a browser sleeps.
Each reader therefore runs in a thread of its own, takes the newest value and misses those
between.
"""

import contextlib
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from typing import Generic, TypeVar

__all__ = ("Latest", "finishes", "following", "to_stderr")

T = TypeVar("T")
_AGAIN_S = 1.0  # before a reader that failed is tried again


class Latest(Generic[T]):
    """The newest value; its lock is not held while a reader uses the value."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._number = 0
        self._value: T | None = None
        self._closed = threading.Event()

    @property
    def newest(self) -> T | None:
        """Return the newest value, None before the first."""
        return self._value

    def put(self, value: T) -> None:
        """Publish a value in place of the one before."""
        with self._changed:
            self._value, self._number = value, self._number + 1
            self._changed.notify_all()

    def close(self) -> None:
        """End the stream of values and wake all readers."""
        with self._changed:
            self._closed.set()
            self._changed.notify_all()

    def wait_closed(self, timeout_s: float | None = None) -> bool:
        """Wait up to `timeout_s` for the end of the stream; tell whether it has ended."""
        return self._closed.wait(timeout_s)

    def after(self, number: int, timeout_s: float | None = None) -> tuple[int, T] | None:
        """Return the newest value and its number once that is higher than `number` (from 0).

        None after `timeout_s`, or if the stream has ended.
        """
        with self._changed:
            self._changed.wait_for(
                lambda: self._number > number or self._closed.is_set(), timeout_s
            )
            if self._number <= number or self._value is None:
                return None
            return self._number, self._value

    def values(self) -> Iterator[T]:
        """Yield the newest value each time there is a newer one, until the end."""
        number = 0
        while (new := self.after(number)) is not None:
            number = new[0]
            yield new[1]


@contextlib.contextmanager
def following(
    latest: Latest[T],
    opening: Callable[[], AbstractContextManager[Callable[[T], None]]],
    *,
    complain: Callable[[str], None],
    patience_s: float = 1.0,
) -> Iterator[threading.Thread]:
    """Pass each newest value to the function that `opening` yields, in a thread of its own.

    The first error goes to `complain`, and `opening` is tried again after each. At the end the
    thread has `patience_s` to finish; one that is still alive then is stuck.
    """
    thread = threading.Thread(target=_follow, args=(latest, opening, complain), daemon=True)
    thread.start()
    try:
        yield thread
    finally:
        latest.close()
        thread.join(patience_s)


def _follow(
    latest: Latest[T],
    opening: Callable[[], AbstractContextManager[Callable[[T], None]]],
    complain: Callable[[str], None],
) -> None:
    complaint = ""
    while True:
        try:
            with opening() as use:
                for value in latest.values():
                    use(value)
            return
        except BaseException as error:  # rich leaves by SystemExit when a pipe is closed
            if not complaint:
                complaint = str(getattr(error, "strerror", None) or error or type(error).__name__)
                complain(complaint)
            if latest.wait_closed(_AGAIN_S):
                return


def finishes(work: Callable[[], object], patience_s: float = 1.0) -> bool:
    """Do `work` in a thread of its own; tell whether it ended within `patience_s`."""

    def quietly() -> None:
        with contextlib.suppress(OSError, ValueError):
            work()

    thread = threading.Thread(target=quietly, daemon=True)
    thread.start()
    thread.join(patience_s)
    return not thread.is_alive()


def to_stderr(text: str) -> None:
    """Write a line to stderr, unless it is closed."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        sys.stderr.write(f"wattsump: {text}\n")
        sys.stderr.flush()
