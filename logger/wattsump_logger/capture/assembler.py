"""Makes session rows of received bytes and the times they came at.

Live capture, card import and repeated import all use `Assembler`, so the same bytes give
the same rows. Anything wrong on the wire becomes a fault of the channel `wire` in the next row.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from wattsump_logger.capture.cells import CellMaker, cell_maker
from wattsump_logger.capture.clock import NO_ANCHOR, Anchor
from wattsump_logger.capture.timeline import CLOCK_SET_FROM_MS, Timeline
from wattsump_logger.errors import UsageError
from wattsump_logger.machine.profile import Profile
from wattsump_logger.session.rows import Row, mark_cell
from wattsump_logger.session.writer import utc_text
from wattsump_logger.wire import events as wire_events
from wattsump_logger.wire.events import EventFrame, Hello, Reading, WireChannel
from wattsump_logger.wire.frames import FrameParser

__all__ = ("Assembler", "Start")

_MOST_MARKS = 64  # that wait for the next row; more are counted and dropped
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """A session begins: the controller's hello and the channels as the session names them."""

    hello: Hello
    channels: tuple[WireChannel, ...]
    offsets_k: Mapping[str, float]

    @property
    def columns(self) -> tuple[str, ...]:
        """Return the session's channel columns."""
        return tuple(channel.column for channel in self.channels)


