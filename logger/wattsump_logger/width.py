"""How wide a screen of text is: 80 columns, or what a narrower terminal has; tables that fit it."""

import contextlib
import os
import textwrap
from collections.abc import Iterator, Sequence
from contextvars import ContextVar
from typing import TextIO

__all__ = ("USUAL", "columns", "fitted", "of_terminal")

USUAL = 80
_LEAST = 20
_SPELLED = 8  # columns that "degC" and "+/-" take more than one sign, on a line with some
_COLUMNS: ContextVar[int] = ContextVar("columns", default=USUAL)


def columns() -> int:
    """Return how many columns a line may have."""
    return _COLUMNS.get()


def fitted(lines: Sequence[str], rows: Sequence[Sequence[str]], indent: str = "") -> list[str]:
    """Return the lines of a table; where one is too wide, each row's cells below its name.

    The first of `rows` holds the heads; a cell that stands below has its column's head before it.

    >>> fitted(["x" * 99], [("part", "from", ""), ("seal", "-4 K", "OUTSIDE")])
    ['part', 'seal', '  from -4 K; OUTSIDE']
    """
    if all(len(line) <= columns() for line in lines):
        return list(lines)
    (first, *heads), *rest = rows
    below = [indent + first] if first else []
    for name, *cells in rest:
        told = (f"{head} {cell}".strip() for head, cell in zip(heads, cells, strict=True) if cell)
        below.append(indent + name)
        below += textwrap.wrap(
            "; ".join(told),
            columns(),
            initial_indent=f"{indent}  ",
            subsequent_indent=f"{indent}    ",
            break_on_hyphens=False,
        )
    return below


@contextlib.contextmanager
def of_terminal(stream: TextIO) -> Iterator[None]:
    """Let lines be as narrow as the terminal that a stream goes to; files and pipes get 80."""
    wide = USUAL
    with contextlib.suppress(OSError, ValueError, AttributeError):
        if stream.isatty():
            wide = os.get_terminal_size(stream.fileno()).columns or USUAL
            if not (stream.encoding or "utf-8").lower().startswith("utf"):
                wide = min(wide, USUAL) - _SPELLED
    token = _COLUMNS.set(min(max(wide, _LEAST), USUAL))
    try:
        yield
    finally:
        _COLUMNS.reset(token)
