"""Phases by flags and by temperatures; what a soak may and may not match."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.codes import codes
from analysis.outing_maker import GUIDED, OUTING, lump_session, plant_session, with_columns
from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.reading.cuts import record_of
from wattsump_analysis.reading.phases import (
    find_phases,
    find_soak,
    hidden_switchings,
    saw_tooth,
    slopes_k_min,
    switches_of,
)
from wattsump_analysis.reading.record import Record, Switches, make_record
from wattsump_analysis.reading.samples import Samples, gather
from wattsump_analysis.results import Phase
from wattsump_logger.remark import Remark
from wattsump_logger.session.reader import Session


def phases_of(session: Session) -> tuple[tuple[Phase, ...], Samples, tuple[Remark, ...]]:
    samples = gather(session, None)
    switches, notes = switches_of(samples)
    record = record_of(samples, switches, {}, None)
    return find_phases(record, samples.fan is not None), samples, notes


def test_flags_name_every_stage_of_a_guided_run() -> None:
    phases, _, notes = phases_of(plant_session(GUIDED))
    kinds = [phase.kind for phase in phases]
    assert notes == ()
    assert kinds[0] == "soak"
    assert phases[0].end_s == 600.0
    assert kinds[1] == "warm-up"
    assert kinds[-3:] == ["fan off", "fan on", "stopped cool-down"]


def test_an_ordinary_outing_has_a_warm_up_and_an_idle_cool_down() -> None:
    phases, _, _ = phases_of(plant_session(OUTING))
    kinds = [phase.kind for phase in phases]
    assert kinds[0] == "warm-up"
    assert "steady work" in kinds
    assert kinds[-1] == "idle cool-down"
    # independent: the stage's own start; slopes look two minutes either way.
    assert phases[-1].start_s == pytest.approx(3000.0, abs=120.0)


def test_without_flags_temperatures_tell_rest_warm_up_and_say_that_they_guess() -> None:
    session = with_columns(plant_session(GUIDED), "tank_c", "ambient_c")
    phases, _, notes = phases_of(session)
    assert [phase.kind for phase in phases][:2] == ["soak", "warm-up"]
    # independent: the engine's own start; the tank answers within minutes.
    assert phases[0].end_s == pytest.approx(600.0, abs=180.0)
    assert codes(notes) == ["no-engine-channel", "no-fan-channel", "no-drive-channel"]


def test_a_flat_soak_gives_the_offsets_of_the_probes() -> None:
    session = plant_session(GUIDED)
    samples = gather(session, None)
    switches, _ = switches_of(samples)
    soak = find_soak(samples, switches.engine)
    assert soak is not None
    assert soak.offsets_k is not None
    # independent: offsets given to the emulated probes, 0.3, -0.8, 0.9 and -0.5 K, less the
    # tank's 0.3; the 0.25 K steps leave a few hundredths.
    expected = {"tank": 0.0, "cooler_in": -1.1, "cooler_out": 0.6, "ambient": -0.8}
    for name, offset in expected.items():
        assert soak.offsets_k[name] == pytest.approx(offset, abs=0.12)


def test_a_rest_that_still_cools_matches_nothing() -> None:
    session = lump_session(1800.0, 2000.0, 15.0, start_c=40.0)
    samples = gather(session, None)
    soak = find_soak(samples, np.zeros(session.elapsed_s.size))
    assert soak is not None
    assert soak.offsets_k is None
    assert soak.reason is not None
    assert soak.reason.code == "rest-drifts"


@pytest.mark.parametrize(("step_k", "matches"), [(0.25, True), (1.0, False)])
def test_a_rest_read_in_whole_degrees_matches_nothing(step_k: float, matches: bool) -> None:
    # independent: in steps of 0.25 K a mean is off by 0.25 / (pi sqrt 2) = 0.06 K at most, in whole
    # degrees by 0.22 K, more than matched probes differ by.
    session = lump_session(1800.0, 1e9, 15.1, start_c=15.1)
    worked_k = np.maximum(np.arange(360) - 240, 0) * 0.1
    stepped = {
        name: np.round((y + worked_k) / step_k) * step_k for name, y in session.columns.items()
    }
    engine = (worked_k > 0.0).astype(float)
    soak = find_soak(gather(replace(session, columns=stepped), None), engine)
    assert soak is not None
    assert (soak.offsets_k is not None) is matches
    assert matches or (soak.reason is not None and soak.reason.code == "rest-coarse")


def test_a_rest_with_oil_and_air_apart_matches_nothing() -> None:
    session = lump_session(1800.0, 1e9, 15.0, start_c=40.0)
    soak = find_soak(gather(session, None), np.zeros(session.elapsed_s.size))
    assert soak is not None
    assert soak.offsets_k is None
    assert soak.reason is not None
    assert soak.reason.code == "rest-uneven"


def test_a_session_that_starts_running_has_no_soak() -> None:
    session = lump_session(600.0, 800.0, 60.0)
    assert find_soak(gather(session, None), np.ones(session.elapsed_s.size)) is None


def at_the_cooler(share: FloatArray) -> Record:
    """An hour in 20 s bins with hot oil that gives off `share` of its excess in the cooler."""
    n = share.size
    rng = np.random.default_rng(8)
    inlet = 60.0 + 4.0 * np.sin(np.arange(n) / 9.0) + 0.1 * rng.standard_normal(n)
    return make_record(
        np.linspace(0.0, 20.0 * (n - 1), n),
        {"tank": inlet - 3.0, "cooler_in": inlet, "cooler_out": inlet - share * (inlet - 20.0)},
        np.full(n, 20.0),
        Switches(
            fan=np.ones(n),
            engine=np.ones(n),
            moving=np.ones(n),
            heater_w=np.zeros(n),
            work=np.ones(n, dtype=np.int64),
        ),
        bin_s=20.0,
    )


def test_a_fan_that_nobody_logged_shows_by_what_the_cooler_takes_out() -> None:
    n = 180
    on = np.sin(2 * np.pi * np.arange(n) / 20.0) > 0
    assert hidden_switchings(at_the_cooler(np.where(on, 0.12, 0.01))) >= 16
    # A cold start is one slow rise of the share, a load that swings none.
    assert hidden_switchings(at_the_cooler(np.minimum(0.03 + np.arange(n) / 500.0, 0.12))) == 0
    assert hidden_switchings(at_the_cooler(np.full(n, 0.12))) == 0


def test_a_fan_thermostat_saws() -> None:
    t = np.arange(0.0, 3600.0, 5.0)
    fan = (np.sin(2 * np.pi * t / 400.0) > 0).astype(float)
    session = lump_session(3600.0, 1e-3, 50.0)
    columns = {**session.columns, "fan_on": fan, "tank_c": 50.0 - np.cos(2 * np.pi * t / 400.0)}

    phases, samples, _ = phases_of(replace(session, columns=columns))
    switches, _ = switches_of(samples)
    assert np.mean(saw_tooth(record_of(samples, switches, {}, None))) > 0.8
    assert "regulated" in [phase.kind for phase in phases]


def test_a_slope_is_in_kelvin_per_minute() -> None:
    t = np.arange(0.0, 1200.0, 30.0)
    # independent: 0.01 K/s.
    assert slopes_k_min(t, 20.0 + 0.01 * t) == pytest.approx(np.full(t.size, 0.6))


def test_engine_speed_tells_work_from_idling_where_no_drive_flag_is() -> None:
    session = lump_session(1200.0, 800.0, 60.0)
    speed = np.where(session.elapsed_s < 600.0, 2400.0, 900.0)

    samples = gather(replace(session, columns={**session.columns, "engine_rpm": speed}), None)
    assert samples.moving is not None
    assert samples.engine is not None
    assert set(samples.engine) == {1.0}
    assert np.array_equal(samples.moving, (session.elapsed_s < 600.0).astype(float))


def test_a_soak_ends_where_the_heater_starts() -> None:
    samples = gather(plant_session(GUIDED), None)
    heated = replace(samples, heater_w=np.where(samples.elapsed_s >= 400.0, 1500.0, 0.0))
    soak = find_soak(heated, switches_of(heated)[0].engine)
    assert soak is not None
    assert soak.offsets_k is not None
    assert soak.end_s < 400.0


def test_a_tank_that_cools_overnight_says_by_how_much_it_still_moves() -> None:
    n = 900
    t = np.arange(float(n))
    rng = np.random.default_rng(4)
    temps = {
        name: np.round((20.0 - 0.036 * t / 60.0 + 0.1 * rng.standard_normal(n)) * 4.0) / 4.0
        for name in ("tank", "ambient")
    }
    samples = replace(
        gather(plant_session(GUIDED), None),
        elapsed_s=t,
        temps_c=temps,
        heater_w=None,
        engine_rpm=None,
    )
    drifting = find_soak(samples, np.zeros(n))
    flat = find_soak(
        replace(samples, temps_c={k: v + 0.036 * t / 60 for k, v in temps.items()}), np.zeros(n)
    )
    assert drifting is not None
    assert flat is not None
    # independent: the rate it was made with; quarter-kelvin steps leave a tenth of that.
    assert drifting.drift_k_min == pytest.approx(0.036, rel=0.25)
    assert flat.drift_k_min < 0.01
