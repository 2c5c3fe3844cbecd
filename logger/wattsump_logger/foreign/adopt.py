"""From a table of another logger to a session of our format, with a preview.

What can be read in two ways is asked, never guessed. Where there is nobody to ask, it is
refused, with the option that would answer it.
"""

import hashlib
import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from wattsump_logger.arrays import FloatArray
from wattsump_logger.errors import SessionError, UsageError
from wattsump_logger.foreign.clock import (
    DATE_ORDERS,
    Clock,
    DateOrder,
    Stamps,
    dates_are_unclear,
    find_clock,
    read_stamps,
)
from wattsump_logger.foreign.columns import (
    ABSENT_COSTS,
    DEGREES,
    Column,
    Guess,
    column_unit,
    guess,
    inside,
    needs_unit,
    own_name,
    plausible_units,
    typed_column,
)
from wattsump_logger.foreign.kept import Answers
from wattsump_logger.foreign.table import Table, numbers, read_table
from wattsump_logger.foreign.times import Typed, states
from wattsump_logger.machine.parts import Role
from wattsump_logger.machine.profile import SEVERAL, Profile
from wattsump_logger.remark import Remark
from wattsump_logger.session.writer import write_session
from wattsump_logger.width import USUAL

__all__ = ("Ask", "Question", "Understood", "checked", "preview", "understand", "write")

_DEGREES = {spelled: unit for unit, words in DEGREES.items() for spelled in words}
_RANGE_C = (-80.0, 1500.0)
_OUR_OWN = frozenset({"seq", "time_utc", "elapsed_s"})
_NOTES = frozenset({"mark", "marks", "note", "notes", "comment", "comments", "remark", "event"})
_UNIT_S = {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0}
_LEAST_NUMBERS = 0.02  # of a column's cells: below, it is text


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A question that the file leaves open: its choices, the usual one or "", and its option.

    `key` is where the answer is kept: a setting, or the name of a column.
    """

    key: str
    text: str
    choices: tuple[str, ...]
    usual: str = ""
    option: str = ""
    is_column: bool = False


def checked(question: Question, typed: str) -> str:
    """Return the answer that was typed, a choice in its own spelling.

    Raises
    ------
    UsageError
        It answers another question.
    """
    answer = typed.strip()
    if question.is_column:
        typed_column(answer, f"column {question.key!r}")
        return answer
    degrees = {"c": "degC", "f": "degF"}.get(_DEGREES.get(answer.lower(), ""), answer)
    spelled = {choice.lower(): choice for choice in question.choices}
    hyphened = answer.lower().replace(" ", "-")  # as in "day first"
    choice = spelled.get(hyphened) or spelled.get(degrees.lower())
    if choice is None:
        raise UsageError(
            expected="one of " + ", ".join(question.choices),
            found=repr(answer),
            where=question.text,
            do=f"answer by {question.option}" if question.option else "answer again",
        )
    return choice


Ask = Callable[[Question], str]


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

    Raises
    ------
    SessionError
        No table, or times that cannot be read.
    UsageError
        An answer that is not among the choices, or typed times of a column that exists.
    """
    table = read_table(path)
    asking = _Asking(ask, answers or Answers())
    if table.is_comma is None:
        decimals = asking.setting(
            Question(
                key="decimals",
                text="Numbers such as 1,234: is the comma a decimal sign?",
                choices=("comma", "point"),
                option="--decimals comma",
            )
        )
        table = replace(table, is_comma=decimals == "comma")
    clock, stamps = _times(table, asking)
    columns = _columns(table, clock, asking, profile)
    sources: dict[str, str] = {}
    for name, column in columns.items():
        if column.is_used:
            sources[_session_column(name, column, profile, sources)] = name
    values = {
        session: inside(_numbers(table, name), columns[name].unit)[stamps.rows]
        for session, name in sources.items()
    }
    faults = _faults(table, stamps.rows, sources, values)
    for line in typed:
        _check_untold(line, values)
        values[line.column] = states(line, stamps.elapsed_s, stamps.clock_s)
    roles = {column.role for column in columns.values()} | {line.role for line in typed}
    return Understood(
        table=table,
        clock=clock,
        stamps=stamps,
        columns=columns,
        sources=sources,
        values=values,
        faults=faults,
        marks=_marks(table, stamps.rows),
        typed=tuple(typed),
        absent=tuple(role for role in ABSENT_COSTS if role not in roles),
        start_utc=_start_utc(stamps, start_utc),
        answers=asking.answers,
        notes=(*_table_notes(table), *stamps.notes),
    )


