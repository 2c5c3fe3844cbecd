"""Firmware and emulated controller speak byte-identical frames for the same inputs.

The table tests/data/golden-frames.csv holds the host's side to the same lines. A space in
its fields stands for the comma of the wire.
"""

import csv
import math
import re
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from firmware.harness import Harness
from wattsump_logger.bench.chip import Built, ChipBench
from wattsump_logger.bench.controller import EmulatedController
from wattsump_logger.wire.events import Reading, WireChannel
from wattsump_logger.wire.frames import FrameParser

TABLE = Path(__file__).parents[1] / "data" / "golden-frames.csv"

# How the firmware writes a field of each source it can read; volts are hundredths to it.
WRITERS = {"max31855": "x", "max6675": "x", "max31856": "x", "state": "c", "value:v": "h"}


def golden_rows() -> list[dict[str, str]]:
    with TABLE.open(newline="") as file:
        return list(csv.DictReader(file))


def with_channels() -> Iterator[tuple[dict[str, str], list[str]]]:
    """Each row with the sources of the last hello, "value:<unit>" for values."""
    sources: list[str] = []
    for row in golden_rows():
        if row["kind"] == "H":
            channels = [part.split(":") for part in row["fields"].split(" ")[2].split(";")]
            sources = [f"value:{unit}" if s == "value" else s for _, s, unit in channels]
        yield row, sources


def is_ours(row: dict[str, str], sources: list[str]) -> bool:
    """Whether the reference firmware reads all these sources and keeps such a period."""
    slow_enough = row["kind"] != "H" or int(row["fields"].split(" ")[1]) >= 100
    return row["kind"] == "E" or (slow_enough and all(source in WRITERS for source in sources))


def field_order(text: str, source: str) -> str:
    if not text:
        return "-"
    return WRITERS[source] + (text.replace(".", "") if source == "value:v" else text)


def table_of(channels: str, period_ms: str) -> str:
    """A channel table that gives this list of channels, wired anyhow."""
    places = {"state": "in1 low", "value": "adc3 17600"}
    rows = [f"period {period_ms}"]
    for at, channel in enumerate(channels.split(";"), 1):
        name, source, detail = channel.split(":")
        rows.append(f"{name} {source} {detail or '-'} {places.get(source, f'cs{at}')}")
    return "\n".join(rows)


@pytest.mark.parametrize("row", golden_rows(), ids=lambda row: row["line"][-4:])
def test_the_frame_writer_gives_every_golden_line(harness: Harness, row: dict[str, str]) -> None:
    harness.order("ring 1024 0")
    body = row["fields"].replace(" ", ",")
    assert harness.order(f"raw {row['kind']} {row['seq']} {row['uptime_ms']} {body}") == "sent"
    assert harness.lines() == row["line"].encode("ascii") + b"\r\n"


def test_the_firmware_writes_the_golden_frames_of_its_own_sources(
    harness: Harness, table_image: ModuleType
) -> None:
    written = 0
    for row, sources in with_channels():
        if not is_ours(row, sources):
            continue
        harness.order(f"ring 1024 {row['seq']}")
        fields = row["fields"].split(" ")
        if row["kind"] == "H":
            image = table_image.image(table_of(fields[2], fields[1]))
            assert harness.order(f"table {image.hex()}").startswith("sound")
            harness.order(f"hello {row['uptime_ms']} {fields[0]}")
        elif row["kind"] == "E":
            harness.order(f"event {row['uptime_ms']} {fields[0]} {fields[1]}")
        else:
            orders = map(field_order, fields, sources)
            harness.order(f"reading {row['uptime_ms']} {' '.join(orders)}")
        assert harness.lines() == row["line"].encode("ascii") + b"\r\n"
        written += 1
    # pinned: all but the rows with the I2C part and with units this board does not measure
    assert written >= 21


def bracken(elapsed_s: float) -> dict[str, float | str | None]:
    """A warm-up of every wired channel, with the faults a converter can report."""
    return {
        "board": 18.0 + elapsed_s / 20.0,
        "tank": 4.0 + 0.7 * elapsed_s,
        "cooler_in": "fault:open" if 12.0 <= elapsed_s < 20.0 else 5.0 + elapsed_s,
        "cooler_out": "fault:short_ground" if elapsed_s >= 30.0 else 3.0,
        "ambient": -12.4 + math.sin(elapsed_s),
        "case_drain": "fault:bus" if elapsed_s >= 35.0 else 80.0,
        "pump_inlet": "fault:short_supply" if elapsed_s < 5.0 else 22.2,
        "fan": float(elapsed_s > 25.0),
        "engine": 1.0,
        "drive": float(elapsed_s < 10.0),
    }


@pytest.mark.chip
def test_chip_and_emulated_controller_agree_on_every_field(built: Built, tmp_path: Path) -> None:
    line = tmp_path / "line.bin"
    with ChipBench(built, line=line) as bench:
        bench.play(bracken, 50.0, step_s=1.0)
    chip = line.read_bytes()
    channels = [
        WireChannel(name=c.name, source=c.source, detail=c.detail.strip("-")) for c in built.wiring
    ]
    firmware = re.match(rb"H1,0,0,([^,]+),", chip)
    assert firmware is not None
    emulated = EmulatedController(bracken, channels, 1000, firmware[1].decode())
    frames = b"".join(emulated.until(50.0))
    assert chip.splitlines()[:2] == frames.splitlines()[:2]  # hello and boot, whole lines
    by_second = {
        event.uptime_ms // 1000: event.fields[:9]
        for event in FrameParser().feed(frames)
        if isinstance(event, Reading)
    }
    ours = [event for event in FrameParser().feed(chip) if isinstance(event, Reading)]
    assert len(ours) == 49
    for reading in ours:
        assert reading.fields[:9] == by_second[reading.uptime_ms // 1000]
