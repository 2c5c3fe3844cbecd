"""An answer to one of the owner's questions: figures with intervals, rows, remarks.

Every question is answered by a pure function that returns an `Answer` in inside units; `writing`
shows it in 80 columns in the chosen system of units, or as plain data. The text of a remark may
contain figures, so that numbers inside a sentence are converted too.
"""

import math
from dataclasses import dataclass

from wattsump_logger.notebook import card
from wattsump_logger.remark import Remark
from wattsump_logger.units.quantities import grouped, rounded, show, shown_unit, to_shown

__all__ = (
    "ESTIMATE",
    "Answer",
    "Figure",
    "Row",
    "Section",
    "Table",
    "shown",
    "temperature",
)

# Kinds that the trade prints in either system, so both are shown.
_MIXED = frozenset(
    {"air_flow", "flow", "power", "pressure", "temperature", "temperature_difference", "volume"}
)
_OWN_DIGITS = frozenset({"bore", "duration", "energy", "number", "probability"})


# Value and kind, and the first three of a row, by place: answers consist of hundreds of them.
@dataclass(frozen=True, slots=True)
class Figure:
    """A value in the inside unit of its kind, with its 95 % interval where it has one.

    Infinite means never (a duration) or unbounded; NaN means unknown. A value above `most` is
    shown as "over" it, because the number is meaningless there. `in_watts` marks a heater's power,
    which is shown in watts in every system of units.
    """

    value: float
    kind: str
    low: float | None = None
    high: float | None = None
    most: float = math.inf
    in_watts: bool = False

    @property
    def ends(self) -> tuple[float, float]:
        """The ends of its interval, the value itself where it has none."""
        low, high = self.low, self.high
        return self.value if low is None else low, self.value if high is None else high

    @property
    def beyond(self) -> bool:
        """Whether the value lies above `most`."""
        return self.value > self.most

    @property
    def u_log(self) -> float:
        """Standard uncertainty of its logarithm [-]; 0 for a figure without an interval."""
        from wattsump_analysis.statistics.intervals import NORMAL_95  # brings numpy

        if self.low is None or self.high is None or min(self.low, self.value) <= 0.0:
            return 0.0
        return math.log(self.high / self.low) / (2.0 * NORMAL_95)

    def over(self, divisor: float, kind: str) -> "Figure":
        """Return it over an exact divisor, with its interval."""
        low, high = (None if end is None else end / divisor for end in (self.low, self.high))
        return Figure(self.value / divisor, kind, low=low, high=high)

    def __str__(self) -> str:
        return shown(self)

    def in_units(self, system: str) -> str:
        """Return it as it stands in a sentence, in the units of a system."""
        return shown(self, system)


def temperature(temp_c: float) -> Figure:
    """Return a temperature [°C] without an interval."""
    return Figure(temp_c, "temperature")


@dataclass(frozen=True, slots=True)  # see Figure
class Row:
    """One line of an answer. `key` names it for programs; `flag` warns, `note` explains."""

    key: str
    label: str
    figure: Figure
    note: Remark | None = None
    flag: Remark | None = None


