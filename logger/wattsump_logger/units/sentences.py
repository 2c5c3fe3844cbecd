"""Sentences in other units.

What alarms, guides and a proof's remarks say ends a number, or a range, with one of a few units;
a person who thinks in US units is shown the same sentence with those numbers and units exchanged.
"""

import re

from wattsump_logger.units.quantities import show, shown_unit, to_shown

__all__ = ("in_units",)

# By the unit in the sentence: the kind, and how many of its inside unit that is.
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
    'alarm: tank above 151 degF (160.3 degF)'
    >>> in_units("until 15 K warmer, at 80.8 W/K (70.5 to 92.3)", "us")
    'until 27 degF warmer, at 153.2 BTU/(h °F) (133.6 to 175.0)'
    """
    if system == "si":
        return text
    return _QUANTITY.sub(lambda found: _exchanged(found, system), text)


def _exchanged(found: "re.Match[str]", system: str) -> str:
    kind, size = _KINDS[found["unit"]]
    numbers = {
        name: None if found[name] is None else _number(found[name], kind, size, system)
        for name in ("first", "second", "low", "high")
    }
    unit = shown_unit(kind, system)
    if found["unit"] in ("degC", "K"):
        unit = "degF"
    second = "" if numbers["second"] is None else f" to {numbers['second']}"
    interval = "" if numbers["low"] is None else f" ({numbers['low']} to {numbers['high']})"
    return f"{numbers['first']}{second} {unit}{found['rate'] or ''}{interval}"


def _number(text: str, kind: str, size: float, system: str) -> str:
    """Return a number in the other unit, with no digit that it did not have."""
    value = float(text) * size
    if kind == "power":  # three thousand times as many: as many digits as it had
        digits = max(len(text.lstrip("+-0.").replace(".", "")), 2)
        return show(value, kind, system, digits=digits).removesuffix(f" {shown_unit(kind, system)}")
    sign = "+" if text.startswith("+") else ""
    decimals = len(text.partition(".")[2])
    return f"{to_shown(value, kind, system):{sign}.{decimals}f}"
