"""Stretches of like outings: against the Nile, and rows of known truth."""

import numpy as np
import pytest
from numpy.typing import ArrayLike

from analysis.statistics.test_change import NILE
from refusal import refused
from wattsump_analysis.season import levels
from wattsump_analysis.season.conditions import plain_rows
from wattsump_analysis.season.evidence import TYPICAL, covariance_of
from wattsump_analysis.season.levels import (
    WINDOW,
    Scatter,
    find_stretches,
    levels_at,
    smallest_seen,
    usual_scatter,
)
from wattsump_logger.arrays import FloatArray
from wattsump_logger.errors import RangeError

USUAL = covariance_of(TYPICAL)


def drawn(n: int, seed: int, covariance: FloatArray = USUAL) -> FloatArray:
    return np.random.default_rng(seed).multivariate_normal([0.0, 0.0], covariance, size=n)


def test_the_nile_has_one_step_and_it_is_1898() -> None:
    # The heat of this make-believe machine only scatters; its K is the river.
    river = np.log(np.asarray(NILE))
    other = np.random.default_rng(5).normal(0.0, 0.15, river.size)
    found = find_stretches(np.column_stack([river, other]))
    told = zip(found.starts[1:], found.chances, strict=True)
    likely = [at for at, chance in told if chance > 0.5]
    # published: Cobb (1978) puts the change at 1898; 28 years of the series come before it.
    assert likely == [28]


def test_several_steps_in_one_season_are_found_each_at_its_place() -> None:
    rows = drawn(30, 3, 0.25 * USUAL)
    rows[8:15] += (-0.4, 0.0)
    rows[22:] += (0.0, 0.35)
    assert find_stretches(rows).starts == (0, 8, 15, 22)


@pytest.mark.parametrize("seed", range(14))
def test_a_loss_that_was_washed_off_does_not_hide_behind_a_later_change(seed: int) -> None:
    # One step into the lower level explains little as long as the step out of it is not there.
    rows = drawn(24, seed)
    rows[8:14] += (-0.4, 0.0)
    rows[19:] += (0.0, 0.3)
    starts = find_stretches(rows, usual=1.19 * TYPICAL).starts
    # independent: the places where the levels were moved, to one outing.
    assert starts == pytest.approx((0, 8, 14, 19), abs=1)


def test_one_odd_outing_is_no_change() -> None:
    rows = drawn(16, 1)
    rows[9] += (0.6, 0.0)
    found = find_stretches(rows)
    assert found.starts == (0,)
    assert found.odd == (9,)
    assert 9 not in found.members(0, 16)


def test_an_odd_newest_outing_is_told_and_is_no_step() -> None:
    rows = drawn(12, 2)
    rows[-1] += (0.7, 0.0)
    found = find_stretches(rows)
    assert found.starts == (0,)
    assert found.newest_is_odd


def test_two_alike_outings_after_many_are_enough_for_a_large_change() -> None:
    rows = drawn(12, 4)
    rows[-2:] += (-0.45, 0.0)
    assert find_stretches(rows).starts == (0, 10)


def test_the_scale_of_the_two_numbers_does_not_matter() -> None:
    rows = drawn(14, 6)
    rows[7:] += (-0.4, 0.0)
    assert find_stretches(rows).starts == find_stretches(rows + np.array([4.0, 9.0])).starts


def test_a_steady_slope_is_a_drift_and_no_step() -> None:
    rows = drawn(24, 7, 0.1 * USUAL)
    rows[:, 0] -= 0.015 * np.arange(24)
    found = find_stretches(rows)
    assert found.starts == (0,)
    levels = found.levels
    # independent: the slope the rows were made with
    assert levels.drift[0] == pytest.approx(-0.015, abs=3.0 * levels.u_drift[0])
    assert levels.drift[0] < -3.0 * levels.u_drift[0]


@pytest.mark.parametrize("factor", [0.2, 1.0, 4.0])
def test_many_outings_outweigh_the_usual_scatter_however_far_it_is(factor: float) -> None:
    found = find_stretches(drawn(150, 8, factor**2 * USUAL))
    assert max(found.chances, default=0.0) < 0.5
    np.testing.assert_allclose(found.scatter.sd, factor * np.sqrt(np.diag(USUAL)), rtol=0.2)


