"""What tests of the emulated chip share: tables for it, and its line as events."""

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from wattsump_logger.bench.chip import ChipBench
from wattsump_logger.wire.events import Event, EventFrame, Hello, Reading
from wattsump_logger.wire.frames import FrameParser

__all__ = ("FAST", "Open", "codes", "counters", "events_of", "heard", "keep", "only", "readings")

FAST = "period 100\n" + "\n".join(f"probe_{i} max31855 K cs{i}" for i in range(1, 7))

Kind = TypeVar("Kind")
Open = Callable[..., ChipBench]


def keep(bench: ChipBench, image: bytes) -> None:
    """Put a table where the chip looks for it: EEPROM from address 16."""
    bench.order("eeprom " + (b"\xff" * 16 + image).hex())


def heard(line: Path) -> list[Event]:
    return FrameParser().feed(line.read_bytes())


def only(events: list[Event], kind: type[Kind]) -> list[Kind]:
    return [event for event in events if isinstance(event, kind)]


def counters(events: list[Event]) -> list[int]:
    """The sequence numbers, of which a sound stream has one per event."""
    return [event.seq for event in events if isinstance(event, Hello | Reading | EventFrame)]


def readings(line: Path) -> list[Reading]:
    return only(heard(line), Reading)


def events_of(line: Path) -> list[tuple[str, str]]:
    return [(event.code, event.detail) for event in only(heard(line), EventFrame)]


def codes(line: Path) -> list[tuple[str, str]]:
    """The events without the one that says which table is in use."""
    return [(code, detail) for code, detail in events_of(line) if not detail.startswith("table-f")]
