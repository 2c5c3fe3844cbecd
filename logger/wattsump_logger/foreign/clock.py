"""The times of a foreign table: clock times, counted seconds, spreadsheet days.

The result is seconds since the first row and, where the file has a clock, the date and time
of day of that row.
"""

import contextlib
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from wattsump_logger.arrays import FloatArray
from wattsump_logger.errors import SessionError
from wattsump_logger.foreign.table import Table
from wattsump_logger.remark import Remark

if TYPE_CHECKING:
    import pandas as pd

__all__ = (
    "UNITS_S",
    "Clock",
    "DateOrder",
    "Stamps",
    "date_orders",
    "find_clock",
    "hours_are_unclear",
    "read_stamps",
    "usual_unit",
    "with_plain_times",
)
DateOrder = Literal["day-first", "month-first", "year-first"]
UNITS_S = {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0, "d": 86_400.0}

_DAY_S = 86_400.0
_WORDS = frozenset(
    {"time", "date", "timestamp", "datetime", "clock", "elapsed", "epoch", "uptime", "seconds"}
)
_UNIT_S = {
    word: UNITS_S[unit]
    for unit, words in {
        "s": "s sec secs second seconds",
        "ms": "ms msec millis milliseconds",
        "min": "min mins minute minutes",
        "h": "h hr hrs hour hours",
        "d": "d day days",
    }.items()
    for word in words.split()
}
_YEAR_FIRST = r"(?P<y>\d{4})[-/.](?P<m>\d{1,2})[-/.](?P<d>\d{1,2})"
_YEAR_LAST = r"(?P<a>\d{1,2})(?P<sign>[-/.])(?P<b>\d{1,2})[-/.](?P<y>\d{4}|\d{2})"
_TIME = r"(?P<H>\d{1,4}):(?P<M>\d{2})(?::(?P<S>\d{2}(?:[.,:]\d+)?))?\s*(?P<half>[AaPp])?\.?[Mm]?\.?"
_DATE = r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}"
_WITH_TIME = rf"(?:(?:{_DATE})[ T,]+)?\d{{1,4}}:\d{{2}}"
_ZONE = re.compile(r":\d{2}.*?(Z|UTC|GMT|[+-]\d{2}(?::?\d{2})?)$")
# Times that pandas reads in one way: with the month's name, or in 14 digits.
_SPELLED = (
    r"(?i)(?=.*\d).*\b(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\b"
    r"|20\d{6}[T _-]?\d{6}(?!\d)"
)
_POINTED = r"(\d{1,2})[.h](\d{2})[.m](\d{2})s?$"  # 07.30.00
_HALF = r"[AaPp]\.?[Mm]\.?$"
_TENTHS = r"\d{1,4}:\d{2}[.,]\d+$"  # as a spreadsheet shows minutes and seconds
_MINUTES = r"^(\d{1,4}):(\d{2}(?:[.,]\d+)?)$"
_EPOCH = (1e9, 4e9)  # seconds since 1970 of the years 2001 to 2096
_SPREADSHEET_DAYS = (36_526.0, 73_050.0)  # 2000 to 2100, counted from 1899-12-30
_LEAST_READ = 0.9
_LEAST_ROWS = 10  # that rise: of fewer, a temperature may do so
_LONGEST_S = 3.2e8  # as in a session: ten years, so a clock jumped
_LOST_S = 60.0  # a clock that lost its seconds; coarser ones tell no times
_GAP_S = 600.0
_AT_ONCE = 200_000  # rows
_STEPS_S = (0.02, 300.0)  # between rows of a logger, usually
_FIRST_YEAR, _LAST_YEAR = 2005, 2200  # of a logger's clock that was set
_OLDEST = 20  # of years written with two digits and first; no logger here is from before


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """The columns of the time, `date` and `half` "" if there are none, and a count's unit.

    `half` holds am and pm, `in_minutes` marks times as minutes and seconds. `may_number` marks a
    column, of another name, that rises by one from row to row: it may number them.
    """

    time: str
    date: str = ""
    half: str = ""
    unit_s: float | None = None
    in_minutes: bool = False
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
    dated = [
        name
        for name in table.names
        if _share(table.cells[name], _DATE) > _LEAST_READ and (table.cells[name] != "").mean() > 0.5
    ]
    both = [name for name in stamped if name in dated]
    if stamped:
        time = (both or stamped)[0]
        halves = [name for name in table.names if _share(table.cells[name], _HALF) > _LEAST_READ]
        return Clock(
            time=time,
            date=dated[0] if dated and not both else "",
            half=halves[0] if halves else "",
            in_minutes=_share(table.cells[time], _TENTHS) > _LEAST_READ,
        )
    words_of = [re.findall(r"[a-z]+", name.lower()) for name in table.names]
    named = [
        at
        for at, words in enumerate(words_of)
        if _WORDS & set(words) or words in (["t"], ["s"], ["t", "s"])
    ]
    for at in (*named, 0):
        name, words = table.names[at], words_of[at]
        values = table.numbers(name)
        seen = values[np.isfinite(values)]
        if seen.size < _LEAST_READ * values.size or (seen.size > 1 and not np.ptp(seen)):
            continue
        # An hour meter with two decimals stands still for some rows.
        least = 0.0 if {"hours", "minutes"} & set(words) else np.nextafter(0.0, 1.0)
        if at not in named and (seen.size < _LEAST_ROWS or np.any(np.diff(seen) < least)):
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
    seen = values[np.isfinite(values)]
    first, step = float(seen[0]), float(np.median(np.diff(seen))) if seen.size > 1 else 0.0
    if _SPREADSHEET_DAYS[0] <= first <= _SPREADSHEET_DAYS[1] and step * _DAY_S < 3600.0:
        return _DAY_S
    scales = (10.0**-power for power in (0, 3, 6, 9))
    return next((scale for scale in scales if _EPOCH[0] <= first * scale <= _EPOCH[1]), None)


