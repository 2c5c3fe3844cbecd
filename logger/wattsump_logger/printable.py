"""Text from outside, made fit to be shown: no escapes, nothing that turns the way of writing."""

import unicodedata

__all__ = ("printable",)


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
