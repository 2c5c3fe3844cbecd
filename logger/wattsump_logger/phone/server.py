"""The server of the page: a process of its own, so that no client reaches the recording.

    python -m wattsump_logger.phone.server

Standard input brings lines of JSON: where to serve and the token, then states. Standard output
takes lines of requests. There are five addresses and nothing below them. A client without the
token can only read. A client that does not read is cut off; one state at most waits for it.
"""

import asyncio
import contextlib
import hmac
import json
import sys
import threading
import time
from collections import deque
from datetime import timedelta
from importlib.resources import files
from typing import Any, BinaryIO

from tornado import gen, httpserver, iostream, netutil, util, web

from wattsump_logger.errors import reason_of
from wattsump_logger.phone.hour import Hour
from wattsump_logger.watch.keys import LONGEST_NOTE, MARK_KEYS

__all__ = ("Board", "main", "serve")

MOST_CLIENTS = 64
MOST_OF_ONE = 8  # of one address: a few phones behind one router
STUCK_S = 10.0  # a client that takes nothing for this long is cut off
BEAT_S = 2.0  # something is sent at least this often, so that a dead link shows
LEAST_S = 0.2  # least time between two states
KNOCKS_IN_10_S = 30  # new links of one address
ASKED_IN_10_S = 60  # requests of one address; a page takes four, and one for each mark
ACTS_IN_10_S = 20
WRONG_TOKENS_IN_60_S = 10
MOST_BODY = 1024
MOST_ADDRESSES = 256
_MARKS = frozenset(MARK_KEYS.values())
_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}
_PAGE = {
    "/": ("page.html", "text/html; charset=utf-8"),
    "/page.css": ("page.css", "text/css; charset=utf-8"),
    "/page.js": ("page.js", "text/javascript; charset=utf-8"),
}


class Allowance:
    """A limit of `most` uses in a stretch of time."""

    def __init__(self, most: int, stretch_s: float) -> None:
        self._times_s: deque[float] = deque(maxlen=most)
        self._stretch_s = stretch_s

    def spent(self, now_s: float) -> bool:
        """Tell whether all are used up."""
        full = len(self._times_s) == self._times_s.maxlen
        return full and now_s - self._times_s[0] < self._stretch_s

    def spend(self, now_s: float) -> bool:
        """Use one; tell whether there was one."""
        if self.spent(now_s):
            return False
        self._times_s.append(now_s)
        return True


class Allowances:
    """An allowance for each of many addresses, of which the oldest are forgotten."""

    def __init__(self, most: int, stretch_s: float) -> None:
        self._most, self._stretch_s = most, stretch_s
        self._each: dict[str, Allowance] = {}

    def spend(self, address: str) -> bool:
        """Use one of an address; tell whether there was one."""
        if address not in self._each:
            if len(self._each) >= MOST_ADDRESSES:
                del self._each[next(iter(self._each))]
            self._each[address] = Allowance(self._most, self._stretch_s)
        return self._each[address].spend(time.monotonic())


class Board:
    """The newest state, the hour before it, and the clients that wait for a newer one."""

    def __init__(self, name: str, token: str, out: BinaryIO) -> None:
        self.name, self.token = name, token
        self.state: dict[str, Any] = {}
        self.number = 0
        self.hour = Hour()
        self.asked = Allowances(ASKED_IN_10_S, 10.0)
        self.acts = Allowance(ACTS_IN_10_S, 10.0)
        self.wrong = Allowance(WRONG_TOKENS_IN_60_S, 60.0)
        self._out = out
        self._newer = asyncio.Event()

    def put(self, state: dict[str, Any]) -> None:
        """Take a newer state and wake the clients that wait."""
        self.state, self.number = state, self.number + 1
        self.hour.take(state)
        self._newer.set()
        self._newer = asyncio.Event()

    async def newer(self, number: int) -> None:
        """Wait until there is a newer state than `number`, or for a beat."""
        if self.number <= number:
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._newer.wait(), BEAT_S)

    def act(self, what: dict[str, str]) -> None:
        """Pass a request on."""
        self._out.write(json.dumps(what).encode() + b"\n")
        self._out.flush()


class _Handler(web.RequestHandler):
    """Shared by all addresses: headers, the check of the host, short errors."""

    board: Board

    def initialize(self, board: Board) -> None:
        self.board = board

    def set_default_headers(self) -> None:
        self.clear_header("Server")
        for name, value in _HEADERS.items():
            self.set_header(name, value)

    def prepare(self) -> None:
        if not self.board.asked.spend(self.request.remote_ip or ""):
            raise web.HTTPError(429)
        # A foreign page may point its own name at this address; its requests then have that name.
        if self.request.host != self.board.name:
            raise web.HTTPError(403)

    def write_error(self, status_code: int, **kwargs: Any) -> None:
        self.set_header("Content-Type", "text/plain; charset=utf-8")
        self.finish(str(status_code))


class _Missing(_Handler):
    def prepare(self) -> None:
        raise web.HTTPError(404)


class _File(_Handler):
    def initialize(self, board: Board, body: bytes = b"", kind: str = "") -> None:
        super().initialize(board)
        self._body, self._kind = body, kind

    def get(self) -> None:
        self.set_header("Content-Type", self._kind)
        self.finish(self._body)


