"""The events in a stream of bytes from a controller, each a frozen value.

Three of them are frames (`Hello`, `Reading`, `EventFrame`); the rest are faults and changes on
the wire. docs/line-protocol.md is the specification.
"""

import re
from dataclasses import dataclass, field

from wattsump_logger.errors import UsageError
from wattsump_logger.thermocouples.registers import PARTS
from wattsump_logger.units.quantities import COLUMN_UNITS

__all__ = (
    "BOOT_CAUSES",
    "EVENT_CODES",
    "HEX_DIGITS",
    "VALUE_UNITS",
    "BadCrc",
    "ChannelsChanged",
    "Crossed",
    "Event",
    "EventFrame",
    "Gap",
    "Hello",
    "Malformed",
    "NoHello",
    "Noise",
    "Oversized",
    "Reading",
    "Reboot",
    "Repeat",
    "Unknown",
    "UptimeBack",
    "UptimeWrap",
    "WireChannel",
    "details_of",
)

HEX_DIGITS = {source: part.digits for source, part in PARTS.items()}
VALUE_UNITS = tuple(unit for unit in COLUMN_UNITS if unit != "on")
BOOT_CAUSES = ("power", "brownout", "watchdog", "external", "unknown")
EVENT_CODES = ("boot", "mark", "overrun", "note")

_NAME = re.compile(r"[a-z][a-z0-9_]{0,15}\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class WireChannel:
    """One channel as a hello frame declares it: name, source, and what the source needs."""

    name: str
    source: str
    detail: str = ""

    def __post_init__(self) -> None:
        if not _NAME.match(self.name):
            raise _refusal("a name of a-z, 0-9 and _ of at most 16 characters", self.name, self)
        if self.detail not in details_of(self.source):
            raise _refusal("a source and a detail of the line protocol", self.text, self)

    @property
    def text(self) -> str:
        """Return the channel as a hello frame spells it."""
        return f"{self.name}:{self.source}:{self.detail}"

    @property
    def column(self) -> str:
        """Return the session column of this channel: its name with its unit."""
        suffix = {"value": self.detail, "state": "on"}.get(self.source, "c")
        return f"{self.name}_{suffix}"

    @property
    def is_temperature(self) -> bool:
        """Tell whether the channel's cells are temperatures in °C."""
        return self.source in HEX_DIGITS or (self.source == "value" and self.detail == "c")


def details_of(source: str) -> tuple[str, ...]:
    """Return the details a source may carry; none for an unknown source."""
    if source == "value":
        return VALUE_UNITS
    if source == "state":
        return ("",)
    return tuple(PARTS[source].letters) if source in PARTS else ()


def _refusal(expected: str, found: str, channel: WireChannel) -> UsageError:
    return UsageError(
        expected=expected,
        found=repr(found),
        where=f"channel {channel.name!r}",
        do="correct the channel list of the controller",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Hello:
    """A controller's firmware, its reading period in ms and its channels.

    `unread` are channels, as the frame spells them, whose source or detail this version does
    not know; no reading has a field for them.
    """

    seq: int
    uptime_ms: int
    firmware: str
    period_ms: int
    channels: tuple[WireChannel, ...]
    unread: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One field per channel of the last hello; `bad` lists fields of the wrong form.

    `unsure` marks a reading after a jump of counter or time: drop it if `Crossed` follows.
    """

    seq: int
    uptime_ms: int
    fields: tuple[str, ...]
    bad: tuple[int, ...] = ()
    unsure: bool = field(default=False, compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class EventFrame:
    """Something happened on the controller: a boot, a button, an overrun, a note."""

    seq: int
    uptime_ms: int
    code: str
    detail: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """A line that is no frame, with its length in bytes without its line end."""

    byte_count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BadCrc:
    """A frame whose checksum is wrong or missing; its length without its line end."""

    byte_count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Oversized:
    """Bytes dropped from a line longer than a frame may be."""

    byte_count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknown:
    """A sound line of a kind or version this reader does not know, such as `X1`."""

    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Malformed:
    """A sound line whose body breaks the format; `reason` says how."""

    kind: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NoHello:
    """A reading came before any hello, so its fields have no meaning yet."""

    seq: int
    uptime_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Frames the controller sent that gave nothing usable here."""

    frame_count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeat:
    """A frame seen before, dropped."""

    seq: int
    uptime_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Reboot:
    """The controller restarted: its uptime and its counter begin again."""

    seq: int
    uptime_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossed:
    """A frame while two controllers send on one line: nothing of it is used."""

    seq: int
    uptime_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class UptimeBack:
    """Uptime went back while the counter continued: a misread time, not a boot."""

    uptime_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class UptimeWrap:
    """The uptime passed 2**32 ms and began again at 0 without a restart."""

    uptime_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelsChanged:
    """The hello that follows declares other channels than the last: a new session file."""

    before: tuple[WireChannel, ...]
    after: tuple[WireChannel, ...]


Event = (
    Hello
    | Reading
    | EventFrame
    | Noise
    | BadCrc
    | Oversized
    | Unknown
    | Malformed
    | NoHello
    | Gap
    | Repeat
    | Reboot
    | UptimeBack
    | UptimeWrap
    | ChannelsChanged
    | Crossed
)
