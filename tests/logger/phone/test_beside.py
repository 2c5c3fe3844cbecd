"""The server as it runs beside a recording: what it gives, what it refuses, what it hands on."""

import contextlib
import http.client
import json
import re
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

import pytest

from wattsump_logger.phone import server
from wattsump_logger.phone.beside import Requests, on_phones
from wattsump_logger.phone.place import Place
from wattsump_logger.watch.keys import Action
from wattsump_logger.watch.moment import Gauge, Screen

PATIENCE_S = 30.0
TOKEN = "aB3_" * 4


class Heard(Requests):
    """Requests that a test can wait for."""

    def __init__(self) -> None:
        super().__init__()
        self.new = threading.Event()

    def put(self, action: Action) -> None:
        super().put(action)
        self.new.set()


@dataclass(frozen=True, slots=True, kw_only=True)
class Served:
    """A running server, what shows it a screen, and what it has asked for."""

    place: Place
    show: Callable[[Screen], None]
    heard: Heard

    def ask(
        self, method: str, path: str, body: bytes | None = None, **headers: str
    ) -> tuple[int, Mapping[str, str], bytes]:
        link = http.client.HTTPConnection(self.place.host, self.place.port, timeout=PATIENCE_S)
        try:
            link.request(method, path, body, headers)
            reply = link.getresponse()
            return reply.status, dict(reply.getheaders()), reply.read()
        finally:
            link.close()

    def act(self, what: object, token: str = TOKEN) -> int:
        body = what if isinstance(what, bytes) else json.dumps(what).encode()
        return self.ask("POST", "/act", body, Authorization=f"Bearer {token}")[0]

    def raw(self, data: bytes, source: str = "127.0.0.1") -> socket.socket:
        link = socket.create_connection(
            (self.place.host, self.place.port), PATIENCE_S, source_address=(source, 0)
        )
        link.sendall(data)
        return link


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port: int = one.getsockname()[1]
        return port


@pytest.fixture
def served() -> Iterator[Served]:
    place = Place(host="127.0.0.1", port=free_port(), token=TOKEN)
    heard = Heard()
    with on_phones(place, heard) as show:
        yield Served(place=place, show=show, heard=heard)


def events(link: socket.socket, number: int) -> list[tuple[str, Any]]:
    """Read so many events of a stream (HTML standard, 9.2.6: a blank line ends each)."""
    held = b""
    found: list[tuple[str, Any]] = []
    while len(found) < number:
        part = link.recv(65536)
        assert part, "the stream ended"
        held += part
        for block in re.findall(rb"event: (\w+)\nretry: \d+\ndata: (.*)\n\n", held):
            found.append((block[0].decode(), json.loads(block[1])))
        held = held[held.rfind(b"\n\n") + 2 :] if found else held
    return found


def test_the_page_and_its_two_files_come_with_a_policy_that_lets_nothing_else_run(
    served: Served,
) -> None:
    for path, kind in (("/", "text/html"), ("/page.js", "text/javascript"), ("/page.css", "text")):
        status, headers, body = served.ask("GET", path)
        assert (status, headers["Content-Type"].startswith(kind), bool(body)) == (200, True, True)
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert not {"Access-Control-Allow-Origin", "Server", "Set-Cookie"} & headers.keys()
        assert not re.search(rb"https?://(?!www\.w3\.org/2000/svg)", body)
        assert b"innerHTML" not in body
        assert not re.search(rb"\son\w+=|style=", body)


@pytest.mark.parametrize(
    "path",
    ["/..%2f..%2fetc/passwd", "/../server.py", "/page/page.html", "//", "/live/x", "/act?x=1/"],
)
def test_there_is_no_path_behind_any_address(served: Served, path: str) -> None:
    status, _, body = served.ask("GET", path)
    assert status in (404, 405)
    assert len(body) <= 3


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "POST"])
def test_nothing_can_be_put_and_no_other_origin_is_told_that_it_may(
    served: Served, method: str
) -> None:
    status, headers, _ = served.ask(method, "/", b"x", Origin="http://elsewhere.example")
    assert status == 405
    assert not [name for name in headers if name.startswith("Access-Control")]


