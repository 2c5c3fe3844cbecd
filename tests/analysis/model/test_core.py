"""The cooler's two sides in series, and the metal between them."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from wattsump_analysis.model.core import CoreMetal, CoreSides, followed, thickened

FloatArray = NDArray[np.float64]
METAL = CoreMetal(capacity_j_k=4000.0, full_w_k=80.0, still_air=0.1, oil_side=0.25)


def core(fan: float, thick: float = 1.0, oil_side: float = 0.25, still_air: float = 0.1) -> float:
    sides = CoreSides(
        full_w_k=80.0,
        still_air=still_air,
        oil_side=oil_side,
        thick=np.array([thick]),
        fan=np.array([fan]),
    )
    return float(sides.conductance_w_k()[0])


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


def test_oil_of_the_reference_is_not_thickened_and_thicker_oil_is_by_power_and_bypass() -> None:
    found = thickened(np.array([1.0, 4.0]), np.array([0.0, 600.0]), 0.5, 300.0)
    # independent: 4^0.5 = 2, and exp(600 / 300) = 7.389.
    assert found == pytest.approx([1.0, 2 * 7.38906], rel=1e-5)


def test_oil_like_tar_leaves_a_number_and_no_heat() -> None:
    found = thickened(np.array([1e7]), np.array([1e8]), 0.2, 300.0)
    assert np.isfinite(found).all()
    assert core(1.0, thick=float(found[0])) < 1e-9


def from_the_oil_w(
    seconds: FloatArray, air_w_k: float, start_k: float, oil_k_s: float
) -> FloatArray:
    """Heat out of oil 40 K above the air, rising, into metal with 320 W/K on its oil side."""

    def rate(t: float, metal_k: FloatArray) -> FloatArray:
        oil_k = 40.0 + oil_k_s * t
        return np.asarray((320.0 * (oil_k - metal_k) - air_w_k * metal_k) / METAL.capacity_j_k)

    span = (float(seconds[0]), float(seconds[-1]))
    found = solve_ivp(rate, span, [start_k], t_eval=seconds, rtol=1e-10, atol=1e-10)
    return np.asarray(320.0 * (40.0 + oil_k_s * seconds - found.y[0]))


@pytest.mark.parametrize("on", [True, False])
def test_oil_that_warms_heats_the_core_by_its_stored_share(on: bool) -> None:
    # independent: scipy's solve_ivp of the metal's own balance, 80 W/K split 1 to 3 into
    # 320 W/K at the oil and 80 / 0.75 at the air, a tenth of it without fan; long after the
    # start, so that only the ramp of 0.02 K/s is left.
    air_w_k = 80.0 / 0.75 * (1.0 if on else 0.1)
    seconds = np.array([0.0, 400.0])
    heat_w = from_the_oil_w(seconds, air_w_k, 30.0, 0.02)[-1]
    steady_w = (40.0 + 0.02 * 400.0) / (1.0 / 320.0 + 1.0 / air_w_k)
    stored = METAL.stored()[0 if on else 1]
    assert heat_w - steady_w == pytest.approx(METAL.capacity_j_k * stored * 0.02, rel=1e-4)


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
    assert METAL.lags_s()[0 if on else 1] == pytest.approx(late_s, rel=1e-3)


@pytest.mark.parametrize("name", ["capacity_j_k", "full_w_k", "still_air", "oil_side"])
def test_slopes_of_the_metal_are_those_of_differences(name: str) -> None:
    lag_bars, stored_bars = (0.3, -0.7), (20.0, 11.0)

    def weighed(metal: CoreMetal) -> float:
        return float(np.dot(lag_bars, metal.lags_s()) + np.dot(stored_bars, metal.stored()))

    here = getattr(METAL, name)
    ahead, behind = (weighed(replace(METAL, **{name: here * k})) for k in (1 + 1e-6, 1 - 1e-6))
    found = METAL.slopes(lag_bars, stored_bars)[name]
    # independent: a central difference, good to about 1e-9 of the sum.
    assert found == pytest.approx((ahead - behind) / (2e-6 * here), rel=1e-6)


@pytest.mark.parametrize("late", [0.0, 0.4, 1.0, 1.7])
def test_a_step_of_the_fan_comes_late_by_its_lag_and_whole(late: float) -> None:
    fan = np.array([0.0, 0.0, 1.0, 1.0, 1.0, 1.0])
    on, off = followed(fan, late, 0.0)[0], followed(1.0 - fan, 0.0, late)[0]
    # independent: the area between the two is the lag in bins, by definition of a delay.
    assert np.sum(fan - on) == pytest.approx(late, abs=1e-12)
    assert on[-1] == 1.0
    assert off == pytest.approx(1.0 - on, abs=1e-12)


def test_more_than_two_bins_of_lag_count_as_two() -> None:
    fan = np.array([0.0, 1.0, 1.0, 1.0, 1.0])
    assert followed(fan, 5.0, 0.0)[0] == pytest.approx(followed(fan, 2.0, 0.0)[0])


def test_slopes_in_the_lags_are_those_of_differences() -> None:
    fan = np.array([0.0, 0.3, 1.0, 1.0, 0.2, 0.2])
    for on, off in ((0.6, 1.4), (1.6, 0.3)):
        _, by_on, by_off = followed(fan, on, off)
        ahead_on, behind_on = (followed(fan, on + step, off)[0] for step in (1e-6, -1e-6))
        ahead_off, behind_off = (followed(fan, on, off + step)[0] for step in (1e-6, -1e-6))
        # independent: central differences of what is piecewise linear are exact to rounding.
        assert by_on == pytest.approx((ahead_on - behind_on) / 2e-6, abs=1e-8)
        assert by_off == pytest.approx((ahead_off - behind_off) / 2e-6, abs=1e-8)
