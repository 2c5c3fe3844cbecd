"""The owner's questions as functions, for a notebook: typed options in, an `Answer` out.

Options are those of the commands, as texts with their units: `ask_rating(label_heat="6 kW")`.
"""

import inspect
from collections.abc import Callable
from dataclasses import fields
from typing import Any

from wattsump_analysis.questions.answer import Answer
from wattsump_analysis.questions.asked import QUESTIONS
from wattsump_analysis.questions.givens import givens_from, givens_of, with_session
from wattsump_analysis.questions.typed import typed_fields
from wattsump_analysis.results import Proof
from wattsump_logger.errors import UsageError
from wattsump_logger.machine.profile import Profile
from wattsump_logger.session.reader import Session

__all__ = tuple(f"ask_{name}" for name in QUESTIONS)


def _function(name: str) -> Callable[..., Answer]:
    question = QUESTIONS[name]
    options = [spot.name for spot in fields(question.asked)]

    def ask(
        proof: Proof | None = None,
        machine: Profile | None = None,
        session: Session | None = None,
        **typed: Any,
    ) -> Answer:
        unknown = sorted(set(typed) - set(options))
        if unknown:
            raise UsageError(
                expected="options among " + ", ".join(options),
                found=", ".join(unknown),
                where=f"ask_{name}",
                do="name one that there is",
            )
        if machine is None and session is not None:
            machine = session.profile()
        givens = givens_from(None, machine) if proof is None else givens_of(proof, profile=machine)
        if session is not None:
            givens = with_session(givens, session)
        return question.answer_to(typed_fields(question.asked, typed), givens)

    ask.__name__ = ask.__qualname__ = f"ask_{name}"
    lines = "\n".join(f"{spot.name} : {spot.metadata['help']}" for spot in fields(question.asked))
    ask.__doc__ = (
        f"{inspect.getdoc(question.asked)}\n\nOptions, as texts with units, beside `proof`, "
        f"`machine` and `session`:\n\n{lines}\n\nReturns\n-------\nAnswer\n"
    )
    return ask


def __getattr__(name: str) -> Callable[..., Answer]:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return _function(name.removeprefix("ask_"))
