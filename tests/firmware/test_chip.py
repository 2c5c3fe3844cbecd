"""The binary a person would flash, run on the emulated chip, read by the host's parser."""

import os
import tty
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import TypeVar

import pytest

from wattsump_logger.bench import chip
from wattsump_logger.bench.chip import Built, ChipBench
from wattsump_logger.errors import UsageError
from wattsump_logger.wire.events import (
    BadCrc,
    Event,
    EventFrame,
    Gap,
    Hello,
    Noise,
    Reading,
    Reboot,
    UptimeWrap,
)
from wattsump_logger.wire.frames import FrameParser, format_event, format_hello, format_reading

pytestmark = pytest.mark.chip

LATE_MS = 8  # a reading may be stamped after its due time by one hello and one reading

THREE_KINDS = """
period 500
tank max31855 K cs1
old max6675 K cs2
fine max31856 T cs6
"""
FAST = "period 100\n" + "\n".join(f"probe_{i} max31855 K cs{i}" for i in range(1, 7))

Kind = TypeVar("Kind")
Open = Callable[..., ChipBench]


@pytest.fixture
def line(tmp_path: Path) -> Path:
    return tmp_path / "line.bin"


@pytest.fixture
def open_bench(
    built: Built, line: Path, table_image: ModuleType, request: pytest.FixtureRequest
) -> Open:
    def opened(table: str | None = None, other: Built | None = None) -> ChipBench:
        bench = ChipBench(other or built, line=line)
        request.addfinalizer(bench.close)
        if table is not None:
            bench.order("eeprom " + table_image.image(table).hex())
        return bench

    return opened


def heard(line: Path) -> list[Event]:
    return FrameParser().feed(line.read_bytes())


def only(events: list[Event], kind: type[Kind]) -> list[Kind]:
    return [event for event in events if isinstance(event, kind)]


def counters(events: list[Event]) -> list[int]:
    """The sequence numbers, of which a sound stream has one per event."""
    return [event.seq for event in events if isinstance(event, Hello | Reading | EventFrame)]


def readings(line: Path) -> list[Reading]:
    return only(heard(line), Reading)


def codes(line: Path) -> list[tuple[str, str]]:
    return [(event.code, event.detail) for event in only(heard(line), EventFrame)]


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


# published: MAX31855, MAX6675 and MAX31856 data sheets, rows of their temperature tables
# (words put together from the rows); the chip must pass each on unchanged, so exact.
@pytest.mark.parametrize(
    ("tank", "old", "fine"),
    [
        ("064C1900", "0C98", "064F00190000"),
        ("64007F00", "7FF8", "6400007FFC00"),
        ("FFFCFFF0", "0000", "FFFC00FF8000"),
        ("F060C900", "0320", "F06000C90000"),
        ("00011901", "0004", "000000190001"),
    ],
)
def test_words_reach_the_line_as_the_converter_gave_them(
    open_bench: Open, line: Path, tank: str, old: str, fine: str
) -> None:
    bench = open_bench(THREE_KINDS)
    bench.order("kind 2 max6675")
    bench.order("kind 6 max31856")
    for where, word in ((1, tank), (2, old), (6, fine)):
        bench.order(f"word {where} {word}")
    bench.run_until(2_600)
    assert [reading.fields for reading in readings(line)] == [(tank, old, fine)] * 5


def test_a_word_changes_on_its_own_channel_at_its_own_time(open_bench: Open, line: Path) -> None:
    bench = open_bench(FAST)
    for where in range(1, 7):
        bench.order(f"word {where} 01901900")
    bench.run_until(1_050)
    bench.order("word 4 00011901")
    bench.run_until(1_550)
    bench.order("word 4 01901900")
    bench.run_until(2_050)
    for reading in readings(line):
        open_now = 1_050 <= reading.uptime_ms < 1_550
        expected = ["01901900"] * 6
        expected[3] = "00011901" if open_now else "01901900"
        assert list(reading.fields) == expected


def test_absent_and_stuck_converters_leave_the_others_and_the_clock_alone(
    open_bench: Open, line: Path
) -> None:
    bench = open_bench(FAST)
    for where in range(1, 7):
        bench.order(f"word {where} 01901900")
    bench.run_until(5_050)
    sound = bench.figures()["longest_pass"]
    bench.order("figures restart")
    bench.order("absent 2")
    bench.order("stuck 5")
    bench.run_until(10_050)
    last = readings(line)[-1]
    assert last.fields == (
        "01901900",
        "FFFFFFFF",
        "01901900",
        "01901900",
        "00000000",
        "01901900",
    )
    # Every part costs the same bus bytes whatever it says; what differs is the number of
    # digits in the frame's own counters, under a tenth of a pass.
    assert bench.figures()["longest_pass"] < 1.1 * sound
    assert len(readings(line)) == 98


