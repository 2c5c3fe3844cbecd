"""The capture loop: from a port to `<name>.wire` and `<name>.csv`, outing by outing.

Bytes go to the wire file first and to the session next; both are handed to the operating
system at once and synced to the disk every few seconds. A silence longer than asked for ends
an outing; the next bytes begin another. A full disk does not end a capture: `WireWriter` and
`Recorder` say what waits and what is dropped.
"""

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

from wattsump_logger.capture.clock import Anchor, Clock, HostClock
from wattsump_logger.capture.link import Link, PortSource
from wattsump_logger.capture.recorder import Recorder, checked_name, first_free
from wattsump_logger.capture.timeline import CLOCK_SET_FROM_MS
from wattsump_logger.capture.wirefile import FIRST_LINE, Chunk, HostNote, WireItem, WireWriter
from wattsump_logger.errors import PortError, SessionError, reason_of
from wattsump_logger.machine.profile import Profile
from wattsump_logger.session.appendfile import AppendFile
from wattsump_logger.session.keeper import Keeper
from wattsump_logger.session.rows import Row
from wattsump_logger.session.writer import free_path
from wattsump_logger.wire.frames import find_hello

__all__ = ("Captured", "Outing", "Status", "free_name", "run", "stop_on_signals")

_WAIT_S = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    """The state of a capture, for the screen."""

    port: str
    is_open: bool
    name: str
    row_count: int = 0
    elapsed_s: float | None = None
    silent_s: float = 0.0
    values: Mapping[str, str] = field(default_factory=dict)
    fault: str = ""
    counts: Mapping[str, int] = field(default_factory=dict)
    trouble: str = ""
    waiting_rows: int = 0
    dropped_rows: int = 0
    wire_trouble: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Captured:
    """The result of a capture: its wire files, its sessions, rows and faults by code."""

    wires: tuple[Path, ...]
    sessions: tuple[Path, ...]
    row_count: int
    dropped_rows: int
    counts: Mapping[str, int]
    trouble: str

    @property
    def is_whole(self) -> bool:
        """Return whether every row that was made is on the disk."""
        return not self.dropped_rows and not self.trouble


class Outing:
    """One outing on disk: its wire file and its session files."""

    def __init__(
        self,
        folder: Path,
        name: str,
        profile: Profile | None,
        keeper: Keeper,
    ) -> None:
        self.name = name
        self.wire_paths: list[Path] = []
        self._first_wire = folder / f"{name}.wire"
        self._keeper = keeper
        self._told: dict[AppendFile, int] = {}
        self.wire = WireWriter(self._open_wire)
        self.recorder = Recorder(
            folder, name, profile, keeper=keeper, metadata={"wire": self._first_wire.name}
        )

    def _open_wire(self, lost: AppendFile | None) -> AppendFile:
        self._first_wire.parent.mkdir(parents=True, exist_ok=True)
        path = free_path(self._first_wire)
        file = AppendFile(path) if lost is None else lost.anew(path, FIRST_LINE)
        if lost is not None:
            self._keeper.remove(lost)
            self.recorder.lost.append(f"{lost.path.name} {lost.lost}")
        self._keeper.add(file)
        if path not in self.wire_paths:
            self.wire_paths.append(path)
        return file

    def news(self) -> list[tuple[str, str]]:
        """Return what happened to the files since the last call, as words of the wire file."""
        news = []
        writer = self.recorder.writer
        for file in (self.wire.file, writer.file if writer else None):
            if file is None:
                continue
            failures = file.sync_failures - self._told.get(file, 0)
            if failures:
                news.append(("sync_failed", str(failures)))
                self._told[file] = file.sync_failures
        lost, self.recorder.lost = self.recorder.lost, []
        return news + [("file_lost", text) for text in lost]

    def take(self, item: WireItem) -> list[Row]:
        """Keep one item, then make rows of it."""
        self.wire.put(item)
        return self.recorder.take(item)

    def idle(self) -> None:
        """Try again to write what the disk has refused."""
        self.wire.flush()
        self.recorder.flush()

    @property
    def trouble(self) -> str:
        """Say why the disk refuses writes, "" while it takes them."""
        return self.wire.trouble or self.recorder.trouble

    def close(self) -> None:
        """Finish both files."""
        if self.wire.file is not None:
            self._keeper.remove(self.wire.file)
        self.wire.close()
        self.recorder.close()


