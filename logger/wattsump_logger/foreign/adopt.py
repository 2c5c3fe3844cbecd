"""From a table of another logger to a session of our format.

What can be read in two ways is asked, never guessed. Where there is nobody to ask, it is
refused, with the option that would answer it.
"""

import contextlib
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import get_args

import numpy as np

from wattsump_logger.arrays import BoolArray, FloatArray
from wattsump_logger.errors import SessionError, UsageError
from wattsump_logger.foreign.asking import Ask, Asking, Question
from wattsump_logger.foreign.clock import (
    UNITS_S,
    Clock,
    DateOrder,
    Stamps,
    date_orders,
    find_clock,
    hours_are_unclear,
    read_stamps,
    usual_unit,
    with_plain_times,
)
from wattsump_logger.foreign.columns import (
    ABSENT_COSTS,
    DEGREE_OF,
    HOTTEST_AIR_C,
    Column,
    column_unit,
    guess,
    inside,
    own_name,
)
from wattsump_logger.foreign.kept import Answers
from wattsump_logger.foreign.settling import NOTES, is_read, settle_columns
from wattsump_logger.foreign.table import Table, read_table
from wattsump_logger.foreign.times import Typed, states
from wattsump_logger.machine.parts import OIL_ROLES, USUAL_UNIT, Role
from wattsump_logger.machine.profile import SEVERAL, Profile
from wattsump_logger.remark import Remark
from wattsump_logger.session.writer import write_session

__all__ = ("Understood", "understand", "write")

_RANGE_C = (-80.0, 1500.0)
# Of oil or the air it heats: loggers write 850, 999.9 or 1372 for a broken probe.
_HOTTEST_C = 250.0
_MOST_UNREAD = 0.1  # of a state's cells


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Understood:
    """A table ready to become a session; arrays of shape (rows,), by session column."""

    table: Table
    clock: Clock
    stamps: Stamps
    columns: Mapping[str, Column]
    sources: Mapping[str, str]  # session column -> name in the file
    values: Mapping[str, FloatArray]
    faults: Mapping[int, str]
    marks: Mapping[int, str]
    typed: tuple[Typed, ...]
    absent: tuple[Role, ...]
    start_utc: datetime | None
    answers: Answers
    notes: tuple[Remark, ...] = field(default_factory=tuple)


def understand(
    path: Path,
    ask: Ask,
    *,
    answers: Answers | None = None,
    typed: Sequence[Typed] = (),
    start_utc: datetime | None = None,
    profile: Profile | None = None,
    table: Table | None = None,
) -> Understood:
    """Read a table and find the role of each column.

    Parameters
    ----------
    path : Path
        The other logger's file.
    ask : callable
        Answers a question that the file leaves open.
    answers : Answers, optional
        Answers given before: typed, or kept from a file like this one.
    typed : sequence of Typed
        When fan, engine, drive or heater were on, if no column has it.
    start_utc : datetime, optional
        Time of the first row, if the file has no clock.
    profile : Profile, optional
        The machine, whose channels' names are roles too.
    table : Table, optional
        The file, where it was read before.

    Raises
    ------
    SessionError
        No table, or times that cannot be read.
    UsageError
        An answer that is not among the choices, or typed times of a column that exists.
    """
    table = table or read_table(path)
    asking = Asking(ask, answers or Answers())
    if table.is_comma is None or asking.has("decimals"):
        decimals = asking.setting(
            Question(
                key="decimals",
                text="Numbers such as 1,234: is the comma a decimal sign?",
                choices=("comma", "point"),
                option="--decimals comma",
            )
        )
        table = replace(table, is_comma=decimals == "comma")
    table = with_plain_times(table)
    clock, stamps = _times(table, asking)
    table = replace(table, cells=table.cells.iloc[stamps.rows].reset_index(drop=True))
    columns = settle_columns(table, clock, asking, profile)
    sources: dict[str, str] = {}
    for name, column in columns.items():
        if column.is_used:
            sources[_session_column(name, column, profile, sources)] = name
    values = {
        session: inside(table.numbers(name), columns[name].unit)
        for session, name in sources.items()
    }
    faults = _faults(table, columns, sources, values)
    for line in typed:
        _check_untold(line, values)
        values[line.column] = states(line, stamps.elapsed_s, stamps.clock_s)
    roles = {column.role for column in columns.values()} | {line.role for line in typed}
    if not roles - {None, Role.OTHER, *USUAL_UNIT}:
        names = [name for name in table.names if name not in (clock.time, clock.date)]
        like = next((name for name in names if guess(name).unit in DEGREE_OF), names[0])
        raise SessionError(
            expected="a column that is known for a temperature of oil or air",
            found=", ".join(map(repr, names[:12])) + ", ..." * (len(names) > 12),
            where=str(path),
            do=f'name one, as in --column "{like}=tank degC"; of probes that are named in the '
            "rows, make a column each",
        )
    return Understood(
        table=table,
        clock=clock,
        stamps=stamps,
        columns=columns,
        sources=sources,
        values=values,
        faults=faults,
        marks=_marks(table),
        typed=tuple(typed),
        absent=tuple(role for role in ABSENT_COSTS if role not in roles),
        start_utc=_start_utc(table, stamps, start_utc),
        answers=asking.answers,
        notes=(
            *_table_notes(table, clock, columns),
            *stamps.notes,
            *_hot_air(columns, sources, values),
        ),
    )


