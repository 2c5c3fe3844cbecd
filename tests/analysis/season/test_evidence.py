"""Evidence of a change: against a general normal density, point by point of the grid."""

import numpy as np
import pytest
from scipy import stats

from wattsump_analysis.season.evidence import (
    ANSWERS,
    CORRELATION_ODDS,
    CORRELATIONS,
    FLAT,
    TIDY,
    TYPICAL,
    Evidence,
    Given,
    Grid,
    log_sum,
    shift_evidence,
)

N = 7
MEAN, COVARIANCE = np.array([-0.2, 0.1]), np.array([[0.04, 0.01], [0.01, 0.09]])


def given(seed: int) -> Given:
    rng = np.random.default_rng(seed)
    rows = rng.normal(0.0, 0.1, (N, 2))
    return Given(
        rows=rows - np.median(rows, axis=0),
        offsets=np.zeros((N, 2)),
        columns=rng.normal(0.0, 0.05, (N, 2, 3)),
        oil_k=rng.normal(0.0, 5.0, N),
        rise_k=30.0,
        yearly=1,
    )


def density(g: Given, grid: Grid, point: tuple[int, int, int], step: int | None) -> float:
    """Log density of all rows as one normal vector, K first; with a change or without."""
    j, v, a = point
    lag = np.abs(np.subtract.outer(np.arange(N), np.arange(N)))
    whole = np.kron(grid.covariance[v], CORRELATIONS[j] ** lag)
    whole += np.kron(FLAT**2 * np.eye(2), np.ones((N, N)))
    # The year, the first column, moves no tidy machine.
    columns = g.columns[:, :, 1 if TIDY[j] else 0 :].transpose(1, 0, 2).reshape(2 * N, -1)
    whole += columns @ columns.T
    mean = np.zeros(2 * N)
    if step is not None:
        h = (np.arange(N) >= step).astype(float)
        whole += np.kron(COVARIANCE, np.outer(h, h))
        mean = np.kron(MEAN, h)
    rows = g.rows.copy()
    rows -= np.median(rows, axis=0)
    rows[:, 1] -= ANSWERS[a] * g.oil_k
    return float(stats.multivariate_normal(mean, whole).logpdf(rows.T.ravel()))


@pytest.mark.parametrize("seed", range(3))
def test_evidence_of_a_step_is_that_of_the_whole_normal_vector(seed: int) -> None:
    g, grid = given(seed), Grid.about(TYPICAL, TYPICAL, N)
    evidence = Evidence(g, grid)
    step = 3
    a, b = evidence.along((np.arange(N) >= step).astype(float)[:, None])
    found = shift_evidence(a, b, MEAN, COVARIANCE)[..., 0]
    rng = np.random.default_rng(seed)
    for point in zip(*(rng.integers(0, size, 5) for size in found.shape), strict=True):
        by_density = density(g, grid, point, step) - density(g, grid, point, None)
        # independent: scipy's multivariate normal of all 14 numbers at once; rounding only
        assert found[point] == pytest.approx(by_density, abs=1e-6)


def test_points_of_the_grid_are_weighed_by_the_density_of_all_rows() -> None:
    g, grid = given(5), Grid.about(TYPICAL, TYPICAL, N)
    weights = Evidence(g, grid).log_weights
    odds = np.log(CORRELATION_ODDS)
    first, second = (0, 7, 1), (2, 4, 1)
    expected = density(g, grid, first, None) - density(g, grid, second, None)
    expected += odds[0] - odds[2] + grid.log_odds[7] - grid.log_odds[4]
    # independent: as above, with the stated odds of the points
    assert weights[first] - weights[second] == pytest.approx(expected, abs=1e-6)
    assert log_sum(weights, axis=(0, 1, 2)) == pytest.approx(0.0, abs=1e-12)


def test_heat_that_answers_warm_oil_is_found_out() -> None:
    rng = np.random.default_rng(6)
    oil_k = rng.normal(0.0, 8.0, 40)
    rows = rng.normal(0.0, 0.02, (40, 2))
    rows[:, 1] += 0.006 * oil_k
    g = Given(
        rows=rows, offsets=np.zeros((40, 2)), columns=np.zeros((40, 2, 0)), oil_k=oil_k, rise_k=40.0
    )
    mean, u = Evidence(g, Grid.about(TYPICAL, TYPICAL, N)).answer_mean
    # independent: the answer the rows were made with; their scatter knows it to 0.0004
    assert mean == pytest.approx(0.006, abs=1e-4)
    assert u < 1e-3
