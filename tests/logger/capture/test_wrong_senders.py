"""Senders written by somebody who read half of the page: bounded, reported, no value changed."""

from collections.abc import Callable, Mapping

import pytest

from logger.capture.test_assembler import TANK, at, hello, reading
from wattsump_logger.capture.assembler import Assembler, Start
from wattsump_logger.session.rows import Row

FIELDS = ("01901900",)
MINUTES = 3
LINES = 60 * MINUTES


def frames(
    seq: Callable[[int], int] = lambda n: n, uptime_ms: Callable[[int], int] = lambda n: 1000 * n
) -> list[bytes]:
    """Return a hello and a reading a second, counted and timed as somebody thought right."""
    lines = [reading(seq(n) % 2**32, uptime_ms(n) % 2**32, FIELDS) for n in range(1, LINES)]
    return [hello(0, 0, (TANK,)), *lines]


SENDERS: Mapping[str, tuple[list[bytes], str]] = {
    "sends every line twice": ([line for line in frames() for _ in (0, 1)], "repeat"),
    "never counts": (frames(seq=lambda n: 1), "reboot"),
    "counts from nothing": (frames(seq=lambda n: 0), "reboot"),
    "counts down": (frames(seq=lambda n: 1000 - n), "reboot"),
    "counts by two": (frames(seq=lambda n: 2 * n), "gap"),
    "counts by twenty": (frames(seq=lambda n: 20 * n), "gap"),
    "has no clock": (frames(uptime_ms=lambda n: 0), "uptime_slow"),
    "tells seconds": (frames(uptime_ms=lambda n: n), "uptime_slow"),
    "tells microseconds": (frames(uptime_ms=lambda n: 1_000_000 * n), "uptime_step"),
    "tells the time of day": (frames(uptime_ms=lambda n: 86_000_000 + 1000 * n), "uptime_step"),
    "greets before every reading as if new": (
        [
            line
            for n in range(1, LINES)
            for line in (hello(0, 1000 * n, (TANK,)), reading(1, 1000 * n, FIELDS))
        ],
        "reboot",
    ),
    "sets the parity bit": ([bytes(b | 0x80 for b in line) for line in frames()], "oversized"),
    "writes small letters": ([line.lower() for line in frames()], "noise"),
    "cuts its lines": ([line[:30] + b"\r\n" for line in frames()], "no_hello"),
    "sends the newest first": (frames()[::-1], "no_hello"),
}
# Nothing can be known of these: no line is sound, or no hello comes before the readings.
UNSOUND = (
    "sets the parity bit",
    "writes small letters",
    "cuts its lines",
    "sends the newest first",
)


@pytest.mark.parametrize("name", SENDERS)
def test_a_sender_that_is_wrong_is_told_and_changes_no_value(name: str) -> None:
    lines, code = SENDERS[name]
    assembler = Assembler()
    out: list[Start | Row] = []
    for number, line in enumerate(lines):
        out += assembler.feed(line, at(LINES / len(lines) * number))
    out += assembler.finish()
    rows = [item for item in out if isinstance(item, Row)]
    assert len(rows) <= LINES
    assert {cell for row in rows for cell in row.cells} <= {"25.000", ""}
    elapsed_ms = [row.elapsed_ms for row in rows]
    assert elapsed_ms == sorted(set(elapsed_ms))
    assert not elapsed_ms or elapsed_ms[-1] <= 1000 * LINES + 2000
    assert assembler.counts[code] > 0
    taken = sum(cell != "" for row in rows for cell in row.cells)
    assert taken == (0 if name in UNSOUND else LINES - 1)
