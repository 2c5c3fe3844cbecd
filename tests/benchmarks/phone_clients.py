"""A recording with the page for the phone and 50 clients that mean no good, beside one without.

    python tests/benchmarks/phone_clients.py [seconds]

Frames go through a terminal port ten times a second, each noted when it is sent; a row counts
as kept when the session file on the disk shows it. Told are rows lost, the time from the frame to
its row (median, 99th of a hundred, longest), the same to a phone that reads the live states, and
the most memory of recorder and server. The
clients have 50 addresses (127.0.0.2 and on, so this runs on Linux only): ten connect and say
nothing, ten send their head a byte a second, ten ask for the live states and never read, ten ask
for the page without end, five guess tokens, five send noise.
"""

import contextlib
import http.client
import json
import multiprocessing
import os
import random
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import tty
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from wattsump_logger.bench.controller import EmulatedController
from wattsump_logger.wire.events import WireChannel

_PERIOD_MS = 100
_CHANNELS = [WireChannel(name=f"t{i}", source="max31855", detail="K") for i in range(8)]
_START = "from wattsump_analysis.commands.program import main; main()"
_READY_S = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What one recording came to."""

    sent: int
    kept: int
    latencies_s: tuple[float, ...]
    to_phone_s: tuple[float, ...]
    recorder_mb: float
    server_mb: float

    @property
    def late_s(self) -> float:
        """The time that 99 of a hundred rows keep."""
        return sorted(self.latencies_s)[int(0.99 * len(self.latencies_s))]


def _source(elapsed_s: float) -> dict[str, float | str | None]:
    return {channel.name: 40 + i + elapsed_s / 10 for i, channel in enumerate(_CHANNELS)}


def _send(handle: int, frames: int, sent_s: dict[int, float]) -> None:
    controller = EmulatedController(_source, _CHANNELS, period_ms=_PERIOD_MS)
    began_s = time.monotonic()
    for number in range(frames):
        time.sleep(max(0.0, began_s + number * _PERIOD_MS / 1000 - time.monotonic()))
        pieces = controller.until((number + 1) * _PERIOD_MS / 1000)
        sent_s[number] = time.monotonic()
        for piece in pieces:
            os.write(handle, piece)


def _watch(session: Path, frames: int, kept_s: list[float], over: threading.Event) -> None:
    """Note when each row of the session shows on the disk."""
    held = b""
    while not over.is_set() and len(kept_s) < frames:
        time.sleep(0.001)
        if not session.exists():
            continue
        with session.open("rb") as file:
            file.seek(len(held))
            held += file.read()
        rows = max(0, held.count(b"\n") - 1)  # less the head
        kept_s += [time.monotonic()] * (rows - len(kept_s))


def _read(port: int, shown_s: dict[int, float], over: threading.Event) -> None:
    """Note when a phone is first told of so many rows, as a browser is: by an event each."""
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=30.0)
    link.request("GET", "/live")
    for line in link.getresponse():
        if line.startswith(b"data: {"):
            shown_s.setdefault(json.loads(line[6:])["row_count"], time.monotonic())
        if over.is_set():
            break
    link.close()


def _waits(sent_s: dict[int, float], shown_s: list[tuple[int, float]]) -> Iterator[float]:
    """Yield the time from each frame to the first state that holds its row."""
    for number, at_s in sent_s.items():
        for rows, seen_s in shown_s:
            if rows > number:
                yield seen_s - at_s
                break


def _most_mb(process_id: int) -> float:
    """Return the most memory a process has held (proc(5), VmHWM)."""
    with contextlib.suppress(OSError):
        for line in Path(f"/proc/{process_id}/status").read_text("ascii").splitlines():
            if line.startswith("VmHWM"):
                return int(line.split()[1]) / 1024
    return 0.0


def _children(process_id: int) -> list[int]:
    path = Path(f"/proc/{process_id}/task/{process_id}/children")
    found = [path.read_text("ascii")] if path.exists() else []
    for task in Path(f"/proc/{process_id}/task").iterdir():
        found.append((task / "children").read_text("ascii"))
    return sorted({int(word) for text in found for word in text.split()})


def record(seconds: float, port: int | None) -> Run:
    """Record for so long, with the page at `port` and its clients, or without."""
    frames = round(seconds * 1000 / _PERIOD_MS)
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    sent_s: dict[int, float] = {}
    kept_s: list[float] = []
    shown_s: dict[int, float] = {}
    over = threading.Event()
    with tempfile.TemporaryDirectory() as folder, contextlib.ExitStack() as clients:
        words = [sys.executable, "-c", _START, "log", os.ttyname(theirs), "--out", folder]
        words += ["--name", "a", "--plain"]
        words += [] if port is None else ["--phone", f"127.0.0.1:{port}"]
        quiet = subprocess.DEVNULL
        recorder = subprocess.Popen(words, stdout=quiet, stderr=quiet)
        time.sleep(3.0)
        if port is not None:
            _until_it_listens(port)
            clients.enter_context(hostile(port))
            threading.Thread(target=_read, args=(port, shown_s, over), daemon=True).start()
        session = Path(folder) / "a.csv"
        watching = threading.Thread(target=_watch, args=(session, frames, kept_s, over))
        watching.start()
        _send(ours, frames, sent_s)
        watching.join(10.0)
        over.set()
        recorder_mb = _most_mb(recorder.pid)
        server_mb = sum(map(_most_mb, _children(recorder.pid)))
        recorder.terminate()
        recorder.wait(30)
    os.close(ours)
    os.close(theirs)
    latencies_s = tuple(at_s - sent_s[number] for number, at_s in enumerate(kept_s))
    return Run(
        sent=frames,
        kept=len(kept_s),
        latencies_s=latencies_s,
        to_phone_s=tuple(_waits(sent_s, sorted(shown_s.items()))),
        recorder_mb=recorder_mb,
        server_mb=server_mb,
    )


def _until_it_listens(port: int) -> None:
    until_s = time.monotonic() + _READY_S
    while time.monotonic() < until_s:
        with contextlib.suppress(OSError):
            socket.create_connection(("127.0.0.1", port), 1.0).close()
            return
        time.sleep(0.05)
    raise SystemExit("the page never came")


@contextlib.contextmanager
def hostile(port: int) -> Iterator[None]:
    """Keep 50 clients at the page, in a process of their own."""
    process = multiprocessing.get_context("spawn").Process(target=_all, args=(port,), daemon=True)
    process.start()
    time.sleep(1.5)
    try:
        yield
    finally:
        process.kill()
        process.join()


def _all(port: int) -> None:
    # In the field they are other computers, and take no processor from this one.
    os.setsid()
    os.nice(19)
    kinds = [_silent] * 10 + [_slow] * 10 + [_stuck] * 10 + [_greedy] * 10 + [_guess] * 5
    kinds += [_noise] * 5
    for number, kind in enumerate(kinds):
        thread = threading.Thread(target=_again, args=(kind, port, f"127.0.0.{number + 2}"))
        thread.daemon = True
        thread.start()
    threading.Event().wait()


def _again(kind: Callable[[socket.socket, int], None], port: int, source: str) -> None:
    while True:
        with contextlib.suppress(OSError, http.client.HTTPException):
            link = socket.create_connection(("127.0.0.1", port), 30.0, (source, 0))
            with link:
                kind(link, port)
        time.sleep(0.01)


def _silent(link: socket.socket, port: int) -> None:
    link.recv(1)


def _slow(link: socket.socket, port: int) -> None:
    for byte in b"GET / HTTP/1.1\r\nHost: " + b"x" * 5000:
        link.sendall(bytes([byte]))
        time.sleep(1.0)


def _stuck(link: socket.socket, port: int) -> None:
    link.sendall(f"GET /live HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
    time.sleep(60.0)


def _greedy(link: socket.socket, port: int) -> None:
    asked = f"GET /page.js HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode()
    while True:
        link.sendall(asked)
        if not link.recv(65536):
            return


def _guess(link: socket.socket, port: int) -> None:
    head = f"POST /act HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nAuthorization: Bearer x\r\n"
    asked = f"{head}Content-Length: 2\r\n\r\n{{}}".encode()
    while True:
        link.sendall(asked)
        if not link.recv(65536):
            return


def _noise(link: socket.socket, port: int) -> None:
    link.sendall(random.randbytes(100_000))
    link.recv(1)


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port: int = one.getsockname()[1]
        return port


def ratios(seconds: float = 20.0) -> dict[str, float]:
    """Return a recording with page and clients over one without."""
    without, beside = record(seconds, None), record(seconds, _free_port())
    if beside.kept < beside.sent:
        raise SystemExit(f"{beside.sent - beside.kept} rows lost beside the page")
    return {
        "median time from frame to row with the page and 50 hostile clients, over without": (
            statistics.median(beside.latencies_s) / statistics.median(without.latencies_s)
        ),
        "memory of a recording with the page and 50 hostile clients, over without": (
            beside.recorder_mb / without.recorder_mb
        ),
    }


def _to_phone(run: Run) -> str:
    if not run.to_phone_s:
        return ""
    middle, longest = statistics.median(run.to_phone_s), max(run.to_phone_s)
    return f"frame to phone {1000 * middle:.0f} ms median, {1000 * longest:.0f} ms longest; "


def main() -> None:
    """Tell both runs."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    for name, port in (("without the page", None), ("page and 50 hostile clients", _free_port())):
        run = record(seconds, port)
        print(
            f"{name}: {run.sent - run.kept} of {run.sent} rows lost; frame to row "
            f"{1000 * statistics.median(run.latencies_s):.1f} ms median, "
            f"{1000 * run.late_s:.1f} ms 99 of 100, {1000 * max(run.latencies_s):.1f} ms longest; "
            + _to_phone(run)
            + f"recorder {run.recorder_mb:.0f} MB, server {run.server_mb:.0f} MB"
        )


if __name__ == "__main__":
    main()
