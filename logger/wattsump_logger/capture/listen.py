"""Lists the serial ports, and listens which of them speaks the line protocol."""

import errno
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from wattsump_logger.capture.clock import Clock, HostClock
from wattsump_logger.capture.link import BytePort
from wattsump_logger.capture.ports import PortInfo, SerialPort, find_ports, may_open, why_not
from wattsump_logger.errors import PortError
from wattsump_logger.wire.events import BadCrc, Event, EventFrame, Hello, Noise, Oversized, Reading
from wattsump_logger.wire.explain import explain
from wattsump_logger.wire.frames import FrameParser

__all__ = ("Listened", "heard", "listen_to", "port_lines")

_KEPT = 65_536  # first bytes, searched for wrong lines
_MOST_WRONG = 3
_LINE_SHOWN = 70
_LACKS_DRIVE = (
    "\n    no drive and no engine in rpm: unless the profile gives a channel that role,"
    "\n    idling passes for work, and prove gives watts of a guided run alone"
)


def port_lines(
    *,
    listen_s: float,
    baud: int,
    ports: tuple[PortInfo, ...] | None = None,
    open_port: Callable[[str, int], BytePort] = SerialPort,
    clock: Clock | None = None,
    is_allowed: Callable[[str], bool] = may_open,
) -> Iterator[str]:
    """Yield one line per port; with `listen_s` above 0 also what was received on it.

    Lines that look like damaged frames follow, with what is wrong with each field.
    """
    infos = find_ports() if ports is None else ports
    if not infos:
        yield "no serial port found: plug the controller in, or try another cable: some only charge"
    for info in infos:
        line = f"{info.name}  {info.description}  {info.identity}".rstrip()
        if not is_allowed(info.name):
            error = why_not(info.name, PermissionError(errno.EACCES, "no permission"))
            line += f"  {error.found}; {error.do}"
        elif listen_s > 0:
            line += "  " + _tell(info.name, baud, listen_s, open_port, clock or HostClock())
        yield line


def _tell(
    name: str, baud: int, listen_s: float, open_port: Callable[[str, int], BytePort], clock: Clock
) -> str:
    try:
        port = open_port(name, baud)
    except PortError as error:
        return f"cannot be opened: {error.found}; {error.do}"
    try:
        listened = listen_to(port, listen_s, clock)
    except PortError as error:
        return f"failed while listening: {error.found}"
    finally:
        port.close()
    return "\n".join([heard(listened.events), *listened.wrong])


@dataclass(frozen=True, slots=True, kw_only=True)
class Listened:
    """The events received on a port, and what was wrong with the first wrong lines."""

    events: list[Event]
    wrong: tuple[str, ...]


def listen_to(port: BytePort, listen_s: float, clock: Clock) -> Listened:
    """Return what an open port says within `listen_s`, up to the line after its first hello."""
    parser, events, data = FrameParser(), list[Event](), b""
    end_ms = (clock.anchor().mono_ms or 0) + listen_s * 1000
    while (left_ms := end_ms - (clock.anchor().mono_ms or 0)) > 0:
        piece = port.read(min(left_ms / 1000, 0.25))
        if piece is None:
            break
        events += parser.feed(piece)
        data += piece if len(data) < _KEPT else b""
        if parser.hello is not None and not isinstance(events[-1], Hello):
            break
    return Listened(events=events, wrong=tuple(_wrong(data, parser.hello)))


def _wrong(data: bytes, hello: Hello | None) -> Iterator[str]:
    """Explain the first lines that are wrong, each once.

    Listening may begin in the middle of a line, so the first line counts only if it begins like
    a frame. A line that is mostly not ASCII comes from another baud rate and is not explained.
    """
    lines = data.splitlines()[: None if data[-1:] in b"\r\n" else -1]
    if lines and not re.match(rb"[A-Z][0-9],", lines[0]):
        lines = lines[1:]
    channels = hello.channels if hello and not hello.unread else None
    explained: set[str] = set()
    for line in filter(None, lines):
        if len(explained) >= _MOST_WRONG or sum(byte > 0x7E for byte in line) * 4 > len(line):
            continue
        words = "; ".join(explain(line, channels))
        if words and words not in explained:
            explained.add(words)
            yield f"    {line[:_LINE_SHOWN].decode('ascii', 'replace')}\n        {words}"


def _lacks_drive(hello: Hello) -> bool:
    """Whether nothing tells idling from work, which no later reading makes good."""
    told = {(channel.name, channel.detail) for channel in hello.channels}
    return ("engine", "rpm") not in told and ("drive", "") not in told


def heard(events: list[Event]) -> str:
    """Return in words what a port's events say about a controller on it."""
    for event in events:
        if isinstance(event, Hello):
            names = " ".join(channel.name for channel in event.channels)
            words = f"speaks our protocol: {event.firmware}, every {event.period_ms} ms: {names}"
            if event.unread:
                words += f"; of a source not known here: {' '.join(event.unread)}"
            return words + _LACKS_DRIVE * _lacks_drive(event)
    kinds = {type(event) for event in events}
    if not kinds:
        return "silent"
    if kinds & {Reading, EventFrame} or any(hasattr(event, "uptime_ms") for event in events):
        return "speaks our protocol (no hello yet: one comes at least every 60 s)"
    if kinds & {Noise, BadCrc, Oversized}:
        return "sends something else, or at another speed (--baud)"
    return "sends frames of a kind this version does not know"
