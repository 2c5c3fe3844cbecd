"""The part of `import` for another logger's table: questions, preview, kept answers."""

import sys
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from wattsump_logger.printable import as_typed
from wattsump_logger.width import USUAL

if TYPE_CHECKING:
    from datetime import datetime

    from wattsump_logger.foreign.adopt import Understood
    from wattsump_logger.foreign.asking import Question
    from wattsump_logger.foreign.kept import Answers
    from wattsump_logger.foreign.table import Table
    from wattsump_logger.machine.profile import Profile

__all__ = ("TableAsked", "adopt")


@dataclass(frozen=True, slots=True, kw_only=True)
class TableAsked:
    """The options typed for a table. `is_preview` writes nothing, `is_anew` asks all again."""

    columns: Sequence[str] = ()
    settings: Mapping[str, str] = field(default_factory=dict)
    was: Sequence[str] = ()
    is_preview: bool = False
    is_anew: bool = False


def adopt(
    path: Path,
    asked: TableAsked,
    *,
    machine: Path | None,
    folder: Path,
    name: str,
    start_utc: "datetime | None",
) -> None:
    """Make a session of a table; show how it was understood before anything is written."""
    from wattsump_logger.errors import WattsumpError
    from wattsump_logger.foreign import kept
    from wattsump_logger.foreign.adopt import understand, write
    from wattsump_logger.foreign.kept import Answers
    from wattsump_logger.foreign.shown import preview
    from wattsump_logger.foreign.table import read_table
    from wattsump_logger.foreign.times import typed_times
    from wattsump_logger.machine.profile import load_profile

    profile = None if machine is None else load_profile(machine)
    typed = typed_times(asked.was)
    answers_file = kept.beside(machine, folder)
    table = read_table(path)
    profile = profile or _machine_of(table)
    names = table.names
    earlier = None if asked.is_anew else kept.answers_for(answers_file, names)
    settled = _settled(asked, earlier, names)
    columns, settings = dict(settled.columns), dict(settled.settings)
    listed: set[tuple[str, ...]] = set()

    def remembering(question: "Question") -> str:
        answer = _ask(question, listed)
        (columns if question.is_column else settings)[question.key] = answer
        return answer

    try:
        made = understand(
            path,
            remembering if _is_terminal() else _refuse,
            answers=settled,
            typed=typed,
            start_utc=start_utc,
            profile=profile,
            table=table,
        )
    except (typer.Abort, WattsumpError):
        if (columns, settings) != (settled.columns, settled.settings):
            kept.keep(answers_file, names, Answers(columns=columns, settings=settings))
            typer.echo(f"\nanswers kept in {answers_file} (--anew asks again)")
        raise
    if earlier is not None:
        typer.echo(f"columns as kept in {answers_file} (--anew asks again)")
    for line in preview(made):
        typer.echo(line)
    if asked.is_preview:
        typer.echo(_how_to_change(made))
        return
    kept.keep(answers_file, names, made.answers)
    if not _is_right():
        typer.echo(_how_to_change(made))
        typer.echo(f"answers kept in {answers_file} (--anew asks again)")
        return
    session = write(made, folder, name, profile)
    typer.echo(f"session {session}")
    typer.echo(f"columns {answers_file}, for the next file with these names")
    typer.echo(f"next    wattsump prove {as_typed(session)}")


def _machine_of(table: "Table") -> "Profile | None":
    """Return the machine of a session of our own, read again to type times that it lacks."""
    from wattsump_logger.machine.profile import profile_from_dict
    from wattsump_logger.session.sidecar import read_sidecar

    held = read_sidecar(table.path, table.names)[0].get("profile")
    return profile_from_dict(held, f"{table.path}, sidecar") if isinstance(held, dict) else None


def _settled(asked: TableAsked, earlier: "Answers | None", names: Sequence[str]) -> "Answers":
    """Return the answers typed now, else those kept from an earlier file."""
    from wattsump_logger.foreign.kept import Answers

    columns = dict(earlier.columns) if earlier else {}
    columns |= _typed_columns(asked.columns, names)
    settings = dict(earlier.settings) if earlier else {}
    return Answers(columns=columns, settings=settings | dict(asked.settings))


def _typed_columns(pairs: Sequence[str], names: Sequence[str]) -> dict[str, str]:
    from wattsump_logger.errors import UsageError

    columns = {}
    for pair in pairs:
        name, equals, role = pair.rpartition("=")
        if not equals or name not in names:
            raise UsageError(
                expected="NAME=ROLE with a name of " + ", ".join(map(repr, names)),
                found=repr(pair),
                where="--column",
                do="write the name as in the file",
            )
        columns[name] = role.strip()
    return columns


def _is_terminal() -> bool:
    return sys.stdin.isatty() and sys.stdout.isatty()


def _ask(question: "Question", listed: set[tuple[str, ...]]) -> str:
    """Ask until there is a usable answer; `listed` are choices whose meanings stand above."""
    from wattsump_logger.errors import WattsumpError
    from wattsump_logger.foreign.asking import checked
    from wattsump_logger.foreign.columns import MEANS

    typer.echo(_filled(question.text))
    if question.is_column:
        for choice in question.choices if question.choices not in listed else ():
            typer.echo(f"  {choice:<12} {MEANS[choice]}")
        again = "one of those above, " if question.choices in listed else ""
        typer.echo(_filled(f"  {again}with its unit if the file has none, as in 'tank degF'"))
        listed.add(question.choices)
    else:
        typer.echo(_filled("  " + ", ".join(question.choices)))
    while True:
        typed: str = typer.prompt("  answer", default=question.usual or None, err=False)
        try:
            return checked(question, typed)
        except WattsumpError as error:
            typer.echo(_filled(f"  expected {error.expected}, found {error.found}"))


def _filled(text: str) -> str:
    return textwrap.fill(
        text, USUAL, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False
    )


def _refuse(question: "Question") -> str:
    """Give the usual answer where there is no terminal; refuse if there is no usual one."""
    from wattsump_logger.errors import UsageError

    if question.usual:
        return question.usual
    raise UsageError(
        expected="one of " + ", ".join(question.choices),
        found="nobody to ask: no terminal",
        where=question.text,
        do=f"answer by {question.option}",
    )


def _is_right() -> bool:
    return not _is_terminal() or typer.confirm("Write the session?", default=True)


def _how_to_change(made: "Understood") -> str:
    example = next(iter(made.columns), "Oil in")
    return (
        "nothing was written\n"
        f'to change a column: --column "{example}=cooler_in degC"; to leave it out: "...=nothing"'
    )