class Assembler:
    """Turns chunks of bytes and the host's notes into session rows.

    Parameters
    ----------
    profile : Profile, optional
        Gives offsets and probe types.
    start_utc : datetime, optional
        When the first reading was, for boards and hosts without a clock.
    names : mapping of str to str, optional
        New names for channels, by the names the controller gives them.
    """

    def __init__(
        self,
        profile: Profile | None = None,
        *,
        start_utc: datetime | None = None,
        names: Mapping[str, str] | None = None,
    ) -> None:
        typed_ms = None if start_utc is None else (start_utc - _EPOCH) // timedelta(milliseconds=1)
        self.frames = 0
        self.counts: Counter[str] = Counter()
        self._profile = profile
        self._names = dict(names or {})
        self._parser = FrameParser()
        self._time = Timeline(start_utc_ms=typed_ms)
        self._start: Start | None = None
        self._begun = False
        self._makers: list[CellMaker] = []
        self._faults: Counter[str] = Counter()
        self._marks: list[str] = []
        self._marks_ms: int | None = None
        self._unsure: tuple[Row, Counter[str], list[str]] | None = None
        self._is_crossed = False
        self._out: list[Start | Row] = []
        self._done: list[Start | Row] = []
        self._connected = False
        self._reopened = False
        self._period_ms = 1000
        self._next_seq = -1
        self._stepped = False
        self._clock_unset_said = False

    def feed(self, data: bytes, anchor: Anchor = NO_ANCHOR) -> list[Start | Row]:
        """Take bytes as they came; return the rows they complete, and where a session starts."""
        for event in self._parser.feed(data):
            self._take(event, anchor)
        self._follow_clock(anchor)
        self._settle()
        done, self._done = self._done, []
        return done

    def note(self, word: str, detail: str = "", anchor: Anchor = NO_ANCHOR) -> None:
        """Take a note of the host; it goes into the next row."""
        if word in ("lost", "damaged", "dropped"):
            # A line cut here must not be joined to the next one.
            for event in self._parser.finish():
                self._take(event, anchor)
        if word == "mark":
            self._mark(detail, None)
        elif word == "opened":
            self._reopened, self._connected = self._connected, True
        elif word in ("lost", "file_lost"):
            self._fault(word)
        elif word in ("damaged", "dropped", "rows_dropped", "sync_failed") and detail.isdecimal():
            self._fault(word, int(detail))
        else:
            self._mark(f"{word} {detail}".strip(), None)

    def finish(self) -> list[Row]:
        """Return the reading that waits to be confirmed, and a row for later faults and marks.

        An unfinished last line is no fault: the capture was stopped in the middle of it.
        """
        rows = self._sure()
        if self._begun and (self._faults or self._marks):
            assert self._start is not None
            rows.append(
                Row(
                    time_utc="",
                    elapsed_ms=self._time.advance(self._marks_ms or 0),
                    seq=None,
                    cells=("",) * len(self._start.channels),
                    fault=self._fault_cell([]),
                    mark=self._mark_cell(),
                )
            )
        return [self._timed(row) for row in rows]

    def _take(self, event: wire_events.Event, anchor: Anchor) -> None:
        if isinstance(event, Reading | Hello | EventFrame):
            self._is_crossed = False
            self._out += self._sure()
        match event:
            case Reading():
                self._reading(event, anchor)
            case Hello():
                self._period_ms = event.period_ms
                self._place(event, anchor)
                self._hello(event)
            case EventFrame():
                elapsed_ms = self._place(event, anchor)
                self._event(event, elapsed_ms)
            case wire_events.Reboot():
                self._reboot(event.uptime_ms, anchor)
            case wire_events.UptimeWrap():
                self._time.wrap()
            case wire_events.UptimeBack():
                self._uptime_step(event.uptime_ms, anchor)
                self._stepped = True  # of the frame that comes with it
            case wire_events.Crossed():
                self._crossed()
            case wire_events.ChannelsChanged():
                self._out.extend(self.finish())
                self._settle()
                self._start, self._begun = None, False
            case _:
                self._damage(event)

    @property
    def trouble(self) -> str:
        """Return why readings are not used now, "" while they are."""
        if not self._is_crossed:
            return ""
        return "two controllers send on this line: no reading can be used, unplug one"

    def _sure(self) -> list[Row]:
        held, self._unsure = self._unsure, None
        return [] if held is None else [held[0]]

    def _crossed(self) -> None:
        """Drop the reading that nothing confirmed; the faults and marks it carried stay."""
        self._is_crossed = True
        if self._unsure is not None:
            _, faults, marks = self._unsure
            self._unsure = None
            self._faults.update(faults)
            self._marks = marks + self._marks
            self._fault("crossed")
        self._fault("crossed")

    def _damage(self, event: wire_events.Event) -> None:
        match event:
            case wire_events.Noise():
                self._fault("noise", event.byte_count)
            case wire_events.Oversized():
                self._fault("oversized", event.byte_count)
            case wire_events.BadCrc():
                self._fault("bad_crc")
            case wire_events.Unknown():
                self._fault("unknown")
            case wire_events.Malformed():
                self._fault("malformed")
            case wire_events.NoHello():
                self._fault("no_hello")
            case wire_events.Gap():
                self._fault("gap", event.frame_count)
            case wire_events.Repeat():
                self._fault("repeat")

    def _place(self, frame: Hello | Reading | EventFrame, anchor: Anchor) -> int:
        """Return the elapsed time of a sound frame; its uptime is checked first."""
        self.frames += 1
        uptime_ms = frame.uptime_ms
        if self._reopened:
            self._reopened = False
            if not self._time.fits(uptime_ms, anchor):
                self._reboot(uptime_ms, anchor)
        elif self._stepped:
            self._stepped = False
        elif self._time.returns(uptime_ms, self._period_ms):
            pass  # one frame's time was misread
        elif frame.seq == self._next_seq and self._time.leaps(uptime_ms, anchor, self._period_ms):
            self._uptime_step(uptime_ms, anchor)
        self._next_seq = frame.seq + 1
        return self._time.place(uptime_ms, anchor)

    def _uptime_step(self, uptime_ms: int, anchor: Anchor) -> None:
        """Continue by the host's clock, or by one interval: the controller's time was misread."""
        if self._time.returns(uptime_ms, self._period_ms):
            return
        self._fault("uptime_step")
        self._time.step(uptime_ms, anchor, self._period_ms)

    def _reboot(self, uptime_ms: int, anchor: Anchor) -> None:
        self._reopened = False
        self._fault("reboot")
        if not self._time.reboot(uptime_ms, anchor):
            self._fault("time_unknown")

    def _hello(self, hello: Hello) -> None:
        if self._start is not None:
            return
        channels = tuple(
            replace(channel, name=self._names.get(channel.name, channel.name))
            for channel in hello.channels
        )
        if len({channel.name for channel in channels}) != len(channels):
            raise UsageError(
                expected="a different name for every channel",
                found=", ".join(channel.name for channel in channels),
                where="new channel names",
                do="choose names that no other channel has",
            )
        profiled = self._profile.channels if self._profile else {}
        self._makers = [cell_maker(channel, self._profile) for channel in channels]
        self._start = Start(
            hello=hello,
            channels=channels,
            offsets_k={
                channel.column: profiled[channel.name].offset_k
                for channel in channels
                if channel.is_temperature and channel.name in profiled
            },
        )
        self._out.append(self._start)
        for text in hello.unread:
            self._fault(f"unread={text.partition(':')[0]}", 0)

    def _event(self, event: EventFrame, elapsed_ms: int) -> None:
        if event.code == "boot":
            self._fault(f"boot={event.detail}", 0)
        elif event.code == "overrun":
            self._fault("overrun", int(event.detail))
        elif event.code == "mark":
            self._mark(event.detail, elapsed_ms)
        else:
            self._mark(f"note {event.detail}", elapsed_ms)

    def _reading(self, event: Reading, anchor: Anchor) -> None:
        elapsed_ms = self._place(event, anchor)
        if not self._begun:
            self._begun = True
            self._time.begin_here(event.uptime_ms)
            elapsed_ms = 0
        if self._time.is_slow(elapsed_ms, anchor):
            self._fault("uptime_slow")
        cells, faults = [], []
        for at, (make, field) in enumerate(zip(self._makers, event.fields, strict=True)):
            cell, fault = ("", "form") if at in event.bad else make(field)
            cells.append(cell)
            if fault:
                faults.append((at, fault))
        carried = (Counter(self._faults), list(self._marks)) if event.unsure else None
        row = Row(
            time_utc="",
            elapsed_ms=self._time.advance(elapsed_ms),
            seq=event.seq,
            cells=cells,
            fault=self._fault_cell(faults) if faults or self._faults else "",
            mark=self._mark_cell() if self._marks else "",
        )
        if carried is None:
            self._out.append(row)
        else:
            self._unsure = row, *carried

    def _fault(self, code: str, amount: int = 1) -> None:
        self._faults[code] += amount
        self.counts[code.partition("=")[0]] += amount or 1

    def _mark(self, text: str, elapsed_ms: int | None) -> None:
        if len(self._marks) >= _MOST_MARKS:
            self._fault("marks_dropped")
            return
        self._marks.append(text)
        self._marks_ms = self._time.last_ms + 1 if elapsed_ms is None else elapsed_ms

    def _fault_cell(self, faults: list[tuple[int, str]]) -> str:
        assert self._start is not None
        parts = [f"{self._start.channels[at].name}:{code}" for at, code in faults]
        parts += [f"wire:{code}={n}" if n else f"wire:{code}" for code, n in self._faults.items()]
        self._faults.clear()
        return ";".join(parts)

    def _mark_cell(self) -> str:
        cell = mark_cell(self._marks)
        self._marks, self._marks_ms = [], None
        return cell

    def _follow_clock(self, anchor: Anchor) -> None:
        """Read the host's clock at the newest row, the row the anchor belongs to."""
        if not any(isinstance(item, Row) for item in self._out):
            return
        is_unset = anchor.utc_ms is not None and anchor.utc_ms < CLOCK_SET_FROM_MS
        if is_unset and not self._clock_unset_said:
            self._fault("clock_unset", 0)
            self._clock_unset_said = True
        step_ms = self._time.read_clock(self._time.last_ms, anchor)
        if step_ms is not None:
            self._fault(f"clock_step={step_ms / 1000:+.0f}", 0)

    def _settle(self) -> None:
        """Give the rows made so far their wall time, before time starts again from 0."""
        self._done += (self._timed(i) if isinstance(i, Row) else i for i in self._out)
        self._out = []

    def _timed(self, row: Row) -> Row:
        utc_ms = self._time.utc_ms(row.elapsed_ms)
        if utc_ms is None:
            return row
        return replace(row, time_utc=utc_text(_EPOCH + timedelta(milliseconds=utc_ms)))
