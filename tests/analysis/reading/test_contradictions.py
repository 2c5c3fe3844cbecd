"""A switch that the readings deny, or a time that no machine keeps, takes the watts away."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import lfilter

from analysis.codes import codes
from analysis.outing_maker import bracken, session_of
from refusal import refused
from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.live.running_k import know_so_far
from wattsump_analysis.proof.prove import prove
from wattsump_analysis.reading.contradictions import (
    _not_pumped,
    _warms_by_itself,
    _wrong_way,
)
from wattsump_analysis.reading.record import Record, Switches, make_record
from wattsump_analysis.results import Verdict
from wattsump_logger.errors import SessionError
from wattsump_logger.remark import Remark
from wattsump_logger.session.reader import Session

_N = 3600
T = np.arange(_N, dtype=float)
FAN = ((T // 600) % 2 == 1).astype(float)


def outing(**columns: object) -> Session:
    """An hour warmed from 20 to 70 degC with five fan switchings, and columns changed."""
    rng = np.random.default_rng(3)
    excess = np.empty(_N)
    excess[0] = 1.0
    for row in range(1, _N):  # 60 kJ/K, 2.5 kW in, 15 W/K out of the shell and 85 by the fan
        watts = 2500.0 - (15.0 + 85.0 * FAN[row]) * excess[row - 1]
        excess[row] = excess[row - 1] + watts / 60e3
    inlet = excess + 5.0
    oils = {"tank": excess, "cooler_in": inlet, "cooler_out": inlet * (1 - 0.02 - 0.15 * FAN)}
    noise = {name: 0.05 * rng.standard_normal(_N) for name in (*oils, "ambient")}
    right = {f"{name}_c": 20.0 + values + noise[name] for name, values in oils.items()}
    right |= {
        "ambient_c": 20.0 + noise["ambient"],
        "fan_on": FAN,
        "engine_on": np.ones(_N),
        "drive_on": np.ones(_N),
    }
    return session_of(T, right | columns)


def reasons(session: Session) -> tuple[Remark, ...]:
    """Return why there are no watts."""
    proof = prove(session, bracken())
    assert proof.verdict is Verdict.CANNOT_TELL
    assert proof.k_w_k is None
    assert proof.next_step.code in ("check-channels", "check-probes")
    return proof.reasons


def test_right_switches_leave_the_watts() -> None:
    assert prove(outing(), bracken()).k_w_k is not None


@pytest.mark.parametrize(
    ("fan", "code", "figures"),
    [
        (np.ones(_N), "fan-channel-stuck-on", "16 min between 23 and 50 min"),
        (np.zeros(_N), "fan-channel-stuck-off", "18 min between 31 and 60 min"),
        (1.0 - FAN, "fan-channel-inverted", ""),
        (np.tile([0.0, 1.0], _N // 2), "channel-loose", "3598 times"),
    ],
)
def test_a_fan_channel_that_lies_is_named(fan: object, code: str, figures: str) -> None:
    (reason,) = reasons(outing(fan_on=fan))
    assert reason.code == code
    assert figures in reason.text


def on_the_pipes(lag_s: float, **columns: object) -> Session:
    """The hour with the cooler's probes on the walls of their pipes, `lag_s` behind the oil."""
    session = outing(**columns)
    keep = np.exp(-1.0 / lag_s)
    walls = {}
    for name in ("cooler_in_c", "cooler_out_c"):
        oil = session.columns[name]
        walls[name], _ = lfilter([1.0 - keep], [1.0, -keep], oil, zi=[keep * oil[0]])
    return replace(session, columns={**session.columns, **walls})


@pytest.mark.parametrize("lag_s", [60.0, 120.0])
def test_probes_on_walls_that_follow_slowly_accuse_no_right_switch(lag_s: float) -> None:
    assert prove(on_the_pipes(lag_s), bracken()).k_w_k is not None


@pytest.mark.parametrize(
    ("fan", "code"),
    [(np.ones(_N), "fan-channel-stuck-on"), (np.zeros(_N), "fan-channel-stuck-off")],
)
def test_probes_on_walls_still_show_a_fan_channel_that_is_stuck(fan: object, code: str) -> None:
    assert codes(reasons(on_the_pipes(90.0, fan_on=fan))) == [code]


def test_a_wall_that_is_left_behind_by_oil_that_warms_shows_no_standing_oil() -> None:
    # independent: 5 K/min times a lag of 2 min leave it 10 K behind, twice what standing oil shows.
    rising = 40.0 + 5.0 * T[:600] / 60.0
    switches = Switches(
        fan=np.zeros(600),
        engine=np.ones(600),
        moving=np.ones(600),
        heater_w=np.zeros(600),
        work=np.ones(600, dtype=np.int64),
    )
    stands = [
        _not_pumped(
            make_record(
                T[:600],
                {"tank": tank_c, "cooler_in": tank_c - 10.0},
                np.full(600, 20.0),
                switches,
            )
        )
        for tank_c in (rising, np.full(600, 60.0))
    ]
    assert [stand is not None for stand in stands] == [False, True]


