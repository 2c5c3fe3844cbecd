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
from typing import IO

from wattsump_logger.phone.place import Place
from wattsump_logger.phone.state import line_of
from wattsump_logger.watch.keys import Action
from wattsump_logger.watch.watch import Screen

__all__ = ("Asked", "on_phones")

_MOST_ASKED = 64  # not yet looked at; of more, the oldest go


class Asked:
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
def on_phones(place: Place, token: str, asked: Asked) -> Iterator[Callable[[Screen], None]]:
    """Yield what shows a screen on every phone that has the page open.

    Raises
    ------
    OSError
        The server cannot listen there, or has ended.
    """
    server = subprocess.Popen(
        [sys.executable, "-m", "wattsump_logger.phone.server"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    assert server.stdin is not None
    assert server.stdout is not None
    try:
        # Not as an argument: those can be read by every user of the computer.
        begin = {"address": place.host, "port": place.port, "host": place.name, "token": token}
        _send(server.stdin, json.dumps(begin))
        first = json.loads(server.stdout.readline() or b"{}")
        if first.get("what") != "ready":
            raise OSError(f"the page for the phone, {place.name}: {first.get('text', 'ended')}")
        threading.Thread(target=_hear, args=(server.stdout, asked), daemon=True).start()
        yield lambda screen: _send(server.stdin, line_of(screen))
    finally:
        with contextlib.suppress(OSError):
            server.stdin.close()
        try:
            server.wait(1.0)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


def _send(stream: IO[bytes] | None, line: str) -> None:
    assert stream is not None
    stream.write(line.encode() + b"\n")
    stream.flush()


def _hear(stream: IO[bytes], asked: Asked) -> None:
    with stream:
        for line in stream:
            found = json.loads(line)
            asked.put(Action(what=found["what"], text=found.get("text", "")))
