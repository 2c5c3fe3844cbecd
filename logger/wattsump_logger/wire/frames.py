"""The line protocol without any port: bytes in, events out.

`FrameParser.feed` never raises for any bytes and never keeps more than one line: unusable bytes
are events too. The events do not depend on how the bytes are cut into chunks. A lost, damaged or
unknown line uses up its sequence number, so the next good frame also reports it as part of a gap.
"""

import re
from binascii import crc_hqx
from collections.abc import Iterator, Sequence
from typing import TypeVar

from wattsump_logger.errors import UsageError
from wattsump_logger.wire.crossing import Crossing
from wattsump_logger.wire.events import (
    BOOT_CAUSES,
    EVENT_CODES,
    HEX_DIGITS,
    BadCrc,
    ChannelsChanged,
    Crossed,
    Event,
    EventFrame,
    Gap,
    Hello,
    Malformed,
    NoHello,
    Noise,
    Oversized,
    Reading,
    Reboot,
    Repeat,
    Unknown,
    UptimeBack,
    UptimeWrap,
    WireChannel,
    details_of,
)

__all__ = (
    "MAX_LINE",
    "WRAP",
    "FrameParser",
    "crc16",
    "field_pattern",
    "find_hello",
    "format_event",
    "format_hello",
    "format_line",
    "format_reading",
)

MAX_LINE = 512  # bytes of a line with its CR LF
WRAP = 2**32  # seq and uptime_ms count modulo this
_CONTENT = MAX_LINE - 2
_USUAL_PERIOD_MS = 1000  # until a hello tells
_DROP_BLOCK = 4096  # a longer line is reported once per this many bytes
_WRAP_FROM_MS = 4_294_900_000  # an uptime below this going back is a restart, not a wrap

_HELLO_START = b"H1,"
_BOOT_START = b"H1,0,"
_FRAME_START = re.compile(rb"[A-Z][0-9],")
_CRC_END = re.compile(rb"\*[0-9A-F]{4}\Z")
_HEAD = re.compile(r"([A-Z][0-9]),([0-9]{1,10}),([0-9]{1,10}),(.*)\Z")
_HELLO = re.compile(r"([A-Za-z0-9._-]{1,32}),([0-9]{1,5}),([^,]+)\Z")
_WORD = re.compile(r"[A-Za-z0-9_-]{1,32}\Z")
_COUNT = re.compile(r"[0-9]{1,10}\Z")
_UNREAD = re.compile(r"[a-z][a-z0-9_]{0,15}:[a-z][a-z0-9_]{0,15}:[A-Za-z0-9]{0,8}\Z")
_PRINTABLE = re.compile(r"[ -~]*\Z")

_Kind = TypeVar("_Kind")


def crc16(data: bytes) -> int:
    """Return CRC-16/IBM-3740 of `data`; b"123456789" gives 0x29B1."""
    return crc_hqx(data, 0xFFFF)


def format_line(content: str) -> bytes:
    """Return `content` (everything before the `*`) as one line of the wire."""
    data = content.encode("ascii")
    line = b"%s*%04X\r\n" % (data, crc16(data))
    if len(line) > MAX_LINE:
        raise UsageError(
            expected=f"a line of at most {MAX_LINE} bytes",
            found=f"{len(line)} bytes",
            where="frame",
            do="give the controller fewer channels or shorter names",
        )
    return line


def find_hello(data: bytes, *, at_line_start: bool) -> tuple[int, bool]:
    """Find where a hello begins.

    Parameters
    ----------
    data : bytes
        The next bytes of a stream, however cut.
    at_line_start : bool
        Whether the bytes begin with a line of their own.

    Returns
    -------
    int, bool
        Where the first hello begins, and True; or where an unfinished last line begins that may
        become one, and False; the length of the data, and False, if there is neither.
    """
    start = 0 if at_line_start else _line_after(data, 0)
    while start < len(data):
        if data.startswith(_HELLO_START, start):
            return start, True
        if _HELLO_START.startswith(data[start:]):
            return start, False
        start = _line_after(data, start)
    return len(data), False


def _line_after(data: bytes, start: int) -> int:
    return data.find(b"\n", start) + 1 or len(data)