def _times(table: Table, asking: Asking) -> tuple[Clock, Stamps]:
    if "elapsed_s" in table.names:
        clock: Clock | None = Clock(time="elapsed_s", unit_s=1.0)
    else:
        clock = find_clock(table)
    if clock is None:
        raise SessionError(
            expected="a column of times, in whose name is time",
            found=", ".join(
                f"{cells.iloc[0]!r} in {name!r}" for name, cells in table.cells.items()
            ),
            where=str(table.path),
            do="export it with times such as 2026-05-04 07:30:00, or write time and unit into "
            "the name of its column of times, as in 'time h'",
        )
    is_count = clock.unit_s is not None or not table.cells[clock.time].str.contains(":").any()
    if is_count and (clock.unit_s is None or asking.has("times")):
        unit = asking.setting(
            Question(
                key="times",
                text=f"What is the unit of the column {clock.time!r}?"
                + " It may only number the rows: then the file has no times." * clock.may_number,
                choices=tuple(UNITS_S),
                usual=usual_unit(table, clock),
                option="--times s",
            )
        )
        clock = replace(clock, unit_s=UNITS_S[unit])
    if clock.unit_s is None and hours_are_unclear(table, clock):
        form = asking.setting(
            Question(
                key="times",
                text=f"Are times such as {table.cells[clock.time].iloc[-1]!r} hours and minutes, "
                "or minutes and seconds?",
                choices=("hh:mm", "mm:ss"),
                option="--times mm:ss",
            )
        )
        clock = replace(clock, in_minutes=form == "mm:ss")
    orders = date_orders(table, clock) if clock.unit_s is None else ()
    order: DateOrder | None = orders[0] if len(orders) == 1 else None
    if len(orders) > 1:
        first = table.cells[clock.date or clock.time].iloc[0]
        answer = asking.setting(
            Question(
                key="dates",
                text=f"Is {first!r} written {' or '.join(orders).replace('-', ' ')}?",
                choices=orders,
                option=f"--dates {orders[0]}",
            )
        )
        order = next(each for each in get_args(DateOrder) if each == answer)
    return clock, read_stamps(table, clock, order)


def _session_column(
    name: str, column: Column, profile: Profile | None, taken: Mapping[str, str]
) -> str:
    unit = column_unit(column)
    if column.role is None or column.role in SEVERAL:
        stem = own_name(name)
        if f"{stem}_{unit}" in taken:
            raise UsageError(
                expected="names that differ in their first 16 letters and digits, in lower case",
                found=f"{name!r} and {taken[f'{stem}_{unit}']!r}",
                where="--column",
                do=f'leave one of them out with --column "{name}=nothing"',
            )
        return f"{stem}_{unit}"
    declared = None if profile is None else profile.column(column.role)
    if declared is not None and declared.endswith(f"_{unit}"):
        return declared
    return f"{column.role.value}_{unit}"


def _faults(
    table: Table,
    columns: Mapping[str, Column],
    sources: Mapping[str, str],
    values: dict[str, FloatArray],
) -> dict[int, str]:
    """Empty cells that are no readings, and return the channels and faults by row."""
    faults: dict[int, list[str]] = {}
    for session, name in sources.items():
        array = values[session]
        wrong = {"form": table.filled(name) & np.isnan(array)}
        if session.endswith("_c"):
            is_oil = columns[name].role in OIL_ROLES | {Role.AMBIENT}
            hottest_c = _HOTTEST_C if is_oil else _RANGE_C[1]
            wrong["range"] = (array < _RANGE_C[0]) | (array > hottest_c)
            _check_range(table, name, array[wrong["range"]], array)
        if session.endswith("_on"):
            wrong["form"] |= np.isfinite(array) & ~np.isin(array, (0.0, 1.0))
            _check_states(table, name, wrong["form"])
        for code, at in wrong.items():
            values[session] = np.where(at, np.nan, values[session])
            for row in np.flatnonzero(at).tolist():
                faults.setdefault(row, []).append(f"{session.rpartition('_')[0]}:{code}")
    return {row: ";".join(codes) for row, codes in faults.items()}


