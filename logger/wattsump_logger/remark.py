"""A sentence for a person beside the code by which programs and tests know it.

Codes are stable and wording is not. `docs/remarks.md` lists every code.
"""

from dataclasses import dataclass, field

from wattsump_logger.printable import printable

__all__ = ("Remark", "Worded", "shown_in")


def shown_in(part: object, system: str) -> str:
    """Return a text in the units of a system: that of a remark, of a figure, or as it is."""
    exchanged = getattr(part, "in_units", None)
    return str(part) if exchanged is None else str(exchanged(system))


def _joined(pieces: tuple[object, ...], system: str) -> str:
    return "".join(shown_in(part, system) for part in pieces)


class Worded(str):
    """A text that keeps the pieces it was made of, with figures between texts."""

    pieces: tuple[object, ...]

    def __new__(cls, *pieces: object) -> "Worded":
        """Join the pieces in SI units."""
        made = super().__new__(cls, "".join(map(str, pieces)))
        made.pieces = pieces
        return made

    def in_units(self, system: str) -> str:
        """Return the text in the units of a system."""
        return _joined(self.pieces, system)


@dataclass(frozen=True, slots=True, kw_only=True, init=False)
class Remark:
    """A reason, a caution, a note or a next step; `text` has no code in it.

    Made from a text, or from texts with figures or other remarks between them: `pieces` keeps
    these, for whoever shows them in other units than those of `text`.
    """

    code: str
    text: str
    pieces: tuple[object, ...] = field(init=False, repr=False, compare=False)

    def __init__(self, *, code: str, text: str | tuple[object, ...]) -> None:
        """Take out what could act on a terminal or a page: names from files are in it."""
        pieces = (text,) if isinstance(text, str) else text
        pieces = tuple(printable(part) if isinstance(part, str) else part for part in pieces)
        object.__setattr__(self, "code", code)
        object.__setattr__(self, "text", "".join(map(str, pieces)))
        object.__setattr__(self, "pieces", pieces)

    def __str__(self) -> str:
        return self.text

    def in_units(self, system: str) -> str:
        """Return the text in the units of a system."""
        return _joined(self.pieces, system)

    def as_json(self) -> dict[str, str]:
        """Return the remark as programs get it."""
        return {"code": self.code, "text": self.text}
