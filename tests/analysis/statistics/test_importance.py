"""Draws from densities whose means, spreads and integrals are known."""

import numpy as np
import pytest
from scipy.stats import lognorm, multivariate_t

from wattsump_analysis.statistics.importance import (
    LEAST_DRAWS,
    WORST,
    Part,
    drawn_from,
    even_rows,
    tempered,
)
from wattsump_logger.arrays import FloatArray


def test_density_of_a_proposal_is_the_reference_librarys() -> None:
    covariance = np.array([[0.5, 0.2], [0.2, 0.3]])
    proposal = Part(share=1.0, centre=np.array([1.0, -2.0]), covariance=covariance)
    points = np.array([[0.3, -1.7], [1.0, -2.0], [4.0, 2.0]])
    # independent: scipy.stats.multivariate_t with the same twenty degrees of freedom.
    reference = multivariate_t(loc=proposal.centre, shape=covariance, df=20).logpdf(points)
    assert proposal.log_density(points) == pytest.approx(reference, rel=1e-12)


def test_draws_of_a_proposal_scatter_as_its_covariance_says() -> None:
    covariance = np.array([[0.5, 0.2], [0.2, 0.3]])
    proposal = Part(share=1.0, centre=np.array([1.0, -2.0]), covariance=covariance)
    drawn = proposal.draw(40_000, np.random.default_rng(5))
    # independent: a t of nu degrees has nu / (nu - 2) times its scale matrix; 40 000 draws
    # know a variance to 0.8 %.
    assert np.cov(drawn.T) == pytest.approx(covariance * 20 / 18, rel=0.05)
    assert drawn.mean(axis=0) == pytest.approx(proposal.centre, abs=0.02)


@pytest.mark.parametrize("shift", [0.0, 0.75])
def test_a_lopsided_density_is_found_from_a_proposal_beside_it(shift: float) -> None:
    """A log-normal in each of four directions, up to a factor of e^3.

    Its skewness is 0.8; a heavier tail than the proposals' would be cut short.
    """
    shape = 0.25
    known = lognorm(shape)

    def minus_log(x: FloatArray) -> FloatArray:
        inside = x.min(axis=1) > 0.0
        logs = known.logpdf(np.where(inside[:, np.newaxis], x, 1.0)).sum(axis=1)
        return np.where(inside, -logs, WORST)

    first = Part(share=1.0, centre=np.full(4, 1.0 + shift * shape), covariance=np.eye(4) * shape**2)
    drawn = drawn_from(minus_log, [first], 256, np.random.default_rng(11))
    assert drawn.effective >= 200
    # independent: scipy.stats.lognorm's mean and deviation, four of each, with 200 effective
    # draws: a sixteenth of the deviation for a mean, more for a deviation with so long a tail.
    assert drawn.points.mean() == pytest.approx(known.mean(), abs=3 * known.std() / np.sqrt(800))
    assert drawn.points.std(axis=0).mean() == pytest.approx(known.std(), rel=0.2)


def test_it_raises_where_no_draw_meets_a_density() -> None:
    first = Part(share=1.0, centre=np.zeros(2), covariance=np.eye(2))
    with pytest.raises(ArithmeticError, match="within the model's reach"):
        drawn_from(lambda x: np.full(len(x), WORST), [first], 20, np.random.default_rng(1))


def test_two_hills_far_apart_are_both_drawn_from_in_their_shares() -> None:
    def minus_log(x: FloatArray) -> FloatArray:
        hills = [np.log(w) - 0.5 * np.sum((x - c) ** 2, axis=1) for w, c in ((0.3, -8), (0.7, 8))]
        return -np.asarray(np.logaddexp(*hills))

    parts = [Part(share=0.5, centre=np.full(3, c), covariance=2.0 * np.eye(3)) for c in (-7.0, 7.0)]
    drawn = drawn_from(minus_log, parts, 300, np.random.default_rng(4))
    # independent: the shares put in; 200 effective draws know one to 3 %, three times that.
    assert np.mean(drawn.points[:, 0] > 0) == pytest.approx(0.7, abs=0.09)


def test_runs_scatter_as_the_number_of_draws_that_they_claim_says() -> None:
    """Nine parameters of a density that its proposal is too wide for in one and narrow in one."""
    sd = np.geomspace(0.3, 3.0, 9)

    def minus_log(x: FloatArray) -> FloatArray:
        return np.asarray(np.sum(np.log(np.cosh(1.8 * x / sd)), axis=1))

    wide = sd * np.geomspace(0.7, 1.4, 9)
    rough = Part(share=1.0, centre=0.2 * sd, covariance=np.diag(wide**2))
    runs = [drawn_from(minus_log, [rough], 256, np.random.default_rng(k)) for k in range(30)]
    means = np.array([run.points.mean(axis=0) for run in runs])
    # independent: the variance of x / sd under 1 / cosh(1.8 x / sd) is (pi / 3.6)^2.
    true_sd = sd * np.pi / 3.6
    counted = 1.0 / np.mean((means / true_sd) ** 2)
    # independent: draws are independent where 1 / (mean square of a mean) is their number; 270
    # means know that to 9 %; the rest is what is left of the beginnings.
    assert counted > 0.6 * np.mean([run.effective for run in runs])


def test_even_rows_come_as_often_as_their_weight_says() -> None:
    rows = even_rows(np.array([0.5, 0.0, 0.25, 0.25]), 40, np.random.default_rng(1))
    # independent: half and quarters of 40.
    assert np.bincount(rows, minlength=4) == pytest.approx([20, 0, 10, 10], abs=1)


def test_tempering_spreads_weight_over_enough_draws_and_revives_none_without() -> None:
    weights = np.exp(-np.arange(200.0))
    weights[150:] = 0.0
    found = tempered(weights / weights.sum(), LEAST_DRAWS)
    # independent: the count asked for, to the bisection's thousandth.
    assert 1.0 / np.sum(found**2) == pytest.approx(LEAST_DRAWS, rel=1e-3)
    assert np.all(found[150:] == 0.0)


def test_fewer_draws_than_enough_share_the_weight_evenly() -> None:
    found = tempered(np.array([0.9, 0.1, 0.0]), LEAST_DRAWS)
    np.testing.assert_allclose(found[:2], [0.5, 0.5], atol=1e-6)  # independent: by hand
    assert found[2] == 0.0
