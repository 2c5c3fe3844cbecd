"""What the logger's commands say: plain lines, one a second while recording."""

import contextlib
import sys
from collections.abc import Callable, Iterator, Mapping

from wattsump_logger.appendfile import SYNC_S
from wattsump_logger.capture import Captured, Status, status_line
from wattsump_logger.importing import Imported

__all__ = ("beginning", "ending", "imported", "statuses")


def beginning(port: str) -> str:
    """Return the line a capture begins with: what is safe when, and how to end."""
    return (
        f"recording {port}; every reading is handed to the system at once "
        f"and on the disk within {SYNC_S:.0f} s; Ctrl-C ends"
    )


@contextlib.contextmanager
def statuses() -> Iterator[Callable[[Status], None]]:
    """Yield a teller of statuses: over one line on a terminal, else line by line."""
    is_terminal = sys.stdout.isatty()

    def tell(status: Status) -> None:
        line = status_line(status)
        sys.stdout.write(f"\r\x1b[K{line}" if is_terminal else f"{line}\n")
        sys.stdout.flush()

    try:
        yield tell
    finally:
        if is_terminal:
            sys.stdout.write("\n")


def ending(captured: Captured) -> Iterator[str]:
    """Yield what a capture left."""
    for path in captured.sessions:
        yield f"session {path}"
    for path in captured.wires:
        yield f"wire    {path}"
    yield f"{captured.row_count} rows; on the wire: {_counts(captured.counts)}"
    if not captured.sessions:
        yield "no reading came: check the speed (--baud) and that the controller says hello"
    if captured.trouble or captured.dropped_rows:
        yield f"not on disk: {captured.dropped_rows} rows ({captured.trouble or 'disk was full'})"


def imported(made: Imported) -> Iterator[str]:
    """Yield what an import made."""
    for path in made.paths:
        yield f"session {path}"
    yield f"{made.row_count} rows; on the wire: {_counts(made.counts)}"


def _counts(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{code} {count}" for code, count in counts.items()) or "nothing amiss"