class _Loop:
    """The state of one `run`."""

    def __init__(
        self,
        folder: Path,
        profile: Profile | None,
        clock: Clock,
        name: str | None,
        keeper: Keeper,
        quiet_ends_s: float | None,
        began: Anchor,
    ) -> None:
        self._folder = folder
        self._profile = profile
        self._clock = clock
        self._name = name
        self._keeper = keeper
        self._quiet_ends_ms = None if quiet_ends_s is None else quiet_ends_s * 1000
        self._finished: list[Outing] = []
        self._ends_at_hello = False
        self._at_line_start = True
        self._held: Chunk | None = None  # the first bytes of what may become a hello
        self.outing: Outing | None = self._new_outing(began)
        self.heard_ms = began.mono_ms or 0

    def begin(self) -> None:
        """Refuse a folder that takes no file, before anything is recorded."""
        if self.outing is not None and self.outing.wire.file is None:
            raise SessionError(
                expected="to create a new file",
                found=self.outing.wire.trouble,
                where=str(self._folder),
                do="choose another folder with --out",
            )

    def _now_ms(self) -> int:
        return self._clock.anchor().mono_ms or 0

    @property
    def silent_s(self) -> float:
        return max(0, self._now_ms() - self.heard_ms) / 1000

    def _new_outing(self, began: Anchor) -> Outing:
        name = free_name(self._folder, self._name, began)
        return Outing(self._folder, name, self._profile, self._keeper)

    def take(self, item: WireItem) -> list[Row]:
        if isinstance(item, Chunk):
            heard_ms = item.anchor.mono_ms or 0
            self._end_if_quiet(heard_ms - self.heard_ms)
            self.heard_ms = heard_ms
            if self._ends_at_hello:
                return self._divide(item)
            self._at_line_start = item.data.endswith(b"\n")
        elif item.word != "mark":  # a cut line ends here
            return self._let_go() + self._pass_on(item)
        return self._pass_on(item)

    def _let_go(self) -> list[Row]:
        held, self._held = self._held, None
        return [] if held is None else self._pass_on(held)

    def _pass_on(self, item: WireItem) -> list[Row]:
        if self.outing is None:
            if not isinstance(item, Chunk):
                return []
            self.outing = self._new_outing(item.anchor)
        return self.outing.take(item)

    def end_at_hello(self) -> None:
        """End the outing where the next hello begins: a session can only start with a hello."""
        self._ends_at_hello = self.outing is not None

    def _divide(self, chunk: Chunk) -> list[Row]:
        data = (b"" if self._held is None else self._held.data) + chunk.data
        self._held = None
        at, is_hello = find_hello(data, at_line_start=self._at_line_start)
        rows = self._pass_on(replace(chunk, data=data[:at])) if at else []
        rest = replace(chunk, data=data[at:])
        if is_hello:
            self.end_outing()
            self._ends_at_hello = False
            rows += self._pass_on(rest)
        elif rest.data:
            self._held = rest
        self._at_line_start = bool(self._held) or data.endswith(b"\n")
        return rows

    def note(self, texts: Sequence[str]) -> None:
        for text in texts:
            self.take(HostNote(anchor=self._clock.anchor(), word="mark", detail=text))

    def idle(self) -> None:
        if self.outing is None:
            return
        for word, detail in self.outing.news():
            self.take(HostNote(anchor=self._clock.anchor(), word=word, detail=detail))
        self.outing.idle()
        self._end_if_quiet(self._now_ms() - self.heard_ms)

    def _end_if_quiet(self, silent_ms: float) -> None:
        limit_ms = self._quiet_ends_ms
        if limit_ms is None or self.outing is None or silent_ms <= limit_ms:
            return
        if self.outing.recorder.paths:  # an outing that has not begun goes on waiting
            self.end_outing()

    def end_outing(self) -> None:
        self._let_go()
        if self.outing is not None:
            self.outing.close()
            self._finished.append(self.outing)
            self.outing = None

    def status(self, link: Link, port: str) -> Status:
        outing = self.outing
        recorder = outing.recorder if outing else None
        row = recorder.last_row if recorder else None
        columns: Sequence[str] = recorder.start.columns if recorder and recorder.start else ()
        return Status(
            port=port,
            is_open=link.is_open,
            name=outing.name if outing else "",
            row_count=recorder.row_count if recorder else 0,
            elapsed_s=row.elapsed_ms / 1000 if row else None,
            silent_s=self.silent_s,
            values=dict(zip(columns, row.cells, strict=False)) if row else {},
            fault=row.fault if row else "",
            counts=dict(recorder.assembler.counts) if recorder else {},
            trouble=outing.trouble if outing else "",
            waiting_rows=recorder.waiting_rows if recorder else 0,
            dropped_rows=recorder.dropped_rows if recorder else 0,
            wire_trouble=recorder.assembler.trouble if recorder else "",
        )

    def result(self) -> Captured:
        recorders = [outing.recorder for outing in self._finished]
        counts: dict[str, int] = {}
        for recorder in recorders:
            for code, count in recorder.assembler.counts.items():
                counts[code] = counts.get(code, 0) + count
        return Captured(
            wires=tuple(path for outing in self._finished for path in outing.wire_paths),
            sessions=tuple(path for recorder in recorders for path in recorder.paths),
            row_count=sum(recorder.row_count for recorder in recorders),
            dropped_rows=sum(
                recorder.dropped_rows + recorder.waiting_rows for recorder in recorders
            ),
            counts=counts,
            trouble="; ".join(outing.trouble for outing in self._finished if outing.trouble),
        )


