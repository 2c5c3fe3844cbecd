"""The binary a person would flash, run on the emulated chip, read by the host's parser."""

import hashlib
import os
import subprocess
import tty
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import TypeVar

import pytest

from firmware import resets
from firmware.harness import need
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

REFERENCE = chip.notes_folder() / "reference"
IMAGE_COMPILER = "5.4.0"  # of the ready-made images
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
            keep(bench, table_image.image(table))
        return bench

    return opened


def keep(bench: ChipBench, image: bytes) -> None:
    """Put a table where the chip looks for it: EEPROM from address 16."""
    bench.order("eeprom " + (b"\xff" * 16 + image).hex())


def heard(line: Path) -> list[Event]:
    return FrameParser().feed(line.read_bytes())


def only(events: list[Event], kind: type[Kind]) -> list[Kind]:
    return [event for event in events if isinstance(event, kind)]


def counters(events: list[Event]) -> list[int]:
    """The sequence numbers, of which a sound stream has one per event."""
    return [event.seq for event in events if isinstance(event, Hello | Reading | EventFrame)]


def readings(line: Path) -> list[Reading]:
    return only(heard(line), Reading)


def events_of(line: Path) -> list[tuple[str, str]]:
    return [(event.code, event.detail) for event in only(heard(line), EventFrame)]


def codes(line: Path) -> list[tuple[str, str]]:
    """The events without the one that says which table is in use."""
    return [(code, detail) for code, detail in events_of(line) if not detail.startswith("table-f")]


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
    # published: the same data sheet, registers 02h..09h at power-up: all faults masked from
    # the pin, limits at the ends of their range, no offset of the cold junction; exact
    assert registers[2:10].hex() == "ff7fc07fff800000"


@pytest.mark.parametrize("register", range(10))
def test_a_register_of_the_linearising_part_that_changed_is_set_again(
    open_bench: Open, line: Path, register: int
) -> None:
    bench = open_bench("period 100\nfine max31856 T cs6\n")
    bench.order("kind 6 max31856")
    bench.order("word 6 019000190000")
    bench.run_until(1_050)
    before = bench.order("registers 6")
    bench.order(f"upset 6 {register} 2A")
    bench.run_until(2_050)
    assert bench.order("registers 6") == before
    assert ("",) in {reading.fields for reading in readings(line)}
    assert readings(line)[-1].fields == ("019000190000",)


def test_a_part_that_holds_the_bus_low_gives_zeros_everywhere_and_stops_nothing(
    open_bench: Open, line: Path
) -> None:
    bench = open_bench(THREE_KINDS)
    bench.order("kind 2 max6675")
    bench.order("kind 6 max31856")
    bench.order("jammed 1")
    bench.run_until(1_600)
    assert {reading.fields for reading in readings(line)} == {("0" * 8, "0" * 4, "0" * 12)}
    bench.order("present 1")
    for where, word in ((1, "064C1900"), (2, "0C98"), (6, "064F00190000")):
        bench.order(f"word {where} {word}")
    bench.run_until(3_100)
    assert readings(line)[-1].fields == ("064C1900", "0C98", "064F00190000")


PULL_UP_OHM = (20_000.0, 50_000.0)  # published: ATmega328P data sheet, I/O pin pull-up


# published: ATmega328P data sheet, DC characteristics at 5 V: low up to 0.3, high from 0.6 of
# the supply; the divider's volts are worked out from Kirchhoff's law
@pytest.mark.parametrize("wire_v", [0.0, 1.0, 9.0, 12.0, 14.4, 24.0, 28.8, 32.0])
def test_the_divider_of_the_wiring_page_reads_on_and_off_over_its_whole_range(
    open_bench: Open, line: Path, wire_v: float
) -> None:
    bench = open_bench("period 100\nfan state - in1\nengine state - in2 low\n")
    bench.run_until(50)
    pulls = int(bench.order("pulls").split()[1])
    assert pulls == 0b0110  # not on the divider; on the coupler and on the input nobody uses
    series_ohm, ground_ohm, clamp_v = 100_000.0, 100_000.0, 5.3
    pin_v = min(wire_v * ground_ohm / (series_ohm + ground_ohm), clamp_v)
    assert pin_v <= 1.5 or pin_v >= 3.0
    bench.order(f"input 1 {int(pin_v >= 3.0)}")
    bench.run_until(450)
    assert readings(line)[-1].fields[0] == ("1" if wire_v >= 9.0 else "0")
    # What the pull-up would have done to the "off" of a wire that its load holds at ground:
    # neither low nor high for any chip.
    parallel = 1.0 / (1.0 / series_ohm + 1.0 / ground_ohm)
    assert all(5.0 * parallel / (parallel + pull) > 1.5 for pull in PULL_UP_OHM)


