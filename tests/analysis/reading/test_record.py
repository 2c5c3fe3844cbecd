"""Spikes are taken out of readings of any spacing; true peaks stay."""

import numpy as np

from wattsump_analysis.reading.record import despike


def test_a_peak_between_rows_five_minutes_apart_stays_and_a_broken_probe_goes() -> None:
    elapsed_s = 300.0 * np.arange(24.0)
    oil_c = np.where(elapsed_s < 3600.0, 20.0 + elapsed_s / 120.0, 80.0 - elapsed_s / 120.0)
    assert np.array_equal(despike(oil_c, elapsed_s), oil_c)
    broken = oil_c.copy()
    broken[5] = 850.0
    assert np.flatnonzero(np.isnan(despike(broken, elapsed_s))).tolist() == [5]


def test_five_kelvins_in_a_second_are_a_spike() -> None:
    elapsed_s = np.arange(60.0)
    oil_c = np.full(60, 40.0)
    oil_c[30] = 45.0
    assert np.flatnonzero(np.isnan(despike(oil_c, elapsed_s))).tolist() == [30]