class _Asking:
    """Answers from earlier answers, else by asking, and remembers each."""

    def __init__(self, ask: Ask, answers: Answers) -> None:
        self._ask = ask
        self._columns = dict(answers.columns)
        self._settings = dict(answers.settings)

    @property
    def answers(self) -> Answers:
        return Answers(columns=dict(self._columns), settings=dict(self._settings))

    def setting(self, question: Question) -> str:
        """Return the answer, one of the question's choices."""
        answer = checked(question, self._settings.get(question.key) or self._ask(question))
        self._settings[question.key] = answer
        return answer

    def column(self, name: str) -> Column | None:
        """Return the answer for a column, None if there is none."""
        text = self._columns.get(name)
        return None if text is None else typed_column(text, f"column {name!r}")

    def ask_column(self, question: Question) -> Column:
        return typed_column(self._ask(question), f"column {question.key!r}")

    def settle(self, name: str, column: Column) -> None:
        self._columns[name] = column.text()


def _numbers(table: Table, name: str) -> FloatArray:
    return np.asarray(numbers(table.cells[name], is_comma=bool(table.is_comma)), dtype=float)


def _times(table: Table, asking: _Asking) -> tuple[Clock, Stamps]:
    if "elapsed_s" in table.names:
        clock: Clock | None = Clock(time="elapsed_s", unit_s=1.0)
    else:
        clock = find_clock(table)
    if clock is None:
        raise SessionError(
            expected="a column of times",
            found="columns " + ", ".join(table.names),
            where=str(table.path),
            do="export it with the time of each row, in a column whose name says time",
        )
    if clock.unit_s is None and not table.cells[clock.time].str.contains(":").any():
        unit = asking.setting(
            Question(
                key="times",
                text=f"What is the unit of the column {clock.time!r}?"
                + " It may only number the rows: then the file has no times." * clock.may_number,
                choices=tuple(_UNIT_S),
                usual="" if clock.may_number else "s",
                option="--times s",
            )
        )
        clock = replace(clock, unit_s=_UNIT_S[unit])
    order: DateOrder | None = None
    if clock.unit_s is None and dates_are_unclear(table, clock):
        first = table.cells[clock.date or clock.time].iloc[0]
        answer = asking.setting(
            Question(
                key="dates",
                text=f"Is {first!r} written day first or month first?",
                choices=DATE_ORDERS,
                option="--dates day-first",
            )
        )
        order = next(each for each in get_args(DateOrder) if each == answer)
    return clock, read_stamps(table, clock, order)


def _columns(
    table: Table, clock: Clock, asking: _Asking, profile: Profile | None
) -> dict[str, Column]:
    """Return role and unit of each column of readings, without those of times and notes."""
    guesses = {}
    for name, unit in zip(table.names, table.units, strict=True):
        if name in (clock.time, clock.date) or name in _OUR_OWN or name.lower() in _NOTES:
            continue
        if name != "fault" and np.isfinite(_numbers(table, name)).mean() > _LEAST_NUMBERS:
            guesses[name] = _of_profile(name, unit, profile) or guess(name, unit)
    columns = {}
    for name, guessed in guesses.items():
        column = asking.column(name) or _settled(name, guessed, guesses, asking)
        if column.is_used and not column.unit:
            column = replace(column, unit=guessed.unit or "")
        columns[name] = column
    columns = _with_units(table, columns, asking)
    for name, column in columns.items():
        asking.settle(name, column)
    return columns


def _of_profile(name: str, unit: str, profile: Profile | None) -> Guess | None:
    """Return the role of a column named like one of the profile's channels."""
    channel = None if profile is None else profile.channels.get(own_name(name))
    if channel is None or channel.role is Role.OTHER:
        return None
    return Guess(roles=(channel.role,), unit=guess(name, unit).unit)


