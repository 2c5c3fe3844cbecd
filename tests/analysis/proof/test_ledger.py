"""The heat ledger adds up, whatever the paths."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattsump_analysis.model.network import Smooth
from wattsump_analysis.proof.ledger import _peak_of, join_ledgers, make_ledger
from wattsump_analysis.reading.record import Record
from wattsump_analysis.results import Ledger


def made(seed: int, bins: int, bin_s: float) -> tuple[Ledger, Smooth, Record]:
    rng = np.random.default_rng(seed)
    zeros, ones = np.zeros(bins), np.ones(bins)
    record = Record(
        bin_s=bin_s,
        elapsed_s=np.linspace(0.5, bins - 0.5, bins) * bin_s,
        oils_c={"tank": zeros},
        ambient_c=zeros,
        fan=ones,
        engine=ones,
        moving=zeros,
        heater_w=rng.uniform(0, 500, bins),
        work=np.zeros(bins, dtype=np.int64),
    )
    heat = rng.uniform(500, 4000, bins)
    smooth = Smooth(
        nodes_c={"tank": zeros},
        air_c=zeros,
        heat_w=heat,
        heater_w=1.04 * record.heater_w,
        cooler_w=rng.uniform(0, 3000, bins),
        shell_w=rng.uniform(0, 800, bins),
        stored_j=np.cumsum(rng.normal(0, 2e4, bins)),
    )
    fitted: Any = SimpleNamespace(
        smooth=smooth,
        paths=tuple(
            replace(
                smooth,
                heat_w=heat + 100.0 * rng.standard_normal(bins),
                cooler_w=smooth.cooler_w * rng.uniform(0.9, 1.1),
            )
            for _ in range(60)
        ),
    )
    return make_ledger(record, fitted), smooth, record


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10_000), bins=st.integers(2, 80), bin_s=st.floats(10.0, 120.0))
def test_energy_closes_exactly(seed: int, bins: int, bin_s: float) -> None:
    ledger, smooth, _ = made(seed, bins, bin_s)
    out = ledger.cooler_w + ledger.shell_w + ledger.stored_w + ledger.unexplained_w
    assert out == pytest.approx(smooth.heat_w + smooth.heater_w, rel=1e-12)
    change = smooth.stored_j[-1] - smooth.stored_j[0]
    assert ledger.stored_w.sum() * bin_s == pytest.approx(change, rel=1e-9, abs=1e-3)


def test_kilowatt_hours_are_the_integral() -> None:
    ledger, smooth, _ = made(3, 60, 60.0)
    # independent: 60 bins of 60 s, J over 3.6e6.
    assert ledger.cooler_kwh.value == pytest.approx(smooth.cooler_w.sum() * 60.0 / 3.6e6, rel=0.05)
    assert ledger.shell_kwh.value == pytest.approx(smooth.shell_w.sum() * 60.0 / 3.6e6)
    stored = (smooth.stored_j[-1] - smooth.stored_j[0]) / 3.6e6
    assert ledger.stored_kwh.value == pytest.approx(stored)
    assert ledger.heat_in_kwh.low < ledger.heat_in_kwh.value < ledger.heat_in_kwh.high
    # independent: factors evenly spread over 0.9 to 1.1.
    assert ledger.cooler_kwh.low == pytest.approx(0.905 * ledger.cooler_kwh.value, rel=0.05)
    total = (smooth.heat_w + smooth.heater_w).sum() * 60.0 / 3.6e6
    assert ledger.heat_in_kwh.value == pytest.approx(total, rel=0.01)


def test_the_sustained_load_is_below_the_peaks() -> None:
    ledger, _, _ = made(5, 60, 30.0)
    assert ledger.working_p50_w < ledger.working_p90_w < ledger.heat_in_w.max()
    p50, p90, peak = (
        ledger.working_p50_range_w,
        ledger.working_p90_range_w,
        ledger.working_peak_w,
    )
    assert p50 is not None
    assert p90 is not None
    assert peak is not None
    assert p50.low < p50.value < p90.low < p90.high < peak.value


def test_a_peak_shorter_than_a_minute_counts_as_its_minute() -> None:
    # independent: bins of 30 s, one of 9 kW among 1 kW: (9 + 1) / 2.
    paths = np.full((3, 20), 1000.0)
    paths[:, 7] = 9000.0
    found = _peak_of(paths, np.ones(20, dtype=bool), 30.0)
    assert found is not None
    assert found.value == pytest.approx(5000.0)
    assert _peak_of(paths, np.zeros(20, dtype=bool), 30.0) is None


def test_stretches_join_end_to_end() -> None:
    first, second = made(1, 20, 30.0)[0], made(2, 40, 30.0)[0]
    joined = join_ledgers((first, second))
    assert joined is not None
    assert joined.heat_in_w.size == 60
    assert joined.heat_in_kwh.value == pytest.approx(
        first.heat_in_kwh.value + second.heat_in_kwh.value
    )
    assert joined.working_p90_w == second.working_p90_w
    assert join_ledgers(()) is None
