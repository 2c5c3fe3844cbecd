"""Stretches of like outings: against exhaustive search, the Nile, and rows of known truth."""

from itertools import combinations

import numpy as np
import pytest
from numpy.typing import ArrayLike

from analysis.statistics.test_change import NILE
from refusal import refused
from wattsump_analysis.season.levels import (
    PENALTY,
    TYPICAL,
    Scatter,
    find_stretches,
    repeatability,
    smallest_seen,
    usual_scatter,
)
from wattsump_logger.arrays import FloatArray
from wattsump_logger.errors import RangeError


def drawn(n: int, seed: int, covariance: FloatArray = TYPICAL) -> FloatArray:
    return np.random.default_rng(seed).multivariate_normal([0.0, 0.0], covariance, size=n)


def cost(rows: FloatArray, starts: tuple[int, ...], scatter: Scatter) -> float:
    inverse = np.linalg.inv(scatter.covariance)
    total = PENALTY * (len(starts) - 1)
    for part in np.split(rows, list(starts[1:])):
        left = part - part.mean(axis=0)
        total += float(np.einsum("ij,jk,ik->", left, inverse, left))
    return total


def every_division(n: int) -> list[tuple[int, ...]]:
    """All ways to cut n outings into stretches of two or more."""
    return [
        (0, *cuts)
        for count in range(n // 2)
        for cuts in combinations(range(2, n - 1), count)
        if all(b - a >= 2 for a, b in zip((0, *cuts), (*cuts, n), strict=True))
    ]


@pytest.mark.parametrize("seed", range(6))
def test_no_division_of_all_there_are_costs_less(seed: int) -> None:
    rows = drawn(11, seed)
    rows[4:] += (-0.5, 0.0)
    rows[8:] += (0.0, 0.6)
    found = find_stretches(rows)
    if found.odd:
        pytest.fail("no outing of these is odd")
    costs = {starts: cost(rows, starts, found.scatter) for starts in every_division(11)}
    # The scatter found is that of the division found, so the search has settled.
    assert min(costs, key=costs.__getitem__) == found.starts == (0, 4, 8)


def test_the_nile_has_one_step_and_it_is_1898() -> None:
    # The heat of this make-believe machine only scatters; its K is the river.
    river = np.log(np.asarray(NILE))
    other = np.random.default_rng(5).normal(0.0, 0.15, river.size)
    found = find_stretches(np.column_stack([river, other]))
    # published: Cobb (1978) puts the change at 1898; 28 years of the series come before it.
    assert found.starts == (0, 28)


def test_several_steps_in_one_season_are_found_each_at_its_place() -> None:
    rows = drawn(30, 3, 0.25 * TYPICAL)
    rows[8:15] += (-0.4, 0.0)
    rows[22:] += (0.0, 0.35)
    assert find_stretches(rows).starts == (0, 8, 15, 22)


def test_one_odd_outing_is_no_change() -> None:
    rows = drawn(16, 1)
    rows[9] += (0.6, 0.0)
    found = find_stretches(rows)
    assert found.starts == (0,)
    assert found.odd == (9,)
    assert 9 not in found.members(0, 16)


def test_an_odd_newest_outing_does_not_make_the_one_before_it_a_step() -> None:
    rows = drawn(12, 2)
    rows[-1] += (0.7, 0.0)
    assert find_stretches(rows).starts == (0,)


def test_two_alike_outings_after_many_are_enough_for_a_large_change() -> None:
    rows = drawn(12, 4)
    rows[-2:] += (-0.45, 0.0)
    assert find_stretches(rows).starts == (0, 10)


def test_the_order_of_the_two_numbers_scale_does_not_matter() -> None:
    rows = drawn(14, 6)
    rows[7:] += (-0.4, 0.0)
    assert find_stretches(rows).starts == find_stretches(rows + np.array([4.0, 9.0])).starts


def test_scatter_within_stretches_is_pooled_and_leans_on_the_usual() -> None:
    rows = np.array([[0.0, 0.0], [0.2, 0.1], [5.0, 1.0], [5.2, 1.3]])
    found = repeatability(rows, (0, 2))
    # Sums of squares about the two means, by hand; two outings' worth, and six of the usual.
    sums = np.array([[0.04, 0.04], [0.04, 0.05]])
    np.testing.assert_allclose(found.covariance, (6.0 * TYPICAL + sums) / 8.0)
    assert found.own_outings == 2.0


def test_many_outings_outweigh_the_usual_scatter() -> None:
    truth = 9.0 * TYPICAL
    found = repeatability(drawn(4000, 8, truth))
    np.testing.assert_allclose(found.covariance, truth, rtol=0.1)


def test_a_step_hardly_moves_the_scatter_told_from_neighbours() -> None:
    rows = drawn(40, 9)
    stepped = rows.copy()
    stepped[20:] += (-0.8, 0.5)
    apart = repeatability(stepped).sd / repeatability(rows).sd
    assert np.all(np.abs(apart - 1.0) < 0.1)


def test_what_outings_claim_can_widen_the_usual_scatter_and_never_narrows_it() -> None:
    usual = np.sqrt(np.diag(TYPICAL))
    boast, honest = np.full((5, 2), 0.001), np.full((5, 2), 1.5) * usual
    np.testing.assert_allclose(usual_scatter(boast), TYPICAL)
    np.testing.assert_allclose(usual_scatter(honest), 2.25 * TYPICAL)
    np.testing.assert_allclose(usual_scatter(np.full((3, 2), np.nan)), TYPICAL)


def test_a_change_of_the_size_said_is_seen_about_four_times_in_five() -> None:
    scatter = Scatter(covariance=TYPICAL, own_outings=20.0)
    size = float(smallest_seen(scatter, 12, 3)[0])
    seen = 0
    for seed in range(60):
        rows = drawn(15, seed)
        rows[12:] -= (size, 0.0)
        seen += any(abs(start - 12) <= 1 for start in find_stretches(rows).starts[1:])
    # independent: 0.8 by the arithmetic of the method; 0.15 is what 60 draws (sd 0.052) and
    # a scatter that is itself estimated may add.
    assert seen / 60 == pytest.approx(0.8, abs=0.15)


@pytest.mark.parametrize("rows", [[], [[1.0, np.nan]], [1.0, 2.0], [[1.0, 2.0, 3.0]]])
def test_rows_that_are_no_pairs_are_refused(rows: ArrayLike) -> None:
    with refused(RangeError, "outings"):
        find_stretches(rows)


def test_a_free_step_is_refused() -> None:
    with refused(RangeError, "outings"):
        find_stretches([[0.0, 0.0]], penalty=0.0)
