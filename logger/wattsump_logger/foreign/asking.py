"""The questions that a table leaves open, and the answers given before or now."""

from collections.abc import Callable
from dataclasses import dataclass

from wattsump_logger.errors import UsageError
from wattsump_logger.foreign.columns import DEGREE_OF, Column, typed_column
from wattsump_logger.foreign.kept import Answers

__all__ = ("Ask", "Asking", "Question", "checked")


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
    needs_unit: bool = False


def checked(question: Question, typed: str) -> str:
    """Return the answer that was typed, a choice in its own spelling.

    Raises
    ------
    UsageError
        It answers another question.
    """
    answer = typed.strip()
    if question.is_column:
        column = typed_column(answer, f"column {question.key!r}")
        if question.needs_unit and column.is_used and not column.unit:
            raise UsageError(
                expected="a unit after the role",
                found=repr(answer),
                where=f"column {question.key!r}",
                do=f"type it as in {question.option}",
            )
        return answer
    degrees = {"c": "degC", "f": "degF"}.get(DEGREE_OF.get(answer.lower(), ""), answer)
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


class Asking:
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

    def has(self, key: str) -> bool:
        """Tell whether a setting was typed or kept; it then holds where nothing would be asked."""
        return key in self._settings

    def column(self, name: str) -> Column | None:
        """Return the answer for a column, None if there is none."""
        text = self._columns.get(name)
        return None if text is None else typed_column(text, f"column {name!r}")

    def ask_column(self, question: Question) -> Column:
        return typed_column(self._ask(question), f"column {question.key!r}")

    def settle(self, name: str, column: Column) -> None:
        self._columns[name] = column.text()