class _Live(_Handler):
    """Server-sent events (HTML standard, section 9.2): first the hour, then each newest state."""

    async def get(self) -> None:
        self.set_header("Content-Type", "text/event-stream; charset=utf-8")
        await self._send("hour", self.board.hour.curves())
        number = -1
        while True:
            # With its age, so that the page can show how old the newest state is.
            await self._send("now", self.board.state if self.board.number > number else None)
            number = self.board.number
            await asyncio.sleep(LEAST_S)
            await self.board.newer(number)

    async def _send(self, event: str, data: object) -> None:
        self.write(f"event: {event}\nretry: 1000\ndata: {json.dumps(data)}\n\n")
        try:
            await gen.with_timeout(timedelta(seconds=STUCK_S), self.flush())
        except (util.TimeoutError, iostream.StreamClosedError):
            with contextlib.suppress(AttributeError):
                self.request.connection.stream.close()  # type: ignore[union-attr]
            raise web.Finish from None


class _Act(_Handler):
    """A mark, "seen" or "go on" from a client with the token."""

    def post(self) -> None:
        now_s = time.monotonic()
        if self.board.wrong.spent(now_s):
            raise web.HTTPError(429)
        given = self.request.headers.get("Authorization", "")
        # No form of another page can send this header, and no cross-origin script may.
        if not hmac.compare_digest(given.encode(), f"Bearer {self.board.token}".encode()):
            self.board.wrong.spend(now_s)
            raise web.HTTPError(401)
        if not self.board.acts.spend(now_s):
            raise web.HTTPError(429)
        what = _asked(self.request.body)
        if what is None:
            raise web.HTTPError(400)
        self.board.act(what)
        self.set_status(204)
        self.finish()


def _asked(body: bytes) -> dict[str, str] | None:
    """Return the request; None for anything without a button."""
    try:
        asked = json.loads(body)
    except (ValueError, RecursionError):
        return None
    what, text = (asked.get("what"), asked.get("text", "")) if isinstance(asked, dict) else ("", "")
    if not isinstance(text, str):
        return None
    if what in ("seen", "go_on"):
        return {"what": str(what), "text": ""}
    if what == "mark" and text in _MARKS:
        return {"what": "mark", "text": text}
    if what == "note" and text.strip() and text.isprintable() and len(text) <= LONGEST_NOTE:
        return {"what": "mark", "text": f"note: {text.strip()}"}
    return None


class _Door(httpserver.HTTPServer):
    """Limits the clients at one time, in all and of one address."""

    def initialize(self, *args: Any, **kwargs: Any) -> None:
        super().initialize(*args, **kwargs)
        self._inside: list[tuple[iostream.IOStream, str]] = []
        self._knocks = Allowances(KNOCKS_IN_10_S, 10.0)

    def handle_stream(self, stream: iostream.IOStream, address: Any) -> None:
        self._inside = [client for client in self._inside if not client[0].closed()]
        of_one = sum(name == address[0] for _, name in self._inside)
        is_full = len(self._inside) >= MOST_CLIENTS or of_one >= MOST_OF_ONE
        if is_full or not self._knocks.spend(address[0]):
            stream.close()
            return
        self._inside.append((stream, address[0]))
        super().handle_stream(stream, address)


def serve(board: Board, address: str, port: int) -> httpserver.HTTPServer:
    """Listen at one address.

    Raises
    ------
    OSError
        The address is not this computer's, or the port is taken.
    """
    folder = files("wattsump_logger.phone").joinpath("page")
    pages = [
        (at, _File, {"board": board, "body": folder.joinpath(name).read_bytes(), "kind": kind})
        for at, (name, kind) in _PAGE.items()
    ]
    asked = {"board": board}
    application = web.Application(
        [*pages, ("/live", _Live, asked), ("/act", _Act, asked)],
        default_handler_class=_Missing,
        default_handler_args=asked,
        log_function=lambda handler: None,
    )
    server = _Door(
        application,
        idle_connection_timeout=30.0,
        body_timeout=5.0,
        max_header_size=8192,
        max_body_size=MOST_BODY,
        max_buffer_size=16384,
        chunk_size=4096,
    )
    server.add_sockets(netutil.bind_sockets(port, address))
    return server


async def _run(states: BinaryIO, out: BinaryIO) -> None:
    asked = json.loads(states.readline())
    board = Board(asked["name"], asked["token"], out)
    try:
        serve(board, asked["host"], asked["port"])
    except OSError as error:
        board.act({"what": "error", "text": reason_of(error)})
        return
    board.act({"what": "ready"})
    over = asyncio.Event()
    loop = asyncio.get_running_loop()

    def read() -> None:
        for line in states:
            loop.call_soon_threadsafe(board.put, json.loads(line))
        loop.call_soon_threadsafe(over.set)

    threading.Thread(target=read, daemon=True).start()
    await over.wait()


def _humble() -> None:
    """Take a low priority and few files, where the system has such limits."""
    with contextlib.suppress(ImportError, OSError, ValueError, AttributeError):
        import os
        import resource

        os.nice(10)
        resource.setrlimit(resource.RLIMIT_NOFILE, (2 * MOST_CLIENTS, 2 * MOST_CLIENTS))


def main() -> None:
    """Serve until standard input ends; Ctrl-C is for the recording."""
    import logging
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    logging.getLogger("tornado").setLevel(logging.CRITICAL)
    _humble()
    asyncio.run(_run(sys.stdin.buffer, sys.stdout.buffer))


if __name__ == "__main__":
    main()