def run(
    port: PortSource,
    folder: Path,
    profile: Profile | None = None,
    clock: Clock | None = None,
    stop: Callable[[], bool] = lambda: False,
    on_status: Callable[[Status], None] | None = None,
    *,
    name: str | None = None,
    on_rows: Callable[[Sequence[Row]], None] | None = None,
    marks: Callable[[], Sequence[str]] | None = None,
    quiet_ends_s: float | None = None,
    is_over: Callable[[], bool] | None = None,
    status_s: float = 1.0,
) -> Captured:
    """Record until `stop()` is true or the stream of the port ends.

    Parameters
    ----------
    port : PortSource
        `ports.SerialSource(name)`, or any object that opens to something with `read`.
    folder : Path
        Where the files go; created if missing.
    profile : Profile, optional
        The machine; its offsets and probe types are applied, and the sidecar keeps it.
    clock : Clock, optional
        The host's clocks, or a `FastClock` beside an emulated controller.
    on_status, on_rows : callable, optional
        Called every `status_s` with the status; called with each batch of new rows.
    marks : callable, optional
        Returns what the driver has noted since the last call.
    quiet_ends_s : float, optional
        A silence this long ends the outing; the next bytes begin a new one.
    is_over : callable, optional
        Returns whether the outing is over although the controller still sends; if so, its
        next hello begins a new one.

    Raises
    ------
    PortError
        The port cannot be opened at the start. A port lost later is tried until it is back.
    SessionError
        The folder cannot be written to.
    """
    clock = clock or HostClock()
    _make(folder)
    began = clock.anchor()
    link = Link(port, clock)
    keeper = Keeper()
    try:
        loop = _Loop(folder, profile, clock, name, keeper, quiet_ends_s, began)
        loop.begin()
    except BaseException:
        link.close()
        keeper.close()
        raise
    told_ms = -(10**12)
    try:
        while not stop() and not link.is_over:
            made = [row for item in link.next(_WAIT_S) for row in loop.take(item)]
            loop.note(marks() if marks else ())
            if is_over and is_over():
                loop.end_at_hello()
            if on_rows and made:
                on_rows(made)
            loop.idle()
            now_ms = clock.anchor().mono_ms or 0
            if on_status and now_ms - told_ms >= status_s * 1000:
                told_ms = now_ms
                on_status(loop.status(link, port.name))
    finally:
        for item in link.close():
            loop.take(item)
        loop.note(marks() if marks else ())  # a key pressed just before the end
        loop.end_outing()
        keeper.close()
    if link.failure is not None:
        raise PortError(
            expected="bytes until asked to end",
            found=f"reading failed ({type(link.failure).__name__}: {link.failure})",
            where=port.name,
            do="start again; everything received until then is in the files",
        ) from link.failure
    return loop.result()


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SessionError(
            expected="a folder to write to",
            found=reason_of(error),
            where=str(folder),
            do="choose another folder with --out",
        ) from error


def free_name(folder: Path, wanted: str | None, now: Anchor) -> str:
    """Return a name no file in the folder has: the wanted one, else one from the clock."""
    base = _name_by_clock(now) if wanted is None else checked_name(wanted)
    return first_free(folder, base, ".wire", ".csv")


def _name_by_clock(now: Anchor) -> str:
    if now.utc_ms is None or now.utc_ms < CLOCK_SET_FROM_MS:
        return "outing"
    return datetime.fromtimestamp(now.utc_ms // 1000, UTC).strftime("%Y%m%d-%H%M%SZ")


@contextlib.contextmanager
def stop_on_signals() -> Iterator[Callable[[], bool]]:
    """Yield a `stop` that turns true on Ctrl-C or a request to terminate.

    Signals that would only suspend the program (Ctrl-Z, a terminal it may not use) are ignored.
    """
    asked = threading.Event()
    before = {}
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):  # the last: the terminal was closed, the lid maybe
        if number := getattr(signal, name, None):
            before[number] = signal.signal(number, lambda *_: asked.set())
    for name in ("SIGTSTP", "SIGTTIN", "SIGTTOU"):
        if number := getattr(signal, name, None):
            before[number] = signal.signal(number, signal.SIG_IGN)
    try:
        yield asked.is_set
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
