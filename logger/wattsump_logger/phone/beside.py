"""Runs the page's server, sends it each newest screen, and takes the phones' requests.

The recording never waits for these threads; a server that ends is started again.
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

_MOST_ASKED = 64  # waiting; of more, the oldest are dropped
_ENDS_S = 1.0


class Requests:
    """Requests of phones that the watch has not taken yet."""

    def __init__(self) -> None:
        self._actions: deque[Action] = deque(maxlen=_MOST_ASKED)

    def put(self, action: Action) -> None:
        """Add a request."""
        self._actions.append(action)

    def take(self) -> list[Action]:
        """Return the requests and forget them."""
        return [self._actions.popleft() for _ in range(len(self._actions))]


@contextlib.contextmanager
def on_phones(place: Place, requests: Requests) -> Iterator[Callable[[Screen], None]]:
    """Yield a function that shows a screen on every phone with the page open.

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
            # Not as an argument: every user of the computer can read those.
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
        request = json.loads(line)
        requests.put(Action(what=request["what"], text=request.get("text", "")))
