"""Steps against the Nile, textbook t tests, and rows whose truth is known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from refusal import refused
from wattsump_analysis.statistics.change import Shape, best_step, change_in, welch
from wattsump_analysis.statistics.trends import mann_kendall, theil_sen
from wattsump_logger.errors import RangeError

# published: annual flow of the Nile at Aswan, 1871 to 1970, 10^8 m3, public domain; Cobb,
# G. W. (1978), Biometrika 65, 243-251, read from statsmodels' copy (data set `nile`)
NILE = (
    *(1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960),
    *(1180, 799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694),
    *(940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764),
    *(821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822),
    *(1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050),
    *(918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740),
)
BEFORE_1899 = 28


def row_with(mean: float, sd: float, n: int) -> NDArray[np.float64]:
    """A row of n numbers with exactly this mean and standard deviation."""
    x = np.linspace(-1.0, 1.0, n)
    return np.asarray(mean + sd * x / x.std(ddof=1))


def test_the_nile_falls_by_a_step_after_1898() -> None:
    # published: Cobb (1978) places the change at 1898, 28 years into the record
    assert best_step(NILE) == BEFORE_1899
    assert change_in(NILE) is Shape.STEP
    rest = [*(np.array(NILE[:28]) - 1097.75), *(np.array(NILE[28:]) - 849.9722)]
    assert mann_kendall(rest).p_value > 0.5


def test_the_niles_step_has_the_welch_interval_of_a_statistics_program() -> None:
    step = welch(NILE[:BEFORE_1899], NILE[BEFORE_1899:])
    # independent: means by hand, 849.9722 - 1097.75; t 8.414516 with 45.9906 degrees of freedom of
    # the same data in another program, and the t table's 2.012907 there
    assert step.value == pytest.approx(-247.7778, abs=0.5e-4)
    assert (-step.high, -step.low) == pytest.approx((188.505, 307.051), abs=0.5e-3)


def test_the_niles_trend_is_that_of_another_library() -> None:
    trend, line = mann_kendall(NILE), theil_sen(NILE)
    # independent: pymannkendall 1.4.3 and scipy 1.17 theilslopes
    assert trend.s == -1387
    assert trend.z == pytest.approx(-4.128067, abs=1e-6)
    assert trend.p_normal == pytest.approx(3.658e-5, rel=2e-4)
    assert (line.value, line.low, line.high) == pytest.approx((-2.6, -3.6279, -1.4286), abs=0.5e-4)


def test_welch_gives_the_handbooks_t_for_miles_per_gallon() -> None:
    american, japanese = row_with(20.14458, 6.41470, 249), row_with(30.48101, 6.10771, 79)
    half = welch(american, japanese)
    # published: NIST/SEMATECH e-Handbook 1.3.5.3 (AUTO83B), t without equal variances
    # -12.94627, 136.8750 degrees of freedom; means and deviations rounded to 7 digits there.
    # The t table has 1.977447 there, so half the width is 1.977447 of difference over t.
    expected = 1.977447 * (30.48101 - 20.14458) / 12.94627
    # published: as above.
    assert 0.5 * (half.high - half.low) == pytest.approx(expected, rel=1e-5)


def test_welch_without_scatter_has_no_width() -> None:
    step = welch([5.0, 5.0], [4.0, 4.0, 4.0])
    assert (step.value, step.low, step.high) == (-1.0, -1.0, -1.0)


def test_welch_takes_a_group_without_scatter_beside_one_with() -> None:
    step = welch([5.0, 5.0], [4.0, 4.2, 3.8])
    # independent: only the second group scatters: t table 4.302653 at 2 degrees, sd 0.2 of three.
    assert step.high - step.value == pytest.approx(4.302653 * 0.2 / np.sqrt(3.0), rel=1e-6)


@given(st.lists(st.integers(-100, 100), min_size=4, max_size=25))
def test_no_other_step_leaves_less_scatter(values: list[int]) -> None:
    x = np.array(values, dtype=np.float64)
    remaining = [
        float(np.sum((x[:k] - x[:k].mean()) ** 2) + np.sum((x[k:] - x[k:].mean()) ** 2))
        for k in range(2, len(x) - 1)
    ]
    assert remaining[best_step(x) - 2] == pytest.approx(min(remaining), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("n", [6, 12, 30])
def test_outings_without_change_are_rarely_called_changed(n: int) -> None:
    rng = np.random.default_rng(n)
    alarms = sum(change_in(rng.normal(60.0, 3.0, n), seed=i) is not Shape.NONE for i in range(400))
    # 5 % of 400 is 20, with a binomial standard deviation of 4.4; three of those on top
    assert alarms <= 33


def test_a_fifth_lost_at_once_is_called_a_step_and_placed() -> None:
    rng = np.random.default_rng(8)
    right = placed = 0
    for i in range(60):
        row = np.r_[rng.normal(100.0, 4.0, 9), rng.normal(80.0, 4.0, 6)]
        right += change_in(row, seed=i) is Shape.STEP
        placed += abs(best_step(row) - 9) <= 1
    # goal: nine in ten; five standard deviations between the levels
    assert right >= 54
    assert placed >= 54


def test_a_loss_that_creeps_is_called_a_slope() -> None:
    rng = np.random.default_rng(9)
    shapes = [
        change_in(100.0 - 2.0 * np.arange(20) + rng.normal(0.0, 2.0, 20), seed=i) for i in range(60)
    ]
    assert sum(shape is Shape.SLOPE for shape in shapes) >= 54
    assert all(shape in (Shape.SLOPE, Shape.EITHER) for shape in shapes)


def test_a_loss_in_few_outings_may_be_either_and_says_so() -> None:
    assert change_in([100.0, 98.5, 97.5, 92.0, 91.0, 90.0]) is Shape.EITHER


def test_four_outings_are_too_few_whatever_they_say() -> None:
    assert change_in([100.0, 100.0, 1.0, 1.0]) is Shape.TOO_FEW


def test_outings_all_alike_have_not_changed() -> None:
    assert change_in([7.0] * 9) is Shape.NONE


def test_a_step_without_scatter_is_found_all_the_same() -> None:
    assert change_in([7.0] * 6 + [5.0] * 6) is Shape.STEP


def test_the_same_row_and_seed_give_the_same_answer() -> None:
    row = np.random.default_rng(2).normal(size=15)
    assert change_in(row, seed=3) == change_in(row, seed=3)


def test_step_tests_refuse_what_they_cannot_use() -> None:
    with pytest.raises(RangeError, match="at least 4 values"):
        best_step([1.0, 2.0, 3.0])
    with pytest.raises(RangeError, match="at least 2 values before"):
        welch([1.0], [1.0, 2.0])
    with pytest.raises(RangeError, match="at least 2 values after"):
        welch([1.0, 2.0], [1.0])
    with refused(RangeError, "outings"):
        change_in([1.0, np.nan, 2.0, 3.0, 4.0])