def usual_unit(table: Table, clock: Clock) -> str:
    """Return "s" for a count that rises as one of seconds does in a log, "" for others."""
    steps = np.diff(table.numbers(clock.time))
    step = float(np.nanmedian(steps)) if np.isfinite(steps).any() else 0.0
    return "s" if _STEPS_S[0] <= step <= _STEPS_S[1] and not clock.may_number else ""


def hours_are_unclear(table: Table, clock: Clock) -> bool:
    """Tell whether times such as 00:07 may be hours and minutes, or minutes and seconds."""
    texts = table.cells[clock.time].str.strip()
    parts = texts.str.extract(_MINUTES).dropna().astype(str)
    if clock.in_minutes or clock.date or clock.half or len(parts) < _LEAST_READ * len(texts):
        return False
    hours = parts[0].astype(int)
    return bool(parts.duplicated().mean() < 0.5 and (hours.iloc[0] == 0 or hours.max() > 23))


def with_plain_times(table: Table) -> Table:
    """Return the table with times as they are read here, where its own are spelled otherwise."""
    import pandas as pd

    cells = {}
    for name in table.names:
        texts = table.cells[name].str.strip()
        if _share(texts, _SPELLED) > _LEAST_READ:
            spelled = texts.str.replace(r"^(\d{8})[T _-]?(\d{6})", r"\1T\2", regex=True)
            with contextlib.suppress(ValueError):  # of zones that change
                read = pd.to_datetime(spelled, format="mixed", errors="coerce", dayfirst=True)
                cells[name] = read.dt.strftime("%Y-%m-%d %H:%M:%S.%f%z").fillna("")
        elif _share(texts, rf"(?:(?:{_DATE})[ T_]+)?{_POINTED}") > _LEAST_READ:
            cells[name] = texts.str.replace(_POINTED, r"\1:\2:\3", regex=True)
    return replace(table, cells=table.cells.assign(**cells)) if cells else table


def date_orders(table: Table, clock: Clock) -> tuple[DateOrder, ...]:
    """Return in which orders all dates with the year not first can be read."""
    parts = _dates(table.cells[clock.date or clock.time])[1].str.extract(f"^{_YEAR_LAST}").dropna()
    if parts.empty or (parts["sign"] == ".").all():
        return ()
    first, second, last = (parts[part].astype(int) for part in ("a", "b", "y"))
    possible: dict[DateOrder, bool] = {
        "day-first": bool((second <= 12).all()),
        "month-first": bool((first <= 12).all() and (first != second).any()),
        "year-first": bool(
            (second <= 12).all() and (last <= 31).all() and (first >= _OLDEST).all()
        ),
    }
    return tuple(order for order, can_be in possible.items() if can_be)


