"""How wide a screen of text is: 80 columns, or what a narrower terminal has."""

import contextlib
import os
from collections.abc import Iterator
from contextvars import ContextVar
from typing import TextIO

__all__ = ("USUAL", "columns", "of_terminal")

USUAL = 80
_LEAST = 20
_SPELLED = 8  # columns that "degC" and "+/-" take more than one sign, on a line with some
_COLUMNS: ContextVar[int] = ContextVar("columns", default=USUAL)


def columns() -> int:
    """Return how many columns a line may have."""
    return _COLUMNS.get()


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