def _settled(name: str, guessed: Guess, guesses: Mapping[str, Guess], asking: _Asking) -> Column:
    """Return a column's role by its name, else by the owner's answer."""
    rivals = [
        other
        for other, guess_of in guesses.items()
        if other != name and guess_of.roles == guessed.roles and len(guessed.roles) == 1
    ]
    unit = guessed.unit or ""
    if len(guessed.roles) == 1 and (not rivals or guessed.roles[0] in SEVERAL):
        return Column(role=guessed.roles[0], unit=unit)
    choices = tuple(role.value for role in guessed.roles) or tuple(role.value for role in Role)
    usual = "" if guessed.roles else (Role.OTHER.value if unit else "nothing")
    also = f" {rivals[0]!r} could be the same." if rivals else ""
    return asking.ask_column(
        Question(
            key=name,
            text=f"What does the column {name!r} measure?{also}",
            choices=(*choices, "nothing"),
            usual=usual,
            option=f'--column "{name}={choices[0]}"',
            is_column=True,
        )
    )


def _with_units(table: Table, columns: dict[str, Column], asking: _Asking) -> dict[str, Column]:
    """Give every column a unit; all temperatures without one get the same."""
    bare = {
        name: column
        for name, column in columns.items()
        if column.is_used and not column.unit and needs_unit(column.role)
    }
    unit = ""
    if bare:
        possible = plausible_units(
            {name: column.role for name, column in bare.items()},
            {name: _numbers(table, name) for name in bare},
        )
        printed = {column.unit for column in columns.values() if column.unit in _DEGREES}
        if len(possible) > 1 and len(printed) == 1:  # a file has degrees of one kind
            possible = {_DEGREES[printed.pop()]}
        only = possible.pop() if len(possible) == 1 else None
        unit = only or {"degC": "c", "degF": "f"}[asking.setting(_which_degrees(bare))]
    return {
        name: replace(column, unit=unit)
        if name in bare
        else replace(column, unit=_usual_unit(table, name, column))
        for name, column in columns.items()
    }


def _which_degrees(bare: Mapping[str, Column]) -> Question:
    return Question(
        key="temperatures",
        text=f"Are {', '.join(bare)} in degC or in degF?",
        choices=("degC", "degF"),
        usual="",
        option="--temperatures degC",
    )


def _usual_unit(table: Table, name: str, column: Column) -> str:
    """Return the unit of a column without one: a state, a speed, a share."""
    if column.unit or not column.is_used:
        return column.unit
    values = _numbers(table, name)
    values = values[np.isfinite(values)]
    if np.isin(values, (0.0, 1.0)).all():
        return "on"
    usual = {Role.ENGINE: "rpm", Role.HEATER: "w", Role.FLOW: "l/min", Role.SUPPLY: "v"}
    return usual.get(column.role, "%") if column.role else "%"


def _session_column(
    name: str, column: Column, profile: Profile | None, taken: Mapping[str, str]
) -> str:
    unit = column_unit(column)
    if column.role is None or column.role in SEVERAL:
        stem = own_name(name)
        if f"{stem}_{unit}" in taken:
            raise UsageError(
                expected="names that differ in lower case too",
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
    rows: NDArray[np.intp],
    sources: Mapping[str, str],
    values: dict[str, FloatArray],
) -> dict[int, str]:
    """Empty cells that are no readings, and return the channels and faults by row."""
    faults: dict[int, list[str]] = {}
    for session, name in sources.items():
        channel = session.rpartition("_")[0]
        array = values[session]
        filled = (table.cells[name].iloc[rows].str.strip() != "").to_numpy()
        for row in np.flatnonzero(filled & np.isnan(array)).tolist():
            faults.setdefault(row, []).append(f"{channel}:form")
        if session.endswith("_c"):
            wild = (array < _RANGE_C[0]) | (array > _RANGE_C[1])
            values[session] = np.where(wild, np.nan, array)
            for row in np.flatnonzero(wild).tolist():
                faults.setdefault(row, []).append(f"{channel}:range")
        if session.endswith("_on"):
            neither = np.isfinite(array) & ~np.isin(array, (0.0, 1.0))
            values[session] = np.where(neither, np.nan, array)
            for row in np.flatnonzero(neither).tolist():
                faults.setdefault(row, []).append(f"{channel}:form")
    return {row: ";".join(codes) for row, codes in faults.items()}


