"""Control charts against the worked examples of the handbooks."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wattsump_analysis.charts import cusum, ewma, ewma_limits, moving_range_sigma
from wattsump_logger.errors import RangeError

# published: NIST/SEMATECH e-Handbook 6.3.2.4, data and printed averages (2 decimals)
EWMA_DATA = (
    *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
    *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
)
EWMA_PRINTED = (
    *(50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
    *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
)

# published: NIST/SEMATECH e-Handbook 6.3.2.3, group means and both printed columns, as three
# separate public transcriptions of the page agree; the page itself was not opened.
CUSUM_DATA = (
    *(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600),
    *(324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350),
)
CUSUM_HIGH = (
    *(0.0, 0.0, 0.0, 0.0, 0.03, 0.0, 0.0, 0.0, 0.0, 0.0),
    *(0.0, 0.0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04),
)
CUSUM_LOW = (*(0.0, 0.01, 0.0, 0.33, 0.0, 0.0, 0.56, 0.72, 0.17, 0.25, 0.31), *([0.0] * 9))

# published: Montgomery and Runger, Applied Statistics and Probability for Engineers,
# Table 16-7, chemical concentration, target 99
CONCENTRATION = (
    *(102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1),
    *(101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0),
)


def handbook_ewma() -> tuple[np.ndarray, np.ndarray, np.ndarray, bool]:
    chart = ewma(EWMA_DATA, target=50.0, sigma=2.0539, weight=0.3, width=3.0)
    return chart.value, chart.lower, chart.upper, bool(chart.out.any())


def test_ewma_reproduces_every_value_of_the_handbook() -> None:
    value, _, _, _ = handbook_ewma()
    # published: e-Handbook 6.3.2.4, 21 values counting the start at 50.00; printed to 0.01,
    # and one printed value may sit on a rounding edge
    assert np.round(value, 2) == pytest.approx(np.array(EWMA_PRINTED), abs=0.0051)


def test_ewma_limits_reproduce_the_handbook() -> None:
    lower, upper = ewma_limits(target=50.0, sigma=2.0539)
    # published: e-Handbook 6.3.2.4, printed to 0.0001
    assert upper == pytest.approx(52.5884, abs=0.5e-4)
    # published: as above; the page prints 47.4115 where rounding gives 47.4116
    assert lower == pytest.approx(47.4115, abs=1e-4)


def test_ewma_limits_widen_from_the_first_outing_to_the_handbooks() -> None:
    _, lower, upper, out = handbook_ewma()
    # independent: closed form 50 + 3*2.0539*sqrt(0.3/1.7*(1 - 0.7**(2i))), 6 figures
    assert upper[:5] == pytest.approx([51.8485, 52.2564, 52.4314, 52.5127, 52.5516], abs=0.5e-4)
    # published: e-Handbook 6.3.2.4; after 20 outings within 1e-5 of the last limits
    assert upper[-1] == pytest.approx(52.5884, abs=0.6e-4)
    assert upper + lower == pytest.approx(np.full(20, 100.0), abs=1e-12)
    assert not out


def test_an_outing_of_poor_quality_gets_wider_limits_than_its_neighbours() -> None:
    rng = np.random.default_rng(4)
    sigma = rng.uniform(0.5, 2.0, 30)
    chart = ewma(np.zeros(30), target=0.0, sigma=sigma, weight=0.2, width=1.0)
    # independent: variance of a weighted sum, sum of (w (1-w)^(i-j) s_j)^2, written out
    age = 29 - np.arange(30)
    assert chart.upper[-1] == pytest.approx(np.sqrt(np.sum((0.2 * 0.8**age * sigma) ** 2)))


def test_ewma_names_the_first_outing_outside() -> None:
    chart = ewma([0.0, 0.0, 0.0, 5.0, 5.0], target=0.0, sigma=1.0)
    # By hand: at the fourth outing z = 0.3 * 5 = 1.5 against 3 sqrt(0.3/1.7 (1 - 0.7^8)) = 1.22.
    assert chart.first_out == 3
    assert ewma([0.0, 0.1], target=0.0, sigma=1.0).first_out is None


def test_a_point_on_its_limit_is_not_outside() -> None:
    chart = ewma([3.0], target=0.0, sigma=1.0, weight=1.0, width=3.0)
    assert chart.value[0] == chart.upper[0]
    assert chart.first_out is None


def test_cusum_reproduces_both_columns_of_the_handbook() -> None:
    chart = cusum(CUSUM_DATA, target=325.0, slack=0.3175, decision=4.1959)
    # published: e-Handbook 6.3.2.3 by transcription, printed to 0.01, the last digit cut or
    # rounded upwards at halves
    assert chart.high == pytest.approx(np.array(CUSUM_HIGH), abs=0.0101)
    assert chart.low == pytest.approx(np.array(CUSUM_LOW), abs=0.0101)


def test_cusum_signals_at_the_handbooks_fourteenth_group() -> None:
    chart = cusum(CUSUM_DATA, target=325.0, slack=0.3175, decision=4.1959)
    assert chart.first_high == 13
    assert chart.first_low is None


def test_without_slack_the_sums_differ_by_the_plain_cumulative_sum() -> None:
    chart = cusum(CONCENTRATION, target=99.0, slack=0.0, decision=1e9)
    plain = np.cumsum(np.array(CONCENTRATION) - 99.0)
    # published: Montgomery and Runger Table 16-7, cumulative column, printed to 0.1
    assert plain[[0, 1, 3, 12, 19]] == pytest.approx([3.0, -1.2, -2.5, 2.9, 1.9], abs=1e-9)
    lowest = np.minimum.accumulate(np.minimum(plain, 0.0))
    assert chart.high == pytest.approx(plain - lowest, abs=1e-9)


def test_tabular_cusum_of_the_textbooks_concentrations_never_signals() -> None:
    chart = cusum(CONCENTRATION, target=99.0, slack=1.0, decision=10.0)
    # independent: by hand from Table 16-7's data with K = 1, exact to the data's 0.1
    assert chart.high == pytest.approx(
        [2, 0, 0, 0, 2, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0], abs=1e-9
    )
    # independent: as above
    assert chart.low == pytest.approx(
        [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0], abs=1e-9
    )
    assert chart.first_high is None
    assert chart.first_low is None


def test_a_fall_signals_on_the_low_side() -> None:
    chart = cusum([0.0, -3.0, -3.0], target=0.0, slack=0.5, decision=4.0)
    assert chart.first_low == 2
    assert chart.first_high is None


def test_moving_ranges_give_the_handbooks_individuals_limits() -> None:
    flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    sigma = moving_range_sigma(flow)
    # published: e-Handbook 6.3.2.2 by transcription: mean range 1.8778, limits 55.8041 and
    # 45.8159 about 50.81. The page uses d2 = 1.128 (4 figures), hence 3.4e-4 relative.
    assert np.mean(flow) + 3 * sigma == pytest.approx(55.8041, abs=5.0 * 3.4e-4)
    # published: as above
    assert np.mean(flow) - 3 * sigma == pytest.approx(45.8159, abs=5.0 * 3.4e-4)


def test_moving_ranges_find_the_repeatability_of_a_drifting_machine() -> None:
    rng = np.random.default_rng(11)
    drifting = 100.0 - 0.05 * np.arange(4000) + rng.normal(0.0, 2.0, 4000)
    # independent: the scatter was drawn with 2.0; its estimate from 3999 ranges scatters by
    # about 0.75/sqrt(n) relative (1.4 %), doubled for one seed
    assert moving_range_sigma(drifting) == pytest.approx(2.0, rel=0.028)
    assert np.std(drifting) > 20.0


@given(
    st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=20),
    st.floats(-100.0, 100.0),
    st.floats(0.1, 10.0),
)
def test_charts_do_not_depend_on_the_unit(values: list[float], shift: float, scale: float) -> None:
    x = np.array(values)
    plain = ewma(x, target=1.0, sigma=2.0)
    other = ewma(x * scale + shift, target=scale + shift, sigma=2.0 * scale)
    assert other.value == pytest.approx(plain.value * scale + shift, rel=1e-9, abs=1e-8)
    sums = cusum(x, target=1.0, slack=0.5, decision=4.0)
    shifted = cusum(
        x * scale + shift, target=scale + shift, slack=0.5 * scale, decision=4.0 * scale
    )
    assert shifted.high == pytest.approx(sums.high * scale, rel=1e-9, abs=1e-7)
    assert shifted.low == pytest.approx(sums.low * scale, rel=1e-9, abs=1e-7)


def test_an_outing_without_a_value_is_refused_not_skipped() -> None:
    with pytest.raises(RangeError, match="leave out outings that have none"):
        ewma([1.0, np.nan], target=0.0, sigma=1.0)


def test_charts_refuse_parameters_outside_their_range() -> None:
    with pytest.raises(RangeError, match="weight above 0 and at most 1"):
        ewma([1.0], target=0.0, sigma=1.0, weight=0.0)
    with pytest.raises(RangeError, match="weight above 0 and at most 1"):
        ewma_limits(target=0.0, sigma=1.0, weight=1.1)
    with pytest.raises(RangeError, match="width above 0"):
        ewma([1.0], target=0.0, sigma=1.0, width=0.0)
    with pytest.raises(RangeError, match="sigma above 0"):
        ewma([1.0], target=0.0, sigma=0.0)
    with pytest.raises(RangeError, match="slack of 0 or more"):
        cusum([1.0], target=0.0, slack=-0.1, decision=1.0)
    with pytest.raises(RangeError, match="decision line above 0"):
        cusum([1.0], target=0.0, slack=0.1, decision=0.0)
    with pytest.raises(RangeError, match="at least 2 values"):
        moving_range_sigma([1.0])
    with pytest.raises(RangeError, match="at least 1 values"):
        ewma([], target=0.0, sigma=1.0)
    with pytest.raises(RangeError, match="one for each of"):
        ewma([1.0, 2.0, 3.0], target=0.0, sigma=[1.0, 2.0])
