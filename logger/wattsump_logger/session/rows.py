"""One row of a session file, and the text of its cells.

A cell a spreadsheet would take for a formula starts with one of `= + - @`, a tab or a
carriage return. Marks are free text, so such a mark gets one apostrophe in front, which
the reader takes away again; a mark that begins with an apostrophe gets one more.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

__all__ = (
    "FIRST_COLUMNS",
    "FIXED_COLUMNS",
    "LAST_COLUMNS",
    "UNDO",
    "Row",
    "by_program",
    "header_of",
    "mark_cell",
    "marks_of",
    "taken_back",
)

# Data type of CSV on the Web, meaning and unit of the columns that every session has, in order.
FIXED_COLUMNS: Mapping[str, tuple[str, str, str]] = {
    "time_utc": ("dateTimeStamp", "time of the reading by the host's clock, UTC", ""),
    "elapsed_s": ("decimal", "time since the first row by the controller's clock", "s"),
    "seq": ("nonNegativeInteger", "sequence number of the controller's frame", ""),
    "fault": ("string", "what was wrong: channel:code or channel:code=detail, ';' between", ""),
    "mark": ("string", "what the driver noted, ';' between", ""),
}
LAST_COLUMNS = ("fault", "mark")
FIRST_COLUMNS = tuple(name for name in FIXED_COLUMNS if name not in LAST_COLUMNS)
# A mark that takes the last one of the same text back: "undo: fan".
UNDO = "undo: "
_RISKY = ("=", "+", "-", "@", "'")
# Marks of the guide, the alarms, the watch and single keys; a test checks each of them.
_PROGRAMS = re.compile(
    r"stage |undo: |(alarm|warning)( over| seen)?: |watching failed: |(fan|climb|load|stop|note)\Z"
)
_CONTROL = re.compile(r"[\x00-\x1f\x7f\x85\u2028\u2029]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row: `cells` are the channels' texts in column order, empty for no reading."""

    time_utc: str
    elapsed_ms: int
    seq: int | None
    cells: Sequence[str]
    fault: str = ""
    mark: str = ""

    def texts(self) -> list[str]:
        """Return all cells of the row as in the file."""
        seq = "" if self.seq is None else str(self.seq)
        elapsed = f"{self.elapsed_ms // 1000}.{self.elapsed_ms % 1000:03d}"
        return [self.time_utc, elapsed, seq, *self.cells, self.fault, self.mark]


def header_of(columns: Iterable[str]) -> tuple[str, ...]:
    """Return the whole header for these channel columns."""
    return (*FIRST_COLUMNS, *columns, *LAST_COLUMNS)


def mark_cell(marks: Iterable[str]) -> str:
    """Return one cell for several marks: harmless in a spreadsheet, `;` between them."""
    return ";".join(_guarded(mark) for mark in marks)


def by_program(mark: str) -> bool:
    """Whether a mark was written by the program, not by the driver."""
    return _PROGRAMS.match(mark) is not None


def _guarded(mark: str) -> str:
    text = _CONTROL.sub(" ", mark).replace(";", ",").strip()
    return "'" + text if text.startswith(_RISKY) else text


def taken_back(marks: Sequence[str]) -> frozenset[int]:
    """Return which of an outing's marks do not count: those taken back, and what took them back.

    >>> sorted(taken_back(["fan", "fan", "undo: fan", "undo: load"]))
    [1, 2]
    """
    gone: set[int] = set()
    for at, text in enumerate(marks):
        if not text.startswith(UNDO):
            continue
        meant = text.removeprefix(UNDO)
        for before in reversed(range(at)):
            if marks[before] == meant and before not in gone:
                gone |= {before, at}
                break
    return frozenset(gone)


def marks_of(cell: str) -> tuple[str, ...]:
    """Return the marks of a cell, without the apostrophes."""
    parts = (part.strip() for part in cell.split(";"))
    return tuple(
        part[1:] if part[:1] == "'" and part[1:].startswith(_RISKY) else part
        for part in parts
        if part
    )
