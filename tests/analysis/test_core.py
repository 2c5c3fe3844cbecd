"""The cooler's two sides in series."""

import numpy as np
import pytest

from wattsump_analysis._core import CoreSides, thickened


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
