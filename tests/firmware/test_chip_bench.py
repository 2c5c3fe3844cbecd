"""The launcher of the emulated bench: values on wires, building, serving a port."""

import math
import os
import termios
import tty
from pathlib import Path

import pytest

from firmware.harness import need
from wattsump_logger.bench import chip
from wattsump_logger.bench.chip import Built, ChipBench, Wiring
from wattsump_logger.errors import UsageError
from wattsump_logger.thermocouples import converters
from wattsump_logger.wire.events import Hello, Reading
from wattsump_logger.wire.frames import FrameParser


def outing(elapsed_s: float) -> dict[str, float | str | None]:
    """A warm-up in which two probes fail."""
    return {
        "tank": 12.0 + 0.9 * elapsed_s,
        "cooler_in": "fault:open" if 20.0 <= elapsed_s < 30.0 else 11.0 + elapsed_s,
        "cooler_out": 10.0,
        "ambient": -17.5,
        "case_drain": None if elapsed_s >= 40.0 else 14.0,
        "pump_inlet": 10.0 + 2.0 * math.sin(elapsed_s / 5.0),
        "fan": float(elapsed_s > 25.0),
        "not_wired": 1.0,
    }


def test_a_table_is_read_into_what_is_wired_where() -> None:
    table = chip.notes_folder() / "reference" / "channels.txt"
    wiring, period_ms = chip.read_wiring(table)
    assert period_ms == 1000
    assert wiring[0] == Wiring(name="tank", source="max31855", detail="K", where="cs1", option="")
    assert [channel.place for channel in wiring] == [1, 2, 3, 4, 5, 6, 1, 2, 3, 3]
    assert wiring[-1].option == "17600"


def test_missing_tools_are_named_with_what_to_install(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(chip, "PROGRAMS", ("no-such-compiler",))
    monkeypatch.setattr(chip, "HEADERS", (tmp_path / "sim_avr.h",))
    with pytest.raises(UsageError, match=r"no no-such-compiler, no .*sim_avr\.h.*gcc-avr"):
        chip.build(tmp_path)


def test_an_installed_package_without_its_source_tree_says_so(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(chip, "__file__", str(tmp_path / "chip.py"))
    with pytest.raises(UsageError, match="run this from a checkout of the source"):
        chip.notes_folder()


def test_a_fault_the_part_cannot_report_is_refused() -> None:
    old = Wiring(name="tank", source="max6675", detail="K", where="cs1", option="")
    with pytest.raises(UsageError):
        chip.word_for(old, "fault:short_ground", 25.0)


@pytest.mark.chip
def test_what_is_fed_is_what_the_host_decodes_to_the_resolution_of_the_part(
    built: Built, tmp_path: Path
) -> None:
    line = tmp_path / "line.bin"
    with ChipBench(built, line=line, cold_c=31.0) as bench:
        bench.play(outing, 60.0, step_s=1.0)
    events = FrameParser().feed(line.read_bytes())
    names = [channel.name for channel in events[0].channels] if isinstance(events[0], Hello) else []
    readings = [event for event in events if isinstance(event, Reading)]
    assert len(readings) == 59
    for reading in readings:
        fed = outing(float(reading.uptime_ms // 1000))
        for name, field in zip(names[:6], reading.fields, strict=False):
            temp_c, cold_c, fault = converters.decode_word("max31855", "K", field)
            value = fed[name]
            if isinstance(value, float):
                # published: MAX31855 data sheet, 0.25 °C a step, so half a step; the straight
                # line is up to 5 % flatter than type K below 100 °C, so 0.125 * 1.06
                assert temp_c == pytest.approx(value, abs=0.1325)
                assert fault == ""
            else:
                assert fault == ("bus" if value is None else "open")
                assert math.isnan(temp_c)
            assert math.isnan(cold_c) == (value is None)
        assert reading.fields[6] == str(int(fed["fan"] or 0))


@pytest.mark.chip
def test_two_runs_of_one_source_give_the_same_bytes(built: Built, tmp_path: Path) -> None:
    lines = [tmp_path / "one.bin", tmp_path / "two.bin"]
    for line in lines:
        with ChipBench(built, line=line) as bench:
            bench.play(outing, 20.0)
    assert lines[0].read_bytes() == lines[1].read_bytes()


@pytest.mark.chip
def test_a_served_chip_talks_on_a_port_and_ends_with_its_block(tmp_path: Path) -> None:
    need(chip.missing_tools())
    with chip.serve(outing, tmp_path, until_s=1e6, speed=math.inf) as bench:
        port = os.open(bench.port, os.O_RDWR | os.O_NOCTTY)
        try:
            tty.setraw(port, termios.TCSANOW)  # the usual way throws away what came
            received = b""
            while received.count(b"R1,") < 100:
                received += os.read(port, 65_536)
        finally:
            os.close(port)
    # The player was blocked by a host that had stopped reading; leaving ended it all the same.
    events = FrameParser().feed(received)
    assert isinstance(events[0], Hello)
    assert sum(isinstance(event, Reading) for event in events) >= 99


def read_to_the_end(name: str, received: bytearray) -> None:
    """Take all that a port says until it goes away."""
    port = os.open(name, os.O_RDWR | os.O_NOCTTY)
    try:
        tty.setraw(port, termios.TCSANOW)
        while data := os.read(port, 65_536):
            received += data
    except OSError:
        pass  # a port that went away says so by an error or by nothing, as it likes
    finally:
        os.close(port)


@pytest.mark.chip
def test_a_source_that_fails_takes_the_port_away_and_is_told(tmp_path: Path) -> None:
    need(chip.missing_tools())
    received = bytearray()

    def broken(elapsed_s: float) -> dict[str, float | str | None]:
        # Bytes on their way go with the port, so it fails only after some have come.
        has_come = received.count(b"\nR1,") >= 2
        return {"tank": "fault:nonsense" if has_come else "fault:short_ground"}

    def served() -> None:
        with chip.serve(broken, tmp_path, until_s=1e6, speed=math.inf) as bench:
            read_to_the_end(bench.port, received)

    with pytest.raises(UsageError, match="nonsense"):
        served()
    assert isinstance(FrameParser().feed(bytes(received))[0], Hello)
