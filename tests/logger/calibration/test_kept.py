"""Corrections beside a machine's profile: kept, put into it, and applied to what is recorded."""

from datetime import date
from pathlib import Path

import pytest

from checkout import BRACKEN_FILE
from refusal import refused
from wattsump_logger.bench.controller import EmulatedController
from wattsump_logger.calibration.corrections import Calibration, LineCorrection
from wattsump_logger.calibration.kept import applied, beside, keep, load_machine
from wattsump_logger.capture.importing import import_files
from wattsump_logger.errors import SessionError, UsageError
from wattsump_logger.machine.profile import profile_from_dict
from wattsump_logger.session.reader import load_session
from wattsump_logger.wire.events import WireChannel

TANK = WireChannel(name="tank", source="value", detail="c")


def line(probe: str, offset_k: float, slope: float = 0.0, *, made: int = 4) -> Calibration:
    return Calibration(
        probe=probe,
        made=date(2026, 5, made),
        method="straight line",
        correction=LineCorrection(
            reference_c=50.0,
            intercept_k=offset_k,
            slope=slope,
            u_intercept_k=0.1,
            u_slope=0.001,
            correlation=0.0,
            residual_k=0.05,
            dof=9.0,
        ),
        low_c=0.0,
        high_c=100.0,
    )


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    path = tmp_path / "bracken.toml"
    path.write_bytes(BRACKEN_FILE.read_bytes())
    return path


def test_what_is_kept_beside_a_machine_is_put_into_its_profile_and_said(machine: Path) -> None:
    keep(beside(machine), [line("tank", -0.5, 0.01)])
    profile, said = load_machine(machine)
    assert profile is not None
    tank = profile.channels["tank"]
    assert (tank.offset_k, tank.slope, tank.slope_at_c, tank.u_offset_k) == (-0.5, 0.01, 50.0, 0.1)
    assert tank.note == "mid-depth, away from the return"  # the rest of the channel is as typed
    assert said == ("bracken.probes.json: tank -0.50 K (u 0.10 K, straight line, 2026-05-04)",)


def test_a_machine_without_corrections_is_as_typed(machine: Path) -> None:
    profile, said = load_machine(machine)
    assert profile is not None
    assert profile.channels["tank"].offset_k == 0
    assert said == ()


def test_corrections_without_a_machine_are_refused(tmp_path: Path) -> None:
    with refused(UsageError, "--probes"):
        load_machine(None, tmp_path / "a.json")
    assert load_machine(None) == (None, ())


def test_a_file_that_was_asked_for_and_is_not_there_is_an_error(machine: Path) -> None:
    with refused(SessionError, "none.json"):
        load_machine(machine, machine.parent / "none.json")


def test_a_new_correction_of_a_probe_replaces_its_old_one_and_no_other(machine: Path) -> None:
    keep(beside(machine), [line("tank", -0.5), line("ambient", 0.2)])
    keep(beside(machine), [line("tank", -0.7, made=9)])
    profile, _ = load_machine(machine)
    assert profile is not None
    assert profile.channels["tank"].offset_k == -0.7
    assert profile.channels["ambient"].offset_k == 0.2


def test_a_probe_the_profile_does_not_name_becomes_a_channel_of_its_name(machine: Path) -> None:
    profile, _ = load_machine(machine)
    assert profile is not None
    wider = applied(profile, {"pump_inlet": line("pump_inlet", 0.3), "spare": line("spare", 0.1)})
    assert wider.channels["pump_inlet"].role == "pump_inlet"
    assert wider.channels["spare"].role == "other"
    assert profile_from_dict(wider.to_dict()) == wider


def test_a_recording_has_the_corrected_reading_and_the_wire_file_the_raw_one(
    machine: Path, tmp_path: Path
) -> None:
    keep(beside(machine), [line("tank", -0.5, 0.01)])
    profile, _ = load_machine(machine)
    controller = EmulatedController(lambda _: {"tank": 80.0}, [TANK])
    card = tmp_path / "card.txt"
    card.write_bytes(b"".join(controller.until(3)))
    made = import_files([card], tmp_path, "a", profile)
    session = load_session(made.paths[0])
    assert (session.columns["tank_c"] == 80.0 - 0.5 + 0.01 * 30).all()
    raw = load_session(import_files([card], tmp_path, "b").paths[0])
    assert (raw.columns["tank_c"] == 80).all()
    # The session says by itself which correction it has.
    kept = session.metadata["profile"]
    assert isinstance(kept, dict)
    assert profile_from_dict(kept).channels["tank"].slope == 0.01