def test_a_known_step_has_the_least_squares_size_and_uncertainty() -> None:
    rows = drawn(40, 9)
    rows[20:] += (-0.3, 0.1)
    levels, _ = levels_at(plain_rows(rows), 20, TYPICAL)
    plain = rows[20:].mean(axis=0) - rows[:20].mean(axis=0)
    rest = rows - np.repeat([rows[:20].mean(axis=0), rows[20:].mean(axis=0)], 20, axis=0)
    sd = np.sqrt(np.sum(rest**2, axis=0) / 38.0 * (1.0 / 20.0 + 1.0 / 20.0))
    # independent: means and scatter by hand; serial correlation, which is not known to be none,
    # weighs the ends of a row and widens the step's uncertainty.
    np.testing.assert_allclose(levels.steps[0], plain, atol=0.3 * sd.max())
    found = np.sqrt(np.diag(levels.covariance[0]))
    assert np.all(found > 0.9 * sd)
    assert np.all(found < 1.7 * sd)


def test_what_outings_claim_can_widen_the_usual_scatter_and_never_narrows_it() -> None:
    usual = np.sqrt(np.diag(USUAL))
    boast, honest = np.full((5, 2), 0.001), np.full((5, 2), 1.5) * usual
    np.testing.assert_allclose(usual_scatter(boast), TYPICAL)
    np.testing.assert_allclose(usual_scatter(honest), 1.5 * TYPICAL)
    np.testing.assert_allclose(usual_scatter(np.full((3, 2), np.nan)), TYPICAL)


def test_a_change_of_the_size_said_is_seen_about_four_times_in_five() -> None:
    scatter = Scatter(covariance=USUAL, own_outings=20.0)
    size = float(smallest_seen(scatter, 12, 3)[0])
    seen = 0
    for seed in range(60):
        rows = drawn(15, seed)
        rows[12:] -= (size, 0.0)
        seen += any(abs(start - 12) <= 1 for start in find_stretches(rows).starts[1:])
    # independent: 0.8 by the arithmetic of the method; 0.15 is what 60 draws (sd 0.052) and
    # a scatter that is itself unknown may add.
    assert seen / 60 == pytest.approx(0.8, abs=0.15)


def long_season(seed: int) -> tuple[FloatArray, list[int]]:
    """Some 300 outings with a clear change now and then, also where windows meet."""
    rows, places = drawn(300, seed, 0.5 * USUAL), [40, 88, 91 + WINDOW // 2, 210, 271]
    for number, at in enumerate(places):
        rows[at:] += (0.35 if number % 2 else -0.35, 0.0)
    rows[130] += (0.6, 0.6)
    return rows, places


@pytest.mark.parametrize("seed", range(4))
def test_a_long_season_has_the_same_steps_as_if_searched_at_once(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows, places = long_season(seed)
    windows = find_stretches(rows)
    monkeypatch.setattr(levels, "WINDOW", len(rows))
    at_once = find_stretches(rows)
    # independent: the places where the levels were moved, to one outing.
    assert windows.starts[1:] == pytest.approx(places, abs=1)
    assert windows.starts == at_once.starts
    assert windows.odd == at_once.odd
    np.testing.assert_allclose(windows.levels.steps, at_once.levels.steps, atol=1e-4)


def test_a_step_where_two_windows_meet_is_told_once() -> None:
    border = WINDOW // 2 + WINDOW // 4
    for at in range(border - 3, border + 4):
        rows = drawn(2 * WINDOW, 5, 0.5 * USUAL)
        rows[at:] -= (0.4, 0.0)
        # independent: the place where the level was moved, to one outing.
        assert find_stretches(rows).starts == pytest.approx((0, at), abs=1)


@pytest.mark.parametrize("at", [WINDOW, WINDOW // 2 + WINDOW // 4, WINDOW // 2 + WINDOW // 4 - 2])
def test_a_short_dip_in_a_long_season_keeps_its_end(at: int) -> None:
    rows = drawn(2 * WINDOW, 6, 0.2 * USUAL)
    rows[at : at + 4] -= (0.5, 0.0)
    # independent: the places where the level was moved, to one outing.
    assert find_stretches(rows).starts == pytest.approx((0, at, at + 4), abs=1)


def test_a_drift_through_a_long_season_is_no_step() -> None:
    rows = drawn(200, 7, 0.1 * USUAL)
    rows[:, 0] -= 0.002 * np.arange(200)
    found = find_stretches(rows)
    # independent: the slope the rows were made with
    low, high = (sign * 3.0 * found.levels.u_drift[0] - 0.002 for sign in (-1.0, 1.0))
    assert low < found.levels.drift[0] < high
    assert found.drifting == (True, False)


@pytest.mark.parametrize(
    "rows", [[], [[1.0, 2.0]], [[1.0, 2.0], [1.0, np.nan]], [1.0, 2.0], [[1.0, 2.0, 3.0]]]
)
def test_rows_that_are_no_pairs_are_refused(rows: ArrayLike) -> None:
    with refused(RangeError, "outings"):
        find_stretches(rows)
