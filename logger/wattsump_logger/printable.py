"""Text made fit to be shown or typed: no escapes, ASCII where nothing else is, paths in quotes."""

import os
import re
import shlex
import unicodedata
from pathlib import Path

__all__ = ("as_typed", "in_ascii", "printable")

# Longer where the short form would be read as something else; block elements keep their place.
_IN_ASCII = {
    "°": "deg",
    "±": "+/-",
    "×": "x",
    "·": "-",
    "−": "-",
    "–": "-",
    "—": "-",
    "≤": "<=",
    "≥": ">=",
    "≈": "~",
    "→": "->",
    "…": "...",
    "’": "'",
    "‘": "'",
    "“": '"',
    "”": '"',
    "µ": "u",
    "μ": "u",
    "τ": "tau",
    "ρ": "rho",
    "Δ": "d",
    "√": "sqrt",
    "⁄": "/",
    "ß": "ss",
    "æ": "ae",
    "ø": "o",
    "ł": "l",
    "█": "#",
    "▀": "#",
    "▄": "#",
}


def printable(text: str) -> str:
    """Return the text with a question mark for every character that is no letter, sign or space.

    >>> printable("mud\\x1b[2J on\\tcore")
    'mud?[2J on?core'
    """
    if text.isprintable():
        return text
    return "".join(
        char if char.isprintable() or unicodedata.category(char) == "Zs" else "?" for char in text
    )


def in_ascii(text: str) -> str:
    """Return the text in letters and signs that every terminal has.

    >>> in_ascii("Überlauf bei 71.5 °C ± 0.5 K")
    'Uberlauf bei 71.5 degC +/- 0.5 K'
    """
    if text.isascii():
        return text
    spelled = "".join(_IN_ASCII.get(char, char) for char in text)
    letters = (_IN_ASCII.get(char, char) for char in unicodedata.normalize("NFKD", spelled))
    return "".join(
        char if char.isascii() else "?" for char in letters if not unicodedata.combining(char[0])
    )


def as_typed(path: Path | str, system: str = os.name) -> str:
    """Return a path as it is typed in a command, in quotes where the shell needs them.

    >>> as_typed("an export.csv", "posix")
    "'an export.csv'"
    """
    if system == "posix":
        return shlex.quote(str(path))
    # Other shells part paths by backslashes, and the older one knows double quotes only.
    return str(path) if re.fullmatch(r"[\w:\\/.~+-]+", str(path)) else f'"{path}"'