# Flag of a figure that follows from rules of thumb, not from a measurement.
ESTIMATE = Remark(code="estimate", text="estimate")


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows of several figures under column heads; the first head is that of the row names."""

    key: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str | Figure, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """Rows, then a table, then remarks, under a title."""

    title: str
    rows: tuple[Row, ...] = ()
    table: Table | None = None
    remarks: tuple[Remark, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Answer:
    """The whole answer: headline, cautions, sections, and what was assumed.

    Cautions come first if the question is about work on the machine, `is_hands_on`; else the first
    caution follows the headline and the others come last.
    """

    question: str
    headline: tuple[Remark, ...]
    sections: tuple[Section, ...]
    cautions: tuple[Remark, ...] = ()
    is_hands_on: bool = True
    assumed: tuple[Remark, ...] = ()

    def __repr__(self) -> str:
        return f"<Answer {self.question}: {len(self.sections)} sections; answer_text(...) shows it>"

    def _repr_html_(self) -> str:
        """Return a card for a notebook: the answer, every figure, and what was assumed."""
        rows = [("", "", "")]
        for section in self.sections:
            for row in section.rows:
                beside = " ".join(str(part) for part in (row.flag, row.note) if part)
                rows.append((row.label.strip(), shown(row.figure), beside))
        first, *rest = (remark.text for remark in (*self.headline, *self.cautions))
        lines = [*rest, *(f"Assumed: {remark.text}" for remark in self.assumed)]
        return card(first, lines, rows if len(rows) > 1 else ())

    def row(self, key: str) -> Row:
        """Return the row of a key; KeyError when the answer has none."""
        for section in self.sections:
            for row in section.rows:
                if row.key == key:
                    return row
        raise KeyError(key)

    def table(self, key: str) -> Table:
        """Return the table of a key; KeyError when the answer has none."""
        for section in self.sections:
            if section.table is not None and section.table.key == key:
                return section.table
        raise KeyError(key)


def shown(figure: Figure, system: str = "si", *, both: bool = False) -> str:
    """Text of a figure with its unit and interval; `both` adds the other system's.

    A value with an interval has as many digits as the interval justifies.
    """
    if figure.in_watts:
        system, both = "si", False
    if figure.kind == "duration" and math.isinf(figure.value):
        return f"never{_never_tail(figure, system)}"
    if figure.beyond:
        return f"over {_plain(figure.most, figure, system)}"
    decimals = _digits_after_point(figure, system)
    text = _plain(figure.value, figure, system, decimals)
    if figure.low is not None and figure.high is not None:
        over = "over " if figure.high > figure.most else ""
        low = _number(figure.low, figure, system, decimals)
        high = _number(min(figure.high, figure.most), figure, system, decimals)
        if figure.kind == "duration" and figure.low < 60.0 <= figure.value:
            low = "under 1 min"  # with minutes, seconds would be false precision
        # Ends that round to one number are no range.
        text += f" ({low} to {over}{high})" if low != high or over else ""
    if both and figure.kind in _MIXED and math.isfinite(figure.value):
        other = _plain(figure.value, figure, "us" if system == "si" else "si")
        text += f" = {other}"
    return text


def _never_tail(figure: Figure, system: str) -> str:
    if figure.low is None or math.isinf(figure.low):
        return ""
    return f", or in {_plain(figure.low, figure, system)} at the earliest"


def _digits_after_point(figure: Figure, system: str) -> int | None:
    """Return the decimals that an interval justifies: two digits of its half width; may be < 0.

    None if there is no interval, or if the kind has a fixed number of digits.
    """
    ends = (figure.low, figure.high)
    if figure.kind in _OWN_DIGITS or not all(
        end is not None and math.isfinite(end) for end in ends
    ):
        return None
    low, high = (
        float(to_shown(end or 0.0, figure.kind, system, largest=figure.value)) for end in ends
    )
    half = 0.5 * (high - low)
    return 1 - math.floor(math.log10(half)) if half > 0.0 else None


def _plain(value: float, figure: Figure, system: str, decimals: int | None = None) -> str:
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "never" if figure.kind == "duration" else "no bound"
    if figure.kind == "probability":
        return _chance(value)
    if figure.kind == "number":
        return f"{value:.3g}"
    if figure.kind == "bore":
        # Tubes and hoses are sold in inches and measured in millimetres.
        return f"{value * 1000.0:.4g} mm" if system == "si" else f"{value / 0.0254:.3f} in"
    if figure.kind == "duration":
        return _time(value)
    if figure.kind == "energy":
        return f"{value / 3.6e6:.2f} kWh"
    if decimals is None:
        return show(value, figure.kind, system)
    unit = shown_unit(figure.kind, system, largest=value)
    return f"{_number(value, figure, system, decimals)} {unit}".strip()


def _chance(probability: float) -> str:
    """Per cent, to no more than a whole per cent."""
    if probability < 0.01:
        return "under 1 %"
    return "over 99 %" if probability > 0.99 else f"{probability * 100:.0f} %"


def _time(seconds: float) -> str:
    """Minutes up to two hours, then hours."""
    if seconds < 60.0:
        return f"{seconds:.1f} s" if seconds < 10.0 else f"{seconds:.0f} s"
    minutes = seconds / 60.0
    if minutes < 10.0:
        return f"{minutes:.1f} min"
    return f"{minutes:.0f} min" if minutes < 120.0 else f"{minutes / 60.0:.1f} h"


def _number(value: float, figure: Figure, system: str, decimals: int | None) -> str:
    """Value in the unit its figure is shown in, without the unit, for an interval."""
    if not math.isfinite(value) or figure.kind in ("number", "bore", "duration", "energy"):
        return _plain(value, figure, system)
    number = float(to_shown(value, figure.kind, system, largest=figure.value))
    unit = shown_unit(figure.kind, system, largest=figure.value)
    usual = f"{number:z.1f}" if figure.kind.startswith("temperature") else rounded(number, 3)
    if decimals is None or decimals >= len(usual.partition(".")[2]):
        return grouped(usual, unit)
    return grouped(f"{round(number, decimals):z.{max(decimals, 0)}f}", unit)