def _check_states(table: Table, name: str, wrong: BoolArray) -> None:
    """Refuse a state with more words than on and off: what they mean is not known."""
    if wrong.mean() > _MOST_UNREAD:
        words = table.cells[name][wrong].str.strip().unique()
        raise SessionError(
            expected=f"on and off, 1 and 0 or the like in column {name!r}",
            found=", ".join(map(repr, words[:4])),
            where=str(table.path),
            do=f'replace these, or leave the column out: --column "{name}=nothing"',
        )


def _check_range(table: Table, name: str, wrong_c: FloatArray, all_c: FloatArray) -> None:
    """Refuse a column that is mostly no temperature: in tenths, or of a broken probe."""
    if wrong_c.size > 0.5 * np.count_nonzero(np.isfinite(all_c)):
        raise SessionError(
            expected=f"temperatures in column {name!r}",
            found=f"{wrong_c.min():.4g} to {wrong_c.max():.4g} degC in most of its cells",
            where=str(table.path),
            do=f'convert them, give their unit, or leave it out: --column "{name}=nothing"',
        )


def _marks(table: Table) -> dict[int, str]:
    marks: dict[int, str] = {}
    for name in table.names:
        if name.lower() in NOTES:
            cells = table.cells[name].str.strip()
            for row in np.flatnonzero(table.filled(name)).tolist():
                marks[row] = "; ".join(filter(None, (marks.get(row), cells.iloc[row])))
    return marks


def _check_untold(line: Typed, values: Mapping[str, FloatArray]) -> None:
    column = next((name for name in values if name.rpartition("_")[0] == line.role.value), None)
    if column is not None:
        raise UsageError(
            expected=f"times of a role without a column; {line.role.value} has one",
            found=repr(line.text),
            where="--was",
            do='leave the column out with --column "NAME=nothing", or the times',
        )


def _start_utc(table: Table, stamps: Stamps, typed: datetime | None) -> datetime | None:
    if stamps.start is not None:
        # A time without a zone is local to this computer.
        return stamps.start.astimezone(UTC)
    if "time_utc" in table.names and table.cells["time_utc"].iloc[0]:  # a session, saved elsewhere
        with contextlib.suppress(ValueError):
            return datetime.fromisoformat(table.cells["time_utc"].iloc[0]).astimezone(UTC)
    return typed


def _hot_air(
    columns: Mapping[str, Column], sources: Mapping[str, str], values: Mapping[str, FloatArray]
) -> Iterator[Remark]:
    """Yield a note on air that is too hot for its unit, given in the file or in an answer."""
    for session, name in sources.items():
        air_c = values[session][np.isfinite(values[session])]
        if columns[name].role is Role.AMBIENT and air_c.size and np.median(air_c) > HOTTEST_AIR_C:
            text = f"air at {np.median(air_c):.0f} degC in {name!r}: is it in degF?"
            yield Remark(code="air-too-hot", text=text)


def _table_notes(table: Table, clock: Clock, columns: Mapping[str, Column]) -> Iterator[Remark]:
    if table.dropped:
        text = f"{table.dropped} lines with too many or too few cells were left out"
        yield Remark(code="lines-left-out", text=text)
    if not table.has_header:
        yield Remark(code="no-column-names", text="no names above the columns")
    for name in table.names:
        if name in columns or not is_read(name, clock):
            continue
        words = table.cells[name].str.strip()[table.filled(name)]
        # A name in another language tells no role, but two words by turns are those of a state.
        if len(words) and (guess(name).roles or words.nunique() == 2):
            text = f"{name!r} was left out: {words.iloc[0]!r} is no number, and not on or off"
            yield Remark(code="column-without-numbers", text=text)


def write(made: Understood, folder: Path, name: str, profile: Profile | None) -> Path:
    """Write the session as `<name>.csv` in `folder`, its origin in the sidecar."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.csv"
    with made.table.path.open("rb") as file:
        sha256 = hashlib.file_digest(file, "sha256").hexdigest()
    origin = {
        "file": made.table.path.name,
        "sha256": sha256,
        "columns": {name: column.text() for name, column in made.columns.items()},
        "times": made.clock.time if not made.clock.date else f"{made.clock.date} {made.clock.time}",
        "typed_times": [line.text for line in made.typed],
        "notes": [note.text for note in made.notes],
    }
    metadata: dict[str, object] = {
        "software": f"wattsump {version('wattsump')}",
        "made_from": [made.table.path.name],
        "origin": origin,
        "offsets": {},
    }
    if profile is not None:
        metadata["profile"] = _uncorrected(profile).to_dict()
    write_session(
        path,
        made.stamps.elapsed_s,
        made.values,
        start_utc=made.start_utc,
        metadata=metadata,
        faults=made.faults,
        marks=made.marks,
    )
    return path


def _uncorrected(profile: Profile) -> Profile:
    """Return the profile without its probes' corrections: another logger has other probes."""
    return replace(
        profile,
        channels={
            name: replace(channel, offset_k=0.0, u_offset_k=None, slope=0.0, slope_at_c=0.0)
            for name, channel in profile.channels.items()
        },
    )
