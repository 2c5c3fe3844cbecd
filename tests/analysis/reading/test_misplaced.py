"""Probes in each other's place, or moved while the outing ran, give no watts."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from analysis.outing_maker import pumped_record
from wattsump_analysis.reading.misplaced import misplaced_reason
from wattsump_analysis.reading.record import Record
from wattsump_logger.arrays import FloatArray

Oils = dict[str, FloatArray]

BINS = 180
BIN_S = 20.0
T: FloatArray = (np.arange(BINS, dtype=float) + 0.5) * BIN_S
FAN = np.where((np.arange(BINS) // 30) % 2 == 1, 1.0, 0.0)


def outing(change: Callable[[Oils], Oils] = dict) -> Record:
    """An hour warmed from 20 to 70 degC with five fan switchings, its probes as `change` says."""
    rng = np.random.default_rng(3)
    tank = 70.0 - 50.0 * np.exp(-T / 900.0)
    drop = (0.02 + 0.12 * FAN) * (tank - 20.0)
    oils = {"tank": tank, "cooler_in": tank + 6.0, "cooler_out": tank + 6.0 - drop}
    noisy = {name: values + 0.05 * rng.standard_normal(BINS) for name, values in oils.items()}
    return pumped_record(T, change(noisy), 20.0 + 0.1 * rng.standard_normal(BINS), FAN)


def swapped(one: str, other: str) -> Callable[[Oils], Oils]:
    return lambda oils: {**oils, one: oils[other], other: oils[one]}


def jumped(name: str, by_k: float, at: int, *, over: int = 1) -> Callable[[Oils], Oils]:
    ramp = by_k * np.clip((np.arange(BINS) - at + 1) / over, 0.0, 1.0)
    return lambda oils: {**oils, name: oils[name] + ramp}


def test_probes_in_their_places_give_no_reason() -> None:
    assert misplaced_reason(outing()) is None


@pytest.mark.parametrize(
    ("one", "other", "code"),
    [
        ("cooler_in", "cooler_out", "cooler-probes-swapped"),
        ("tank", "cooler_in", "tank-and-cooler-swapped"),
    ],
)
def test_swapped_oil_probes_are_named(one: str, other: str, code: str) -> None:
    reason = misplaced_reason(outing(swapped(one, other)))
    assert reason is not None
    assert reason.code == code


@pytest.mark.parametrize("by_k", [-6.0, 5.0])
def test_a_tank_probe_that_jumps_alone_was_moved(by_k: float) -> None:
    reason = misplaced_reason(outing(jumped("tank", by_k, at=107)))
    assert reason is not None
    assert reason.code == "tank-probe-moved"
    assert "at 36 min" in reason.text  # independent: 107.5 bins of 20 s are 35.8 min


def test_oil_that_jumps_in_tank_and_loop_alike_is_oil_let_in() -> None:
    def filled(oils: Oils) -> Oils:
        for name in ("tank", "cooler_in", "cooler_out"):
            oils = jumped(name, -6.0, at=107)(oils)
        return oils

    assert misplaced_reason(outing(filled)) is None


def test_a_jump_where_the_fan_switches_or_one_that_takes_minutes_is_no_moved_probe() -> None:
    assert misplaced_reason(outing(jumped("tank", -6.0, at=90))) is None
    assert misplaced_reason(outing(jumped("tank", -6.0, at=100, over=15))) is None


def test_readings_that_miss_around_a_gap_are_no_jump() -> None:
    def gap(oils: Oils) -> Oils:
        tank = oils["tank"].copy()
        tank[104:110] = np.nan
        return {**oils, "tank": tank}

    assert misplaced_reason(outing(gap)) is None


def test_the_tank_alone_cannot_be_held_against_another_probe() -> None:
    alone = outing(jumped("tank", -6.0, at=107))
    assert misplaced_reason(replace(alone, oils_c={"tank": alone.oils_c["tank"]})) is None


def test_readings_in_fahrenheit_are_asked_about_and_give_no_watts() -> None:
    record = outing()
    hot = replace(
        record,
        ambient_c=1.8 * record.ambient_c + 32.0,
        oils_c={name: 1.8 * values + 32.0 for name, values in record.oils_c.items()},
    )
    assert misplaced_reason(record) is None
    reason = misplaced_reason(hot)
    assert reason is not None
    assert reason.code == "readings-too-hot"
