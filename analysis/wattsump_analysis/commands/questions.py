"""The owner's questions as commands; their options are the fields of `questions.asked`."""

import inspect
import json
from collections.abc import Callable, Iterator
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from wattsump_analysis.questions.asked import QUESTIONS, Question
from wattsump_logger.commands.log import Units

if TYPE_CHECKING:
    from wattsump_analysis.questions.givens import Givens

__all__ = ("register",)


def register(app: typer.Typer) -> None:
    """Add the owner's questions to the program."""
    for name, question in QUESTIONS.items():
        app.command(name, help=inspect.getdoc(question.asked))(_command(question))


def _command(question: Question) -> Callable[..., None]:
    """Return a function that typer reads the question's options from, and runs."""

    def command(
        *,
        from_proof: Path | None,
        machine: Path | None,
        as_json: bool,
        units: Units,
        session: Path | None = None,
        **typed: object,
    ) -> None:
        from wattsump_analysis.questions.typed import typed_fields
        from wattsump_analysis.questions.writing import as_json as plain
        from wattsump_analysis.questions.writing import screen

        asked = typed_fields(question.asked, typed)
        answer = question.answer_to(asked, _givens(from_proof, machine, session))
        if as_json:
            typer.echo(json.dumps(plain(answer), indent=2, ensure_ascii=False, allow_nan=False))
        else:
            typer.echo(screen(answer, units))

    options = tuple(_options(question))
    command.__signature__ = inspect.Signature(options)  # type: ignore[attr-defined]
    command.__annotations__ = {option.name: option.annotation for option in options}
    return command


def _options(question: Question) -> Iterator[inspect.Parameter]:
    for spot in fields(question.asked):
        kind = list[str] if spot.metadata["kind"] == "texts" else str
        yield _option(spot.name, kind | None, spot.metadata["help"])
    if question.takes_session:
        yield _option("session", Path | None, "Session (CSV): time outside the window.")
    proof_help = "Proof of an outing (prove --json), or a session."
    yield _option("from_proof", Path | None, proof_help, name="--from")
    yield _option("machine", Path | None, "Machine profile (TOML).")
    json_help = "Write JSON, schema wattsump-answer-2."
    yield _option("as_json", bool, json_help, name="--json", default=False)
    yield _option("units", Units, "Units on the screen.", default=Units.SI)


def _option(
    field: str, kind: Any, help_text: str, *, name: str = "", default: object = None
) -> inspect.Parameter:
    typed_as = name or "--" + field.replace("_", "-")
    return inspect.Parameter(
        field,
        inspect.Parameter.KEYWORD_ONLY,
        default=default,
        annotation=Annotated[kind, typer.Option(typed_as, help=help_text)],
    )


def _givens(proof: Path | None, machine: Path | None, session: Path | None) -> "Givens":
    from wattsump_analysis.proof.proof_json import proof_from_file
    from wattsump_analysis.questions.givens import Givens, givens_from, with_session
    from wattsump_logger.machine.profile import load_profile
    from wattsump_logger.session.reader import load_session

    if proof is not None and proof.suffix == ".csv":
        from wattsump_analysis.commands.prove import prove_file

        givens = prove_file(proof, machine).givens()
    else:
        proved = None if proof is None else Givens.of(proof_from_file(proof), proof.name)
        givens = givens_from(proved, None if machine is None else load_profile(machine))
    return givens if session is None else with_session(givens, load_session(session))
