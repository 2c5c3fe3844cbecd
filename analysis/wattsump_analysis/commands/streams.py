"""The program's own input and output: there, able to write, and closed without a traceback."""

import codecs
import contextlib
import os
import sys
from typing import TextIO

from wattsump_logger.printable import in_ascii

__all__ = ("let_go", "ready")

_SPELLED = "wattsump-spelled"


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
        elif number:
            _accept_all(stream)


def _accept_all(stream: TextIO) -> None:
    """Let an ASCII file or pipe take all letters, and what else has but few spell the others."""
    with contextlib.suppress(LookupError, AttributeError, ValueError):
        encoding = codecs.lookup(stream.encoding or "").name  # a text in memory has none
        if encoding.startswith("utf"):
            return
        if encoding == "ascii" and not stream.isatty():
            stream.reconfigure(encoding="utf-8")  # type: ignore[attr-defined]
        else:
            codecs.register_error(_SPELLED, _spelled)
            stream.reconfigure(errors=_SPELLED)  # type: ignore[attr-defined]


def _spelled(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return in_ascii(error.object[error.start : error.end]), error.end


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