def test_a_name_that_somebody_pointed_here_is_refused(served: Served) -> None:
    assert served.ask("GET", "/", Host="elsewhere.example")[0] == 403
    assert served.ask("POST", "/act", b"{}", Host="elsewhere.example")[0] == 403


def test_a_state_is_pushed_to_several_phones_with_the_hour_before_it(served: Served) -> None:
    wanted = b"GET /live HTTP/1.1\r\nHost: " + served.place.name.encode() + b"\r\n\r\n"
    served.show(Screen(elapsed_s=3.0, gauges=(Gauge(name="tank", value_c=61.5),)))
    for phone in (served.raw(wanted), served.raw(wanted)):
        with phone:
            (first, curves), (second, _) = events(phone, 2)[:2]
            assert (first, second) == ("hour", "now")
            assert curves in ([], [[0.0, {"tank": 61.5}]])
            served.show(Screen(elapsed_s=4.0, gauges=(Gauge(name="tank", value_c=62.25),)))
            seen: list[object] = []
            while 62.25 not in seen:
                found = [data for name, data in events(phone, 1) if name == "now" and data]
                seen += [gauge["value_c"] for data in found for gauge in data["gauges"]]


def test_marks_seen_and_go_on_are_handed_on_for_the_token_alone(served: Served) -> None:
    wanted = [
        ({"what": "mark", "text": "climb"}, Action(what="mark", text="climb")),
        ({"what": "note", "text": " mud on core "}, Action(what="mark", text="note: mud on core")),
        ({"what": "seen"}, Action(what="seen")),
        ({"what": "go_on"}, Action(what="go_on")),
    ]
    assert served.act({"what": "mark", "text": "climb"}, token="guess") == 401
    assert served.ask("POST", "/act", b'{"what": "seen"}')[0] == 401
    for asked, action in wanted:
        served.heard.new.clear()
        assert served.act(asked) == 204
        assert served.heard.new.wait(PATIENCE_S)
        assert served.heard.take() == [action]


@pytest.mark.parametrize(
    "what",
    [
        {"what": "mark", "text": "anything"},
        {"what": "poster"},
        {"what": "note", "text": ""},
        {"what": "note", "text": "two\nlines"},
        {"what": "note", "text": "n" * 121},
        {"what": "note", "text": ["x"]},
        {"what": {}},
        {"what": "mark", "text": {}},
        [],
        b"no json",
        b"[" * 1000,
    ],
)
def test_what_no_button_asks_for_is_refused_and_reaches_nobody(
    served: Served, what: object
) -> None:
    assert served.act(what) == 400
    assert served.heard.take() == []


def test_a_body_or_a_head_too_long_is_cut_off(served: Served) -> None:
    host = served.place.name.encode()
    long = b"POST /act HTTP/1.1\r\nHost: " + host + b"\r\nContent-Length: 5000\r\n\r\n"
    with served.raw(long + b"x" * 5000) as link:
        assert b" 204 " not in link.recv(4096)
    head = b"GET / HTTP/1.1\r\nX: " + b"x" * 20_000 + b"\r\n\r\n"
    with served.raw(head) as link, contextlib.suppress(ConnectionResetError):
        assert not link.recv(4096).startswith(b"HTTP/1.1 200")
    assert served.ask("GET", "/")[0] == 200


def test_marks_without_end_are_stopped(served: Served) -> None:
    answers = [served.act({"what": "seen"}) for _ in range(server.ACTS_IN_10_S + 2)]
    assert answers == [204] * server.ACTS_IN_10_S + [429, 429]


def test_guesses_at_the_token_are_stopped(served: Served) -> None:
    answers = [served.act({}, token="guess") for _ in range(server.WRONG_TOKENS_IN_60_S + 2)]
    assert answers == [401] * server.WRONG_TOKENS_IN_60_S + [429, 429]


