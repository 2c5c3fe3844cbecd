"""Numbers of outings against Cohen's tables and a reference library."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattsump_analysis.power import detectable_change, outings_needed, power_to_see
from wattsump_logger.errors import RangeError

# published: Cohen, J. (1992), A power primer, Table 2, N per group for power 0.80 at small,
# medium and large differences of two means (d = 0.2, 0.5, 0.8); from memory. Cohen rounds to
# the nearest, we up to the next whole outing.
COHEN = {0.99: (586, 95, 38), 0.95: (393, 64, 26), 0.90: (310, 50, 20)}
# independent: statsmodels 0.15 TTestIndPower.solve_power, rounded up
EXACT = {0.99: (586, 96, 39), 0.95: (394, 64, 26), 0.90: (310, 51, 21)}


@pytest.mark.parametrize("confidence", sorted(COHEN))
def test_outings_on_each_side_are_those_of_cohens_table(confidence: float) -> None:
    found = tuple(outings_needed(d, 1.0, confidence=confidence) for d in (0.2, 0.5, 0.8))
    assert found == EXACT[confidence]
    assert all(n is not None for n in found)
    gaps = np.array(found, dtype=np.float64) - np.array(COHEN[confidence])
    assert ((gaps >= 0.0) & (gaps <= 1.0)).all()


def test_power_with_unlike_numbers_before_and_after() -> None:
    # independent: statsmodels 0.15 TTestIndPower.power, d = 2, level 0.05, 16 digits
    assert power_to_see(0.10, 0.05, 5, 3) == pytest.approx(0.6295235786050368, abs=1e-9)
    assert power_to_see(0.10, 0.05, 10, 2) == pytest.approx(0.6442315284005463, abs=1e-9)
    assert power_to_see(-0.10, 0.05, 4, 4) == pytest.approx(0.6568758750949889, abs=1e-9)


def test_the_smallest_change_six_and_four_outings_show() -> None:
    # independent: statsmodels 0.15 TTestIndPower.solve_power, its root good to 1e-6
    assert detectable_change(0.05, 6, 4) == pytest.approx(0.10330925, rel=1e-5)


def test_power_agrees_with_drawn_outings_even_at_one_degree_of_freedom() -> None:
    rng = np.random.default_rng(21)
    a, b = rng.normal(0.0, 1.0, (20_000, 2)), rng.normal(9.0, 1.0, 20_000)
    # t of two values against one: scatter from the pair alone, 1 degree of freedom
    t = (b - a.mean(axis=1)) / (a.std(axis=1, ddof=1) * np.sqrt(1.5))
    # independent: 12.7062 is Student's t for 95 %, GUM Table G.2 (12.71)
    seen = np.mean(np.abs(t) > 12.7062)
    assert power_to_see(9.0, 1.0, 2, 1) == pytest.approx(seen, abs=3 * 0.5 / np.sqrt(20_000))


@settings(max_examples=40)
@given(st.floats(0.01, 3.0), st.floats(0.01, 1.0), st.integers(2, 12), st.integers(2, 12))
def test_more_outings_or_more_change_never_lower_the_power(
    change: float, cov: float, before: int, after: int
) -> None:
    here = power_to_see(change, cov, before, after)
    assert 0.05 - 1e-9 <= here <= 1.0
    assert power_to_see(change, cov, before + 1, after) >= here - 1e-9
    assert power_to_see(change * 1.1, cov, before, after) >= here - 1e-9


@settings(max_examples=25)
@given(st.floats(0.01, 0.5), st.integers(2, 20), st.integers(2, 20))
def test_the_detectable_change_is_seen_with_just_the_power_asked_for(
    cov: float, before: int, after: int
) -> None:
    wanted = 0.9
    change = detectable_change(cov, before, after, power=wanted)
    # The root finder stops at 1e-10 relative; power changes by less than 10 times that.
    assert power_to_see(change, cov, before, after) == pytest.approx(wanted, abs=1e-8)


def test_fewest_means_that_one_less_would_not_do() -> None:
    needed = outings_needed(0.10, 0.06, before=8)
    assert needed is not None
    assert power_to_see(0.10, 0.06, 8, needed) >= 0.8
    assert power_to_see(0.10, 0.06, 8, needed - 1) < 0.8


def test_a_small_change_after_few_outings_can_never_be_seen() -> None:
    assert outings_needed(0.02, 0.05, before=5) is None


def test_no_change_is_called_one_as_often_as_the_level_says() -> None:
    # independent: by definition of the test
    assert power_to_see(0.0, 0.05, 6, 6) == pytest.approx(0.05, abs=1e-9)


def test_power_refuses_parameters_outside_their_range() -> None:
    with pytest.raises(RangeError, match="scatter of one outing above 0"):
        power_to_see(0.1, 0.0, 5, 5)
    with pytest.raises(RangeError, match="1 or more outings on each side"):
        power_to_see(0.1, 0.1, 0, 5)
    with pytest.raises(RangeError, match="3 together"):
        detectable_change(0.1, 1, 1)
    with pytest.raises(RangeError, match="confidence between 0 and 1"):
        power_to_see(0.1, 0.1, 5, 5, confidence=1.0)
    with pytest.raises(RangeError, match=r"power between 0\.05 and 1"):
        outings_needed(0.1, 0.1, power=0.01)
    with pytest.raises(RangeError, match="change other than 0"):
        outings_needed(0.0, 0.1)
