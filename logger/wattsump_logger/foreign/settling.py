"""What each column of a table measures and in which unit: by its name, its cells, or an answer."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from wattsump_logger.errors import SessionError
from wattsump_logger.foreign.asking import Asking, Question
from wattsump_logger.foreign.clock import Clock
from wattsump_logger.foreign.columns import (
    DEGREE_OF,
    Column,
    Guess,
    column_unit,
    differ,
    guess,
    is_column_unit,
    needs_unit,
    own_name,
    plausible_units,
)
from wattsump_logger.foreign.table import Table, units_in
from wattsump_logger.machine.parts import USUAL_UNIT, Role
from wattsump_logger.machine.profile import SEVERAL, Profile

__all__ = ("NOTES", "is_read", "settle_columns")

_OUR_OWN = frozenset({"seq", "time_utc", "elapsed_s"})
NOTES = frozenset({"mark", "marks", "note", "notes", "comment", "comments", "remark", "event"})
_SLOWEST_RPM = 100.0  # of an engine: its speed in thousands or hertz is less
_LEAST_NUMBERS = 0.02  # of a column's cells: below, it is text


def settle_columns(
    table: Table, clock: Clock, asking: Asking, profile: Profile | None
) -> dict[str, Column]:
    """Return role and unit of each column of readings, without those of times and notes."""
    guesses = {}
    for name, unit in zip(table.names, table.units, strict=True):
        if not is_read(name, clock):
            continue
        typed = asking.column(name)
        # A state in words that are not known is refused below, not passed over.
        is_state = typed is not None and typed.role in USUAL_UNIT and typed.unit in ("", "on")
        if (is_state and table.filled(name).any()) or _share_read(table, name) > _LEAST_NUMBERS:
            guessed = _of_profile(name, unit, profile) or guess(name, unit)
            bare = typed is None or not typed.unit
            guesses[name] = _with_unit_of_cells(table, name, guessed) if bare else guessed
    columns = {}
    for name, guessed in guesses.items():
        column = asking.column(name) or _settled(name, guessed, guesses, asking)
        if column.is_used and not column.unit:
            column = replace(column, unit=guessed.unit or "")
            if guessed.is_strange or (column.role in (Role.FLOW, Role.HEATER) and not column.unit):
                column = _asked_for_unit(table, name, column, guessed, asking)
        columns[name] = column
    columns = _with_units(table, columns, asking)
    for name, column in columns.items():
        _check_speed(table, name, column)
        asking.settle(name, column)
    return columns


def is_read(name: str, clock: Clock) -> bool:
    """Tell whether a column is of readings: not of times, notes, faults, or our own numbers."""
    times = (clock.time, clock.date, clock.half)
    return name not in times and name not in _OUR_OWN and name.lower() not in NOTES | {"fault"}


def _share_read(table: Table, name: str) -> float:
    """Return the share of a column's filled cells that are numbers or states."""
    filled, read = table.filled(name).sum(), np.isfinite(table.numbers(name)).sum()
    return float(read / max(filled, 1))


def _with_unit_of_cells(table: Table, name: str, guessed: Guess) -> Guess:
    """Return the guess with the unit behind the numbers of the cells, if there is one."""
    units = {unit for unit in units_in(table.cells[name]) if is_column_unit(unit)}
    if differ({*units, *({guessed.unit} if guessed.unit else ())}):
        raise SessionError(
            expected=f"one unit in column {name!r}",
            found=", ".join(sorted({*units, guessed.unit or ""} - {""})),
            where=str(table.path),
            do=f'give it, as in --column "{name}=tank degC", or convert the cells',
        )
    return replace(guessed, unit=guessed.unit or next(iter(units), None))


def _asked_for_unit(
    table: Table, name: str, column: Column, guessed: Guess, asking: Asking
) -> Column:
    """Return a column with the owner's unit: with another one its figures are other figures."""
    values = table.numbers(name)
    if column.role is None or np.isin(values[np.isfinite(values)], (0.0, 1.0)).all():
        return column
    units = {Role.FLOW: "L/min", Role.HEATER: "W", Role.ENGINE: "rpm", Role.FAN: "rpm"}
    unit = units.get(column.role, "degC" if needs_unit(column.role) else "on")
    return asking.ask_column(
        Question(
            key=name,
            text=f"In which unit is the column {name!r}? Type it after the role; if it is none "
            "that is known here, leave the column out and convert it.",
            choices=(column.role.value, "nothing"),
            option=f'--column "{name}={column.role.value} {unit}"',
            is_column=True,
            needs_unit=True,
        )
    )


def _check_speed(table: Table, name: str, column: Column) -> None:
    """Refuse speeds of an engine that no engine has, and of a fan in shares of 1."""
    if column.role is Role.ENGINE and column_unit(column) == "rpm":
        slowest, what = _SLOWEST_RPM, "the engine's speed in revolutions a minute"
    elif column.role is Role.FAN and column_unit(column) == "pct":
        slowest, what = 1.01, "the fan's speed in per cent"
    else:
        return
    fastest = float(np.nanmax(table.numbers(name), initial=0.0))
    if 0.0 < fastest < slowest:
        raise SessionError(
            expected=what,
            found=f"at most {fastest:g} in column {name!r}",
            where=str(table.path),
            do=f'write it so, or leave it out with --column "{name}=nothing" and type when it '
            f"ran, as in --was '{column.role.value} on throughout'",
        )


def _of_profile(name: str, unit: str, profile: Profile | None) -> Guess | None:
    """Return the role of a column named like one of the profile's channels."""
    channel = None if profile is None else profile.channels.get(own_name(name))
    if channel is None or channel.role is Role.OTHER:
        return None
    return replace(guess(name, unit), roles=(channel.role,))


def _settled(name: str, guessed: Guess, guesses: Mapping[str, Guess], asking: Asking) -> Column:
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


def _with_units(table: Table, columns: dict[str, Column], asking: Asking) -> dict[str, Column]:
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
            {name: table.numbers(name) for name in bare},
        )
        printed = {column.unit for column in columns.values() if column.unit in DEGREE_OF}
        if len(possible) > 1 and len(printed) == 1:  # a file has degrees of one kind
            possible = {DEGREE_OF[printed.pop()]}
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
    values = table.numbers(name)
    values = values[np.isfinite(values)]
    if np.isin(values, (0.0, 1.0)).all():
        return "on"
    usual = {Role.ENGINE: "rpm", Role.HEATER: "w", Role.FLOW: "l/min", Role.SUPPLY: "v"}
    return usual.get(column.role, "%") if column.role else "%"