def read_stamps(table: Table, clock: Clock, order: DateOrder | None = None) -> Stamps:
    """Read the times of all rows that have one.

    Raises
    ------
    SessionError
        Times that cannot be read, or that go backwards.
    """
    notes: list[Remark] = []
    seconds, has_days = _seconds(table, clock, order)
    rows = np.flatnonzero(np.isfinite(seconds))
    if rows.size < 2:
        raise _bad(
            table.path, f"{rows.size} times in column {clock.time!r}", "name the time column"
        )
    if rows.size < seconds.size:
        text = f"{seconds.size - rows.size} rows without a time were left out"
        notes.append(Remark(code="rows-without-time", text=text))
    seconds = seconds[rows]
    if clock.unit_s is None and not has_days:
        turn_s = 3600.0 if clock.in_minutes else _DAY_S
        past = np.diff(seconds, prepend=seconds[0]) < -turn_s / 2
        seconds = seconds + np.cumsum(past) * turn_s
    _check_order(seconds, rows, table)
    elapsed_s, spread = _spread(seconds, table.path)
    _check_steps(elapsed_s, rows, table)
    notes.extend((*spread, *_gaps(elapsed_s, rows, table)))
    start = _start(table, clock, float(seconds[0]), has_days, int(rows[0]))
    if start is not None and not _FIRST_YEAR <= start.year < _LAST_YEAR:
        text = f"a clock that was not set, at {start:%d %b %Y}: --start gives the first row's time"
        notes.append(Remark(code="clock-not-set", text=text))
        start = None
    return Stamps(
        rows=rows,
        elapsed_s=elapsed_s - elapsed_s[0],
        clock_s=_time_of_day(clock, start, float(seconds[0])),
        start=start,
        notes=tuple(notes),
    )


def _seconds(table: Table, clock: Clock, order: DateOrder | None) -> tuple[FloatArray, bool]:
    """Return each row's time [s], NaN where there is none, and whether dates are in it."""
    if clock.unit_s is not None:
        return table.numbers(clock.time) * clock.unit_s, False
    texts = table.cells[clock.time]
    if clock.in_minutes:
        parts = texts.str.strip().str.extract(_MINUTES)
        minutes, rest = parts[0].astype(float), parts[1].str.replace(",", ".", regex=False)
        return np.asarray(minutes * 60.0 + rest.astype(float), dtype=float), False
    halved = texts + table.cells[clock.half] if clock.half else texts
    seconds = _in_parts(_seconds_of_day, halved)
    days = _days(table, clock.date or clock.time, order)
    if days is not None:
        seconds = seconds + days * _DAY_S
    if _ZONE.search(texts.iloc[0].strip()):
        ahead_s = _in_parts(_ahead_s, texts)
        seconds = seconds - (ahead_s - ahead_s[0])
    return seconds, days is not None


def _time_of_day(clock: Clock, start: datetime | None, first_s: float) -> float | None:
    """Return the first row's time of day [s]; None where the times are no clock's."""
    if clock.unit_s is None and "elapsed" in clock.time.lower():
        return None
    if start is not None:
        midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
        return (start - midnight).total_seconds() % _DAY_S
    return first_s % _DAY_S if clock.unit_s is None and not clock.in_minutes else None


def _bad(path: Path, found: str, do: str) -> SessionError:
    return SessionError(
        expected="times that increase from row to row", found=found, where=str(path), do=do
    )


def _ahead_s(texts: "pd.Series[str]") -> FloatArray:
    """Return by how much the zone of each row is ahead of UTC [s]."""
    parts = texts.str.strip().str.extract(r":\d{2}.*([+-])(\d{2}):?(\d{2})?$")
    ahead_s = parts[1].astype(float) * 3600.0 + parts[2].astype(float).fillna(0.0) * 60.0
    return np.asarray(ahead_s.where(parts[0] == "+", -ahead_s).fillna(0.0), dtype=float)


