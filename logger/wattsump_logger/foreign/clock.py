"""The times of a foreign table: clock times, counted seconds, spreadsheet days.

The result is seconds since the first row and, where the file has a clock, the date and time
of day of that row.
"""

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from wattsump_logger.arrays import FloatArray
from wattsump_logger.errors import SessionError
from wattsump_logger.foreign.table import Table, numbers
from wattsump_logger.remark import Remark

if TYPE_CHECKING:
    import pandas as pd

__all__ = ("DATE_ORDERS", "Clock", "Stamps", "dates_are_unclear", "find_clock", "read_stamps")
DateOrder = Literal["day-first", "month-first"]
DATE_ORDERS: tuple[DateOrder, ...] = ("day-first", "month-first")

_DAY_S = 86_400.0
_WORDS = frozenset(
    {"time", "date", "timestamp", "datetime", "clock", "elapsed", "uptime", "seconds"}
)
_UNIT_S = {
    "s": 1.0,
    "sec": 1.0,
    "seconds": 1.0,
    "ms": 1e-3,
    "min": 60.0,
    "minutes": 60.0,
    "h": 3600.0,
}
_YEAR_FIRST = r"(?P<y>\d{4})[-/.](?P<m>\d{1,2})[-/.](?P<d>\d{1,2})"
_YEAR_LAST = r"(?P<a>\d{1,2})(?P<sign>[-/.])(?P<b>\d{1,2})[-/.](?P<y>\d{4}|\d{2})"
_TIME = r"(?P<H>\d{1,4}):(?P<M>\d{2})(?::(?P<S>\d{2}(?:[.,]\d+)?))?\s*(?P<half>[AaPp])?\.?[Mm]?\.?"
_DATE = r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}"
_WITH_TIME = rf"(?:(?:{_DATE})[ T,]+)?\d{{1,4}}:\d{{2}}"
_ZONE = re.compile(r"(Z|[+-]\d{2}:?\d{2})$")
_EPOCH = (1e9, 4e9)  # seconds since 1970 of the years 2001 to 2096
_SPREADSHEET_DAYS = (36_526.0, 73_050.0)  # 2000 to 2100, counted from 1899-12-30
_HALF_DAY_S = 43_200.0
_LEAST_READ = 0.9
_LEAST_ROWS = 10  # that rise: of fewer, a temperature may do so


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """The columns of the time, `date` "" if there is none, and the unit of counted times.

    `may_number` marks a column, of another name, that rises by one from row to row: it may number
    them.
    """

    time: str
    date: str = ""
    unit_s: float | None = None
    may_number: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stamps:
    """Seconds since the first row, shape (n,), for the rows of `rows`.

    `clock_s` is the time of day at the first row, None where the file only counts; `start` has
    the date too, without a zone unless the file names one. `notes` list what was changed.
    """

    rows: NDArray[np.intp]
    elapsed_s: FloatArray
    clock_s: float | None
    start: datetime | None
    notes: tuple[Remark, ...]


def find_clock(table: Table) -> Clock | None:
    """Return the time column by its name or its cells; None if there is none.

    A first column of numbers that only ever rise counts the time in whatever language, unless
    another one is named as a time: loggers also number their rows.
    """
    stamped = [name for name in table.names if _share(table.cells[name], _WITH_TIME) > _LEAST_READ]
    dated = [name for name in table.names if _share(table.cells[name], _DATE) > _LEAST_READ]
    both = [name for name in stamped if name in dated]
    if both:
        return Clock(time=both[0])
    if stamped:
        return Clock(time=stamped[0], date=dated[0] if dated else "")
    words_of = [re.findall(r"[a-z]+", name.lower()) for name in table.names]
    named = [
        at
        for at, words in enumerate(words_of)
        if _WORDS & set(words) or words in (["t"], ["s"], ["t", "s"])
    ]
    for at in (*named, 0):
        name, words = table.names[at], words_of[at]
        values = _numbers(table, name)
        seen = values[np.isfinite(values)]
        if seen.size < _LEAST_READ * values.size:
            continue
        if at not in named and (seen.size < _LEAST_ROWS or np.any(np.diff(seen) <= 0.0)):
            continue
        spelled = [table.units[at].strip("[]() ").lower(), *reversed(words)]
        unit_s = next((_UNIT_S[word] for word in spelled if word in _UNIT_S), None)
        return Clock(
            time=name,
            unit_s=unit_s or _counted_unit_s(values),
            may_number=at not in named and bool(np.all(np.diff(seen) == 1.0)),
        )
    return None


