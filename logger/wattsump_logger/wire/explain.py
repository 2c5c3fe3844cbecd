"""Explains what is wrong with a line that should be a frame, field by field.

The parser is fast and only reports that a line is unusable; this module explains why.
docs/line-protocol.md is the specification.
"""

import re
from binascii import crc_hqx
from collections.abc import Callable, Iterator

from wattsump_logger.wire.events import (
    BOOT_CAUSES,
    EVENT_CODES,
    HEX_DIGITS,
    WireChannel,
    details_of,
)
from wattsump_logger.wire.frames import MAX_LINE, WRAP, crc16, field_pattern

__all__ = ("explain",)

_DIGITS = re.compile(r"[0-9]{1,10}\Z")
_LIKE_FRAME = re.compile(r"^[A-Za-z][0-9],|\*[0-9A-Fa-f]{4}$")
_SHOWN = 40  # characters of a field that are quoted


def explain(line: bytes, channels: tuple[WireChannel, ...] | None = None) -> tuple[str, ...]:
    """Return what is wrong with `line`, without its line end; nothing if it is a sound frame.

    Parameters
    ----------
    line : bytes
        One line of the wire.
    channels : tuple of WireChannel, optional
        Those of the last hello; without them a reading's fields are not looked at.
    """
    if len(line) > MAX_LINE - 2:
        return (f"expected at most {MAX_LINE} bytes with CR LF, found {len(line) + 2}",)
    odd = next((i for i, byte in enumerate(line) if not 0x20 <= byte <= 0x7E), None)
    if odd is not None:
        return (
            f"expected printable ASCII, found byte 0x{line[odd]:02X} at position {odd + 1}; "
            "another speed looks like this (--baud)",
        )
    return tuple(_faults(line.decode("ascii"), channels))


def _faults(text: str, channels: tuple[WireChannel, ...] | None) -> Iterator[str]:
    if not _LIKE_FRAME.search(text):
        yield (
            "text, but no frame of the line protocol: docs/own-sender.md shows how to send one, "
            "docs/other-loggers.md how to take the text as it is"
        )
        return
    content, star, crc = text.rpartition("*")
    if not star:
        yield "checksum: expected '*' and 4 hex digits at the end, found no '*'"
        content = text
    else:
        yield from _checksum(content, crc)
    if "*" in content:
        yield "body: expected one '*', before the checksum, found another"
    parts = content.split(",", 3)
    if len(parts) < 4:
        yield f"expected <kind><version>,<seq>,<uptime_ms>,<body>, found {len(parts)} of the 4"
        return
    kind, seq, uptime, body = parts
    if kind not in _BODIES:
        yield f"kind and version: expected H1, R1 or E1, found {_short(kind)}"
    for name, digits in (("seq", seq), ("uptime_ms", uptime)):
        if not _DIGITS.match(digits) or int(digits) >= WRAP:
            yield f"{name}: expected a whole number 0..{WRAP - 1}, found {_short(digits)}"
    if kind in _BODIES:
        yield from _BODIES[kind](body, channels)


def _checksum(content: str, crc: str) -> Iterator[str]:
    data = content.encode("ascii")
    wanted = f"{crc16(data):04X}"
    if crc == wanted:
        return
    if crc.upper() == wanted:
        yield f"checksum: expected upper-case {wanted}, found {crc}"
        return
    yield f"checksum: expected {wanted}, found {_short(crc)}{_mistake(data, crc.upper())}"


def _mistake(data: bytes, crc: str) -> str:
    """Name the usual mistake that gives this checksum, if one does."""
    slips = {
        "the '*' was counted in": crc16(data + b"*"),
        "the start value was 0, not 0xFFFF": crc_hqx(data, 0),
        "its bytes are swapped": int.from_bytes(crc16(data).to_bytes(2, "little"), "big"),
        "it was inverted at the end": crc16(data) ^ 0xFFFF,
        "the reflected polynomial 0xA001 was used": _reflected(data),
    }
    return next((f": {slip}" for slip, value in slips.items() if crc == f"{value:04X}"), "")


