"""Codes of remarks and values of rows, which tests assert where the wording may change."""

from collections.abc import Iterable

from wattsump_analysis.questions.answer import Answer
from wattsump_logger.remark import Remark

__all__ = ("answer_codes", "code_of", "codes", "value")


def codes(remarks: Iterable[Remark]) -> list[str]:
    """Return the codes of remarks, in their order."""
    return [remark.code for remark in remarks]


def code_of(remark: Remark | None) -> str:
    """Return the code of a note or a flag, "" where there is none."""
    return "" if remark is None else remark.code


def answer_codes(answer: Answer) -> list[str]:
    """Return the codes of an answer's sentences, in their order: headline, sections, assumed."""
    inside = [remark for section in answer.sections for remark in section.remarks]
    return codes([*answer.headline, *inside, *answer.assumed])


def value(answer: Answer, key: str) -> float:
    """Return the value of a row."""
    return answer.row(key).figure.value