def _counted_unit_s(values: FloatArray) -> float | None:
    """Return the unit of numbers that show it: days of a spreadsheet, or seconds since 1970."""
    first = float(values[np.isfinite(values)][0])
    if _SPREADSHEET_DAYS[0] <= first <= _SPREADSHEET_DAYS[1]:
        return _DAY_S
    if _EPOCH[0] <= first <= _EPOCH[1]:
        return 1.0
    return 1e-3 if _EPOCH[0] <= first / 1000 <= _EPOCH[1] else None


def dates_are_unclear(table: Table, clock: Clock) -> bool:
    """Tell whether every row could have day and month in either order."""
    parts = _year_last(table.cells[clock.date or clock.time])
    if parts is None or (parts["sign"] == ".").all():
        return False
    first, second = parts["a"].astype(int), parts["b"].astype(int)
    return bool((first <= 12).all() and (second <= 12).all() and (first != second).any())


def read_stamps(table: Table, clock: Clock, order: DateOrder | None = None) -> Stamps:
    """Read the times of all rows that have one.

    Raises
    ------
    SessionError
        Times that cannot be read, or that go backwards.
    """
    notes: list[Remark] = []
    if clock.unit_s is not None:
        seconds = _numbers(table, clock.time) * clock.unit_s
        days = None
    else:
        seconds = _seconds_of_day(table.cells[clock.time])
        days = _days(table, clock.date or clock.time, order)
        if days is not None:
            seconds = seconds + days * _DAY_S
    rows = np.flatnonzero(np.isfinite(seconds))
    if rows.size < 2:
        raise _bad(
            table.path, f"{rows.size} times in column {clock.time!r}", "name the time column"
        )
    if rows.size < seconds.size:
        text = f"{seconds.size - rows.size} rows without a time were left out"
        notes.append(Remark(code="rows-without-time", text=text))
    seconds = seconds[rows]
    if clock.unit_s is None and days is None:
        past = np.diff(seconds, prepend=seconds[0]) < -_HALF_DAY_S
        seconds = seconds + np.cumsum(past) * _DAY_S
    _check_order(seconds, rows, table)
    elapsed_s, spread = _spread(seconds)
    notes.extend(spread)
    start = _start(table, clock, float(seconds[0]), days is not None, int(rows[0]))
    has_clock = clock.unit_s is None or start is not None
    if clock.unit_s is None and "elapsed" in clock.time.lower():
        has_clock = False
    midnight = start and start.replace(hour=0, minute=0, second=0, microsecond=0)
    clock_s = (start - midnight).total_seconds() if start and midnight else float(seconds[0])
    return Stamps(
        rows=rows,
        elapsed_s=elapsed_s - elapsed_s[0],
        clock_s=clock_s % _DAY_S if has_clock else None,
        start=start,
        notes=tuple(notes),
    )


def _bad(path: Path, found: str, do: str) -> SessionError:
    return SessionError(
        expected="times that increase from row to row", found=found, where=str(path), do=do
    )


def _numbers(table: Table, name: str) -> FloatArray:
    return np.asarray(numbers(table.cells[name], is_comma=bool(table.is_comma)), dtype=float)


def _share(texts: "pd.Series[str]", pattern: str) -> float:
    """Return the share of filled cells that begin with a pattern."""
    filled = texts[texts.str.strip() != ""].str.strip()
    return float(filled.str.match(pattern).mean()) if len(filled) else 0.0


def _year_last(texts: "pd.Series[str]") -> "pd.DataFrame | None":
    parts = texts.str.strip().str.extract(f"^{_YEAR_LAST}").dropna()
    return parts if len(parts) else None