def _reflected(data: bytes) -> int:
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc


def _hello(body: str, _: tuple[WireChannel, ...] | None) -> Iterator[str]:
    parts = body.split(",")
    if len(parts) != 3:
        yield f"body: expected <firmware>,<period_ms>,<channels>, found {len(parts)} parts of 3"
        return
    firmware, period, names = parts
    if not re.fullmatch(r"[A-Za-z0-9._-]{1,32}", firmware):
        yield f"firmware: expected 1..32 of A-Z a-z 0-9 . _ -, found {_short(firmware)}"
    if not re.fullmatch(r"[0-9]{1,5}", period) or not 1 <= int(period) <= 60_000:
        yield f"period_ms: expected 1..60000, found {_short(period)}"
    channels = names.split(";")
    if len(channels) > 16:
        yield f"channels: expected 1 to 16, found {len(channels)}"
    seen: set[str] = set()
    for number, channel in enumerate(channels, 1):
        yield from (f"channel {number}: {fault}" for fault in _channel(channel, seen))


def _channel(text: str, seen: set[str]) -> Iterator[str]:
    parts = text.split(":")
    if len(parts) != 3:
        yield f"expected <name>:<source>:<detail>, found {_short(text)}"
        return
    name, source, detail = parts
    if not re.fullmatch(r"[a-z][a-z0-9_]{0,15}", name):
        yield f"name: expected a-z, then a-z 0-9 _, at most 16, found {_short(name)}"
    if name in seen:
        yield f"name: expected each once, found {_short(name)} again"
    seen.add(name)
    if not details_of(source):
        sources = " ".join((*HEX_DIGITS, "value", "state"))
        yield f"source: expected one of {sources}, found {_short(source)}"
    elif detail not in details_of(source):
        wanted = " ".join(details_of(source)) or "nothing"
        yield f"detail: expected {wanted} for {source}, found {_short(detail)}"


def _reading(body: str, channels: tuple[WireChannel, ...] | None) -> Iterator[str]:
    if channels is None:
        return
    fields = body.split(",")
    if len(fields) != len(channels):
        yield f"fields: expected {len(channels)}, as in the hello, found {len(fields)}"
        return
    for channel, field in zip(channels, fields, strict=True):
        if not re.fullmatch(field_pattern(channel), field):
            yield f"{channel.name}: expected {_form(channel)}, found {_short(field)}"


def _form(channel: WireChannel) -> str:
    if channel.source == "state":
        return "0, 1 or nothing"
    if channel.source == "value":
        return f"a plain decimal of at most 12 characters in {channel.detail}, or nothing"
    return f"{HEX_DIGITS[channel.source]} upper-case hex digits or nothing"


def _event(body: str, _: tuple[WireChannel, ...] | None) -> Iterator[str]:
    code, comma, detail = body.partition(",")
    if not comma:
        yield f"body: expected <code>,<detail>, found {_short(body)}"
    elif code not in EVENT_CODES:
        yield f"code: expected one of {' '.join(EVENT_CODES)}, found {_short(code)}"
    elif code == "boot" and detail not in BOOT_CAUSES:
        yield f"detail of boot: expected one of {' '.join(BOOT_CAUSES)}, found {_short(detail)}"
    elif code == "overrun" and not _DIGITS.match(detail):
        yield f"detail of overrun: expected a whole number, found {_short(detail)}"
    elif code in ("mark", "note") and not re.fullmatch(r"[A-Za-z0-9_-]{1,32}", detail):
        yield f"detail of {code}: expected 1..32 of A-Z a-z 0-9 _ -, found {_short(detail)}"


_BODIES: dict[str, Callable[[str, tuple[WireChannel, ...] | None], Iterator[str]]] = {
    "H1": _hello,
    "R1": _reading,
    "E1": _event,
}


def _short(text: str) -> str:
    return repr(text if len(text) <= _SHOWN else text[:_SHOWN] + "...")