def test_one_address_cannot_ask_or_knock_without_end(served: Served) -> None:
    wanted = f"GET /page.css HTTP/1.1\r\nHost: {served.place.name}\r\n\r\n".encode()
    with served.raw(wanted * (server.ASKED_IN_10_S + 5)) as link:
        held = b""
        while held.count(b"HTTP/1.1 ") < server.ASKED_IN_10_S + 5:
            held += link.recv(65536)
    assert held.count(b"HTTP/1.1 200") == server.ASKED_IN_10_S
    assert held.count(b"HTTP/1.1 429") == 5
    turned_away = 0
    for _ in range(server.KNOCKS_IN_10_S + 1):
        with contextlib.suppress(ConnectionResetError), served.raw(b"") as link:
            link.settimeout(0.2)
            with contextlib.suppress(TimeoutError):
                turned_away += link.recv(1) == b""
    assert turned_away > 0
    # Another address is none the worse for it.
    with served.raw(wanted, source="127.0.0.9") as link:
        assert link.recv(65536).startswith(b"HTTP/1.1 200")


def test_one_address_gets_so_many_links_and_no_more_and_gets_them_back(served: Served) -> None:
    held = [served.raw(b"GET /") for _ in range(server.MOST_OF_ONE)]
    with served.raw(b"") as more, contextlib.suppress(ConnectionResetError):
        assert more.recv(10) == b""
    for link in held:
        link.close()
    pause = threading.Event()
    for _ in range(100):  # the server hears of each end by itself
        with contextlib.suppress(OSError, http.client.HTTPException):
            if served.ask("GET", "/")[0] == 200:
                return
        pause.wait(0.05)
    raise AssertionError("links that ended are still counted")


def test_a_client_that_never_reads_leaves_the_others_their_states(served: Served) -> None:
    wanted = b"GET /live HTTP/1.1\r\nHost: " + served.place.name.encode() + b"\r\n\r\n"
    stuck = [served.raw(wanted) for _ in range(5)]
    with served.raw(wanted) as reader:
        for number in range(20):
            served.show(Screen(faults=("x" * 5000,), row_count=number))
        seen = 0
        while seen < 19:
            found = [data for name, data in events(reader, 1) if name == "now" and data]
            seen = max([seen, *(data["row_count"] for data in found)])
    for link in stuck:
        link.close()


def test_an_address_that_is_not_this_computers_is_told_with_the_reason() -> None:
    # 192.0.2.0/24 is nobody's (RFC 5737)
    place = Place(host="192.0.2.1", port=free_port(), token=TOKEN)
    with (
        pytest.raises(OSError, match=r"192\.0\.2\.1:\d+: Cannot assign"),
        on_phones(place, Requests()),
    ):
        raise AssertionError("nobody can listen there")


def test_an_allowance_comes_back_with_time() -> None:
    allowance = server.Allowance(2, 10.0)
    assert [allowance.spend(at_s) for at_s in (0.0, 1.0, 2.0, 9.9, 10.0, 10.5, 11.0)] == [
        True, True, False, False, True, False, True,
    ]  # fmt: skip


def test_ctrl_c_in_the_servers_own_group_neither_ends_it_nor_is_complained_about() -> None:
    place = Place(host="127.0.0.1", port=free_port(), token=TOKEN)
    with subprocess.Popen(
        [sys.executable, "-m", "wattsump_logger.phone.server"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as run:
        assert run.stdin is not None
        assert run.stdout is not None
        run.stdin.write(json.dumps(asdict(place) | {"name": place.name}).encode() + b"\n")
        run.stdin.flush()
        assert json.loads(run.stdout.readline())["what"] == "ready"
        run.send_signal(signal.SIGINT)
        out, complaint = run.communicate(timeout=PATIENCE_S)  # its input ends, and so does it
    assert (out, complaint, run.returncode) == (b"", b"", 0)
