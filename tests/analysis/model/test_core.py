"""The cooler's two sides in series, and the metal between them."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from wattsump_analysis.model.core import conductance, followed, metal_lags_s, steps_of, stored_share
from wattsump_logger.arrays import FloatArray

CAPACITY_J_K, STILL_AIR, OIL_SIDE = 4000.0, 0.1, 0.25


def core(fan: float, thick: float = 1.0) -> float:
    return float(80.0 * conductance(STILL_AIR, OIL_SIDE, np.log(thick), fan))


def test_with_the_fan_and_oil_of_the_reference_it_is_the_stated_conductance() -> None:
    # independent: the fixture's own 80 W/K, put in and to come out; double precision.
    assert core(1.0) == pytest.approx(80.0, rel=1e-12)


@pytest.mark.parametrize("thick", [1.0, 3.0, 40.0])
@pytest.mark.parametrize(("fan", "air"), [(1.0, 1.0), (0.0, 0.1)])
def test_it_is_the_sum_of_two_resistances_turned_over(fan: float, air: float, thick: float) -> None:
    # independent: 1/80 K/W is split 1 to 3 into oil and air side, each side is changed by its
    # factor, and the two are added (Bergman and Lavine, sec. 11.2).
    oil, over_air = thick * 0.25 / 80.0, 0.75 / 80.0 / air
    assert core(fan, thick) == pytest.approx(1.0 / (oil + over_air), rel=1e-12)


def test_cold_oil_takes_little_from_a_core_without_fan() -> None:
    assert core(1.0, thick=3.0) / core(1.0) < 0.7
    assert core(0.0, thick=3.0) / core(0.0) > 0.9


def test_a_fan_that_runs_a_part_of_the_time_counts_by_its_time() -> None:
    assert core(0.25) == pytest.approx(0.25 * core(1.0) + 0.75 * core(0.0), rel=1e-12)


def test_oil_like_tar_leaves_a_number_and_no_heat() -> None:
    assert 0.0 <= float(conductance(STILL_AIR, OIL_SIDE, 1e8, 1.0)) < 1e-9


def from_the_oil_w(
    seconds: FloatArray, air_w_k: float, start_k: float, oil_k_s: float
) -> FloatArray:
    """Heat out of oil 40 K above the air, rising, into metal with 320 W/K on its oil side."""

    def rate(t: float, metal_k: FloatArray) -> FloatArray:
        oil_k = 40.0 + oil_k_s * t
        return np.asarray((320.0 * (oil_k - metal_k) - air_w_k * metal_k) / CAPACITY_J_K)

    span = (float(seconds[0]), float(seconds[-1]))
    result = solve_ivp(rate, span, [start_k], t_eval=seconds, rtol=1e-10, atol=1e-10)
    return np.asarray(320.0 * (40.0 + oil_k_s * seconds - result.y[0]))


@pytest.mark.parametrize("on", [True, False])
def test_oil_that_warms_heats_the_core_by_its_stored_share(on: bool) -> None:
    # independent: scipy's solve_ivp of the metal's own balance, 80 W/K split 1 to 3 into
    # 320 W/K at the oil and 80 / 0.75 at the air, a tenth of it without fan; long after the
    # start, so that only the ramp of 0.02 K/s is left.
    air_w_k = 80.0 / 0.75 * (1.0 if on else 0.1)
    seconds = np.array([0.0, 400.0])
    heat_w = from_the_oil_w(seconds, air_w_k, 30.0, 0.02)[-1]
    steady_w = (40.0 + 0.02 * 400.0) / (1.0 / 320.0 + 1.0 / air_w_k)
    stored = stored_share(STILL_AIR, OIL_SIDE)[0 if on else 1]
    assert heat_w - steady_w == pytest.approx(CAPACITY_J_K * stored * 0.02, rel=1e-4)


@pytest.mark.parametrize("on", [True, False])
def test_heat_follows_the_fan_as_late_as_the_lag_says(on: bool) -> None:
    # independent: as above, from the rest of the other state. The heat that is missing or left
    # over until the new rest, over the height of the step, is the lag.
    open_w_k, still_w_k = 80.0 / 0.75, 8.0 / 0.75
    before, after = (still_w_k, open_w_k) if on else (open_w_k, still_w_k)
    seconds = np.linspace(0.0, 300.0, 6001)
    heat_w = from_the_oil_w(seconds, after, 40.0 * 320.0 / (320.0 + before), 0.0)
    rest_w = [40.0 / (1.0 / 320.0 + 1.0 / air) for air in (before, after)]
    late_s = np.trapezoid(rest_w[1] - heat_w, seconds) / (rest_w[1] - rest_w[0])
    assert metal_lags_s(CAPACITY_J_K, 80.0, STILL_AIR, OIL_SIDE)[0 if on else 1] == pytest.approx(
        late_s, rel=1e-3
    )


def following(fan: FloatArray, on_bins: float, off_bins: float) -> FloatArray:
    return np.asarray(followed(SimpleNamespace(fan=fan, **steps_of(fan)), on_bins, off_bins))


@pytest.mark.parametrize("late", [0.0, 0.4, 1.0, 1.7])
def test_a_step_of_the_fan_comes_late_by_its_lag_and_whole(late: float) -> None:
    fan = np.array([0.0, 0.0, 1.0, 1.0, 1.0, 1.0])
    on, off = following(fan, late, 0.0), following(1.0 - fan, 0.0, late)
    # independent: the area between the two is the lag in bins, by definition of a delay.
    assert np.sum(fan - on) == pytest.approx(late, abs=1e-12)
    assert on[-1] == 1.0
    assert off == pytest.approx(1.0 - on, abs=1e-12)


def test_more_than_two_bins_of_lag_count_as_two() -> None:
    fan = np.array([0.0, 1.0, 1.0, 1.0, 1.0])
    # independent: the bound by the docstring, put in.
    assert following(fan, 5.0, 0.0) == pytest.approx(following(fan, 2.0, 0.0))
