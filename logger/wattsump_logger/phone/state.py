"""A screen as plain data for the page."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict

from wattsump_logger.printable import printable
from wattsump_logger.watch.moment import Screen

__all__ = ("line_of",)


def line_of(screen: Screen) -> str:
    """Return a screen as one line of JSON: no number that is none, no character that hides."""
    found = asdict(screen)
    for key in ("now_s", "note", "bell", "poster", "course"):
        found.pop(key, None)
    return json.dumps(_clean(found), ensure_ascii=True, allow_nan=False)


def _clean(value: object) -> object:
    match value:
        case str():
            return printable(str(value))
        case float():
            return round(value, 3) if math.isfinite(value) else None
        case Mapping():
            return {key: _clean(one) for key, one in value.items()}
        case Sequence():
            return [_clean(one) for one in value]
    return value