def test_the_bus_has_no_pull_up_to_five_volts_unless_asked_for(
    open_bench: Open, tmp_path: Path
) -> None:
    bench = open_bench()
    bench.run_until(50)
    assert int(bench.order("pulls").split()[1]) & 0b1000 == 0
    five_volts = chip.build(tmp_path / "five", BUS_PULL_UP=1)
    bench = open_bench(other=five_volts)
    bench.run_until(50)
    assert int(bench.order("pulls").split()[1]) & 0b1000 != 0


def test_a_board_at_8_mhz_keeps_the_same_time(open_bench: Open, line: Path, tmp_path: Path) -> None:
    slow = chip.build(tmp_path / "slow", F_CPU=8_000_000, BAUD=57_600)
    bench = open_bench(other=slow)
    bench.feed({"fan": 1, "supply": 12.0, "tank": 61.5})
    bench.run_until(5_500)
    assert [reading.uptime_ms // 1000 for reading in readings(line)] == [1, 2, 3, 4, 5]
    assert readings(line)[-1].fields[6] == "1"
    # independent: two counts of the 10-bit converter
    assert float(readings(line)[-1].fields[9]) == pytest.approx(12.0, abs=0.035)


PULSES = "period 1000\nflow pulse lpm pulse1 450\nspeed pulse rpm pulse2 15.5\n"


# independent: the bench's own square wave, 4 us a tick over a second or more: 8 parts in a
# million, below the two decimals sent but for their cut
@pytest.mark.parametrize(
    ("flow_hz", "speed_hz"),
    [
        (2_000.0, 2_000.0),
        (1_999.0, 1_777.0),
        (225.0, 465.0),
        (225.037, 465.053),
        (1.0, 0.7),
        (0.0, 37.3),
    ],
)
def test_pulses_become_rates_up_to_two_kilohertz_on_both_inputs_at_once(
    open_bench: Open, line: Path, flow_hz: float, speed_hz: float
) -> None:
    bench = open_bench(PULSES)
    bench.order(f"pulse 1 {round(flow_hz * 1000)}")
    bench.order(f"pulse 2 {round(speed_hz * 1000)}")
    bench.run_until(12_500)
    # the bench's edges fall on whole cycles
    flow_hz, speed_hz = (hz and 8e6 / round(8e6 / hz) for hz in (flow_hz, speed_hz))
    settled = [map(float, reading.fields) for reading in readings(line)[3:]]
    assert len(settled) == 9
    for flow_lpm, speed_rpm in settled:
        assert flow_lpm == pytest.approx(flow_hz * 60.0 / 450.0, rel=2e-5, abs=0.0101)
        assert speed_rpm == pytest.approx(speed_hz * 60.0 / 15.5, rel=2e-5, abs=0.0101)
    assert bench.figures()["resets"] == 0


def test_a_pulse_input_stopped_reads_zero_within_three_seconds(
    open_bench: Open, line: Path
) -> None:
    bench = open_bench(PULSES)
    bench.order("pulse 1 225000")
    bench.run_until(5_500)
    bench.order("pulse 1 0")
    bench.run_until(9_500)
    flows = [float(reading.fields[0]) for reading in readings(line)[2:]]
    # independent: 225 Hz at 450 pulses a litre; two decimals, cut
    assert flows[:3] == pytest.approx([30.0, 30.0, 30.0], abs=0.0101)
    assert flows[-1] == 0.0
    assert flows == sorted(flows, reverse=True)


def test_chatter_shorter_than_the_dead_time_counts_once(open_bench: Open, line: Path) -> None:
    bench = open_bench(PULSES)
    bench.order("pulse 1 225000 150")
    bench.run_until(6_500)
    # independent: 225 Hz at 450 pulses a litre; an edge may count up to one look late
    assert float(readings(line)[-1].fields[0]) == pytest.approx(30.0, abs=0.02)


def test_an_input_gone_wild_delays_no_reading_and_spoils_no_line(
    open_bench: Open, line: Path
) -> None:
    bench = open_bench(PULSES)
    bench.order("pulse 1 90000000")
    bench.order("pulse 2 70000000")
    bench.run_until(20_500)
    events = heard(line)
    assert bench.figures()["resets"] == 0
    assert counters(events) == list(range(len(events)))
    assert [r.uptime_ms // 1000 for r in only(events, Reading)] == list(range(1, 21))


I2C = "period 500\nnear mcp9600 T i2c0\nfar mcp9600 K i2c7\ntank max31855 K cs1\n"


def test_the_i2c_converter_reaches_the_line_word_for_word(open_bench: Open, line: Path) -> None:
    bench = open_bench(I2C)
    bench.order("i2c 0 064C019040")
    bench.order("i2c 7 FFF0FFF041")
    bench.order("word 1 064C1900")
    bench.run_until(3_100)
    assert readings(line)[-1].fields == ("064C019040", "FFF0FFF041", "064C1900")


def test_an_i2c_converter_that_is_gone_or_holds_the_bus_costs_its_own_field(
    open_bench: Open, line: Path
) -> None:
    bench = open_bench(I2C)
    bench.order("i2c 0 064C019040")
    bench.order("i2c 7 absent")
    bench.order("word 1 064C1900")
    bench.run_until(2_100)
    assert readings(line)[-1].fields == ("064C019040", "", "064C1900")
    bench.order("i2c hold")
    bench.run_until(4_100)
    assert readings(line)[-1].fields == ("", "", "064C1900")
    bench.order("i2c free")
    bench.run_until(6_100)
    assert readings(line)[-1].fields == ("064C019040", "", "064C1900")
    assert [r.uptime_ms // 500 for r in readings(line)] == list(range(1, 13))
    assert bench.figures()["resets"] == 0


def test_an_i2c_converter_that_lost_its_settings_reports_nothing_until_set_again(
    open_bench: Open, line: Path
) -> None:
    bench = open_bench(I2C)
    bench.order("i2c 0 064C019040")
    bench.run_until(2_100)
    bench.order("i2c 0 powercycle")
    bench.run_until(2_700)
    assert readings(line)[-1].fields[0] == ""
    bench.run_until(3_600)
    assert readings(line)[-1].fields[0] == "064C019040"


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


BOOTLOADERS = Path("/usr/share/arduino/hardware/arduino/avr/bootloaders")
OLD = BOOTLOADERS / "atmega" / "ATmegaBOOT_168_atmega328.hex"
NEW = BOOTLOADERS / "optiboot" / "optiboot_atmega328.hex"


def need_bootloaders() -> None:
    need(() if NEW.exists() else ("Debian's arduino-core-avr",))


def hang_behind(bench: ChipBench, bootloader: Path) -> None:
    bench.order(f"bootloader {bootloader}")
    bench.run_until(6_000)
    bench.order("hang")
    bench.run_until(14_000)


def test_a_new_bootloader_lets_the_watchdog_do_its_work(open_bench: Open, line: Path) -> None:
    need_bootloaders()
    bench = open_bench()
    hang_behind(bench, NEW)
    assert codes(line) == [("boot", "unknown"), ("boot", "unknown")]
    assert bench.figures()["resets"] <= 4


def test_an_old_bootloader_restarts_for_ever_once_the_watchdog_has_bitten(
    open_bench: Open, line: Path
) -> None:
    need_bootloaders()
    bench = open_bench()
    hang_behind(bench, OLD)
    assert len(codes(line)) == 1
    assert bench.figures()["resets"] > 100


def test_an_old_bootloader_without_the_watchdog_runs_and_does_not_restart(
    open_bench: Open, line: Path, tmp_path: Path
) -> None:
    need_bootloaders()
    bench = open_bench(other=chip.build(tmp_path / "quiet", WATCHDOG=0))
    hang_behind(bench, OLD)
    assert len(codes(line)) == 1
    assert len(readings(line)) >= 3
    assert bench.figures()["resets"] <= 1


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


@pytest.mark.parametrize("first", [1, 40_000, 90_000, 140_000])
def test_a_restart_behind_any_instruction_costs_the_line_it_cuts_and_no_other(
    tmp_path: Path, first: int
) -> None:
    need(chip.missing_tools())
    table = tmp_path / "table.txt"
    table.write_text(resets.TABLE)
    built = chip.build(tmp_path, channels=table)
    # the whole of it: python tests/firmware/resets.py 1
    where = [first + 1999 * number for number in range(25)]
    wrong = list(resets.sweep(built, tmp_path, where, every=1))
    assert wrong == [""] * 25