def _seconds_of_day(texts: "pd.Series[str]") -> FloatArray:
    # Before the time stands a date; its digits must not be taken for hours.
    parts = texts.str.strip().str.extract(rf"(?:^|[ T,]){_TIME}")
    hours = parts["H"].astype(float)
    half = parts["half"].str.lower()
    hours = hours.where(half.isna(), hours % 12 + 12.0 * (half == "p"))
    seconds = parts["S"].str.replace(",", ".", regex=False).astype(float).fillna(0.0)
    return np.asarray(hours * 3600.0 + parts["M"].astype(float) * 60.0 + seconds, dtype=float)


def _days(table: Table, name: str, order: DateOrder | None) -> FloatArray | None:
    """Return days since 1970 of each row, NaN without one; None where the file has no dates."""
    texts = table.cells[name].str.strip()
    year_first = texts.str.extract(f"^{_YEAR_FIRST}")
    if year_first["y"].notna().any():
        return _counted(year_first["y"], year_first["m"], year_first["d"])
    parts = texts.str.extract(f"^{_YEAR_LAST}")
    if not parts["y"].notna().any():
        return None
    years = parts["y"].where(parts["y"].str.len() != 2, "20" + parts["y"])
    first, second = parts["a"], parts["b"]
    month_first = order == "month-first"
    if order is None:
        month_first = bool((second.astype(float) > 12).any())
    return _counted(years, *((first, second) if month_first else (second, first)))


def _counted(
    years: "pd.Series[str]", months: "pd.Series[str]", days: "pd.Series[str]"
) -> FloatArray:
    import pandas as pd

    dates = pd.to_datetime(
        years + "-" + months.str.zfill(2) + "-" + days.str.zfill(2),
        format="%Y-%m-%d",
        errors="coerce",
    )
    return np.asarray((dates - pd.Timestamp(0)) / pd.Timedelta(days=1), dtype=float)


def _check_order(seconds: FloatArray, rows: NDArray[np.intp], table: Table) -> None:
    back = np.flatnonzero(np.diff(seconds) < 0)
    if back.size:
        at = int(back[0]) + 1
        by_s = float(seconds[at - 1] - seconds[at])
        raise _bad(
            table.path,
            f"a step of {by_s:g} s backwards at line {table.line + int(rows[at])}",
            "sort the file by time, or cut it where its clock was set",
        )


def _spread(seconds: FloatArray) -> tuple[FloatArray, tuple[Remark, ...]]:
    """Space rows with equal times evenly, as a clock without seconds leaves them."""
    begins = np.flatnonzero(np.diff(seconds, prepend=-np.inf) > 0)
    counts = np.diff(np.append(begins, seconds.size))
    if counts.max() == 1:
        return seconds, ()
    if begins.size < 2:
        text = "all times are equal: one row a second was assumed"
        return seconds + np.arange(seconds.size), (Remark(code="times-alike", text=text),)
    step_s = float(np.median(np.diff(seconds[begins])))
    usual = float(np.median(counts[1:-1])) if begins.size > 2 else float(counts.max())
    period_s = step_s / max(usual, float(counts.max()) if usual < 1 else usual)
    places = np.arange(seconds.size) - np.repeat(begins, counts)
    # A file often begins within a step of its clock, so the first rows are counted back.
    late = max(0.0, (usual - counts[0]) * period_s)
    shares = np.repeat(np.maximum(counts, usual), counts)
    spread = seconds + places * step_s / shares
    spread[: counts[0]] += min(late, step_s - counts[0] * step_s / max(counts[0], usual))
    text = (
        f"times come in steps of {step_s:g} s: rows of one time were set {period_s:.3g} s from "
        "each other"
    )
    return spread, (Remark(code="times-in-steps", text=text),)


def _start(
    table: Table, clock: Clock, first_s: float, has_dates: bool, row: int
) -> datetime | None:
    if clock.unit_s is None:
        if not has_dates:
            return None
        start = datetime(1970, 1, 1) + timedelta(seconds=first_s)
        zone = _ZONE.search(table.cells[clock.time].iloc[row].strip())
        return datetime.fromisoformat(start.isoformat() + zone[1]) if zone else start
    if clock.unit_s == _DAY_S:
        return datetime(1899, 12, 30) + timedelta(seconds=first_s)
    if _EPOCH[0] <= first_s <= _EPOCH[1]:
        return datetime.fromisoformat("1970-01-01T00:00:00+00:00") + timedelta(seconds=first_s)
    return None
