"""An answer to one of the owner's questions: figures with intervals, rows, flags, cautions.

Every question is answered by a pure function that returns an `Answer`. Its numbers stay in
inside units; `screen` writes it for 80 columns in the wanted system of units and `as_json` as
plain data of schema `wattsump-answer-1`. Sentences are pieces, text between figures, so that a
number inside a sentence follows the wanted units too.
"""

import math
from dataclasses import dataclass

__all__ = (
    "Answer",
    "Figure",
    "Pieces",
    "Row",
    "Section",
    "Table",
    "temperature",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A value in the inside unit of its kind, with its 95 % interval where it has one.

    Infinite means never (a duration) or without bound; NaN means unknown. A value above
    `most` is shown as "over" it, because the number means nothing there.
    """

    value: float
    kind: str
    low: float | None = None
    high: float | None = None
    most: float = math.inf

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


Pieces = tuple[str | Figure, ...]


def temperature(temp_c: float) -> Figure:
    """Return a temperature [°C] without an interval."""
    return Figure(value=temp_c, kind="temperature")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of an answer. `key` names it for programs; `flag` warns, `note` explains."""

    key: str
    label: str
    figure: Figure
    note: str = ""
    flag: str = ""


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
    remarks: tuple[Pieces, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Answer:
    """The whole answer: headline, cautions, sections, and what was assumed.

    Cautions come first where a hand is about to touch the machine, `is_hands_on`; else one of
    them follows the headline and the others come last.
    """

    question: str
    headline: tuple[Pieces, ...]
    sections: tuple[Section, ...]
    cautions: tuple[str, ...] = ()
    is_hands_on: bool = True
    assumed: tuple[Pieces, ...] = ()

    def __repr__(self) -> str:
        return f"<Answer {self.question}: {len(self.sections)} sections; answer_text(...) shows it>"

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
