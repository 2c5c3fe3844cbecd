"""A new outing begins at the controller's next hello, however the reads cut it."""

import threading
from pathlib import Path

import pytest

from wattsump_logger.capture.loop import run
from wattsump_logger.session.reader import load_session
from wattsump_logger.session.rows import Row
from wattsump_logger.wire.events import WireChannel
from wattsump_logger.wire.frames import format_hello, format_reading

CHANNELS = (WireChannel(name="fan", source="state"),)


def hello(seq: int, uptime_ms: int) -> bytes:
    return format_hello(
        seq=seq, uptime_ms=uptime_ms, firmware="f", period_ms=1000, channels=CHANNELS
    )


def reading(seq: int) -> bytes:
    return format_reading(seq=seq, uptime_ms=1000 * seq, fields=("1",))


SECOND = hello(4, 3500)


class Reads:
    """A port that gives one read, and the others once the gate is open."""

    name = "reads"

    def __init__(self, first: bytes, *others: bytes) -> None:
        self.gate = threading.Event()
        self._first: list[bytes] = [first]
        self._others: list[bytes | None] = [*others, None]

    def open(self) -> "Reads":
        return self

    def read(self, timeout_s: float) -> bytes | None:
        if self._first:
            return self._first.pop()
        return self._others.pop(0) if self.gate.wait(timeout_s) else b""

    def close(self) -> None:
        self.gate.set()


@pytest.mark.parametrize("at", [0, 1, 2, 3, 20, len(SECOND) - 1])
def test_a_hello_begins_a_new_outing_wherever_a_read_cuts_it(tmp_path: Path, at: int) -> None:
    first = hello(0, 0) + reading(1) + reading(2)
    port = Reads(first, reading(3) + SECOND[:at], SECOND[at:] + reading(5))
    rows: list[Row] = []

    def is_over() -> bool:
        if rows:
            port.gate.set()
        return bool(rows)

    captured = run(port, tmp_path, name="a", on_rows=rows.extend, is_over=is_over)
    assert [load_session(path).elapsed_s.size for path in captured.sessions] == [3, 1]
    wire = b"".join(path.read_bytes() for path in captured.wires)
    assert wire.count(b"R1,") == 4


def test_the_first_letter_of_a_line_that_is_no_hello_is_kept(tmp_path: Path) -> None:
    port = Reads(hello(0, 0) + reading(1), b"H", b"2,0*", reading(2))
    rows: list[Row] = []

    def is_over() -> bool:
        if rows:
            port.gate.set()
        return bool(rows)

    captured = run(port, tmp_path, name="a", on_rows=rows.extend, is_over=is_over)
    assert len(captured.wires) == 1
    assert b"\nH" in captured.wires[0].read_bytes()
