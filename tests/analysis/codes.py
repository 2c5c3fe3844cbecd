"""Codes of remarks, which tests assert in place of sentences."""

from collections.abc import Iterable

from wattsump_logger.remark import Remark

__all__ = ("codes",)


def codes(remarks: Iterable[Remark]) -> list[str]:
    return [remark.code for remark in remarks]
