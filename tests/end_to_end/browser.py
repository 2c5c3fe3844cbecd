"""A headless Chromium for tests, spoken to over a pair of pipes in its own debugging protocol.

No driver program and no port: `--remote-debugging-pipe` reads JSON messages that end in NUL on
descriptor 3 and writes them on 4 (Chrome DevTools Protocol, stable domains only).
"""

import base64
import fcntl
import json
import os
import select
import shutil
import signal
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

__all__ = ("WCAG", "Browser", "Seen", "chromium", "need_chromium", "running")

# axe-core's names for the success criteria of WCAG 2.0 and 2.1, levels A and AA, and for what
# its makers call good practice.
WCAG = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice")
SLOWEST_S = 60.0
_QUIET = (
    "--headless",
    "--no-sandbox",  # tests may run as root, and open only pages of ours
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--remote-debugging-pipe",
)


def chromium() -> str | None:
    """Return the path of a Chromium, None if there is none."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


def need_chromium() -> str:
    """Return the path of a Chromium, or skip the test; where CI is set, fail it."""
    path = chromium()
    if path is not None:
        return path
    if os.environ.get("CI"):
        pytest.fail("needs chromium, and CI promises one; install the package chromium")
    pytest.skip("needs chromium; install the package chromium to run this")


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What a page did while it loaded: complaints on the console, and addresses asked for."""

    complaints: tuple[str, ...]
    addresses: tuple[str, ...]


class Browser:
    """One page of a running Chromium."""

    def __init__(self, to_browser: int, from_browser: int) -> None:
        self._to, self._from = to_browser, from_browser
        self._held = b""
        self._number = 0
        self._session: str | None = None
        self._events: list[dict[str, Any]] = []
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        attached = self.call("Target.attachToTarget", targetId=target, flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **params: object) -> dict[str, Any]:
        """Send one command and return its result; events that come meanwhile are kept."""
        self._number += 1
        message: dict[str, object] = {"id": self._number, "method": method, "params": params}
        if self._session is not None:
            message["sessionId"] = self._session
        _write_all(self._to, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") != self._number:
                self._events.append(answer)
                continue
            if "error" in answer:
                raise AssertionError(f"{method}: {answer['error']}")
            result = answer["result"]
            assert isinstance(result, dict)
            return result

    def open(self, page: Path, *, width: int, scheme: str, media: str = "screen") -> Seen:
        """Open a file at a width in pixels, in a colour scheme, and return what it did."""
        self.look(scheme=scheme, media=media)
        self.visit(page.as_uri(), width=width)
        return self.seen()

    def visit(self, url: str, *, width: int) -> None:
        """Open an address at a width in pixels and wait until it is loaded."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=844,
            deviceScaleFactor=1,
            mobile=False,
        )
        self._events.clear()
        self.call("Page.navigate", url=url)
        while not any(event.get("method") == "Page.loadEventFired" for event in self._events):
            self._events.append(self._next())

    def seen(self) -> Seen:
        """Return what the page has done since it was opened."""
        # One more answer, so that whatever the page said before it has been read.
        self.value("1")
        return Seen(
            complaints=tuple(_complaints(self._events)),
            addresses=tuple(
                event["params"]["request"]["url"]
                for event in self._events
                if event.get("method") == "Network.requestWillBeSent"
            ),
        )

    def look(self, *, scheme: str, media: str = "screen") -> None:
        """Set the colour scheme a reader prefers, and screen or print."""
        feature = {"name": "prefers-color-scheme", "value": scheme}
        self.call("Emulation.setEmulatedMedia", media=media, features=[feature])

    def value(self, expression: str) -> Any:
        """Evaluate an expression in the page, waiting for a promise, and return plain data."""
        found = self.call(
            "Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True
        )
        assert "exceptionDetails" not in found, found["exceptionDetails"]
        return found["result"].get("value")

    def violations(self, rules: Sequence[str] = WCAG) -> list[str]:
        """Return what axe-core finds wrong with the page, a line for each element."""
        self.value(files("axe_core_python").joinpath("axe.min.js").read_text("utf-8") + "; 1")
        options = json.dumps({"runOnly": list(rules), "resultTypes": ["violations"]})
        found = self.value(f"axe.run(document, {options})")
        return [
            f"{rule['id']}: {node['html'][:160]}: {node.get('failureSummary', '')}"
            for rule in found["violations"]
            for node in rule["nodes"]
        ]

    def picture(self, *, whole: bool = True) -> bytes:
        """Return the page as PNG."""
        shot = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        return base64.b64decode(shot["data"])

    def printed(self) -> bytes:
        """Return the page as it prints on A4, as PDF."""
        sheet = self.call(
            "Page.printToPDF", preferCSSPageSize=True, paperWidth=8.27, paperHeight=11.69
        )
        return base64.b64decode(sheet["data"])

    def _next(self) -> dict[str, Any]:
        until_s = time.monotonic() + SLOWEST_S
        while b"\0" not in self._held:
            ready, _, _ = select.select([self._from], [], [], max(until_s - time.monotonic(), 0))
            part = os.read(self._from, 1 << 20) if ready else b""
            if not part:
                raise AssertionError("the browser went away or said nothing for a minute")
            self._held += part
        message, _, self._held = self._held.partition(b"\0")
        found = json.loads(message)
        assert isinstance(found, dict)
        return found


@contextmanager
def running(folder: Path) -> Iterator[Browser]:
    """Run a Chromium that keeps its profile and its log in `folder`."""
    path = need_chromium()
    child_reads, we_write = _high_pipe()
    we_read, child_writes = _high_pipe()
    said = os.open(folder / "browser.log", os.O_WRONLY | os.O_CREAT, 0o600)
    pid = os.posix_spawn(
        path,
        [path, *_QUIET, f"--user-data-dir={folder / 'profile'}"],
        {**os.environ, "HOME": str(folder)},
        file_actions=[
            (os.POSIX_SPAWN_DUP2, child_reads, 3),
            (os.POSIX_SPAWN_DUP2, child_writes, 4),
            (os.POSIX_SPAWN_DUP2, said, 1),
            (os.POSIX_SPAWN_DUP2, said, 2),
        ],
        setpgroup=0,
    )
    for end in (child_reads, child_writes, said):
        os.close(end)
    try:
        yield Browser(we_write, we_read)
    finally:
        os.close(we_write)
        os.close(we_read)
        os.killpg(pid, signal.SIGKILL)
        os.waitpid(pid, 0)


def _high_pipe() -> tuple[int, int]:
    """Return a pipe whose ends keep clear of 3 and 4, which the browser wants for itself."""
    low = os.pipe()
    high = tuple(fcntl.fcntl(end, fcntl.F_DUPFD_CLOEXEC, 10) for end in low)
    for end in low:
        os.close(end)
    return high[0], high[1]


def _write_all(end: int, message: bytes) -> None:
    while message:
        message = message[os.write(end, message) :]


def _complaints(events: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    for event in events:
        method, params = event.get("method"), event.get("params", {})
        if method == "Runtime.exceptionThrown":
            yield str(params["exceptionDetails"]["text"])
        elif method == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning"):
            yield str(params["args"])
        elif method == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
            yield str(params["entry"]["text"])
