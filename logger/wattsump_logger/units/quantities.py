"""Quantities as people type them, and as they are shown.

`parse` takes text with a unit to the project's inside unit of the wanted kind; `show`
goes back to text. pint converts the units; it is imported on first use, so that a command
that only prints its help starts fast.

Choices: BTU is Btu_IT, 1055.05585262 J, and hp is the mechanical 550 ft lbf/s (NIST
SP 811, appendix B). A gallon is the US gallon. A temperature difference in degF is
times 5/9 and never minus 32. A comma is refused, because it has two meanings, except between
thousands of BTU and cfm; so is a point where thousands would have it, as in "20.000 BTU/h".
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, TypeVar

from wattsump_logger.errors import UnitError, UsageError
from wattsump_logger.units.registry import FEW, registry

if TYPE_CHECKING:
    import numpy as np
    import pint
    from numpy.typing import NDArray

    Numbers = TypeVar("Numbers", float, NDArray[np.float64])

__all__ = (
    "COLUMN_UNITS",
    "KINDS",
    "SYSTEMS",
    "grouped",
    "inside_unit",
    "parse",
    "rounded",
    "show",
    "shown_unit",
    "to_shown",
)

SYSTEMS = ("si", "us")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kind:
    """One kind of quantity: its unit inside, an example, and what is shown."""

    inside: str
    example: str
    si: tuple[tuple[float, str], ...]
    us: tuple[tuple[float, str], ...]
    lowest: float = -math.inf
    offset: bool = False


def _kind(
    inside: str,
    example: str,
    *,
    si: str = "",
    us: str = "",
    si_large: tuple[float, str] | None = None,
    us_large: tuple[float, str] | None = None,
    lowest: float = 0.0,
    offset: bool = False,
) -> _Kind:
    # `large` is (from this inside value on, this unit).
    def steps(small: str, large: tuple[float, str] | None) -> tuple[tuple[float, str], ...]:
        return ((0.0, small), large) if large else ((0.0, small),)

    return _Kind(
        inside=inside,
        example=example,
        si=steps(si or inside, si_large),
        us=steps(us or si or inside, us_large),
        lowest=lowest,
        offset=offset,
    )


_UNBOUNDED = -math.inf

_KINDS: Mapping[str, _Kind] = {
    "altitude": _kind("m", "350 m", us="ft", lowest=_UNBOUNDED),
    "area": _kind("m2", "0.6 m2", us="ft2"),
    "bore": _kind("m", "12.7 mm", si="mm", us="in"),
    "charge": _kind("Ah", "60 Ah"),
    "conductance": _kind("W/K", "105 W/K", us="BTU/h/degF"),
    "current": _kind("A", "40 A"),
    "density": _kind("kg/m3", "870 kg/m3", us="lb/ft3"),
    "duration": _kind("s", "20 min", si_large=(120.0, "min"), us_large=(120.0, "min")),
    "energy": _kind("J", "1.2 kWh", si="kJ", us="BTU", si_large=(1e7, "MJ")),
    "flow": _kind("m3/s", "12 L/min", si="L/min", us="gpm"),
    "air_flow": _kind("m3/s", "0.25 m3/s", us="cfm"),
    "fraction": _kind("", "80 %", si="%"),
    "heat_capacity": _kind("J/K", "62 kJ/K", si="kJ/K", us="BTU/degF"),
    "heat_flux": _kind("W/m2", "2 W/cm2", si="W/cm2", us="W/in2"),
    "length": _kind("m", "120 mm", us="in"),
    "mass": _kind("kg", "60 kg", us="lb"),
    "number": _kind("", "2.5", lowest=_UNBOUNDED),
    "power": _kind("W", "6 kW", si_large=(1e3, "kW"), us="BTU/h", lowest=_UNBOUNDED),
    "pressure": _kind("Pa", "101.3 kPa", si="kPa", us="psi"),
    "probability": _kind("", "95 %", si="%"),
    "rate": _kind("K/s", "0.5 K/min", si="K/h", us="delta_degF/h", lowest=_UNBOUNDED),
    "shaft_power": _kind("W", "15 kW", si_large=(1e3, "kW"), us="hp"),
    "specific_heat": _kind("J/(kg K)", "1900 J/(kg K)", us="BTU/(lb degF)"),
    "speed": _kind("m/s", "5 km/h", us="ft/s"),
    "temperature": _kind("degC", "71 degC", si="degC", us="degF", lowest=-273.15, offset=True),
    "temperature_difference": _kind("K", "55 K", us="delta_degF", lowest=_UNBOUNDED),
    "viscosity": _kind("mm2/s", "46 mm2/s"),
    "voltage": _kind("V", "13.8 V", lowest=_UNBOUNDED),
    "volume": _kind("m3", "18 L", si="L", us="gal"),
}

# What a reader of US units would type; both examples are given.
_US_EXAMPLES: Mapping[str, str] = {
    "flow": "3 gpm",
    "length": "5 in",
    "mass": "130 lb",
    "power": "20000 BTU/h",
    "shaft_power": "20 hp",
    "temperature": "160 degF",
    "temperature_difference": "100 degF",
    "volume": "5 gal",
}
KINDS = tuple(_KINDS)
_SHARES = frozenset({"fraction", "probability"})

# The units that end the name of a session's column, as its sidecar spells them; "on" is a state.
COLUMN_UNITS: Mapping[str, str] = {
    "c": "degC",
    "k": "K",
    "on": "",
    "w": "W",
    "v": "V",
    "a": "A",
    "rpm": "r/min",
    "lpm": "L/min",
    "kmh": "km/h",
    "bar": "bar",
    "pct": "%",
}

# Spellings pint does not know or reads as something else (F farad, C coulomb, PS
# petasiemens), as they stand on labels.
_SPELLINGS: Mapping[str, str] = {
    "%": "percent",
    "BTU": "Btu_it",
    "Btu": "Btu_it",
    "btu": "Btu_it",
    "BTUH": "Btu_it/h",
    "C": "degC",
    "CFM": "cfm",
    "F": "degF",
    "GPM": "gpm",
    "HP": "hp",
    "KG": "kg",
    "MBH": "kBtu_it/h",
    "KW": "kW",
    "Kw": "kW",
    "LPM": "lpm",
    "PS": "metric_horsepower",
    "PSI": "psi",
    "W": "W",
    "ccm": "cm**3",
    "cc": "cm**3",
    "hr": "h",
    "kw": "kW",
    "lbs": "lb",
    "liter": "L",
    "ltr": "L",
    "watts": "W",
    "°C": "degC",
    "°F": "degF",
}

_LABELS: Mapping[str, str] = {
    "BTU/(lb degF)": "BTU/(lb °F)",
    "BTU/degF": "BTU/°F",
    "BTU/h/degF": "BTU/(h °F)",
    "degC": "°C",
    "degF": "°F",
    "delta_degF": "°F",
    "delta_degF/h": "°F/h",
    "ft2": "ft²",
    "kg/m3": "kg/m³",
    "lb/ft3": "lb/ft³",
    "m2": "m²",
    "m3/s": "m³/s",
    "mm2/s": "mm²/s",
    "W/cm2": "W/cm²",
    "W/in2": "W/in²",
}

# Far longer than any quantity; keeps hostile text from the unit parser.
_LONGEST_TEXT = 60
_GROUP = r"[ \u2009\u202f\u00a0]"
_NUMBER = (
    rf"[+\-−]?(?:\d{{1,3}}(?:{_GROUP}\d{{3}})+(?:\.\d+)?|\d+\.?\d*|\.\d+)(?:[eE][+\-]?\d{{1,3}})?"
)
_COMMA_UNITS = ("BTU", "cfm")
# With these units a comma separates thousands; countries with decimal commas use watts.
_GROUPED_BY_COMMAS = re.compile(r"\s*\d{1,3}(?:,\d{3})+(?:\.\d+)?\s*(?:BTU|MBH|CFM)", re.IGNORECASE)
# "20.000 BTU/h" is 20 000 in countries with decimal commas. Nobody gives these units to a
# thousandth; of watts only with a last 0, which no number written by the program has.
_THOUSANDS_BY_POINT = re.compile(
    r"\s*(?P<whole>[1-9]\d{0,2})\.(?P<rest>\d{3}(?=\s*(?:BTU|CFM))|\d{2}0(?=\s*W(?:atts?)?\s*$))"
    r"\s*(?P<unit>.*)",
    re.IGNORECASE,
)
# "1 1/2 in", "5 1/2 gal", "3/4\"": as tapes, jugs and fittings are read.
_FRACTION = re.compile(
    r"\s*(?:(?P<whole>\d{1,3})[ -]+)?(?P<over>\d{1,3})/(?P<under>\d{1,3})\s*(?P<unit>[^\d\s/].*)"
)
_QUANTITY = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>.*?)\s*", re.DOTALL)
# Only words, powers of at most 3, and signs between: the unit parser would compute
# a typed 9**9**9.
_WORD = r"(?:°?[^\W\d]+|%)"
_POWERED = rf"{_WORD}(?:(?:\^|\*\*)?-?[1-3](?!\d)|[²³])?"
_UNIT_SHAPE = re.compile(rf"\(?{_POWERED}\)?(?:(?:\s*[/*·]\s*|\s+)\(?{_POWERED}\)?)*")
_UNIT_WORD = re.compile(_WORD)
_POWER = re.compile(r"(?:\^|\*\*)?(-?[1-3])")


def parse(value: str | float, kind: str) -> float:
    """Read a typed quantity into the inside unit of its kind.

    Parameters
    ----------
    value : str or float
        For example "18 L", "20000 BTU/h", "100 degF". A bare number is refused except
        for a share or a plain number.
    kind : str
        One of `KINDS`.

    Returns
    -------
    float
        In the inside unit: °C, K, W, m³, m³/s, kg, Pa, mm²/s, s, ...

    Raises
    ------
    UnitError
        No number, no unit, an unknown unit, a unit of another kind, or a value that
        is impossible (a negative volume, a temperature below absolute zero).
    UsageError
        An unknown kind.

    Examples
    --------
    >>> parse("100 degF", "temperature_difference")
    55.5556
    >>> parse("160 degF", "temperature")
    71.1111
    """
    rule = _rule(kind)
    number, unit = _split(value, kind, rule)
    if kind in _SHARES:
        result = _fraction(number, unit, value)
    elif kind == "number":
        result = _plain_number(number, unit, value)
    elif not unit:
        raise _error(value, kind, "a bare number", f"add a unit, as in {rule.example!r}")
    else:
        result = _converted(number, unit, value, kind, rule)
    if not math.isfinite(result):
        raise _error(value, kind, repr(value), "write a finite number")
    if result < rule.lowest:
        raise _error(value, kind, repr(value), f"it cannot be below {rule.lowest:g} {rule.inside}")
    return result


def show(value: float, kind: str, system: str = "si", *, digits: int = 3) -> str:
    """Text of a value with its unit, to `digits` significant digits.

    Parameters
    ----------
    value : float
        In the inside unit of the kind; NaN gives "unknown".
    kind : str
        One of `KINDS`.
    system : {"si", "us"}
        Which units to show.
    digits : int
        Significant digits; temperatures and differences get one decimal instead, none where
        they are whole degrees Fahrenheit.

    Returns
    -------
    str
        For example "6.00 kW" or "20,500 BTU/h".

    Raises
    ------
    UsageError
        An unknown kind or system.

    Examples
    --------
    >>> show(6000.0, "power"), show(6000.0, "power", "us")
    ('6.00 kW', '20,500 BTU/h')
    """
    if math.isnan(value):
        return "unknown"
    unit = _unit_for(value, kind, system)
    scale, offset = _line(kind, unit)
    shown = value * scale + offset
    tenths = kind.startswith("temperature")
    text = f"{shown:.1f}" if tenths else rounded(shown, digits)
    if tenths and system == "us":
        text = text.removesuffix(".0")  # a typed whole degree claims no tenth
    if float(text) == 0:
        text = text.lstrip("-")
    return f"{grouped(text, unit)} {_LABELS.get(unit, unit)}".strip()


def grouped(number: str, unit: str = "") -> str:
    """Return a plain number in groups of three digits, from five digits on.

    A space between them (ISO 80000-1), and the comma of US labels before BTU and cfm, as `parse`
    reads it there.
    """
    whole, point, rest = number.partition(".")
    if len(whole.lstrip("-")) < 5 or not whole.lstrip("-").isdigit():
        return number
    parts = f"{int(whole):,}"
    return (parts if unit.startswith(_COMMA_UNITS) else parts.replace(",", " ")) + point + rest


def inside_unit(kind: str) -> str:
    """Return the unit that values of a kind have inside, "" where they have none."""
    return _rule(kind).inside


def shown_unit(kind: str, system: str = "si", *, largest: float = 0.0) -> str:
    """Label of the unit a table or plot of this kind uses, given its largest value."""
    unit = _unit_for(largest, kind, system)
    return _LABELS.get(unit, unit)


def to_shown(value: "Numbers", kind: str, system: str = "si", *, largest: float = 0.0) -> "Numbers":
    """Number or array in the unit that `shown_unit` names."""
    scale, offset = _line(kind, _unit_for(largest, kind, system))
    return value * scale + offset


def _rule(kind: str) -> _Kind:
    if kind not in _KINDS:
        raise UsageError(
            expected="a kind of quantity: " + ", ".join(KINDS),
            found=repr(kind),
            where="units",
            do="name one of them",
        )
    return _KINDS[kind]


def _error(value: object, kind: str, found: str, do: str) -> UnitError:
    words = kind.replace("_", " ")
    article = "an" if words[0] in "aeiou" else "a"
    in_us = f" or {_US_EXAMPLES[kind]!r}" if kind in _US_EXAMPLES else ""
    return UnitError(
        expected=f"{article} {words} such as {_KINDS[kind].example!r}{in_us}",
        found=found,
        where=repr(value),
        do=do,
    )


def _split(value: str | float, kind: str, rule: _Kind) -> tuple[str, str]:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise _error(value, kind, type(value).__name__, f"write it as {rule.example!r}")
    if not isinstance(value, str):
        return repr(value), ""
    if len(value) > _LONGEST_TEXT:
        raise _error(value[:20] + "...", kind, f"{len(value)} characters", "shorten it")
    doubtful = _THOUSANDS_BY_POINT.fullmatch(value)
    if doubtful is not None:
        whole, rest, unit = doubtful.group("whole", "rest", "unit")
        small = f"{float(f'{whole}.{rest}'):g} {unit.strip()}"
        large = f"{whole}{rest} {unit.strip()}"
        raise _error(value, kind, f"either {large} or {small}", "write the one that is meant")
    value = _decimal(_without_grouping(value))
    if "," in value:
        raise _error(value, kind, "a comma", "write thousands together and decimals with a point")
    match = _QUANTITY.fullmatch(value)
    if match is None:
        raise _error(value, kind, "no number first", f"start with one, as in {rule.example!r}")
    digits = re.sub(r"\s", "", match["number"]).replace("−", "-")
    return digits, match["unit"]


def _without_grouping(text: str) -> str:
    """Return a number as labels in BTU and cfm print it, "20,000", without its commas."""
    return text.replace(",", "") if _GROUPED_BY_COMMAS.match(text) else text


def _decimal(text: str) -> str:
    """Return a fraction before a unit, "1 1/2 in", as a decimal."""
    match = _FRACTION.fullmatch(text)
    if match is None or not int(match["under"]):
        return text
    unit = "in" if match["unit"].strip() == '"' else match["unit"]
    return f"{int(match['whole'] or 0) + int(match['over']) / int(match['under'])!r} {unit}"


def _fraction(number: str, unit: str, value: object) -> float:
    if unit not in {"", "%"}:
        raise _error(value, "fraction", f"the unit {unit!r}", "use % or a bare number")
    return float(number) / 100.0 if unit else float(number)


def _plain_number(number: str, unit: str, value: object) -> float:
    if unit:
        raise _error(value, "number", f"the unit {unit!r}", "write the number alone")
    return float(number)


def _converted(number: str, unit: str, value: object, kind: str, rule: _Kind) -> float:
    import pint

    like = f"use a unit as in {rule.example!r}"
    if _UNIT_SHAPE.fullmatch(unit) is None:
        raise _error(value, kind, f"the unreadable unit {unit!r}", like)
    try:
        few = _is_of_few(unit, rule.offset)
        quantity = registry(few).Quantity(Decimal(number), _expression(unit, rule.offset, few))
        return float(quantity.to(_expression(rule.inside, rule.offset, few)).magnitude)
    except pint.DimensionalityError:
        raise _error(value, kind, f"{unit!r}, a unit of something else", like) from None
    except pint.UndefinedUnitError:
        raise _error(value, kind, f"the unknown unit {unit!r}", like) from None
    except Exception as error:
        # pint also raises its tokenizer's errors for odd text.
        raise _error(value, kind, f"the unreadable unit {unit!r}", like) from error


def _is_of_few(unit: str, offset: bool) -> bool:
    return all(_spelling(word, offset) in FEW for word in _UNIT_WORD.findall(unit))


@lru_cache(maxsize=256)
def _expression(unit: str, offset: bool, few: bool) -> "pint.Unit":
    text = unit.replace("²", "2").replace("³", "3").replace("·", "*")
    text = _POWER.sub(r"**\1", text)
    text = _UNIT_WORD.sub(lambda word: _spelling(word[0], offset), text)
    return registry(few).parse_units(text)


def _spelling(word: str, offset: bool) -> str:
    name = _SPELLINGS.get(word, word)
    return name if offset or name not in {"degC", "degF"} else f"delta_{name}"


@lru_cache(maxsize=64)
def _line(kind: str, unit: str) -> tuple[float, float]:
    # Every shown unit is a straight line of the inside one: scale and offset.
    rule = _rule(kind)
    if unit == rule.inside or kind in _SHARES:
        return (1.0 if unit == rule.inside else 100.0), 0.0
    few = _is_of_few(unit, rule.offset)
    inside, shown = (_expression(text, rule.offset, few) for text in (rule.inside, unit))
    at = [registry(few).Quantity(Decimal(x), inside).to(shown).magnitude for x in (0, 1)]
    return float(at[1] - at[0]), float(at[0])


def _unit_for(value: float, kind: str, system: str) -> str:
    rule = _rule(kind)
    if system not in SYSTEMS:
        raise UsageError(
            expected="si or us", found=repr(system), where="system of units", do="name one"
        )
    steps = rule.si if system == "si" else rule.us
    # 999.7 W rounds to 1000 W, which reads better as 1.00 kW.
    size = abs(value) * 1.0005
    return [unit for start, unit in steps if size >= start][-1]


def rounded(value: float, digits: int) -> str:
    """Return a number with `digits` significant digits."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    exponent = math.floor(math.log10(abs(float(f"{value:.{digits - 1}e}"))))
    decimals = digits - 1 - exponent
    if decimals > 8:
        return f"{value:.{digits - 1}e}"
    return f"{round(value, decimals):.{max(decimals, 0)}f}"
