"""The lines that the logger's commands print before and after; the view shows the rest."""

from collections.abc import Iterator, Mapping

from wattsump_logger.capture.importing import Imported
from wattsump_logger.capture.loop import Captured
from wattsump_logger.printable import as_typed
from wattsump_logger.session.appendfile import SYNC_S

__all__ = ("beginning", "ending", "imported")


def beginning(port: str) -> str:
    """Return the first line of a capture: when readings are safe, and how to end."""
    return f"recording {port}; each reading is on the disk within {SYNC_S:.0f} s; Ctrl-C ends"


def ending(captured: Captured, units: str = "si") -> Iterator[str]:
    """Yield lines about the files of a capture; the next command keeps the units."""
    for path in captured.sessions:
        yield f"session {path}"
    for path in captured.wires:
        yield f"wire    {path}"
    yield f"{captured.row_count} rows; on the wire: {_counts(captured.counts)}"
    for path in captured.sessions[-1:]:
        in_us = "" if units == "si" else f" --units {units}"
        yield f"next    wattsump prove {as_typed(path)}{in_us}"
    if not captured.sessions:
        yield "no reading came: check the speed (--baud); wattsump ports --listen 10 says more"
    if not captured.is_whole:
        yield f"not on disk: {captured.dropped_rows} rows ({captured.trouble or 'disk was full'})"


def imported(made: Imported) -> Iterator[str]:
    """Yield lines about an imported session."""
    for path in made.paths:
        yield f"session {path}"
    yield f"{made.row_count} rows; on the wire: {_counts(made.counts)}"
    if made.repeated:
        yield f"{made.repeated} frames were in an earlier file too and were taken once"


def _counts(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{code} {count}" for code, count in counts.items()) or "no faults"