def format_hello(
    *, seq: int, uptime_ms: int, firmware: str, period_ms: int, channels: Sequence[WireChannel]
) -> bytes:
    """Return a hello frame."""
    names = ";".join(channel.text for channel in channels)
    body = f"{firmware},{period_ms},{names}"
    match = _HELLO.match(body)
    if not match or not 1 <= period_ms <= 60_000 or not channels or _channels(names) is None:
        raise UsageError(
            expected="a firmware name, a period of 1..60000 ms and 1..16 channels",
            found=repr(body),
            where="hello frame",
            do="correct the controller's settings",
        )
    return format_line(f"H1,{seq % WRAP},{uptime_ms % WRAP},{body}")


def format_reading(*, seq: int, uptime_ms: int, fields: Sequence[str]) -> bytes:
    """Return a reading frame; one field per channel, empty for "no reading"."""
    return format_line(f"R1,{seq % WRAP},{uptime_ms % WRAP},{','.join(fields)}")


def format_event(*, seq: int, uptime_ms: int, code: str, detail: str) -> bytes:
    """Return an event frame."""
    if code not in EVENT_CODES or not _event_detail_fits(code, detail):
        raise UsageError(
            expected="an event code with a detail of the line protocol",
            found=repr(f"{code},{detail}"),
            where="event frame",
            do="see docs/line-protocol.md for the codes and their details",
        )
    return format_line(f"E1,{seq % WRAP},{uptime_ms % WRAP},{code},{detail}")


def field_pattern(channel: WireChannel) -> str:
    """Return the regular expression of a channel's field; empty is "no reading"."""
    if channel.source == "state":
        return "[01]?"
    if channel.source == "value":
        return r"(?=[^,]{0,12}(?:,|\Z))(?:-?[0-9]+(?:\.[0-9]+)?)?"
    return f"(?:[0-9A-F]{{{HEX_DIGITS[channel.source]}}})?"