def test_a_linearising_part_that_lost_its_supply_never_reports_zero_degrees(
    open_bench: Open, line: Path
) -> None:
    bench = open_bench("period 100\nfine max31856 T cs6\n")
    bench.order("kind 6 max31856")
    bench.order("word 6 019000190000")
    bench.run_until(2_050)
    bench.order("powercycle 6")
    bench.run_until(3_050)
    # Set up anew at the reading of 2.1 s; the first conversion is taken 250 ms later.
    empty = [r.uptime_ms // 100 for r in readings(line) if r.fields == ("",)]
    assert empty == [21, 22, 23]
    assert {r.fields for r in readings(line)} == {("019000190000",), ("",)}


def test_an_absent_linearising_part_reads_all_ones_and_comes_back(
    open_bench: Open, line: Path
) -> None:
    bench = open_bench(THREE_KINDS)
    bench.order("kind 2 max6675")
    bench.order("kind 6 max31856")
    bench.order("word 6 019000190000")
    bench.order("absent 6")
    bench.run_until(1_100)
    bench.order("present 6")
    bench.run_until(2_600)
    fields = [reading.fields[2] for reading in readings(line)]
    assert fields == ["F" * 12] * 2 + [""] + ["019000190000"] * 2


# published: MAX31856 data sheet, register 01h, thermocouple type codes; register 00h, bit 7
# continuous conversion, bits 5:4 = 01 open check, bit 0 rejection of 50 Hz; exact
@pytest.mark.parametrize("letter", "BEJKNRST")
def test_the_linearising_part_is_set_to_the_letter_of_its_channel(
    open_bench: Open, letter: str
) -> None:
    bench = open_bench(f"period 500\nfine max31856 {letter} cs3\n")
    bench.order("kind 3 max31856")
    bench.run_until(1_000)
    registers = bytes.fromhex(bench.order("registers 3").split()[1])
    assert registers[0] == 0b1001_0001
    assert registers[1] == "BEJKNRST".index(letter)


def test_sense_inputs_and_supply_voltage_reach_their_fields(open_bench: Open, line: Path) -> None:
    bench = open_bench()
    bench.feed({"fan": 1, "engine": 1, "heater": 0, "supply": 13.8})
    bench.run_until(1_500)
    bench.feed({"fan": 0, "engine": 1, "heater": 1, "supply": 9.6})
    bench.run_until(2_500)
    first, second = readings(line)
    assert first.fields[6:9] == ("1", "1", "0")
    assert second.fields[6:9] == ("0", "1", "1")
    # independent: one count of the 10-bit converter is 17.6 V / 1024 = 17 mV, and the bench
    # rounds the pin to a whole mV, 16 mV at the supply
    assert float(first.fields[9]) == pytest.approx(13.8, abs=0.035)
    assert float(second.fields[9]) == pytest.approx(9.6, abs=0.035)


def test_a_press_is_one_mark_at_its_time(open_bench: Open, line: Path) -> None:
    bench = open_bench()
    bench.run_until(2_500)
    bench.press_button()
    bench.run_until(4_000)
    marks = [event for event in only(heard(line), EventFrame) if event.code == "mark"]
    assert [mark.detail for mark in marks] == ["button"]
    assert 2_500 <= marks[0].uptime_ms <= 2_540


@pytest.mark.parametrize("cause", ["power", "brownout", "watchdog", "external"])
def test_a_reset_says_its_cause_and_the_parser_sees_one_reboot(
    open_bench: Open, line: Path, cause: str
) -> None:
    bench = open_bench()
    bench.run_until(5_500)
    bench.order(f"reset {cause} 700")
    bench.run_until(9_000)
    events = heard(line)
    assert codes(line) == [("boot", "power"), ("boot", cause)]
    assert len(only(events, Reboot)) == 1
    assert not only(events, Gap)
    assert [reading.uptime_ms // 1000 for reading in only(events, Reading)] == [1, 2, 3, 4, 5, 1, 2]


def test_the_cause_of_one_restart_does_not_stick_to_the_next(open_bench: Open, line: Path) -> None:
    bench = open_bench()
    causes = ["brownout", "external", "watchdog", "external", "power", "brownout"]
    for second, cause in enumerate(causes):
        bench.run_until(1_000 * second + 500)
        bench.order(f"reset {cause}")
    bench.run_until(8_000)
    assert [detail for _, detail in codes(line)] == ["power", *causes]


def test_a_hang_is_ended_by_the_watchdog_within_a_second(open_bench: Open, line: Path) -> None:
    bench = open_bench()
    bench.run_until(3_500)
    bench.order("hang")
    bench.run_until(6_000)
    assert codes(line)[-1] == ("boot", "watchdog")
    # The chip was silent from 3.5 s; a second reading after the restart fits only if the
    # restart came within half a second.
    assert [r.uptime_ms // 1000 for r in readings(line)] == [1, 2, 3, 1]
    bench.run_until(6_200)
    assert [r.uptime_ms // 1000 for r in readings(line)] == [1, 2, 3, 1, 2]


def test_the_uptime_wraps_without_a_lost_reading(
    open_bench: Open, line: Path, tmp_path: Path
) -> None:
    wrapping = chip.build(tmp_path / "wrap", START_UPTIME_MS=2**32 - 3_300)
    bench = open_bench(other=wrapping)
    bench.run_until(8_000)
    events = heard(line)
    assert len(only(events, UptimeWrap)) == 1
    assert not only(events, Reboot)
    assert not only(events, Gap)
    since_start = [(r.uptime_ms + 3_300) % 2**32 for r in only(events, Reading)]
    assert [round(elapsed, -1) for elapsed in since_start] == list(range(1_000, 8_000, 1_000))


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
    bench.order("eeprom " + image.hex())
    bench.run_until(2_500)
    assert only(heard(line), Hello)[0].period_ms == 1000
    assert codes(line) == [("boot", "power"), ("note", "table-spoilt")]


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
