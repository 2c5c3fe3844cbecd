"""Limits of oil, seals, hoses and skin, each with its standing."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refusal import refused
from wattsump_analysis.physics import harm
from wattsump_logger.errors import RangeError


def test_oil_life_halves_per_ten_kelvin() -> None:
    # independent: powers of two by hand, exact.
    np.testing.assert_array_equal(
        harm.oil_life_factor(np.array([60.0, 70.0, 90.0]), 70.0), [2.0, 1.0, 0.25]
    )
    # practice: the trade's "68 to 60 °C doubles the life", common practice, no source; 8 K by
    # the 10 K rule is 1.74, so a quarter is what the two rules disagree by.
    assert harm.oil_life_factor(60.0, 68.0) == pytest.approx(2.0, rel=0.25)


@pytest.mark.parametrize("temp_c", [39.0, 151.0])
def test_oil_life_is_refused_where_the_rule_does_not_hold(temp_c: float) -> None:
    with refused(RangeError, "oil temperature"):
        harm.oil_life_factor(temp_c, 70.0)
    with refused(RangeError, "reference temperature"):
        harm.oil_life_factor(70.0, temp_c)


@pytest.mark.parametrize(
    ("temp_c", "passed"), [(50.0, 0), (54.0, 1), (70.0, 2), (82.0, 3), (95.0, 4)]
)
def test_levels_are_passed_one_after_the_other(temp_c: float, passed: int) -> None:
    assert len(harm.levels_passed(temp_c)) == passed


def test_the_levels_are_the_whole_fahrenheit_figures_of_the_trade() -> None:
    fahrenheit = [level.temp_c * 1.8 + 32.0 for level in harm.OIL_LEVELS]
    # practice: 130, 150, 180 and 200 °F, common practice, no source; rounded to whole °C.
    assert fahrenheit == pytest.approx([130.0, 150.0, 180.0, 200.0], abs=1.0)


def test_materials_outside_their_span_are_named() -> None:
    assert harm.materials_exceeded(-20.0, 95.0) == ()
    hot = {m.name for m in harm.materials_exceeded(0.0, 105.0)}
    assert hot == {"nitrile seal (NBR)", "wire-braid hose"}
    cold = {m.name for m in harm.materials_exceeded(-30.0, 60.0)}
    assert cold == {"fluorocarbon seal (FKM)"}
    with refused(RangeError, "hottest temperature"):
        harm.materials_exceeded(50.0, 40.0)


@pytest.mark.parametrize(
    ("temp_c", "at_most_s"),
    [
        # practice: the circulated burn list: 52 °C in 1.5 to 2 min, 55 in 30 s, 60 under 5 s,
        # 66 in 1.5 s, 68 in 1 s.
        (52.0, 120.0), (55.0, 30.0), (57.0, 10.0), (60.0, 5.0), (63.0, 3.0), (66.0, 1.5),
    ],
)  # fmt: skip
def test_burn_times_are_no_longer_than_the_list_says(temp_c: float, at_most_s: float) -> None:
    row = harm.burn_at(temp_c)
    assert row is not None
    assert min(row.to_s, max(row.from_s, 0.5)) <= at_most_s
    assert row.temp_c <= temp_c


def test_no_row_speaks_of_cool_surfaces() -> None:
    assert harm.burn_at(42.9) is None


@given(st.floats(43.0, 120.0), st.floats(0.0, 40.0))
def test_a_hotter_surface_never_burns_later(temp_c: float, more: float) -> None:
    def soonest(t: float) -> float:
        row = harm.burn_at(t)
        assert row is not None
        return min(row.to_s, max(row.from_s, 0.5))

    assert soonest(temp_c + more) <= soonest(temp_c)


def test_every_row_states_its_standing() -> None:
    for row in (*harm.BURNS, *harm.MATERIALS, *harm.OIL_LEVELS):
        assert row.source
    assert all(math.isfinite(row.temp_c) and row.from_s <= row.to_s for row in harm.BURNS)
    assert any("not read" in row.source for row in harm.BURNS)