class FrameParser:
    """Turns bytes into events; holds one unfinished line and where the counters stand."""

    def __init__(self) -> None:
        self.hello: Hello | None = None
        self._rest = b""
        self._after_cr = False
        self._dropping = False
        self._dropped = 0
        self._seq: int | None = None  # of the last frame used
        self._uptime_ms = 0
        self._declared = ""  # the channels of the last hello as it spelled them
        self._unread: frozenset[int] = frozenset()  # their places among the fields
        self._fields: list[re.Pattern[str]] = []
        self._body = re.compile("")
        self._events: list[Event] = []
        self._crossing = Crossing()
        self._text = ""  # of the line in hand, without its checksum

    @property
    def _is_greeted(self) -> bool:
        return self.hello is not None and not self._crossing.needs_hello

    @property
    def held_bytes(self) -> int:
        """The number of bytes kept of an unfinished line."""
        return len(self._rest)

    def feed(self, data: bytes) -> list[Event]:
        """Take the next bytes of the stream, however cut; return what they complete."""
        if self._after_cr and data[:1] == b"\n":
            data = data[1:]
            self._after_cr = False
        if not data:
            return []
        events: list[Event] = []
        self._events = events
        self._after_cr = data[-1:] == b"\r"
        lines = (self._rest + data).splitlines()
        self._rest = b"" if data[-1:] in b"\r\n" else lines.pop()
        for line in lines:
            if self._dropping or len(line) > _CONTENT:
                self._drop(len(line), ended=True)
            else:
                self._line(line)
        if self._dropping or len(self._rest) > _CONTENT:
            self._drop(len(self._rest), ended=False)
            self._rest = b""
        return events

    def finish(self) -> list[Event]:
        """Return the event of an unfinished last line; the parser is then at a line start."""
        return self.feed(b"\n") if self._rest or self._dropping else []

    def _drop(self, byte_count: int, *, ended: bool) -> None:
        self._dropped += byte_count
        while self._dropped >= _DROP_BLOCK:
            self._events.append(Oversized(byte_count=_DROP_BLOCK))
            self._dropped -= _DROP_BLOCK
        if ended and self._dropped:
            self._events.append(Oversized(byte_count=self._dropped))
        self._dropping = not ended
        if ended:
            self._dropped = 0

    def _line(self, line: bytes) -> None:
        content, crc = line[:-5], line[-5:]
        if b"*%04X" % crc_hqx(content, 0xFFFF) != crc:
            # A restart cuts a line short, and its first hello then ends it.
            at = line.rfind(_BOOT_START)
            if at > 0 and b"*%04X" % crc_hqx(line[at:-5], 0xFFFF) == crc:
                self._line(line[:at])
                self._line(line[at:])
                return
            is_frame = _FRAME_START.match(line) or _CRC_END.search(line)
            kind = BadCrc if is_frame else Noise
            self._events.append(kind(byte_count=len(line)))
            return
        text = self._text = content.decode("latin-1")  # no pattern allows more than 0x7E
        if text.startswith("R1,") and self._is_greeted and (found := self._body.match(text)):
            seq, uptime, body = found.groups()
            self._reading(int(seq), int(uptime), tuple(body.split(",")), ())
        else:
            self._sound(text)

    def _sound(self, text: str) -> None:
        """Take a line with a good checksum that is not a plain reading."""
        if text[:3] not in ("H1,", "R1,", "E1,"):
            self._events.append(Unknown(kind=text[:2]))
            return
        kind = text[:2]
        head = _HEAD.match(text)
        if head is None or not _PRINTABLE.match(text) or "*" in text:
            self._malformed(kind, "header")
            return
        seq, uptime_ms, body = int(head[2]), int(head[3]), head[4]
        if max(seq, uptime_ms) >= WRAP:
            self._malformed(kind, "header")
        elif kind == "H1":
            self._take_hello(seq, uptime_ms, body)
        elif kind == "E1":
            self._take_event(seq, uptime_ms, body)
        else:
            self._take_reading(seq, uptime_ms, body)

    def _malformed(self, kind: str, reason: str) -> None:
        self._events.append(Malformed(kind=kind, reason=reason))

    def _take_reading(self, seq: int, uptime_ms: int, body: str) -> None:
        if not self._is_greeted:
            if self._follows(seq, uptime_ms, boots=False, is_reading=True):
                self._events.append(NoHello(seq=seq, uptime_ms=uptime_ms))
            return
        fields = tuple(body.split(","))
        if len(fields) != len(self._fields):
            if not self._crosses(seq, uptime_ms, boots=False, is_reading=True):
                self._malformed("R1", f"{len(fields)} fields for {len(self._fields)} channels")
            return
        pairs = zip(self._fields, fields, strict=True)
        good = [form.fullmatch(field) is not None for form, field in pairs]
        bad = tuple(i for i, fits in enumerate(self._read(good)) if not fits)
        self._reading(seq, uptime_ms, fields, bad)

    def _reading(
        self, seq: int, uptime_ms: int, fields: tuple[str, ...], bad: tuple[int, ...]
    ) -> None:
        if max(seq, uptime_ms) >= WRAP:
            self._malformed("R1", "header")
        elif self._follows(seq, uptime_ms, boots=False, is_reading=True):
            fields = tuple(self._read(fields)) if self._unread else fields
            self._events.append(
                Reading(
                    seq=seq,
                    uptime_ms=uptime_ms,
                    fields=fields,
                    bad=bad,
                    unsure=self._crossing.is_jump,
                )
            )

    def _read(self, fields: Sequence[_Kind]) -> Iterator[_Kind]:
        """Yield the fields of channels with a known source."""
        return (field for i, field in enumerate(fields) if i not in self._unread)

    def _take_event(self, seq: int, uptime_ms: int, body: str) -> None:
        code, _, detail = body.partition(",")
        if code not in EVENT_CODES:
            self._malformed("E1", "event code")
        elif not _event_detail_fits(code, detail):
            self._malformed("E1", f"detail of {code}")
        elif self._follows(seq, uptime_ms, boots=False):
            self._events.append(EventFrame(seq=seq, uptime_ms=uptime_ms, code=code, detail=detail))

    def _take_hello(self, seq: int, uptime_ms: int, body: str) -> None:
        match = _HELLO.match(body)
        if match is None or not 1 <= int(match[2]) <= 60_000:
            self._malformed("H1", "firmware, period or channel list")
            return
        declared = _channels(match[3])
        channels = tuple(c for c in declared or () if isinstance(c, WireChannel))
        if declared is None or not channels:
            self._malformed("H1", "channel list")
            return
        if not self._follows(seq, uptime_ms, boots=seq == 0):
            return
        if self._crossing.needs_hello:
            self._crossing.needs_hello = False
            self._events.append(Reboot(seq=seq, uptime_ms=uptime_ms))  # for us it begins here
        before = self.hello
        if before and before.channels != channels:
            self._events.append(ChannelsChanged(before=before.channels, after=channels))
        self.hello = Hello(
            seq=seq,
            uptime_ms=uptime_ms,
            firmware=match[1],
            period_ms=int(match[2]),
            channels=channels,
            unread=tuple(c for c in declared if isinstance(c, str)),
        )
        if self._declared != match[3]:
            self._declared = match[3]
            self._unread = frozenset(i for i, c in enumerate(declared) if isinstance(c, str))
            forms = ["[^,]*" if isinstance(c, str) else field_pattern(c) for c in declared]
            self._fields = [re.compile(form) for form in forms]
            head = "R1,([0-9]{1,10}),([0-9]{1,10}),"
            self._body = re.compile(head + "(" + ",".join(forms) + r")\Z")
        self._events.append(self.hello)

    def _crosses(self, seq: int, uptime_ms: int, *, boots: bool, is_reading: bool) -> bool:
        crosses = self._crossing.take(
            (seq, uptime_ms),
            self._text,
            period_ms=self.hello.period_ms if self.hello else _USUAL_PERIOD_MS,
            is_reading=is_reading,
            boots=boots,
        )
        if crosses:
            self._events.append(Crossed(seq=seq, uptime_ms=uptime_ms))
        return crosses

    def _follows(self, seq: int, uptime_ms: int, *, boots: bool, is_reading: bool = False) -> bool:
        """Place a frame after the last one; False if seen before or while two controllers send."""
        if self._crosses(seq, uptime_ms, boots=boots, is_reading=is_reading):
            return False
        last = self._seq
        if last is not None:
            ahead = (seq - last - 1) % WRAP
            is_ahead = ahead < WRAP // 2
            if uptime_ms < self._uptime_ms:
                wraps = is_ahead and not boots and self._uptime_ms > _WRAP_FROM_MS
                # A boot resets the counter: one that continues was not reset.
                goes_on = ahead == 0 < seq and not boots
                if wraps:
                    self._events.append(UptimeWrap(uptime_ms=uptime_ms))
                elif goes_on:
                    self._events.append(UptimeBack(uptime_ms=uptime_ms))
                else:
                    self._events.append(Reboot(seq=seq, uptime_ms=uptime_ms))
                    ahead = seq  # the frames since it
            elif not is_ahead and uptime_ms == self._uptime_ms and not boots:
                self._events.append(Repeat(seq=seq, uptime_ms=uptime_ms))
                return False
            elif not is_ahead:
                self._events.append(Reboot(seq=seq, uptime_ms=uptime_ms))
                ahead = seq
            if ahead:
                self._events.append(Gap(frame_count=ahead))
        self._seq, self._uptime_ms = seq, uptime_ms
        return True


def _event_detail_fits(code: str, detail: str) -> bool:
    if code == "boot":
        return detail in BOOT_CAUSES
    if code == "overrun":
        return _COUNT.match(detail) is not None
    return _WORD.match(detail) is not None


def _channels(text: str) -> tuple[WireChannel | str, ...] | None:
    """Return the channels of a hello, None when any of them breaks the format.

    A channel of the right form whose source or detail is not known stays a text.
    """
    parts = [part.split(":") for part in text.split(";")]
    if len(parts) > 16 or any(len(part) != 3 for part in parts):
        return None
    if len({part[0] for part in parts}) != len(parts):
        return None
    try:
        return tuple(_channel(*part) for part in parts)
    except UsageError:
        return None


def _channel(name: str, source: str, detail: str) -> WireChannel | str:
    text = f"{name}:{source}:{detail}"
    if detail not in details_of(source) and _UNREAD.match(text):
        return text
    return WireChannel(name=name, source=source, detail=detail)
