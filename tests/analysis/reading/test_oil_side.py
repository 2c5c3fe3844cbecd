"""K from the oil's own heat, steps of it, and how the cooler is plumbed."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.outing_maker import bracken
from wattsump_analysis.proof.routes import capacity_from_heat, conductance_from_capacity
from wattsump_analysis.reading.machine import knowledge
from wattsump_analysis.reading.oil_side import jumps_s, oil_side, own_circuit
from wattsump_analysis.reading.record import Record
from wattsump_analysis.results import Interval
from wattsump_analysis.statistics.intervals import span_of
from wattsump_logger.arrays import FloatArray

FLOW_W_K = 450.0
AIR_C = 20.0
KNOW = knowledge(bracken(), 60.0, matched=True)


def flowing(k_w_k: FloatArray, *, tank_share: float = 0.0) -> Record:
    """Half-minute bins at 60 °C into the cooler; the tank `tank_share` of the way to it."""
    n = k_w_k.size
    inlet = np.full(n, 60.0)
    outlet = inlet - k_w_k * (inlet - AIR_C) / FLOW_W_K
    ones, zeros = np.ones(n), np.zeros(n)
    return Record(
        bin_s=30.0,
        elapsed_s=np.arange(15.0, 30.0 * n, 30.0),
        oils_c={
            "tank": outlet + tank_share * (inlet - outlet),
            "cooler_in": inlet,
            "cooler_out": outlet,
        },
        ambient_c=np.full(n, AIR_C),
        fan=ones,
        engine=ones,
        moving=zeros,
        heater_w=zeros,
        work=np.zeros(n, dtype=np.int64),
        flow_w_k=np.full(n, FLOW_W_K),
    )


def noisy(k_w_k: FloatArray) -> FloatArray:
    return k_w_k * (1 + 0.01 * np.random.default_rng(6).standard_normal(k_w_k.size))


def test_a_constant_conductance_is_found_with_its_budget() -> None:
    found = oil_side(flowing(np.full(60, 90.0)), KNOW)
    assert found.k_w_k is not None
    # independent: the conductance the record was made with, and 90 W/K on 40 K.
    assert found.k_w_k.value == pytest.approx(90.0)
    # independent: as above.
    assert found.heat_w == pytest.approx(90.0 * 40.0)
    # independent: flow 3 %, the oil's specific heat 3 % and density 1 %, probes 0.08 K twice on
    # the drop of 8 K, air 0.4 K on 40 K, in squares.
    relative = np.sqrt(2 * 0.03**2 + 0.01**2 + 2 * (0.08 / 8.0) ** 2 + (0.4 / 40.0) ** 2)
    assert found.k_w_k.half_width_rel == pytest.approx(1.959964 * relative, rel=1e-6)
    assert [line.relative for line in found.budget] == sorted(
        (line.relative for line in found.budget), reverse=True
    )


@pytest.mark.parametrize("k_w_k", [0.0, -60.0])
def test_oil_that_leaves_no_cooler_than_it_came_gives_no_figure_but_a_reason(k_w_k: float) -> None:
    found = oil_side(flowing(np.full(60, k_w_k)), KNOW)
    assert found.k_w_k is None
    assert found.why is not None
    assert found.why.code == "oil-side-backwards"


def test_without_flow_there_is_no_oil_side() -> None:
    record = flowing(np.full(60, 90.0))
    assert oil_side(replace(record, flow_w_k=None), KNOW).k_w_k is None


def test_a_step_of_the_conductance_is_found_where_it_is() -> None:
    k = noisy(np.where(np.arange(80) < 40, 50.0, 68.0))
    found = jumps_s(flowing(k))
    assert len(found) == 1
    # independent: bin 40 of 30 s; the gap across a step is two bins wide.
    assert found[0] == pytest.approx(40 * 30.0, abs=90.0)


def test_noise_and_a_slow_fall_are_no_step() -> None:
    assert jumps_s(flowing(noisy(np.full(80, 60.0)))) == ()
    cold_start = 50.0 + 60.0 * np.exp(-np.arange(80) / 3.0)
    assert jumps_s(flowing(noisy(cold_start))) == ()
    assert jumps_s(flowing(np.linspace(90.0, 60.0, 80))) == ()


def test_a_cooler_in_the_return_line_leaves_the_tank_at_its_outlet() -> None:
    assert not own_circuit(flowing(np.full(60, 90.0), tank_share=0.1))
    assert own_circuit(flowing(np.full(60, 90.0), tank_share=0.8))


def test_capacity_from_one_stretch_gives_k_of_another_back() -> None:
    rng = np.random.default_rng(7)
    k = Interval(value=50.0, low=49.0, high=51.0)
    tau = Interval(value=800.0, low=799.0, high=801.0)
    known = capacity_from_heat(tau, k, rng)
    # independent: tau (K + G) with a shell of 13 W/K, by hand 50.4 kJ/K.
    assert span_of(known.capacity_j_k).value == pytest.approx(800.0 * 63.0, rel=0.02)
    # independent: with the shell's loss the same in both, twice K + G less G is 113 W/K.
    faster = Interval(value=400.0, low=399.5, high=400.5)
    found = conductance_from_capacity(faster, known, rng)
    assert found.value == pytest.approx(113.0, rel=0.02)
    same = conductance_from_capacity(tau, known, rng)
    assert same.low < 50.0 < same.high


def test_pauses_at_idle_are_no_step_of_the_cooler() -> None:
    # A core that passes a third less of its heat while the pump turns at half speed.
    idle = (np.arange(120) // 12) % 2 == 1
    record = flowing(noisy(np.where(idle, 60.0, 90.0)))
    slow = np.where(idle, 0.5, 1.0)
    outlet = record.oils_c["cooler_in"] - (
        (record.oils_c["cooler_in"] - record.oils_c["cooler_out"]) / slow
    )
    oils = {**record.oils_c, "cooler_out": outlet}
    paused = replace(record, flow_w_k=FLOW_W_K * slow, oils_c=oils)
    assert jumps_s(record) != ()  # the same without a change of flow is one
    assert jumps_s(paused) == ()


def test_where_no_flow_was_recorded_engine_speed_stands_for_it() -> None:
    shower = np.where((np.arange(80) > 30) & (np.arange(80) < 60), 74.0, 60.0)
    record = replace(flowing(noisy(shower)), flow_w_k=None)
    assert jumps_s(record) == ()  # the flow may have changed
    steady = replace(record, engine_rpm=np.full(80, 2400.0))
    # independent: the shower begins after 31 and ends after 60 bins of 30 s; gaps as above.
    assert jumps_s(steady) == pytest.approx((31 * 30.0, 60 * 30.0), abs=90.0)


def test_probes_on_their_pipes_read_low_and_are_put_right() -> None:
    # independent: an inlet probe that misses a fiftieth of its rise, read here as 2 % of the
    # reading's own; the outlet's is in the oil.
    know = knowledge(bracken(channels={"cooler_out": {"mount": "in oil"}}), 60.0, matched=True)
    true = flowing(np.full(60, 90.0))
    inlet = AIR_C + (true.oils_c["cooler_in"] - AIR_C) / 1.02
    found = oil_side(replace(true, oils_c={**true.oils_c, "cooler_in": inlet}), know)
    assert found.k_w_k is not None
    assert found.k_w_k.value == pytest.approx(90.0)
    # independent: 1.5 % of a rise of 40 K is 7.5 % of a drop of 8 K.
    shares = {line.source: line.relative for line in found.budget}
    assert shares["probes on the pipes"] == pytest.approx(0.015 * 40.0 / 8.0)
