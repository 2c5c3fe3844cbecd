"""Readings that are numbers but hardly temperatures."""

import numpy as np
import pytest

from refusal import refused
from wattsump_logger.calibration import suspicion
from wattsump_logger.errors import RangeError


def test_zeros_running_are_suspect_and_a_passage_through_zero_is_not() -> None:
    temps = [1.0, 0.0, -1.0, 0.0, 0.0, 0.0, 2.0, np.nan, 0.0]
    assert np.flatnonzero(suspicion.exact_zeros(temps)).tolist() == [3, 4, 5]
    assert np.flatnonzero(suspicion.exact_zeros(temps, least=1)).tolist() == [1, 3, 4, 5, 8]
    assert suspicion.exact_zeros([]).size == 0


@pytest.mark.parametrize("end", [2047.75, 1023.75, -250.0, 1800.0])
def test_an_end_of_scale_is_suspect(end: float) -> None:
    assert suspicion.full_scale([20.0, end, np.nan, 71.25]).tolist() == [False, True, False, False]


def test_a_value_that_stands_still_too_long_is_suspect() -> None:
    elapsed = np.arange(0.0, 1500.0, 1.0)
    temps = np.where(elapsed < 700, 40.25, 40.0 + 0.25 * (elapsed // 60 % 3))
    mask = suspicion.long_repeats(temps, elapsed)
    assert mask[:700].all()
    assert not mask[700:].any()
    assert not suspicion.long_repeats(temps, elapsed, longest_s=800.0).any()


def test_missing_readings_are_not_called_repeats() -> None:
    elapsed = np.arange(0.0, 2000.0, 1.0)
    assert not suspicion.long_repeats(np.full(2000, np.nan), elapsed).any()
    assert suspicion.long_repeats([], []).size == 0


def test_an_ambient_probe_in_and_out_of_the_sun_is_noticed_and_a_warming_day_is_not() -> None:
    elapsed = np.arange(0.0, 7200.0, 10.0)
    day = 12.0 + 6.0 * elapsed / 7200.0
    sun = day + np.where((elapsed > 3000) & (elapsed < 3600), 5.0, 0.0)
    assert not suspicion.sunlit(day, elapsed).any()
    mask = suspicion.sunlit(sun, elapsed)
    assert mask[(elapsed > 2800) & (elapsed < 3200)].all()
    assert not mask[elapsed < 2600].any()
    assert not mask[elapsed > 4000].any()
    sun[300] = np.nan
    assert suspicion.sunlit(sun, elapsed).any()
    assert not suspicion.sunlit(np.full(5, np.nan), np.arange(5.0)).any()


def test_probes_swapped_at_the_cooler_are_noticed() -> None:
    rng = np.random.default_rng(7)
    inlet = 65.0 + rng.normal(0.0, 0.2, 200)
    outlet = inlet - 6.0 + rng.normal(0.0, 0.2, 200)
    assert not suspicion.swapped(inlet, outlet)
    assert suspicion.swapped(outlet, inlet)
    outlet[::3] = np.nan
    assert suspicion.swapped(outlet, inlet)


def test_probes_that_agree_or_tell_little_are_not_called_swapped() -> None:
    same = np.full(100, 20.0)
    assert not suspicion.swapped(same, same + 0.3)
    assert not suspicion.swapped([20.0] * 9, [30.0] * 9)


def test_columns_of_another_shape_are_refused() -> None:
    with refused(RangeError, "suspicious readings"):
        suspicion.exact_zeros([[1.0]])
    with refused(RangeError, "suspicious readings"):
        suspicion.swapped([1.0], [1.0, 2.0])
    with refused(RangeError, "suspicious readings"):
        suspicion.long_repeats([1.0], [1.0, 2.0])
    with refused(RangeError, "suspicious readings"):
        suspicion.sunlit([1.0], [1.0, 2.0])
