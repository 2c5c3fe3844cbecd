"""A quantity inside a sentence, kept until it is known in which units the sentence is shown."""

from collections.abc import Iterable
from dataclasses import dataclass

from wattsump_logger.units.quantities import grouped, rounded, shown_unit, to_shown

__all__ = ("Measure", "degrees", "kelvins", "listed")


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """A quantity of a kind, in its inside unit, rounded once in the units it is shown in.

    `spec` formats its number, and the ends of its range where it has one; without it three
    digits are significant. `per` ends the unit, as in "K/min".
    """

    value: float
    kind: str
    spec: str = ""
    low: float | None = None
    high: float | None = None
    per: str = ""

    def __str__(self) -> str:
        return self.in_units("si")

    def in_units(self, system: str) -> str:
        """Return it with its unit, and the range behind it.

        >>> Measure(value=80.8, kind="conductance", spec=".0f", low=70.5, high=92.3).in_units("us")
        '153 BTU/(h °F) (134 to 175)'
        """
        unit = shown_unit(self.kind, system, largest=self.value)
        value, *ends = (
            self._number(end, unit, system)
            for end in (self.value, self.low, self.high)
            if end is not None
        )
        whole = f"{value} {unit}{self.per}"
        return f"{whole} ({' to '.join(ends)})" if ends else whole

    def _number(self, value: float, unit: str, system: str) -> str:
        number = float(to_shown(value, self.kind, system, largest=self.value))
        text = f"{number:{self.spec}}" if self.spec else rounded(number, 3)
        if float(text) == 0:
            text = text.lstrip("-")
        return grouped(text, unit)


def kelvins(difference_k: float, spec: str = ".1f", *, per: str = "") -> Measure:
    """Return a difference of temperatures for a sentence."""
    return Measure(value=difference_k, kind="temperature_difference", spec=spec, per=per)


def degrees(temp_c: float) -> Measure:
    """Return a temperature for a sentence, in whole degrees."""
    return Measure(value=temp_c, kind="temperature", spec=".0f")


def listed(parts: Iterable[tuple[object, ...]], between: str = ", ") -> tuple[object, ...]:
    """Return parts of a sentence, each a few pieces, with a text between them.

    >>> "".join(map(str, listed([("tank ", kelvins(0.5)), ("air ", kelvins(0.2))])))
    'tank 0.5 K, air 0.2 K'
    """
    return tuple(piece for part in parts for piece in (between, *part))[1:]
