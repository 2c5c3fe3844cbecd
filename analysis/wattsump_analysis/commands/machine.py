"""`wattsump machine`: describe a machine by answering questions, and check the description."""

import json
import textwrap
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wattsump_logger.commands.log import Units
from wattsump_logger.printable import as_typed
from wattsump_logger.width import USUAL

if TYPE_CHECKING:
    from wattsump_logger.machine.describing import Question
    from wattsump_logger.machine.profile import Profile

__all__ = ("register",)

_Shown = Annotated[Units, typer.Option("--units", help="Units to show.")]
_WRONG = 3
_BACK = "<"


def register(app: typer.Typer) -> None:
    """Add `machine` to the program."""
    group = typer.Typer(
        no_args_is_help=True, help="Describe a machine by answering questions, or check one."
    )
    group.command("new")(new_command)
    group.command("check")(check_command)
    app.add_typer(group, name="machine")


def new_command(
    path: Annotated[Path, typer.Argument(help="Profile to write, such as mine.toml.")],
    units: _Shown = Units.SI,
) -> None:
    """Describe a machine by answering a dozen questions.

    Answer in any unit; Enter takes the usual answer or skips. Ctrl-C keeps what was answered, and
    the same command goes on from there.
    """
    from wattsump_logger.errors import UsageError
    from wattsump_logger.machine.describing import QUESTIONS, profile_data, toml_of
    from wattsump_logger.machine.profile import profile_from_dict
    from wattsump_logger.session.wholefile import write_whole

    typed = as_typed(path)
    if path.exists():
        raise UsageError(
            expected="a name that is free",
            found="a file",
            where=str(path),
            do=f"choose another name, or see what it says with wattsump machine check {typed}",
        )
    draft = path.with_name(path.name + ".answers.json")
    answers = _kept(draft)
    if answers:
        typer.echo(f"going on after {len(answers)} answers kept in {draft}")
    typer.echo(f"Enter takes the answer in brackets, or skips; {_BACK} goes back to the last one.")
    at = next((at for at, one in enumerate(QUESTIONS) if not _stands(one, answers)), len(QUESTIONS))
    while at < len(QUESTIONS):
        question = QUESTIONS[at]
        typer.echo("\n" + _filled(f"{at + 1} of {len(QUESTIONS)}  {question.text}", ""))
        in_us = question.example_us if units == "us" else ""
        typer.echo(f"  e.g. {in_us or question.example}")
        try:
            answer = _answer(question, answers.get(question.name, ""))
        except typer.Abort:
            if answers:
                typer.echo(f"\nanswers kept in {draft}: {len(answers)}")
                typer.echo(f"next    wattsump machine new {typed}, which goes on from there")
            raise
        if answer is None:
            at = max(at - 1, 0)
            continue
        answers[question.name] = answer
        write_whole(draft, json.dumps(answers, ensure_ascii=False))
        at += 1
    data = profile_data(answers)
    profile = profile_from_dict(data, str(path))
    write_whole(path, toml_of(data))
    draft.unlink()
    typer.echo("")
    _echo(profile, units)
    typer.echo(f"\nprofile {path}; its other keys are in docs/machine-profile.md")
    typer.echo(f"next    wattsump log PORT --machine {typed}")


def _kept(draft: Path) -> dict[str, str]:
    """Return the answers that an earlier run kept, {} if there are none."""
    from wattsump_logger.errors import UsageError, reason_of
    from wattsump_logger.inputs import read_small

    found = "something else"
    try:
        kept = json.loads(read_small(draft))
    except FileNotFoundError:
        return {}
    except OSError as error:
        kept, found = None, reason_of(error)
    except (ValueError, RecursionError):
        kept, found = None, "no JSON"
    if isinstance(kept, dict) and all(isinstance(answer, str) for answer in kept.values()):
        return kept
    raise UsageError(
        expected="the answers kept by this command",
        found=found,
        where=str(draft),
        do="mend it, or move it away to begin anew",
    )


def _stands(question: "Question", answers: Mapping[str, str]) -> bool:
    """Whether a question has an answer already that the profile will take."""
    from wattsump_logger.errors import WattsumpError
    from wattsump_logger.machine.describing import checked

    try:
        checked(question, answers[question.name])
    except (KeyError, WattsumpError):
        return False
    return True


def _answer(question: "Question", given: str = "") -> str | None:
    """Ask until there is a usable answer; None goes back. `given` is the answer of before."""
    from wattsump_logger.errors import WattsumpError
    from wattsump_logger.machine.describing import checked

    while True:
        usual = given or question.usual
        shown = f" [{usual}]" if usual else ""
        typed = typer.prompt(f"  answer{shown}", default=given, show_default=False)
        if typed.strip() == _BACK:
            return None
        try:
            answer = checked(question, typed)
        except WattsumpError as error:
            refused = f"  expected {error.expected}, found {error.found}; {error.do}"
            typer.echo(_filled(refused))
            continue
        if not answer and question.skipped:
            skipped = f"  skipped: {question.skipped}"
            typer.echo(_filled(skipped))
        if answer and answer != question.usual and question.key == "label_etd":
            # "50 degC" and "122 degF" could have been meant as an oil temperature.
            typer.echo(f"  taken as the oil {_difference(answer)} warmer than the air; < goes back")
        return answer


def _filled(text: str, indent: str = "  ") -> str:
    # A file's name stays in one piece.
    return textwrap.fill(text, USUAL, subsequent_indent=indent, break_on_hyphens=False)


def _difference(answer: str) -> str:
    from wattsump_logger.units.quantities import parse, show

    kelvins = parse(answer, "temperature_difference")
    return " = ".join(show(kelvins, "temperature_difference", system) for system in ("si", "us"))


def check_command(
    path: Annotated[Path, typer.Argument(help="Machine profile (TOML).")],
    units: _Shown = Units.SI,
) -> None:
    """Show how a profile was understood, or everything that is wrong with it.

    Exit code 3 if something is wrong.
    """
    from wattsump_logger.machine.check import problems
    from wattsump_logger.machine.profile import profile_from_dict, raw_profile

    raw = raw_profile(path)
    wrong = problems(raw, str(path))
    for problem in wrong:
        typer.echo(f"wrong: {problem}")
    if wrong:
        raise typer.Exit(_WRONG)
    _echo(profile_from_dict(raw, str(path)), units)


def _echo(profile: "Profile", units: str) -> None:
    from wattsump_analysis.show.machine import machine_lines

    for line in machine_lines(profile, units):
        typer.echo(line)
