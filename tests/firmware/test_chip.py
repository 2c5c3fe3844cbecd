"""The binary a person would flash, run on the emulated chip, read by the host's parser."""

import hashlib
import os
import subprocess
import tty
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from firmware.on_chip import FAST, Open, codes, counters, events_of, heard, keep, only, readings
from wattsump_logger.bench import chip
from wattsump_logger.bench.chip import Built, ChipBench
from wattsump_logger.errors import UsageError
from wattsump_logger.wire.events import BadCrc, EventFrame, Gap, Hello, Noise, Reading
from wattsump_logger.wire.frames import FrameParser, format_event, format_hello, format_reading

pytestmark = pytest.mark.chip

REFERENCE = chip.notes_folder() / "reference"
IMAGE_COMPILER = "5.4.0"  # of the ready-made images
LATE_MS = 8  # a reading may be stamped after its due time by one hello and one reading


def test_a_boot_greets_says_why_and_reads_once_a_period(open_bench: Open, line: Path) -> None:
    bench = open_bench()
    bench.run_until(130_000)
    events = heard(line)
    assert isinstance(events[0], Hello)
    assert [c.name for c in events[0].channels] == list(bench.wiring)
    assert events[1] == EventFrame(seq=1, uptime_ms=0, code="boot", detail="power")
    assert [round(hello.uptime_ms, -1) for hello in only(events, Hello)] == [0, 60_000, 120_000]
    stamps = [reading.uptime_ms for reading in only(events, Reading)]
    assert len(stamps) == 129
    assert all(0 <= stamp - 1000 * (i + 1) <= LATE_MS for i, stamp in enumerate(stamps))
    assert counters(events) == list(range(len(events)))


def test_every_frame_of_the_chip_is_what_the_host_would_have_written(
    open_bench: Open, line: Path
) -> None:
    bench = open_bench()
    bench.feed({"fan": 1, "supply": 13.1})
    bench.order("word 3 FFFCFFF0")
    bench.run_until(61_000)
    bench.press_button()
    bench.run_until(65_000)
    again = b""
    for event in heard(line):
        if isinstance(event, Hello):
            again += format_hello(
                seq=event.seq,
                uptime_ms=event.uptime_ms,
                firmware=event.firmware,
                period_ms=event.period_ms,
                channels=event.channels,
            )
        elif isinstance(event, Reading):
            again += format_reading(seq=event.seq, uptime_ms=event.uptime_ms, fields=event.fields)
        elif isinstance(event, EventFrame):
            again += format_event(
                seq=event.seq, uptime_ms=event.uptime_ms, code=event.code, detail=event.detail
            )
    assert again == line.read_bytes()