def _share(texts: "pd.Series[str]", pattern: str) -> float:
    """Return the share of filled cells that begin with a pattern."""
    some = texts.iloc[:: 1 + len(texts) // 20_000].str.strip()
    filled = some[some != ""]
    return float(filled.str.match(pattern).mean()) if len(filled) else 0.0


def _dates(texts: "pd.Series[str]") -> "tuple[NDArray[np.intp], pd.Series[str]]":
    """Return which of the different dates each cell has, and these: there are few."""
    import pandas as pd

    codes, kinds = pd.factorize(texts.str.strip().str.slice(0, 10))
    return codes, pd.Series(kinds, dtype=str)


def _in_parts(
    read: Callable[["pd.Series[str]"], FloatArray], texts: "pd.Series[str]"
) -> FloatArray:
    """Return what `read` makes of a column; what a pattern finds takes many times its memory."""
    parts = range(0, len(texts), _AT_ONCE)
    return np.concatenate([read(texts.iloc[at : at + _AT_ONCE]) for at in parts])


def _seconds_of_day(texts: "pd.Series[str]") -> FloatArray:
    # Before the time stands a date; its digits must not be taken for hours.
    parts = texts.str.strip().str.extract(rf"(?:^|[ T,]){_TIME}")
    hours = parts["H"].astype(float)
    half = parts["half"].str.lower()
    hours = hours.where(half.isna(), hours % 12 + 12.0 * (half == "p"))
    seconds = parts["S"].str.replace("[,:]", ".", regex=True).astype(float).fillna(0.0)
    return np.asarray(hours * 3600.0 + parts["M"].astype(float) * 60.0 + seconds, dtype=float)


def _days(table: Table, name: str, order: DateOrder | None) -> FloatArray | None:
    """Return days since 1970 of each row, NaN without one; None where the file has no dates."""
    codes, texts = _dates(table.cells[name])
    year_first = texts.str.extract(f"^{_YEAR_FIRST}")
    if year_first["y"].notna().any():
        return _counted(year_first["y"], year_first["m"], year_first["d"])[codes]
    parts = texts.str.extract(f"^{_YEAR_LAST}")
    if not parts["y"].notna().any():
        return None
    if order == "year-first":
        return _counted("20" + parts["a"], parts["b"], parts["y"])[codes]
    years = parts["y"].where(parts["y"].str.len() != 2, "20" + parts["y"])
    first, second = parts["a"], parts["b"]
    month_first = order == "month-first"
    if order is None:
        month_first = bool((second.astype(float) > 12).any())
    return _counted(years, *((first, second) if month_first else (second, first)))[codes]


def _counted(
    years: "pd.Series[str]", months: "pd.Series[str]", days: "pd.Series[str]"
) -> FloatArray:
    import pandas as pd

    dates = pd.to_datetime(
        years + "-" + months.str.zfill(2) + "-" + days.str.zfill(2),
        format="%Y-%m-%d",
        errors="coerce",
    )
    # In whole seconds, which also hold the years that a damaged file names.
    since_1970 = (dates.to_numpy("datetime64[s]") - np.datetime64(0, "s")) / np.timedelta64(1, "D")
    return np.asarray(since_1970, dtype=float)


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


def _check_steps(elapsed_s: FloatArray, rows: NDArray[np.intp], table: Table) -> None:
    """Refuse times that no session can have."""
    steps_s = np.diff(np.rint(elapsed_s * 1000.0)) / 1000.0
    at = int(np.argmin(steps_s))
    if steps_s[at] <= 0.0:
        raise _bad(
            table.path,
            f"rows less than a millisecond apart, at line {table.line + int(rows[at + 1])}",
            "give the unit of its times, as in --times min",
        )
    if elapsed_s[-1] - elapsed_s[0] > _LONGEST_S:
        at = int(np.argmax(steps_s))
        raise _bad(
            table.path,
            f"{steps_s[at] / _DAY_S:.1f} days between rows at line "
            f"{table.line + int(rows[at + 1])}",
            "cut it there, or give the unit of its times, as in --times ms",
        )


def _gaps(elapsed_s: FloatArray, rows: NDArray[np.intp], table: Table) -> Iterator[Remark]:
    """Yield a note on the longest time without rows."""
    steps_s = np.diff(elapsed_s)
    at = int(np.argmax(steps_s))
    if steps_s[at] > max(_GAP_S, 20.0 * float(np.median(steps_s))):
        line = table.line + int(rows[at + 1])
        text = f"no rows for {steps_s[at] / 60:.0f} min before line {line}"
        if abs(steps_s[at] - 3600.0) < _LOST_S:
            text += ", as where a clock is set to summer time"
        yield Remark(code="rows-missing", text=text)


def _spread(seconds: FloatArray, path: Path) -> tuple[FloatArray, tuple[Remark, ...]]:
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
    if step_s > _LOST_S and usual > 1:
        raise _bad(path, f"times rounded to {step_s:g} s", "export them with their seconds")
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
        if re.search(r"\b(utc|gmt)\b", clock.time.lower()) or (zone and zone[1] in ("UTC", "GMT")):
            return start.replace(tzinfo=UTC)
        return datetime.fromisoformat(start.isoformat() + zone[1]) if zone else start
    if clock.unit_s == _DAY_S and first_s >= _SPREADSHEET_DAYS[0] * _DAY_S:
        return datetime(1899, 12, 30) + timedelta(seconds=first_s)
    if _EPOCH[0] <= first_s <= _EPOCH[1]:
        return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=first_s)
    return None
