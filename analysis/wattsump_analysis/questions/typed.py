"""Quantities as typed for a question, with an interval where one is typed.

"95 to 115 W/K", or "95-115 W/K", is a 95 % interval whose middle is the geometric mean (of
temperatures the plain mean); "105 W/K +- 10 %" is a middle with its relative half width,
"105 +- 10 W/K" with its half width. A bare value is exact.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import field, fields
from typing import TYPE_CHECKING, Any, TypeVar

from wattsump_analysis.questions.answer import Figure
from wattsump_logger.errors import UnitError
from wattsump_logger.units.quantities import parse

__all__ = ("Quantity", "option", "quantity", "typed_fields", "value_of")

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

# A field of a question; None where nothing was typed.
Quantity = Figure | None
_Asked = TypeVar("_Asked", bound="DataclassInstance")
_Other = TypeVar("_Other", float, float | None)
_RANGE = re.compile(
    r"(?P<low>.+?)\s+to\s+(?P<high>.+)"
    r"|(?P<from>[\d.]+)\s*[-\N{EN DASH}]\s*(?P<up>[\d.]+\s*[^\d.\s].*)"
)
_HALF = re.compile(r"(?P<value>.+?)\s*(?:\+-|\+/-|±)\s*(?P<half>[\d.]+\s*[^%\d.\s].*)")
_SPREAD = re.compile(r"(?P<value>.+?)\s*(?:\+-|\+/-|±)\s*(?P<spread>[\d.]+\s*%)")
_NO_UNIT = re.compile(r"[+\-−\d.\s]+")


def value_of(typed: Quantity, otherwise: _Other) -> _Other:
    """Return the typed value, or else the available one."""
    return otherwise if typed is None else typed.value


def quantity(text: str, kind: str, where: str) -> Figure:
    """Read a typed quantity, with an interval where one is typed.

    Raises
    ------
    UnitError
        As `parse` of the units, with the option named; or a range the wrong way round.
    """
    try:
        return _quantity(text, kind)
    except UnitError as error:
        raise UnitError(
            expected=error.expected, found=error.found, where=where, do=error.do
        ) from error


def _quantity(text: str, kind: str) -> Figure:
    if spread := _SPREAD.fullmatch(text.strip()):
        value, share = parse(spread["value"], kind), parse(spread["spread"], "fraction")
        if kind.startswith("temperature"):
            raise UnitError(
                expected="a temperature, or a range such as '10 to 18 degC'",
                found=repr(text),
                where="per cent of a temperature",
                do="write the range",
            )
        return Figure(value, kind, low=value / (1 + share), high=value * (1 + share))
    if half := _HALF.fullmatch(text.strip()):
        return _half_width(half["value"], half["half"], kind, text)
    if between := _RANGE.fullmatch(text.strip()):
        low_text, high_text = between["low"] or between["from"], between["high"] or between["up"]
        return _between(low_text, high_text, kind, text)
    return Figure(parse(text, kind), kind)


def _between(low_text: str, high_text: str, kind: str, text: str) -> Figure:
    low, high = parse(_with_unit(low_text, high_text), kind), parse(high_text, kind)
    if not low < high:
        raise UnitError(
            expected="a range from low to high",
            found=repr(text),
            where="range",
            do="write the smaller value first",
        )
    plain = low <= 0 or kind.startswith("temperature")
    middle = 0.5 * (low + high) if plain else math.sqrt(low * high)
    return Figure(middle, kind, low=low, high=high)


def _half_width(value_text: str, half_text: str, kind: str, text: str) -> Figure:
    value = parse(_with_unit(value_text, half_text), kind)
    spread = parse(half_text, "temperature_difference" if kind == "temperature" else kind)
    if not kind.startswith("temperature") and not 0.0 < spread < value:
        raise UnitError(
            expected="a half width above 0 and under the value",
            found=repr(text),
            where="half width",
            do="write the range, as '95 to 115 W/K'",
        )
    return Figure(value, kind, low=value - spread, high=value + spread)


def _with_unit(text: str, other: str) -> str:
    """A number without a unit takes that of the other number."""
    return f"{text} {other.lstrip('+-−0123456789. ')}" if _NO_UNIT.fullmatch(text) else text


def option(kind: str, help_text: str = "") -> Any:
    """Declare a field of a question: a kind of quantity, or "text" or "texts", and its help."""
    return field(default=None, metadata={"kind": kind, "help": help_text})


def typed_fields(asked: type[_Asked], typed: Mapping[str, Any]) -> _Asked:
    """Build a question from what was typed, by field name; what was not typed stays None.

    Raises
    ------
    UnitError
        A text is not a quantity of its field's kind; the message names the option.
    """
    values = {}
    for spot in fields(asked):
        value, kind = typed.get(spot.name), spot.metadata["kind"]
        if value is not None and kind not in {"text", "texts"}:
            value = quantity(value, kind, "--" + spot.name.replace("_", "-"))
        values[spot.name] = value
    return asked(**values)
