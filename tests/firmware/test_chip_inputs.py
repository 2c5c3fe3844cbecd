"""What is wired to the chip, from its converters and inputs to the fields of a reading."""

from pathlib import Path

import pytest

from firmware.on_chip import FAST, Open, counters, heard, only, readings
from wattsump_logger.bench import chip
from wattsump_logger.wire.events import EventFrame, Reading

pytestmark = pytest.mark.chip

THREE_KINDS = """
period 500
tank max31855 K cs1
old max6675 K cs2
fine max31856 T cs6
"""


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
    bench.feed({"fan": 1, "engine": 1, "drive": 0, "supply": 13.8})
    bench.run_until(1_500)
    bench.feed({"fan": 0, "engine": 1, "drive": 1, "supply": 9.6})
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
