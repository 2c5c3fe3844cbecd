"""What the owner's questions share at the command line: options, and the way to an answer.

A command declares its options under the names of its asked-for value type; `reply` reads them
from the context, so that typed text is parsed in one place and no option can be forgotten
without a test seeing it.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from wattsump_analysis.commands.prove import Units as _Units

if TYPE_CHECKING:
    from wattsump_analysis.questions.answer import Answer
    from wattsump_analysis.questions.known import Known

__all__ = ("SHARED", "SI", "AsJson", "FromProof", "Machine", "Text", "Texts", "Units", "reply")

SI = _Units.SI
Text = str | None
Texts = list[str] | None
FromProof = Annotated[
    Path | None, typer.Option("--from", help="Proof of an outing (prove --json), or a session.")
]
Machine = Annotated[Path | None, typer.Option("--machine", help="Machine profile (TOML).")]
Units = Annotated[_Units, typer.Option("--units", help="Units on the screen.")]
AsJson = Annotated[bool, typer.Option("--json", help="Write JSON, schema wattsump-answer-1.")]

# Options that no value type has a field for.
SHARED = ("from_proof", "machine", "as_json", "units", "session")

_Asked = TypeVar("_Asked")


def reply(
    ctx: typer.Context, asked: type[_Asked], answer_of: "Callable[[_Asked, Known], Answer]"
) -> None:
    """Parse what was typed, answer it, and write the answer out."""
    from wattsump_analysis.questions.typed import typed_fields
    from wattsump_analysis.questions.writing import as_json, screen

    given = ctx.params
    typed = typed_fields(asked, given)
    answer = answer_of(typed, _known(given["from_proof"], given["machine"], given.get("session")))
    if given["as_json"]:
        typer.echo(json.dumps(as_json(answer), indent=2, ensure_ascii=False, allow_nan=False))
    else:
        typer.echo(screen(answer, given["units"]))


def _known(proof: Path | None, machine: Path | None, session: Path | None) -> "Known":
    from wattsump_analysis.questions.known import known_from, proof_from_file, with_session
    from wattsump_logger.machine.profile import load_profile
    from wattsump_logger.session.reader import load_session

    if proof is not None and proof.suffix == ".csv":
        from wattsump_analysis.commands.prove import prove_file

        known = prove_file(proof, machine).known()
    else:
        profile = None if machine is None else load_profile(machine)
        known = known_from(None if proof is None else proof_from_file(proof), profile)
    return known if session is None else with_session(known, load_session(session))