def _marks(table: Table, rows: NDArray[np.intp]) -> dict[int, str]:
    marks: dict[int, str] = {}
    for name in table.names:
        if name.lower() in _NOTES:
            for row, cell in enumerate(table.cells[name].iloc[rows]):
                if cell.strip():
                    marks[row] = "; ".join(filter(None, (marks.get(row), cell.strip())))
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


def _start_utc(stamps: Stamps, typed: datetime | None) -> datetime | None:
    if stamps.start is None:
        return typed
    # A time without a zone is local to this computer.
    return stamps.start.astimezone(UTC)


def _table_notes(table: Table) -> Iterator[Remark]:
    if table.dropped:
        text = f"{table.dropped} lines with too many cells were left out"
        yield Remark(code="lines-left-out", text=text)
    if not table.has_header:
        yield Remark(code="no-column-names", text="no names above the columns")


def preview(made: Understood) -> Iterator[str]:
    """Yield, line by line of at most 80 columns, how the table was understood, what it lacks."""
    for line in _preview(made):
        yield from textwrap.wrap(line, USUAL, subsequent_indent="    ", break_on_hyphens=False)


def _preview(made: Understood) -> Iterator[str]:
    table, stamps = made.table, made.stamps
    sign = {"\t": "tabs", ",": "commas", ";": "semicolons", "|": "bars"}.get(
        table.separator, repr(table.separator)
    )
    decimals = "decimal comma" if table.is_comma else "decimal point"
    yield (
        f"{table.path.name}: {stamps.rows.size} rows, {sign} between cells, {decimals}, "
        f"{table.encoding}, readings from line {table.line} on"
    )
    yield f"  {'time':<20} {_when(made)}"
    for session, name in made.sources.items():
        column = made.columns[name]
        what = column.role.value if column.role else "no role"
        if column.role is Role.OTHER:
            what = "no role, kept"
        yield f"  {name[:20]:<20} {what:<10} {session:<13} {_span(made.values[session])}"
    in_f = [name for name in made.sources.values() if made.columns[name].unit in DEGREES["f"]]
    if in_f:
        yield f"  converted from degF: {', '.join(in_f)}"
    for line in made.typed:
        share = f"on {100 * np.mean(made.values[line.column]):.0f} % of the time"
        yield f"  {'typed':<20} {line.role.value:<10} {line.column:<13} {share}"
    left_out = [name for name, column in made.columns.items() if not column.is_used]
    if left_out:
        yield f'  left out: {", ".join(left_out)}; --column "{left_out[0]}=ROLE UNIT" keeps one'
    for note in made.notes:
        yield f"  note: {note}"
    if made.faults:
        yield f"  note: {len(made.faults)} rows have a cell that is no reading; it stays empty"
    for role in made.absent:
        yield f"  no {role.value}: {ABSENT_COSTS[role]}"


def _when(made: Understood) -> str:
    length_s = float(made.stamps.elapsed_s[-1])
    step_s = float(np.median(np.diff(made.stamps.elapsed_s)))
    begin = ""
    if made.stamps.start is not None:
        begin = f"from {made.stamps.start:%d %b %Y %H:%M:%S}"
        begin += " (its own zone)" if made.stamps.start.tzinfo else " (this computer's zone)"
    elif made.stamps.clock_s is not None:
        whole = int(made.stamps.clock_s)
        begin = f"from {whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}, no date"
    else:
        begin = "counted from the first row, no clock"
    return f"{begin}, {length_s / 60:.1f} min, a row every {step_s:g} s"


def _span(values: FloatArray) -> str:
    seen = values[np.isfinite(values)]
    if not seen.size:
        return "no reading"
    return f"{seen.min():.1f} to {seen.max():.1f}, {seen.size} readings"


def write(made: Understood, folder: Path, name: str, profile: Profile | None) -> Path:
    """Write the session as `<name>.csv` in `folder`, its origin in the sidecar."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.csv"
    origin = {
        "file": made.table.path.name,
        "sha256": hashlib.sha256(made.table.path.read_bytes()).hexdigest(),
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
