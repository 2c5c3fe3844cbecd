"""A screen as plain data for the page."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace

from wattsump_logger.printable import printable
from wattsump_logger.session.rows import by_program
from wattsump_logger.units.sentences import in_units
from wattsump_logger.watch.moment import Screen

__all__ = ("line_of",)


def line_of(screen: Screen) -> str:
    """Return a screen as one line of JSON: no NaN, no invisible characters.

    Numbers are in SI units, which the page exchanges; sentences are in the screen's.
    """
    shown = asdict(_worded(screen))
    for key in ("now_s", "note", "bell", "poster", "course"):
        shown.pop(key, None)
    return json.dumps(_clean(shown), ensure_ascii=True, allow_nan=False)


def _worded(screen: Screen) -> Screen:
    """Return the screen with the sentences of alarms, guide and estimate in its units."""

    def exchanged(text: str) -> str:
        return in_units(text, screen.units)

    advice = screen.advice
    if advice is not None:
        advice = replace(
            advice,
            do=exchanged(advice.do),
            until=exchanged(advice.until),
            urgent=exchanged(advice.urgent),
            safety=tuple(map(exchanged, advice.safety)),
            learned=tuple(map(exchanged, advice.learned)),
        )
    alarms = tuple(replace(alarm, text=exchanged(alarm.text)) for alarm in screen.alarms)
    marks = tuple((at, exchanged(text) if by_program(text) else text) for at, text in screen.marks)
    return replace(screen, advice=advice, alarms=alarms, known=exchanged(screen.known), marks=marks)


def _clean(value: object) -> object:
    match value:
        case str():
            return printable(str(value))
        case float():
            return round(value, 3) if math.isfinite(value) else None
        case Mapping():
            return {key: _clean(item) for key, item in value.items()}
        case Sequence():
            return [_clean(item) for item in value]
    return value
