"""The program's own input and output: there, able to write, and closed without a traceback."""

import contextlib
import os
import sys
from typing import TextIO

__all__ = ("let_go", "ready")


def ready() -> None:
    """Put something where a stream was closed, and let no letter end the program.

    A file opened later would otherwise get the number of the closed stream, and what a
    library writes to stderr would go into it.
    """
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        with contextlib.suppress(OSError):
            try:
                os.fstat(number)
            except OSError:
                os.open(os.devnull, os.O_RDWR)
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w" if number else "r"))  # noqa: PTH123, SIM115
        elif number and (stream.encoding or "").lower() in ("ascii", "us-ascii", "ansi_x3.4-1968"):
            # Files and pipes get all letters; a terminal that has but few gets question marks.
            if stream.isatty():
                stream.reconfigure(errors="replace")
            else:
                stream.reconfigure(encoding="utf-8")


def let_go() -> None:
    """Write out what waits; a stream that does not take it is replaced, and its error raised.

    Python would try again at its end and complain in its own way.
    """
    failure: OSError | None = None
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError as error:
            failure = failure or error
            _to_nowhere(stream)
    if failure is not None:
        raise failure


def _to_nowhere(stream: TextIO) -> None:
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
