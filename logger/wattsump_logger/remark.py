"""A sentence for a person beside the code by which programs and tests know it.

Codes are stable and wording is not. `docs/remarks.md` lists every code.
"""

from dataclasses import dataclass

from wattsump_logger.printable import printable

__all__ = ("Remark",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """A reason, a caution, a note or a next step; `text` has no code in it."""

    code: str
    text: str

    def __post_init__(self) -> None:
        """Take out what could act on a terminal or a page: names from files are in it."""
        object.__setattr__(self, "text", printable(self.text))

    def __str__(self) -> str:
        return self.text
