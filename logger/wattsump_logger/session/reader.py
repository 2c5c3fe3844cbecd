"""Reads a session file: one outing as arrays, with its faults and marks.

It is fast because it reads `time_utc` in one row only, and makes strings only of the few
text cells that are not empty. docs/session-format.md is the specification.
"""

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from wattsump_logger.arrays import FloatArray
from wattsump_logger.errors import SessionError, reason_of
from wattsump_logger.inputs import need_regular
from wattsump_logger.machine.profile import Profile, profile_from_dict
from wattsump_logger.notebook import card
from wattsump_logger.printable import as_typed
from wattsump_logger.remark import Remark
from wattsump_logger.session.rows import FIRST_COLUMNS, LAST_COLUMNS, marks_of, taken_back
from wattsump_logger.session.sidecar import read_sidecar
from wattsump_logger.session.table import Table, parse_table, rows_between, salvage
from wattsump_logger.session.writer import SessionWriter, write_session

if TYPE_CHECKING:
    import pandas as pd

__all__ = (
    "Fault",
    "Mark",
    "Session",
    "SessionWriter",
    "load_session",
    "write_session",
)
_COLDEST_C, _HOTTEST_C = -273.15, 3000.0
_LONGEST_HEADER = 4096
_LONGEST_NAME = 60  # of a column: what screens, plots and pages have room for
_LONGEST_MARK = 500
_LONGEST_S = 3.2e8  # ten years: longer than any outing, so a clock jumped
_TAIL = 1 << 16  # bytes read at once in search of the last line end
_FAULT = re.compile(r"([^:;]+):([^=;]+)(?:=([^;]*))?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """Something wrong at a row: `channel` is a channel's name, or `wire` for the link."""

    row: int
    elapsed_s: float
    channel: str
    code: str
    detail: str = ""

    @property
    def text(self) -> str:
        """The fault as a session's cell has it."""
        return f"{self.channel}:{self.code}" + (f"={self.detail}" if self.detail else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A note of the driver, and when."""

    elapsed_s: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Session:
    """One outing as read from its file; NaN in a column is "no reading"."""

    path: Path
    elapsed_s: FloatArray
    columns: Mapping[str, FloatArray]
    faults: tuple[Fault, ...] = ()
    marks: tuple[Mark, ...] = ()
    start_utc: datetime | None = None
    metadata: Mapping[str, object] = field(default_factory=dict)
    notes: tuple[Remark, ...] = ()

    def frame(self) -> "pd.DataFrame":
        """Return the session as a pandas table, one row per row of the file.

        The index is the time: UTC where the start is known, else since the first row. The last
        two columns hold each row's faults (`channel:code`) and marks as text, "" for none.
        """
        import pandas as pd

        since = pd.to_timedelta(self.elapsed_s, unit="s")
        index = since if self.start_utc is None else pd.Timestamp(self.start_utc) + since
        table = pd.DataFrame(dict(self.columns), index=index)
        table.index.name = "elapsed" if self.start_utc is None else "time_utc"
        faults, marks = [""] * len(table), [""] * len(table)
        for fault in self.faults:
            faults[fault.row] = ";".join(filter(None, (faults[fault.row], fault.text)))
        for mark in self.marks:
            row = int(np.searchsorted(self.elapsed_s, mark.elapsed_s))
            marks[row] = ";".join(filter(None, (marks[row], mark.text)))
        return table.assign(fault=faults, mark=marks)

    def __repr__(self) -> str:
        minutes = float(self.elapsed_s[-1]) / 60 if self.elapsed_s.size else 0.0
        return (
            f"<Session {self.path.name}: {self.elapsed_s.size} rows over {minutes:.0f} min, "
            f"{len(self.marks)} marks, {len(self.faults)} faults>"
        )

    def _repr_html_(self) -> str:
        """Return a card for a notebook: each column with its lowest and highest reading."""
        rows = [("column", "lowest", "highest", "readings")]
        for name, values in self.columns.items():
            there = values[np.isfinite(values)]
            ends = (f"{there.min():g}", f"{there.max():g}") if there.size else ("-", "-")
            rows.append((name, *ends, str(there.size)))
        return card(repr(self).strip("<>"), [note.text for note in self.notes], rows)

    def profile(self) -> Profile | None:
        """Return the machine profile it was logged with, None if there was none.

        Raises
        ------
        ProfileError
            The sidecar holds a profile that cannot be read.
        """
        held = self.metadata.get("profile")
        if not isinstance(held, Mapping):
            return None
        return profile_from_dict(held, f"{self.path}, sidecar")


def load_session(path: Path | str) -> Session:
    """Read the session CSV at `path` and its sidecar.

    Parameters
    ----------
    path : Path or str
        The `.csv` file of a session.

    Returns
    -------
    Session
        Arrays of shape (rows,); `notes` lists what had to be left out or repaired.

    Raises
    ------
    SessionError
        The file is missing, empty, not a session, or its time goes backwards.
    """
    path = Path(path)
    head, size = _head(path)
    header, start = _header(head, path)
    end, notes = _whole_rows(path, start, size)
    rows = rows_between(path, start, end)
    table = parse_table(rows, header) or salvage(rows, header, path)
    metadata, sidecar_notes = read_sidecar(path, header)
    return _session(path, table, metadata, (*notes, *table.notes, *sidecar_notes))


def _session(
    path: Path, table: Table, metadata: Mapping[str, object], notes: tuple[Remark, ...]
) -> Session:
    elapsed_s = table.columns["elapsed_s"]
    _check_time(elapsed_s, path)
    empty = Remark(code="no-rows", text="no rows: the outing holds no reading")
    notes = (*notes, *_left_out(table.columns))
    return Session(
        path=path,
        elapsed_s=elapsed_s,
        columns=table.columns,
        faults=tuple(
            fault for row, cell in table.faults for fault in _faults(row, cell, elapsed_s)
        ),
        marks=_marks(table.marks, elapsed_s),
        start_utc=_start(table.first_time, elapsed_s, path),
        metadata=metadata,
        notes=notes if len(elapsed_s) else (*notes, empty),
    )


def _marks(cells: Sequence[tuple[int, str]], elapsed_s: FloatArray) -> tuple[Mark, ...]:
    """Return the marks that count."""
    noted = [(row, text) for row, cell in cells for text in marks_of(cell)]
    gone = taken_back([text for _, text in noted])
    return tuple(
        Mark(elapsed_s=float(elapsed_s[row]), text=_bounded(text))
        for at, (row, text) in enumerate(noted)
        if at not in gone
    )


def _bounded(mark: str) -> str:
    return mark if len(mark) <= _LONGEST_MARK else f"{mark[:_LONGEST_MARK]}..."


def _head(path: Path) -> tuple[bytes, int]:
    """Return the first bytes of the file and its size."""
    try:
        need_regular(path)
        with path.open("rb") as file:
            return file.read(_LONGEST_HEADER), file.seek(0, 2)
    except OSError as error:
        raise SessionError(
            expected="the CSV file of a session",
            found=reason_of(error),
            where=str(path),
            do="check the name; a session is <name>.csv",
        ) from error


def _header(head: bytes, path: Path) -> tuple[tuple[str, ...], int]:
    end = head.find(b"\n")
    line = head[: end if end >= 0 else 80]
    try:
        names = tuple(next(csv.reader([line.decode("utf-8-sig").rstrip("\r\n")]), []))
    except (UnicodeDecodeError, csv.Error):
        names = ()
    first, last = names[: len(FIRST_COLUMNS)], names[-len(LAST_COLUMNS) :]
    if end < 0 or first != FIRST_COLUMNS or last != LAST_COLUMNS:
        raise SessionError(
            expected="a header time_utc,elapsed_s,seq,...,fault,mark",
            found=_first_words(line),
            where=f"{path}, line 1",
            do=_advice(line, path),
        )
    if len(set(names)) != len(names):
        raise SessionError(
            expected="every column once",
            found=", ".join(sorted({name[:40] for name in names if names.count(name) > 1})[:5]),
            where=f"{path}, line 1",
            do="give the columns different names",
        )
    if longest := [name for name in names if len(name) > _LONGEST_NAME]:
        raise SessionError(
            expected=f"column names of at most {_LONGEST_NAME} characters",
            found=f"{longest[0][:40]!r}... of {len(longest[0])}",
            where=f"{path}, line 1",
            do="give the column a shorter name",
        )
    return names, end + 1


def _first_words(line: bytes) -> str:
    return repr(line[:60].decode("utf-8", "replace")) if line.strip() else "an empty file"


def _advice(line: bytes, path: Path) -> str:
    if line.startswith((b"wattsump-wire", b"H1,", b"R1,", b"E1,")):
        return "this holds frames of the wire: `wattsump import` makes a session of it"
    if line.strip() and b"\0" not in line:
        whose = "a spreadsheet saved" if line.startswith(b"time_utc") else "another logger wrote"
        return f"if {whose} it, `wattsump import {as_typed(path)}` makes a session of it"
    return "give a session made by `wattsump log` or `wattsump import`"


def _whole_rows(path: Path, start: int, size: int) -> tuple[int, tuple[Remark, ...]]:
    """Return where the last whole row ends, and a note if a torn one follows."""
    end = size
    with path.open("rb") as file:
        while end > start:
            first = max(start, end - _TAIL)
            file.seek(first)
            line_end = file.read(end - first).rfind(b"\n") + 1
            end = first + line_end
            if line_end:
                break
    torn = size - end
    if not torn:
        return end, ()
    return end, (
        Remark(
            code="row-torn",
            text=f"the last row was cut off after {torn} bytes and left out; "
            "`wattsump import` on the .wire file can make it again",
        ),
    )


def _left_out(columns: dict[str, FloatArray]) -> list[Remark]:
    """Empty the cells that no channel can have sent, such as a state of 7, with a note."""
    notes = []
    for name, values in list(columns.items()):
        if name.endswith("_on"):
            wrong = np.isfinite(values) & (values != 0.0) & (values != 1.0)
            what = "are neither 0 nor 1"
        elif name.endswith("_c"):
            wrong = (values < _COLDEST_C) | (values > _HOTTEST_C)
            what = "are beyond any temperature"
        else:
            continue
        if wrong.any():
            at = int(np.argmax(wrong))
            text = (
                f"{np.count_nonzero(wrong)} cells of {name} {what} and were left out, the first "
                f"{values[at]:g} in row {at + 1}"
            )
            notes.append(Remark(code="impossible-cells", text=text))
            columns[name] = np.where(wrong, np.nan, values)
    return notes


def _faults(row: int, cell: str, elapsed_s: FloatArray) -> list[Fault]:
    return [
        Fault(
            row=row,
            elapsed_s=float(elapsed_s[row]),
            channel=channel.strip(),
            code=code,
            detail=detail,
        )
        for channel, code, detail in _FAULT.findall(cell)
    ]


def _check_time(elapsed_s: FloatArray, path: Path) -> None:
    steps = np.diff(elapsed_s)
    wrong = np.flatnonzero(~(steps > 0))
    if len(elapsed_s) and not len(wrong) and elapsed_s[-1] - elapsed_s[0] > _LONGEST_S:
        raise SessionError(
            expected="the seconds of one outing",
            found=f"{elapsed_s[-1]:.4g} in elapsed_s",
            where=f"{path}, row {len(elapsed_s)}",
            do="make the session again from its .wire file with `wattsump import`",
        )
    if np.isnan(elapsed_s[:1]).any() or len(wrong):
        row = int(wrong[0]) + 1 if len(wrong) else 0
        before = f" after {elapsed_s[row - 1]:.3f}" if row else ""
        raise SessionError(
            expected="elapsed_s to increase from row to row",
            found=f"{elapsed_s[row]:.3f}{before}",
            where=f"{path}, row {row + 1}",
            do="make the session again from its .wire file with `wattsump import`",
        )


def _start(first: tuple[int, str] | None, elapsed_s: FloatArray, path: Path) -> datetime | None:
    if first is None:
        return None
    row, text = first
    try:
        return datetime.fromisoformat(text) - timedelta(seconds=float(elapsed_s[row]))
    except (ValueError, OverflowError) as error:
        raise SessionError(
            expected="a time as 2026-05-04T07:30:00.000Z",
            found=repr(text[:60]),
            where=f"{path}, row {row + 1}, time_utc",
            do="restore the column, or leave its cells empty",
        ) from error
