"""Runs the page's server beside a recording, hands it each newest screen, and takes what it asks.

All of it in threads that the recording never waits for; a server that ends is started again.
"""

import contextlib
import json
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import asdict
from functools import partial
from typing import IO

from wattsump_logger.phone.place import Place
from wattsump_logger.phone.state import line_of
from wattsump_logger.watch.keys import Action
from wattsump_logger.watch.moment import Screen

__all__ = ("Requests", "on_phones")

_MOST_ASKED = 64  # not yet looked at; of more, the oldest go
_ENDS_S = 1.0


class Requests:
    """What phones have asked for since it was last taken."""

    def __init__(self) -> None:
        self._actions: deque[Action] = deque(maxlen=_MOST_ASKED)

    def put(self, action: Action) -> None:
        """Take one from the thread that hears of it."""
        self._actions.append(action)

    def take(self) -> list[Action]:
        """Return what is there and forget it."""
        return [self._actions.popleft() for _ in range(len(self._actions))]


@contextlib.contextmanager
def on_phones(place: Place, requests: Requests) -> Iterator[Callable[[Screen], None]]:
    """Yield what shows a screen on every phone that has the page open.

    Raises
    ------
    OSError
        The server cannot listen there, or has ended.
    """
    with subprocess.Popen(
        [sys.executable, "-m", "wattsump_logger.phone.server"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        start_new_session=True,  # Ctrl-C is for the recording, and so is its share of processor
    ) as server:
        states, asked = server.stdin, server.stdout
        assert states is not None
        assert asked is not None
        try:
            # Not as an argument: those can be read by every user of the computer.
            _send(states, json.dumps(asdict(place) | {"name": place.name}))
            first = json.loads(asked.readline() or b"{}")
            if first.get("what") != "ready":
                text = first.get("text", "the server ended")
                raise OSError(f"the page for the phone, {place.name}: {text}")
            threading.Thread(target=_hear, args=(asked, requests), daemon=True).start()
            yield partial(_show, states)
        finally:
            with contextlib.suppress(OSError):
                states.close()
            try:
                server.wait(_ENDS_S)
            except subprocess.TimeoutExpired:
                server.kill()


def _show(states: IO[bytes], screen: Screen) -> None:
    _send(states, line_of(screen))


def _send(stream: IO[bytes], line: str) -> None:
    stream.write(line.encode() + b"\n")
    stream.flush()


def _hear(asked: IO[bytes], requests: Requests) -> None:
    for line in asked:
        found = json.loads(line)
        requests.put(Action(what=found["what"], text=found.get("text", "")))
