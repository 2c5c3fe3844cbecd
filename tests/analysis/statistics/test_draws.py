"""Draws from densities whose means, spreads and integrals are known."""

import numpy as np
import pytest
from scipy.stats import lognorm

from wattsump_analysis.statistics.draws import WORST, Part, drawn_from
from wattsump_logger.arrays import FloatArray


def lopsided(x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Minus the log of a product of log-normals of shape 0.25, and its slopes."""
    inside = x.min(axis=1) > 0.0
    safe = np.where(inside[:, np.newaxis], x, 1.0)
    values = -lognorm(0.25).logpdf(safe).sum(axis=1)
    slopes = (1.0 + np.log(safe) / 0.25**2) / safe
    return np.where(inside, values, WORST), np.where(inside[:, np.newaxis], slopes, 0.0)


@pytest.mark.parametrize("shift", [0.0, 0.75])
def test_a_lopsided_density_is_drawn_from_when_begun_beside_it(shift: float) -> None:
    exact = lognorm(0.25)
    centre = np.full(4, 1.0 + shift * 0.25)
    first = Part(share=1.0, centre=centre, covariance=np.eye(4) * 0.25**2)
    drawn = drawn_from(lopsided, [first], np.random.default_rng(11))
    assert drawn.effective >= 200
    # independent: scipy.stats.lognorm's mean and deviation, four of each, with 200 effective
    # draws: a fourteenth of the deviation for a mean, more for a deviation with so long a tail.
    assert drawn.points.mean() == pytest.approx(exact.mean(), abs=3 * exact.std() / np.sqrt(800))
    assert drawn.points.std(axis=0).mean() == pytest.approx(exact.std(), rel=0.15)


def test_a_tail_ten_times_as_long_as_the_hill_is_wide_is_reached() -> None:
    def minus_log(x: FloatArray) -> tuple[FloatArray, FloatArray]:
        wide = np.where(x < 0.0, 3.0, 0.3)
        return 0.5 * np.sum((x / wide) ** 2, axis=1), x / wide**2

    hill = Part(share=1.0, centre=np.zeros(10), covariance=0.3**2 * np.eye(10))
    points = drawn_from(minus_log, [hill], np.random.default_rng(3)).points
    # independent: two halves of normal densities, that below zero has 3 / 3.3 of the whole; chains
    # with 100 draws that count know it to 3 %, ten parameters to 1 %.
    assert np.mean(points < 0.0) == pytest.approx(3.0 / 3.3, abs=0.03)
    # independent: the half normal's deviation about zero is 3.
    assert np.sqrt(np.mean(points[points < 0.0] ** 2)) == pytest.approx(3.0, rel=0.1)


def test_it_raises_where_no_draw_meets_a_density() -> None:
    first = Part(share=1.0, centre=np.zeros(2), covariance=np.eye(2))
    with pytest.raises(ArithmeticError, match="within the model's reach"):
        drawn_from(
            lambda x: (np.full(len(x), WORST), np.zeros(x.shape)), [first], np.random.default_rng(1)
        )


def test_hills_far_apart_keep_the_shares_they_were_begun_with() -> None:
    def minus_log(x: FloatArray) -> tuple[FloatArray, FloatArray]:
        centre = np.where(x[:, :1] > 0.0, 8.0, -8.0)
        return 0.5 * np.sum((x - centre) ** 2, axis=1), x - centre

    parts = [
        Part(share=share, centre=np.full(3, centre), covariance=2.0 * np.eye(3))
        for share, centre in ((0.3, -7.0), (0.7, 7.0))
    ]
    drawn = drawn_from(minus_log, parts, np.random.default_rng(4))
    # independent: the shares put in, to one chain of 64.
    assert np.mean(drawn.points[:, 0] > 0) == pytest.approx(0.7, abs=1.0 / 64)


def test_runs_scatter_as_the_number_of_draws_that_they_claim_says() -> None:
    """Nine parameters, begun too wide in some and too narrow in others."""
    sd = np.geomspace(0.3, 3.0, 9)

    def minus_log(x: FloatArray) -> tuple[FloatArray, FloatArray]:
        scaled = 1.8 * x / sd
        return np.sum(np.log(np.cosh(scaled)), axis=1), 1.8 / sd * np.tanh(scaled)

    wide = sd * np.geomspace(0.7, 1.4, 9)
    rough = Part(share=1.0, centre=0.3 * sd, covariance=np.diag(wide**2))
    runs = [drawn_from(minus_log, [rough], np.random.default_rng(k)) for k in range(30)]
    means = np.array([run.points.mean(axis=0) for run in runs])
    # independent: the variance of x / sd under 1 / cosh(1.8 x / sd) is (pi / 3.6)^2.
    counted = 1.0 / np.mean((means / (sd * np.pi / 3.6)) ** 2)
    # independent: draws are independent where 1 / (mean square of a mean) is their number; 270
    # means know that to 9 %, three times that.
    assert counted > 0.73 * np.mean([run.effective for run in runs])
