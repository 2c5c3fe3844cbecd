"""Converts the units in sentences that are kept as text: of alarms and guides, and their marks.

A session's file has these in SI units. Numbers and ranges in them have one of a few units, which
are replaced for display in US units. A figure of a remark is a `measure.Measure` instead.
"""

import re

from wattsump_logger.units.quantities import show, shown_unit, to_shown

__all__ = ("in_units",)

# By unit in the sentence: the kind, and its size in the inside unit.
_KINDS = {
    "degC": ("temperature", 1.0),
    "°C": ("temperature", 1.0),
    "K": ("temperature_difference", 1.0),
    "W/K": ("conductance", 1.0),
    "kW": ("power", 1000.0),
}
_NUMBER = r"[+-]?\d+(?:\.\d+)?"
_QUANTITY = re.compile(
    rf"(?<![\w.])(?P<first>{_NUMBER})(?: to (?P<second>{_NUMBER}))? "
    rf"(?P<unit>{'|'.join(_KINDS)})(?P<rate>/min)?(?![\w/])"
    rf"(?: \((?P<low>{_NUMBER}) to (?P<high>{_NUMBER})\))?"
)


def in_units(text: str, system: str) -> str:
    """Return a sentence with its temperatures, differences and heats in the units of a system.

    >>> in_units("alarm: tank above 66 degC (71.3 degC)", "us")
    'alarm: tank above 151 °F (160.3 °F)'
    >>> in_units("until 15 K warmer, at 80.8 W/K (70.5 to 92.3)", "us")
    'until 27 °F warmer, at 153.2 BTU/(h °F) (133.6 to 175.0)'
    """
    if system == "si":
        return text
    return _QUANTITY.sub(lambda match: _exchanged(match, system), text)


def _exchanged(match: "re.Match[str]", system: str) -> str:
    kind, size = _KINDS[match["unit"]]
    numbers = {
        name: None if match[name] is None else _number(match[name], kind, size, system)
        for name in ("first", "second", "low", "high")
    }
    unit = shown_unit(kind, system)
    second = "" if numbers["second"] is None else f" to {numbers['second']}"
    interval = "" if numbers["low"] is None else f" ({numbers['low']} to {numbers['high']})"
    return f"{numbers['first']}{second} {unit}{match['rate'] or ''}{interval}"


def _number(text: str, kind: str, size: float, system: str) -> str:
    """Return a number in the other unit, without extra digits."""
    value = float(text) * size
    if kind == "power":  # three thousand times as many: as many digits as it had
        digits = max(len(text.lstrip("+-0.").replace(".", "")), 2)
        return show(value, kind, system, digits=digits).removesuffix(f" {shown_unit(kind, system)}")
    sign = "+" if text.startswith("+") else ""
    decimals = len(text.partition(".")[2])
    return f"{to_shown(value, kind, system):{sign}.{decimals}f}"
