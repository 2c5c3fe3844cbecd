"""Rank trends against textbook rows."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.statistics.test_change import NILE
from refusal import refused
from wattsump_analysis.statistics.trends import mann_kendall, serial_inflation, theil_sen
from wattsump_logger.errors import RangeError

WITH_TIES = (10.0, 22.0, 21.0, 30.0, 22.0, 30.0, 40.0, 40.0)


def test_gilberts_four_values_have_a_one_sided_chance_of_four_in_twenty_four() -> None:
    result = mann_kendall([10, 15, 14, 20])
    # published: Gilbert (1987) section 16.4.1, S = 4, exact one-sided p = 0.167; from memory,
    # the count of 4 in 24 orders redone by hand
    assert result.s == 4
    assert result.p_exact == pytest.approx(2 * 4 / 24, rel=1e-12)
    assert result.p_value == result.p_exact


def test_one_wild_value_leaves_the_median_slope_where_it_was() -> None:
    for wild in (16.0, 60.0):
        line = theil_sen([1, 2, 3, 4, 5, wild, 7])
        # published: Helsel and Hirsch, Theil-Sen demonstration: slope 1, with 16
        # and with 60 in sixth place alike; data from memory
        assert line.value == pytest.approx(1.0, abs=1e-12)


def test_a_least_squares_line_through_the_same_values_is_carried_away() -> None:
    x = np.arange(1.0, 8.0)
    slope, intercept = np.polyfit(x, [1, 2, 3, 4, 5, 16, 7], 1)
    # independent: normal equations by hand, 48/28 and 38/7 - 4*48/28; shows why medians are used
    assert (slope, intercept) == pytest.approx((1.714286, -1.428571), abs=1e-6)
    # independent: as above with 60 for 16, 136/28
    assert np.polyfit(x, [1, 2, 3, 4, 5, 60, 7], 1)[0] == pytest.approx(4.857143, abs=1e-6)


def test_mann_kendall_of_seven_nearly_ordered_values() -> None:
    result = mann_kendall([1, 2, 3, 4, 5, 16, 7])
    assert result.s == 19
    # independent: pymannkendall 1.4.3, 6 digits
    assert result.tau == pytest.approx(0.904762, abs=1e-6)
    assert result.variance == pytest.approx(44.3333, abs=1e-4)
    assert result.z == pytest.approx(2.703381, abs=1e-6)
    assert result.p_normal == pytest.approx(0.006864, abs=1e-6)


def test_ties_shrink_the_variance_and_rule_out_the_exact_table() -> None:
    result = mann_kendall(WITH_TIES)
    assert result.s == 21
    # independent: pymannkendall 1.4.3, 6 digits; 62.3333 by hand (8*7*21 - 3*2*1*9)/18
    assert result.variance == pytest.approx(62.3333, abs=1e-4)
    assert result.z == pytest.approx(2.533202, abs=1e-6)
    assert result.p_normal == pytest.approx(0.011303, abs=1e-6)
    assert result.tau == pytest.approx(0.75, abs=1e-12)
    assert theil_sen(WITH_TIES).value == pytest.approx(3.9, abs=1e-12)
    assert result.p_exact is None
    assert result.p_value == result.p_normal


def test_values_all_alike_have_no_trend_at_all() -> None:
    result = mann_kendall([3.0] * 6)
    assert (result.s, result.z, result.p_value) == (0, 0.0, 1.0)


@pytest.mark.parametrize("n", [3, 5, 8, 10])
def test_the_exact_chance_of_perfect_order_is_two_in_n_factorial(n: int) -> None:
    result = mann_kendall(np.arange(n))
    # independent: 2 of the n! orders are perfect
    assert result.p_exact == pytest.approx(2.0 / np.prod(np.arange(1.0, n + 1)), rel=1e-9)


def test_the_interval_of_the_slope_holds_the_truth_as_often_as_it_says() -> None:
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(400):
        line = theil_sen(0.3 * np.arange(20) + rng.normal(0.0, 1.0, 20))
        held += line.low <= 0.3 <= line.high
    # independent: binomial, 0.95 of 400 with a standard deviation of 4.4; three of those
    assert held == pytest.approx(380, abs=13)


@given(st.lists(st.integers(-50, 50), min_size=3, max_size=25))
def test_turning_the_row_round_turns_the_trend_round(values: list[int]) -> None:
    there, back = mann_kendall(values), mann_kendall(values[::-1])
    assert there.s == -back.s
    assert there.p_value == back.p_value
    assert theil_sen(values).value == pytest.approx(-theil_sen(values[::-1]).value, abs=1e-9)


def test_trends_refuse_what_they_cannot_use() -> None:
    with refused(RangeError, "outings"):
        mann_kendall([1.0, 2.0])
    with refused(RangeError, "outings"):
        theil_sen([1.0, np.inf, 2.0])


@pytest.mark.parametrize(("lags", "variance"), [(1, 196416.5148518476), (3, 291743.22609701694)])
def test_serial_correlation_widens_kendalls_s_of_the_nile_as_another_library_does(
    lags: int, variance: float
) -> None:
    flow = np.asarray(NILE, dtype=float)
    rest = flow - theil_sen(flow).value * np.arange(flow.size)
    rest -= rest.mean()
    r = [float(rest[k:] @ rest[:-k] / (rest @ rest)) for k in range(1, lags + 1)]
    wider = mann_kendall(flow).variance * serial_inflation(r, flow.size)
    # independent: pymannkendall 1.4.3, yue_wang_modification_test(nile, lag=lags).var_s, all digits
    assert wider == pytest.approx(variance, rel=1e-12)


@pytest.mark.parametrize("rho", [0.0, 0.3, 0.5])
def test_an_interval_of_a_slope_covers_it_where_neighbours_are_alike(rho: float) -> None:
    rng, n, covered = np.random.default_rng(3), 24, 0
    for _ in range(400):
        row = rng.normal(size=n)
        for i in range(1, n):
            row[i] = rho * row[i - 1] + np.sqrt(1.0 - rho**2) * row[i]
        result = theil_sen(row + 0.1 * np.arange(n), correlation=rho)
        covered += result.low <= 0.1 <= result.high
    # independent: 0.95 by construction, of which 400 draws know 0.011; the correction is known
    # to be generous in short rows, so more is no fault.
    assert covered / 400 > 0.93


def test_a_correlation_that_is_none_is_refused() -> None:
    with refused(RangeError, "slope"):
        theil_sen([1.0, 2.0, 3.0], correlation=1.0)
    with refused(RangeError, "serial correlation"):
        serial_inflation([0.1, 0.1, 0.1], 3)
