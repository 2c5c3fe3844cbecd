"""Control charts against the worked examples of the handbooks."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refusal import refused
from wattsump_analysis.statistics.trends import ewma
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

# published: NIST/SEMATECH e-Handbook 6.3.2.3, group means, as three separate public
# copies of the page agree; the page itself was not opened.
CUSUM_DATA = (
    *(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600),
    *(324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350),
)


def handbook_ewma() -> tuple[np.ndarray, np.ndarray, np.ndarray, bool]:
    chart = ewma(EWMA_DATA, target=50.0, sigma=2.0539, weight=0.3, width=3.0)
    return chart.value, chart.lower, chart.upper, bool(chart.out.any())


def test_ewma_reproduces_every_value_of_the_handbook() -> None:
    value, _, _, _ = handbook_ewma()
    # published: e-Handbook 6.3.2.4, 21 values counting the start at 50.00; printed to 0.01,
    # and one printed value may sit on a rounding edge
    assert np.round(value, 2) == pytest.approx(np.array(EWMA_PRINTED), abs=0.0051)


def test_ewma_limits_widen_from_the_first_outing_to_the_handbooks() -> None:
    _, lower, upper, out = handbook_ewma()
    # independent: closed form 50 + 3*2.0539*sqrt(0.3/1.7*(1 - 0.7**(2i))), 6 figures
    assert upper[:5] == pytest.approx([51.8485, 52.2564, 52.4314, 52.5127, 52.5516], abs=0.5e-4)
    # published: e-Handbook 6.3.2.4; after 20 outings within 1e-5 of the last limits, of which the
    # page prints 47.4115 where rounding gives 47.4116.
    assert (upper[-1], lower[-1]) == pytest.approx((52.5884, 47.4115), abs=1.2e-4)
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
    assert chart.out.tolist() == [False, False, False, True, True]
    assert not ewma([0.0, 0.1], target=0.0, sigma=1.0).out.any()


def test_a_point_on_its_limit_is_not_outside() -> None:
    chart = ewma([3.0], target=0.0, sigma=1.0, weight=1.0, width=3.0)
    assert chart.value[0] == chart.upper[0]
    assert not chart.out.any()


def test_the_handbooks_shift_leaves_the_chart_when_its_cusum_signals() -> None:
    chart = ewma(CUSUM_DATA, target=325.0, sigma=0.635)
    # published: e-Handbook 6.3.2.3, whose CUSUM (slack half of a sigma of 0.635, decision
    # 4.1959) first signals at the fourteenth group; two charts of one shift, so within a group.
    assert int(np.argmax(chart.out)) == pytest.approx(13, abs=1)


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


def test_an_outing_without_a_value_is_refused_not_skipped() -> None:
    with refused(RangeError, "outings"):
        ewma([1.0, np.nan], target=0.0, sigma=1.0)


def test_charts_refuse_parameters_outside_their_range() -> None:
    with refused(RangeError, "ewma"):
        ewma([1.0], target=0.0, sigma=1.0, weight=0.0)
    with refused(RangeError, "ewma"):
        ewma([1.0], target=0.0, sigma=1.0, width=0.0)
    with pytest.raises(RangeError, match="sigma above 0"):
        ewma([1.0], target=0.0, sigma=0.0)
    with pytest.raises(RangeError, match="at least 1 values"):
        ewma([], target=0.0, sigma=1.0)
    with refused(RangeError, "ewma"):
        ewma([1.0, 2.0, 3.0], target=0.0, sigma=[1.0, 2.0])
