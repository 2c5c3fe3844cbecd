"""What must hold for any bytes whatever, of a wire and of a session file.

Each target takes one input, raises AssertionError where a promise is broken, and lets any
exception through that the program does not expect. `run.py` searches for such inputs;
tests/logger/test_fuzz_corpus.py replays those that are kept.
"""

import tempfile
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np

from wattsump_logger.capture.assembler import Assembler
from wattsump_logger.errors import SessionError
from wattsump_logger.session.reader import Session, load_session
from wattsump_logger.session.rows import Row
from wattsump_logger.session.sidecar import sidecar_path
from wattsump_logger.wire.frames import MAX_LINE, FrameParser, crc16

__all__ = ("SIDECAR_BELOW", "TARGETS", "frames_target", "session_target", "stream_of")

SIDECAR_BELOW = b"\n====\n"
# A checksum stops nearly all random lines, so half of the inputs are given theirs.
WITH_CHECKSUMS = b"c"
_MOST_BYTES = 1 << 16
_LONGEST_REFUSAL = 2000


def stream_of(data: bytes) -> tuple[bytes, int]:
    """Return the stream an input stands for, and the size of the chunks it comes in."""
    mode, size, body = data[:1], data[1:2], data[2:_MOST_BYTES]
    if mode == WITH_CHECKSUMS:
        body = b"".join(b"%s*%04X\r\n" % (line, crc16(line)) for line in body.split(b"\n"))
    return body, max(1, size[0] if size else 1)


def frames_target(data: bytes) -> None:
    """Hold parser and assembler to: no exception, bounded memory, cuts make no difference."""
    stream, size = stream_of(data)
    whole, cut = FrameParser(), FrameParser()
    at_once = whole.feed(stream)
    in_pieces = []
    for start in range(0, len(stream), size):
        in_pieces += cut.feed(stream[start : start + size])
        assert cut.held_bytes <= MAX_LINE, f"{cut.held_bytes} bytes held"
    assert at_once == in_pieces, "how the bytes were cut made a difference"
    assert whole.finish() == cut.finish()
    assembler = Assembler()
    made = assembler.feed(stream)
    rows = [item for item in (*made, *assembler.finish()) if isinstance(item, Row)]
    times = [row.elapsed_ms for row in rows]
    # A changed channel list begins a new session whose time counts from 0 again.
    starts = len(made) - sum(isinstance(item, Row) for item in made)
    back = sum(later <= earlier for earlier, later in pairwise(times))
    assert back < max(starts, 1), "time went backwards inside a session"


def session_target(data: bytes) -> None:
    """Hold the reader to: a session whose parts fit, or one clear refusal."""
    table, _, sidecar = data[:_MOST_BYTES].partition(SIDECAR_BELOW)
    refusal = ""
    with tempfile.TemporaryDirectory(dir=_fast_folder()) as folder:
        path = Path(folder) / "outing.csv"
        path.write_bytes(table)
        if sidecar:
            sidecar_path(path).write_bytes(sidecar)
        try:
            _check(load_session(path))
        except SessionError as error:
            refusal = str(error)
    assert len(refusal) < _LONGEST_REFUSAL, "a refusal nobody can read"


def _fast_folder() -> str | None:
    memory = Path("/dev/shm")
    return str(memory) if memory.is_dir() else None


def _check(session: Session) -> None:
    n = len(session.elapsed_s)
    assert {len(values) for values in session.columns.values()} <= {n}
    assert bool(np.all(np.diff(session.elapsed_s) > 0)), "time does not increase"
    for values in session.columns.values():
        assert not np.isinf(values).any(), "a reading is infinite"
    assert all(0 <= fault.row < n for fault in session.faults)
    assert len(session.frame()) == n
    for mark in session.marks:
        assert mark.elapsed_s in session.elapsed_s


TARGETS: dict[str, Callable[[bytes], None]] = {
    "frames": frames_target,
    "session": session_target,
}
