"""What a flow meter is believed, and where it tells watts."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.codes import codes
from wattsump_analysis.emulation.bracken import demo_profile
from wattsump_analysis.model.fit import (
    RESTARTED,
    STEPPED,
    STEPPED_ONCE,
    STEPPED_ONCE_OUTSIDE,
    STEPPED_OUTSIDE,
    STEPPED_WITH_FLOW,
    TANK_ONLY,
    UNSTEPPED,
    UNSTEPPED_PIPES,
    UNSTEPPED_WITH_FLOW,
    flow_tells,
    model_form,
    reference_oil_c,
    rests_on_layout,
)
from wattsump_analysis.reading.machine import knowledge
from wattsump_analysis.reading.record import Record
from wattsump_analysis.reading.samples import gather
from wattsump_logger.arrays import FloatArray
from wattsump_logger.session.reader import Session

ROWS = 600


def session(flow_lpm: FloatArray, engine_on: FloatArray) -> Session:
    return Session(
        path=Path("day.csv"),
        elapsed_s=np.arange(ROWS, dtype=float),
        columns={
            "tank_c": np.full(ROWS, 50.0),
            "ambient_c": np.full(ROWS, 20.0),
            "flow_lpm": flow_lpm,
            "engine_on": engine_on,
        },
    )


def record(oils: tuple[str, ...], flow: bool, stepped: bool) -> Record:
    n = 200
    fan = np.ones(n)
    if stepped:
        fan[80:120] = 0.0
    return Record(
        bin_s=20.0,
        elapsed_s=np.arange(10.0, 20.0 * n, 20.0),
        oils_c={name: np.linspace(10.0, 70.0, n) for name in oils},
        ambient_c=np.full(n, 10.0),
        fan=fan,
        engine=np.ones(n),
        moving=np.ones(n),
        heater_w=np.zeros(n),
        work=np.zeros(n, dtype=np.int64),
        flow_w_k=np.full(n, 500.0) if flow else None,
    )


def test_a_meter_that_falls_silent_under_a_running_engine_keeps_its_last_flow() -> None:
    flow, engine = np.full(ROWS, 18.0), np.ones(ROWS)
    flow[200:320] = 0.0
    engine[500:] = flow[500:] = 0.0
    found = gather(session(flow, engine), None)
    assert found.flow_m3_s is not None
    # independent: 18 L/min are 0.3 L/s; after the engine's stop nothing flows.
    assert found.flow_m3_s[:500] == pytest.approx(0.3e-3)
    assert found.flow_m3_s[500:] == pytest.approx(0.0)
    assert codes(found.notes) == ["flow-kept"]
    assert "2 min" in found.notes[0].text


def test_a_meter_that_never_read_anything_is_left_out() -> None:
    found = gather(session(np.zeros(ROWS), np.ones(ROWS)), None)
    assert found.flow_m3_s is None
    assert codes(found.notes) == ["flow-left-out"]


def test_a_steady_meter_is_believed_without_a_word() -> None:
    found = gather(session(np.full(ROWS, 18.0), np.ones(ROWS)), None)
    assert found.flow_m3_s == pytest.approx(0.3e-3)  # independent: as above
    assert found.notes == ()


def test_a_flow_without_a_probe_in_the_pipe_tells_no_watts() -> None:
    tank_only, piped = ("tank",), ("tank", "cooler_in")
    assert not flow_tells(record(tank_only, flow=True, stepped=False))
    assert flow_tells(record(piped, flow=True, stepped=False))
    assert model_form(record(tank_only, flow=True, stepped=False)) == UNSTEPPED
    assert rests_on_layout(record(tank_only, flow=True, stepped=False))
    assert model_form(record(piped, flow=True, stepped=False)) == UNSTEPPED_WITH_FLOW
    assert model_form(record(piped, flow=False, stepped=False)) == UNSTEPPED_PIPES
    assert rests_on_layout(record(piped, flow=False, stepped=False))
    assert not rests_on_layout(record(piped, flow=True, stepped=False))
    stated = knowledge(demo_profile(), 50.0, matched=True)
    assert not rests_on_layout(record(piped, flow=False, stepped=False), stated)
    assert rests_on_layout(record(tank_only, flow=False, stepped=False), stated)
    assert model_form(record(tank_only, flow=True, stepped=True)) == TANK_ONLY
    assert model_form(record(piped, flow=True, stepped=True)) == STEPPED_WITH_FLOW


def test_one_stretch_without_the_fan_tells_less_than_a_guided_run() -> None:
    once = record(("tank", "cooler_in"), flow=False, stepped=True)
    fan = np.ones_like(once.fan)
    fan[20:40] = 0.0
    assert model_form(replace(once, fan=fan)) == STEPPED_ONCE
    fan[60:80] = 0.0
    assert model_form(replace(once, fan=fan)) == STEPPED


def test_probes_on_the_walls_of_their_pipes_make_the_model_form_larger() -> None:
    once = record(("tank", "cooler_in"), flow=False, stepped=True)
    fan = np.ones_like(once.fan)
    fan[20:40] = 0.0
    guided = np.where((np.arange(fan.size) // 20) % 2 == 1, 0.0, 1.0)
    usual = knowledge(None, 50.0, matched=True)
    in_oil = replace(usual, contact=dict.fromkeys(usual.contact, (0.0, 0.0)))
    assert usual.is_outside("cooler_in")
    assert not usual.is_outside("tank")
    assert not in_oil.is_outside("cooler_in")
    for states, inside, outside in (
        (fan, STEPPED_ONCE, STEPPED_ONCE_OUTSIDE),
        (guided, STEPPED, STEPPED_OUTSIDE),
    ):
        assert model_form(replace(once, fan=states), in_oil) == inside
        assert model_form(replace(once, fan=states), usual) == outside
        assert outside.k > inside.k


def test_an_inlet_probe_that_dies_in_the_cold_leaves_the_oil_its_warmth() -> None:
    whole = record(("tank", "cooler_in"), flow=False, stepped=False)
    inlet = whole.oils_c["cooler_in"] + 2.0
    full = replace(whole, oils_c={**whole.oils_c, "cooler_in": inlet})
    dead = replace(
        whole, oils_c={**whole.oils_c, "cooler_in": np.where(np.arange(200) < 40, inlet, np.nan)}
    )
    # independent: the mean of the upper half of 10 to 70 °C, and 2 K.
    assert reference_oil_c(full) == pytest.approx(57.08, abs=0.1)
    assert reference_oil_c(dead) == pytest.approx(reference_oil_c(full), abs=1e-9)


def test_a_warm_stop_between_two_jobs_makes_the_model_form_larger() -> None:
    once = record(("tank", "cooler_in"), flow=False, stepped=True)
    assert model_form(once) == STEPPED_ONCE
    engine = np.ones(200)
    engine[140:160] = 0.0
    assert model_form(replace(once, engine=engine)) == RESTARTED
    cold = replace(once, engine=engine, ambient_c=once.oils_c["tank"] - 1.0)
    assert model_form(cold) == STEPPED_ONCE
    assert RESTARTED.k > STEPPED_ONCE.k