def test_a_board_at_8_mhz_keeps_the_same_time(open_bench: Open, line: Path, tmp_path: Path) -> None:
    slow = chip.build(tmp_path / "slow", F_CPU=8_000_000, BAUD=57_600)
    bench = open_bench(other=slow)
    bench.feed({"fan": 1, "supply": 12.0, "tank": 61.5})
    bench.run_until(5_500)
    assert [reading.uptime_ms // 1000 for reading in readings(line)] == [1, 2, 3, 4, 5]
    assert readings(line)[-1].fields[6] == "1"
    # independent: two counts of the 10-bit converter
    assert float(readings(line)[-1].fields[9]) == pytest.approx(12.0, abs=0.035)


def test_a_port_too_slow_for_its_frames_loses_whole_frames_and_says_so(
    open_bench: Open, line: Path, tmp_path: Path
) -> None:
    slow = chip.build(tmp_path / "slow", BAUD=2400)
    bench = open_bench(FAST, other=slow)
    bench.run_until(60_000)
    parser = FrameParser()
    events = parser.feed(line.read_bytes())
    lost = [int(event.detail) for event in only(events, EventFrame) if event.code == "overrun"]
    gaps = [gap.frame_count for gap in only(events, Gap)]
    assert len(lost) > 10
    assert not only(events, BadCrc)
    # All that the host misses is owned up to; the last event may still be on its way.
    assert sum(lost) <= sum(gaps) <= sum(lost) + 20
    assert bench.figures()["resets"] == 0
    # The line was never idle: 2400 bit/s are 240 bytes a second with ten bits to a byte;
    # the simulator allows eleven.
    assert 240 * 60 * 10 / 11 * 0.98 < line.stat().st_size <= 240 * 60


def test_what_the_host_sends_does_not_disturb_the_controller(built: Built) -> None:
    with ChipBench(built) as bench:
        port = os.open(bench.port, os.O_RDWR | os.O_NOCTTY)
        try:
            tty.setraw(port)
            bench.run_until(1_500)
            os.write(port, bytes(range(256)) * 4)
            bench.run_until(10_500)
            received = b""
            while received.count(b"R1,") < 10 or not received.endswith(b"\n"):
                received += os.read(port, 65_536)
        finally:
            os.close(port)
        assert bench.figures()["resets"] == 0
    events = FrameParser().feed(received)
    assert [type(event) for event in events[:2]] == [Hello, EventFrame]
    assert counters(events) == list(range(len(events)))


def test_garbage_on_the_line_costs_the_frames_it_hits_and_no_other(
    open_bench: Open, line: Path
) -> None:
    bench = open_bench()
    bench.run_until(2_500)
    bench.order("noise 00ff7e0d0a")
    bench.run_until(3_500)
    bench.order("spoil 3")
    bench.run_until(4_500)
    bench.order("swallow 10000")
    bench.run_until(5_500)
    bench.order("swallow 0")
    bench.run_until(8_500)
    events = heard(line)
    assert [noise.byte_count for noise in only(events, Noise)][:1] == [3]
    assert [r.uptime_ms // 1000 for r in only(events, Reading)] == [1, 2, 3, 6, 7, 8]
    assert sum(gap.frame_count for gap in only(events, Gap)) == 2


def test_a_spoilt_table_falls_back_to_the_built_in_one_and_says_so(
    open_bench: Open, line: Path, table_image: ModuleType
) -> None:
    bench = open_bench()
    image = bytearray(table_image.image(FAST))
    image[20] ^= 1
    keep(bench, bytes(image))
    bench.run_until(2_500)
    assert only(heard(line), Hello)[0].period_ms == 1000
    assert codes(line) == [("boot", "power"), ("note", "table-spoilt")]


@pytest.mark.parametrize("bit", [0, 9, 31])
def test_a_bit_of_the_magic_flipped_never_swaps_the_wiring_in_silence(
    open_bench: Open, line: Path, table_image: ModuleType, bit: int
) -> None:
    bench = open_bench()
    image = bytearray(table_image.image(FAST))
    image[bit // 8] ^= 1 << bit % 8
    keep(bench, bytes(image))
    bench.run_until(100)
    assert ("note", "table-spoilt") in events_of(line)


def test_every_boot_says_which_table_it_uses_by_its_crc(
    open_bench: Open, built: Built, line: Path, table_image: ModuleType
) -> None:
    def crc(image: bytes) -> str:
        return f"{image[-1]:02X}{image[-2]:02X}"

    own = table_image.image((REFERENCE / "channels.txt").read_text())
    bench = open_bench()
    bench.run_until(100)
    keep(bench, table_image.image(FAST))
    bench.order("reset external")
    bench.run_until(200)
    notes = [detail for code, detail in events_of(line) if code == "note"]
    assert notes == [f"table-flash-{crc(own)}", f"table-eeprom-{crc(table_image.image(FAST))}"]


def test_the_ready_made_images_are_what_the_sources_build_and_their_checksums_say(
    built: Built, table_image: ModuleType, tmp_path: Path
) -> None:
    folder = chip.notes_folder() / "image"
    sums = dict(line.split()[::-1] for line in (folder / "SHA256SUMS").read_text().splitlines())
    old = chip.build(tmp_path / "old", WATCHDOG=0)
    images = {"wattsump-328p.hex": built, "wattsump-328p-old-bootloader.hex": old}
    assert set(sums) == set(images)
    version = subprocess.run(
        ["avr-gcc", "-dumpversion"], capture_output=True, text=True, check=True
    ).stdout.strip()
    table = table_image.image((REFERENCE / "channels.txt").read_text())
    for name, made in images.items():
        data = (folder / name).read_bytes()
        assert hashlib.sha256(data).hexdigest() == sums[name]
        if version != IMAGE_COMPILER:
            continue  # another compiler gives other code; the checksum above still holds
        fresh = table_image.from_intel_hex(made.firmware.with_suffix(".hex").read_text())
        assert table_image.from_intel_hex(data.decode()) == table_image.patched(fresh, table), (
            "run make image in firmware-notes/reference"
        )


def test_an_image_changed_without_a_compiler_runs_with_its_new_table(
    open_bench: Open, built: Built, line: Path, table_image: ModuleType, tmp_path: Path
) -> None:
    table, changed = tmp_path / "t.txt", tmp_path / "mine.hex"
    table.write_text(FAST)
    program = built.firmware.with_suffix(".hex")
    assert table_image.main([str(table), "--into", str(program), "--hex", str(changed)]) == 0
    elf = changed.with_suffix(".elf")
    subprocess.run(
        ["avr-objcopy", "-I", "ihex", "-O", "elf32-avr", str(changed), str(elf)], check=True
    )
    # the simulator takes sections by their names
    subprocess.run(["avr-objcopy", "--rename-section", ".sec1=.text", str(elf)], check=True)
    bench = open_bench(other=replace(built, firmware=elf))
    bench.run_until(450)
    assert [c.name for c in only(heard(line), Hello)[0].channels] == [
        f"probe_{i}" for i in range(1, 7)
    ]
    assert len(readings(line)) == 2


def test_without_any_sound_table_the_chip_says_so_once_a_minute(
    open_bench: Open, built: Built, line: Path, tmp_path: Path
) -> None:
    elf = tmp_path / "spoilt.elf"
    program = bytearray(built.firmware.read_bytes())
    program[program.index(b"WSC1")] ^= 1
    elf.write_bytes(program)
    bench = open_bench(other=replace(built, firmware=elf))
    bench.run_until(61_000)
    assert events_of(line) == [("note", "no-table"), ("boot", "power"), ("note", "no-table")]
    assert not readings(line)


def test_readings_keep_their_beat_at_ten_a_second(open_bench: Open, line: Path) -> None:
    bench = open_bench(FAST)
    bench.run_until(125_050)
    stamps = [reading.uptime_ms for reading in readings(line)]
    assert len(stamps) == 1_248
    assert all(0 <= stamp - 100 * (i + 3) <= LATE_MS for i, stamp in enumerate(stamps))


@pytest.mark.parametrize(
    "order",
    ["word 7 00000000", "word 1 00", "input 4 1", "button", "reset", "kind 1 x", "jump", "run x"],
)
def test_an_order_the_bench_does_not_know_is_refused_with_the_form_it_expects(
    open_bench: Open, order: str
) -> None:
    with pytest.raises(UsageError, match="emulated bench: expected"):
        open_bench().order(order)


def test_a_bench_that_ended_is_an_error_of_one_line(open_bench: Open) -> None:
    bench = open_bench()
    bench.order("quit")
    with pytest.raises(UsageError, match="an answer from the bench"):
        bench.order("run 10")


def test_a_firmware_that_does_not_build_is_an_error_naming_the_step(
    built: Built, tmp_path: Path
) -> None:
    table = tmp_path / "channels.txt"
    table.write_text("period 100\ntank max31855 K cs9\n")
    with pytest.raises(UsageError, match=r"expected cs1\.\.cs6, found 'cs9'"):
        chip.build(tmp_path / "out", channels=table)
