"""The compiled firmware on the emulated chip, through its port, to a proven cooler.

The demonstration's machine on a shorter guided outing. What the session says is what the
probes were made to read, and the proof holds the conductance the plant was built with.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from firmware.harness import need
from wattsump_analysis.commands import demo, program
from wattsump_analysis.emulation import bracken
from wattsump_analysis.emulation.bracken import Rehearsal
from wattsump_analysis.emulation.plant import cooler_conductance_w_k
from wattsump_analysis.emulation.rehearsal import CHANNELS, Stage
from wattsump_analysis.proof.prove import prove
from wattsump_logger.bench import chip
from wattsump_logger.errors import RangeError
from wattsump_logger.machine.profile import load_profile, profile_from_dict
from wattsump_logger.session.reader import Session, load_session

STAGES = (
    Stage(name="soak", longest_s=300, engine=False),
    Stage(name="fan-off rise", longest_s=1200, until_above_c=62.0, moving=True),
    Stage(name="fan on 1", longest_s=240, fan=True, moving=True),
    Stage(name="fan off 1", longest_s=240, moving=True),
    Stage(name="fan on 2", longest_s=240, fan=True, moving=True),
    Stage(name="stopped cool-down", longest_s=600, engine=False),
)
# published: MAX31855 data sheet, 0.25 °C a step, so half a step; the straight line is up to
# 5 % flatter than type K between 0 and 100 °C, so 0.125 * 1.06.
RESOLUTION_C = 0.1325


@pytest.fixture(scope="module")
def played() -> Rehearsal:
    return bracken.rehearse(bracken.demo_profile(), stages=STAGES)


@pytest.fixture(scope="module")
def recorded(played: Rehearsal, tmp_path_factory: pytest.TempPathFactory) -> Path:
    need(chip.missing_tools())
    session, _ = demo.record_chip(tmp_path_factory.mktemp("demo-chip"), rehearsal=played)
    return session


@pytest.fixture(scope="module")
def outing(recorded: Path) -> Session:
    return load_session(recorded)


@pytest.mark.chip
def test_every_second_of_the_outing_is_one_row(outing: Session, played: Rehearsal) -> None:
    # The first reading is one period after the boot.
    assert outing.elapsed_s + 1.0 == pytest.approx(np.arange(1.0, played.length_s))
    # On a busy computer the emulated chip may fall behind the clock, which is flagged.
    faults = {fault.code for fault in outing.faults if fault.channel == "wire"}
    assert faults - {"uptime_slow"} == {"boot"}
    assert outing.notes == ()


@pytest.mark.chip
@pytest.mark.parametrize("channel", CHANNELS)
def test_the_session_says_what_the_probe_read_to_the_resolution_of_the_converter(
    outing: Session, played: Rehearsal, channel: str
) -> None:
    read_c = played.readings[channel][1:, 0]
    said_c = outing.columns[f"{channel}_c"]
    unplugged = np.flatnonzero(np.isnan(read_c))
    assert [f.row for f in outing.faults if f.channel == channel] == unplugged.tolist()
    assert {f.code for f in outing.faults if f.channel == channel} <= {"bus"}
    assert said_c == pytest.approx(read_c, abs=RESOLUTION_C, nan_ok=True)


@pytest.mark.chip
def test_switches_and_the_drivers_button_are_where_the_outing_had_them(
    outing: Session, played: Rehearsal
) -> None:
    truth = played.truth
    for column, states in (
        ("fan_on", truth.fan),
        ("engine_on", truth.engine),
        ("drive_on", truth.moving),
    ):
        np.testing.assert_array_equal(outing.columns[column], states[1:, 0])
    changes = np.flatnonzero(np.diff(truth.stage[1:, 0])) + 1
    boot, *marks = outing.marks
    assert boot.text.startswith("note table-flash-")
    rows = np.searchsorted(outing.elapsed_s, [mark.elapsed_s for mark in marks])
    # The press is told with the reading after it, up to a period later.
    assert len(rows) == len(STAGES) - 1
    assert np.all((rows - changes >= 0) & (rows - changes <= 1))
    assert {mark.text for mark in marks} == {"button"}


@pytest.mark.chip
def test_the_proof_holds_the_conductance_the_plant_was_built_with(outing: Session) -> None:
    proof = prove(outing)
    assert proof.k_w_k is not None
    assert proof.reference_oil_c is not None
    assert proof.k_refers_to == "oil into the cooler"
    machine = bracken.demo_machine(bracken.demo_profile())
    built_w_k = float(cooler_conductance_w_k(machine, np.array([proof.reference_oil_c]))[0])
    assert proof.k_w_k.low <= built_w_k <= proof.k_w_k.high
    # An interval that holds everything would say nothing.
    assert proof.k_w_k.half_width_rel < 0.3


@pytest.mark.chip
def test_the_profile_beside_it_is_the_one_in_the_sidecar(recorded: Path, outing: Session) -> None:
    held = outing.metadata["profile"]
    assert isinstance(held, dict)
    assert profile_from_dict(held) == load_profile(recorded.with_name("bracken-chip.toml"))


@pytest.mark.chip
def test_an_outing_the_bench_cannot_play_ends_with_its_reason(
    played: Rehearsal, tmp_path: Path
) -> None:
    need(chip.missing_tools())
    tank_c = played.readings["tank"].copy()
    tank_c[5:] = 5000.0  # beyond every thermocouple
    broken = replace(played, readings={**played.readings, "tank": tank_c})
    with pytest.raises(RangeError, match="5000"):
        demo.record_chip(tmp_path, rehearsal=broken)


def test_the_firmware_is_built_for_the_channels_of_the_demonstration() -> None:
    table = chip.notes_folder() / "reference" / "channels-bracken.txt"
    wiring, period_ms = chip.read_wiring(table)
    assert [channel.name for channel in wiring] == [c.name for c in bracken.WIRE_CHANNELS]
    assert period_ms / 1000 == demo.CHIP_STEP_S


def test_without_the_tools_one_line_names_the_packages_and_nothing_is_written(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(chip, "PROGRAMS", ("no-such-compiler",))
    assert program.main(["demo", "--chip", "--out", str(tmp_path / "out")]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "no no-such-compiler" in said
    for package in ("gcc-avr", "avr-libc", "simavr", "libsimavr-dev", "libelf-dev"):
        assert f" {package}" in said
    assert not (tmp_path / "out").exists()


def test_a_speed_no_emulated_chip_reaches_is_refused_in_one_line(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(chip, "missing_tools", lambda: ())
    arguments = ["demo", "--chip", "--speed", "400", "--out", str(tmp_path / "out")]
    assert program.main(arguments) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "--speed: expected at most 100 with --chip, found 400" in said
    assert not (tmp_path / "out").exists()
