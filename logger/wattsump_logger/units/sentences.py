"""Sentences of the logger in other units.

What alarms and guides say ends a number with `degC`, `K` or `K/min`; a driver who thinks in
degrees Fahrenheit is shown the same sentence with those numbers and units exchanged.
"""

import re

from wattsump_logger.units.quantities import to_shown

__all__ = ("in_units",)

_QUANTITY = re.compile(
    r"(?<![\w.])(?P<number>[+-]?\d+(?P<tenths>\.\d+)?) (?P<unit>degC|K(?P<rate>/min)?)(?![\w/])"
)


def in_units(text: str, system: str) -> str:
    """Return a sentence with its temperatures, differences and rates in the units of a system.

    >>> in_units("alarm: tank above 66 degC (71.3 degC)", "us")
    'alarm: tank above 151 degF (160.3 degF)'
    >>> in_units("until 15 K warmer", "us")
    'until 27 degF warmer'
    """
    if system == "si":
        return text
    return _QUANTITY.sub(lambda found: _exchanged(found, system), text)


def _exchanged(found: "re.Match[str]", system: str) -> str:
    kind = "temperature" if found["unit"] == "degC" else "temperature_difference"
    value = to_shown(float(found["number"]), kind, system)
    sign = "+" if found["number"].startswith("+") else ""
    digits = len(found["tenths"] or ".") - 1
    rate = found["rate"] or ""
    return f"{value:{sign}.{digits}f} degF{rate}"
