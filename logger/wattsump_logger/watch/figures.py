"""Big figures and small curves made of characters: half blocks, or plain strokes."""

from collections.abc import Sequence

__all__ = ("big", "curve")

# Three lines a figure, in half blocks: the upper and the lower half of a cell.
_BLOCKS = {
    "0": ("█▀█", "█ █", "▀▀▀"),
    "1": ("▄█ ", " █ ", "▀▀▀"),
    "2": ("▀▀█", "█▀▀", "▀▀▀"),
    "3": ("▀▀█", " ▀█", "▀▀▀"),
    "4": ("█ █", "▀▀█", "  ▀"),
    "5": ("█▀▀", "▀▀█", "▀▀▀"),
    "6": ("█▀▀", "█▀█", "▀▀▀"),
    "7": ("▀▀█", "  █", "  ▀"),
    "8": ("█▀█", "█▀█", "▀▀▀"),
    "9": ("█▀█", "▀▀█", "▀▀▀"),
    "-": ("   ", "▀▀▀", "   "),
    ".": (" ", " ", "▀"),
}
# The same in strokes, for a terminal without block characters.
_STROKES = {
    "0": (" _ ", "| |", "|_|"),
    "1": ("   ", "  |", "  |"),
    "2": (" _ ", " _|", "|_ "),
    "3": (" _ ", " _|", " _|"),
    "4": ("   ", "|_|", "  |"),
    "5": (" _ ", "|_ ", " _|"),
    "6": (" _ ", "|_ ", "|_|"),
    "7": (" _ ", "  |", "  |"),
    "8": (" _ ", "|_|", "|_|"),
    "9": (" _ ", "|_|", " _|"),
    "-": ("   ", " _ ", "   "),
    ".": (" ", " ", "."),
}
_LEVELS = "▁▂▃▄▅▆▇█"
_STROKE_LEVELS = "_.-'"  # as high in their cell as they look


def big(text: str, *, blocks: bool = True) -> tuple[str, str, str]:
    r"""Return a figure of digits, point and minus as three lines.

    >>> print("\n".join(row.rstrip() for row in big("7.1", blocks=False)))
     _
      |     |
      | .   |
    """
    glyphs = _BLOCKS if blocks else _STROKES
    rows = [" ".join(glyphs[char][row] for char in text) for row in range(3)]
    return rows[0], rows[1], rows[2]


def curve(values: Sequence[float | None], *, least_span: float = 0.0, blocks: bool = True) -> str:
    """Return one character a value, from the lowest to the highest of them; a space for none.

    Values that differ by less than `least_span` do not fill the height: noise is no climb.

    >>> curve([20.0, None, 22.0, 24.0], blocks=False)
    "_ -'"
    """
    levels = _LEVELS if blocks else _STROKE_LEVELS
    there = [value for value in values if value is not None]
    if not there:
        return " " * len(values)
    low = min(there)
    span = max(max(there) - low, least_span) or 1.0
    top = len(levels) - 1
    return "".join(
        " " if value is None else levels[round((value - low) / span * top)] for value in values
    )
