"""The table of frames that both the emulated controller and the firmware are held to.

Its checksums come from a bit-by-bit CRC by the catalogue's definition, not from the
library's routine. A space in `fields` stands for the comma of the wire.
"""

import csv
import re
from pathlib import Path

import pytest

from wattsump_logger.thermocouples.registers import PARTS
from wattsump_logger.wire.events import VALUE_UNITS, EventFrame, Hello, Reading, WireChannel
from wattsump_logger.wire.frames import (
    FrameParser,
    format_event,
    format_hello,
    format_line,
    format_reading,
)

_TABLE = Path(__file__).parents[1] / "data" / "golden-frames.csv"


def _rows() -> list[dict[str, str]]:
    with _TABLE.open(newline="") as file:
        return list(csv.DictReader(file))


_every_row = pytest.mark.parametrize("row", _rows(), ids=[row["line"] for row in _rows()])


def _channels(text: str) -> tuple[WireChannel, ...]:
    parts = (part.split(":") for part in text.split(";"))
    return tuple(WireChannel(name=n, source=s, detail=d) for n, s, d in parts)


def _bitwise_crc(data: bytes) -> int:
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = ((crc << 1) ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    return crc


def _write(row: dict[str, str]) -> bytes:
    seq, uptime_ms, fields = int(row["seq"]), int(row["uptime_ms"]), row["fields"].split(" ")
    if row["kind"] == "H":
        firmware, period, channels = fields
        return format_hello(
            seq=seq,
            uptime_ms=uptime_ms,
            firmware=firmware,
            period_ms=int(period),
            channels=_channels(channels),
        )
    if row["kind"] == "E":
        return format_event(seq=seq, uptime_ms=uptime_ms, code=fields[0], detail=fields[1])
    return format_reading(seq=seq, uptime_ms=uptime_ms, fields=fields)


@_every_row
def test_every_golden_frame_is_written_byte_for_byte(row: dict[str, str]) -> None:
    assert _write(row) == row["line"].encode("ascii") + b"\r\n"


@_every_row
def test_every_golden_checksum_follows_the_catalogue(row: dict[str, str]) -> None:
    content, _, crc = row["line"].rpartition("*")
    # published: CRC RevEng catalogue, CRC-16/IBM-3740, check value of "123456789".
    assert _bitwise_crc(b"123456789") == 0x29B1
    assert _bitwise_crc(content.encode("ascii")) == int(crc, 16)


def test_the_golden_frames_read_back_as_what_they_were_written_from() -> None:
    parser = FrameParser()
    for row in _rows():
        events = parser.feed(row["line"].encode("ascii") + b"\n")
        frame = events[-1]
        assert isinstance(frame, Hello | Reading | EventFrame)
        assert (frame.seq, frame.uptime_ms) == (int(row["seq"]), int(row["uptime_ms"]))
        fields = row["fields"].split(" ")
        if isinstance(frame, Hello):
            assert [frame.firmware, str(frame.period_ms)] == fields[:2]
            assert frame.channels == _channels(fields[2])
        elif isinstance(frame, Reading):
            assert list(frame.fields) == fields
            assert frame.bad == ()
        else:
            assert [frame.code, frame.detail] == fields


def test_the_examples_of_the_specification_are_rows_of_the_table_and_the_rest_are_counted() -> None:
    page = (_TABLE.parents[2] / "docs" / "line-protocol.md").read_text(encoding="utf-8")
    examples = re.findall(r"^([HRE]1,.+\*[0-9A-F]{4})$", page, re.MULTILINE)
    lines = [row["line"] for row in _rows()]
    assert len(examples) == 3
    assert set(examples) <= set(lines)
    assert f"holds these and {len(lines) - len(examples)} more" in page


def test_the_specification_lists_every_converter_and_unit_that_is_read() -> None:
    page = (_TABLE.parents[2] / "docs" / "line-protocol.md").read_text(encoding="utf-8")
    rows = re.findall(r"(?m)^\| `(\w+)` \|[^`|]*`([A-Za-z ]+)`.*\| (\d+) hex digits", page)
    listed = {source: (set(letters.split()), int(digits)) for source, letters, digits in rows}
    assert listed == {name: (set(part.letters), part.digits) for name, part in PARTS.items()}
    assert f"unit: `{' '.join(VALUE_UNITS)}`" in page


def test_leading_zeros_and_a_negative_zero_are_legal_and_the_numbers_they_are() -> None:
    parser = FrameParser()
    parser.feed(format_line("H1,0,0,fw,1000,supply:value:v"))
    (first, second) = parser.feed(
        format_line("R1,0000000001,0000000007,-0.0") + format_line("R1,2,1007,007.50")
    )
    assert first == Reading(seq=1, uptime_ms=7, fields=("-0.0",))
    assert isinstance(second, Reading)
    # independent: Python's own reading of a decimal
    assert (float("-0.0"), float(second.fields[0])) == (0.0, 7.5)
