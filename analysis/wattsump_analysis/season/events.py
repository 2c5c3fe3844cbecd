"""Recognises events in a driver's marks."""

import re
from dataclasses import dataclass
from enum import StrEnum

from wattsump_logger.session.rows import by_program

__all__ = (
    "Event",
    "EventKind",
    "event_kinds",
)


class EventKind(StrEnum):
    """The kinds of events that can move K or the heat."""

    CLEAN = "cleaned"
    COOLER = "cooler or duct changed"
    FAN = "fan worked on"
    OIL = "oil changed"
    PROBE = "probe moved"
    DRIVE = "drive worked on"


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """An event, with the text of its mark."""

    kind: EventKind
    text: str


# Common practice, no source: the words owners use. The first kind that fits a word counts.
_FAN = r"\bfan\b(?![ -](?:on|off|step))"
_FAN_DONE = (
    r"new|chang\w+|swap\w+|replac\w+|fitted|refitted|fix\w+|repair\w+|mended|rebuilt|reversed|"
    r"turned|tighten\w+|broke\w*|stuck|slip\w*|fail\w*|dead"
)
_WORDS = (
    (EventKind.CLEAN, r"\b(clean|cleaned|cleaning|washed|blew out|blown out|chaff|debris)\b"),
    (EventKind.FAN, rf"\b(?:{_FAN_DONE})\b[^,;.:]*{_FAN}|{_FAN}[^,;.:]*\b(?:{_FAN_DONE})\b"),
    (
        EventKind.OIL,
        r"\boil (?:change|changed|new|filled|topped)|\b(?:new|changed|topped up) oil\b",
    ),
    (EventKind.PROBE, r"\b(?:probe|sensor|thermocouple)s? (?:moved|new|changed|swapped)"),
    (EventKind.PROBE, r"\b(?:moved|new|changed|swapped) (?:the )?(?:probe|sensor|thermocouple)"),
    (EventKind.COOLER, r"\b(?:new|changed|fitted|swapped) (?:the )?(?:cooler|core|duct|shroud)\b"),
    (EventKind.COOLER, r"\b(?:cooler|core|duct|shroud) (?:new|changed|fitted|swapped)\b"),
    (EventKind.DRIVE, r"\b(?:pump|motor|relief|drive) (?:new|changed|swapped|rebuilt|set)\b"),
    (EventKind.DRIVE, r"\b(?:new|changed|swapped|rebuilt) (?:the )?(?:pump|motor|relief)\b"),
)


def event_kinds(text: str) -> tuple[EventKind, ...]:
    """Return the kinds of event in a driver's mark; none in the program's own marks.

    >>> event_kinds("washed the core")
    (<EventKind.CLEAN: 'cleaned'>,)
    >>> event_kinds("loaded 3 logs")
    ()
    """
    if by_program(text):
        return ()
    kinds = dict.fromkeys(kind for kind, words in _WORDS if re.search(words, text, re.I))
    return tuple(kinds)