def test_a_fan_the_wrong_way_round_is_seen_by_the_tank_alone() -> None:
    session = outing(fan_on=1.0 - FAN)
    kept = ("tank_c", "ambient_c", "fan_on", "engine_on", "drive_on")
    session = replace(session, columns={name: session.columns[name] for name in kept})
    assert codes(reasons(session)) == ["channel-inverted"]


def driven(drive: FloatArray, tank_c: FloatArray) -> Record:
    """An hour with engine and fan on throughout."""
    switches = Switches(
        fan=np.ones(_N),
        engine=np.ones(_N),
        moving=drive,
        heater_w=np.zeros(_N),
        work=drive.astype(np.int64),
    )
    return make_record(T, {"tank": tank_c}, np.full(_N, 20.0), switches)


def test_a_drive_that_starts_after_a_trial_and_warms_the_oil_less_is_not_accused() -> None:
    drive = (T >= 1500.0).astype(float)
    drive[1520:1540] = 0.0  # a blink, beside which the same bend of the tank is seen again
    tank = 20.0 + np.where(T < 1500.0, T / 60.0, 25.0 + (T - 1500.0) / 600.0)
    record = driven(drive, tank)
    assert _wrong_way(record, "drive", record.moving, 1.0) is None


def test_a_short_pause_is_no_switching_of_the_drive() -> None:
    drive = np.ones(_N)
    for at in (900, 1800, 2700):
        drive[at : at + 30] = 0.0
    minutes = T / 60.0
    record = driven(drive, 20.0 + 3.0 * minutes - 0.025 * minutes**2)  # it warms ever less
    assert _wrong_way(record, "drive", record.moving, 1.0) is None


def test_a_drive_the_wrong_way_round_is_seen_by_the_tank_alone() -> None:
    drive = ((T // 600) % 2 == 1).astype(float)
    record = driven(1.0 - drive, 20.0 + np.cumsum(drive) / 120.0)
    said = _wrong_way(record, "drive", record.moving, 1.0)
    assert said is not None
    assert said.code == "channel-inverted"


def test_a_drive_that_turned_for_seconds_only_leaves_too_few_rows() -> None:
    brief = outing(drive_on=(T < 5.0).astype(float))
    columns = {name: c for name, c in brief.columns.items() if name != "engine_on"}
    proof = prove(replace(brief, columns=columns), bracken())
    assert codes(proof.reasons) == ["too-few-rows"]


def test_a_drive_that_moves_with_the_engine_off_is_named() -> None:
    found = codes(reasons(outing(engine_on=np.zeros(_N))))
    assert found == ["engine-channel-stuck-off", "drive-moves-with-engine-off"]


@pytest.mark.parametrize(
    ("ran_s", "warms_k_min", "is_named"),
    [(1200.0, 0.25, False), (1200.0, 0.6, True), (0.0, 0.25, True)],
)
def test_a_warm_engine_may_warm_the_tank_after_a_stop(
    ran_s: float, warms_k_min: float, is_named: bool
) -> None:
    engine = (ran_s > T).astype(float)
    tank = 50.0 + warms_k_min / 60.0 * np.maximum(T - ran_s, 0.0)
    none = np.zeros(_N)
    switches = Switches(
        fan=none, engine=engine, moving=none, heater_w=none, work=engine.astype(np.int64) - 1
    )
    record = make_record(T, {"tank": tank}, np.full(_N, 20.0), switches)
    found = _warms_by_itself(record)
    assert (found is not None and found.code == "warms-with-all-off") is is_named


def test_tank_and_air_swapped_give_no_watts() -> None:
    right = outing().columns
    swapped = outing(tank_c=right["ambient_c"], ambient_c=right["tank_c"])
    assert codes(reasons(swapped)) == ["tank-and-air-swapped"]


def test_time_in_milliseconds_gives_no_watts() -> None:
    assert codes(reasons(replace(outing(), elapsed_s=T * 1000.0))) == ["time-counts-no-seconds"]


def test_time_that_leaps_gives_no_watts() -> None:
    leap = T + np.where(T > 1800.0, 1e9, 0.0)
    (reason,) = reasons(replace(outing(), elapsed_s=leap))
    assert reason.code == "time-jumps"
    assert "2.78e+05 h at 30 min" in reason.text


def test_readings_in_fahrenheit_give_no_watts() -> None:
    right = outing().columns
    hot = {name: 1.8 * right[name] + 32.0 for name in right if name.endswith("_c")}
    assert codes(reasons(outing(**hot))) == ["readings-too-hot"]


def test_a_running_estimate_is_refused_too() -> None:
    with refused(SessionError, "this outing"):
        know_so_far(outing(fan_on=1.0 - FAN), bracken())
