"""Restarts of the chip: their causes, bootloaders, the uptime, and the line they cut."""

from pathlib import Path

import pytest

from firmware import resets
from firmware.harness import need
from firmware.on_chip import Open, codes, heard, only, readings
from wattsump_logger.bench import chip
from wattsump_logger.bench.chip import ChipBench
from wattsump_logger.wire.events import Gap, Reading, Reboot, UptimeWrap

pytestmark = pytest.mark.chip

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
