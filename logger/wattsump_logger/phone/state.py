"""A screen as plain data for the page."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict

from wattsump_logger.printable import printable
from wattsump_logger.watch.moment import Screen

__all__ = ("line_of",)


def line_of(screen: Screen) -> str:
    """Return a screen as one line of JSON: no NaN, no invisible characters."""
    shown = asdict(screen)
    for key in ("now_s", "note", "bell", "poster", "course"):
        shown.pop(key, None)
    return json.dumps(_clean(shown), ensure_ascii=True, allow_nan=False)


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
