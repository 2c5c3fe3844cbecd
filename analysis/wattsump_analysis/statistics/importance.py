"""Draws from a density known up to a constant.

References
----------
.. [1] A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, sec. 10.4: importance sampling and
   resampling.
.. [2] R. Nishihara, I. Murray, R. P. Adams, Parallel MCMC with generalized elliptical slice
   sampling, Journal of Machine Learning Research 15 (2014) 2087: algorithm 2.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln, logsumexp

from wattsump_analysis.arrays import FloatArray

__all__ = (
    "LEAST_DRAWS",
    "WORST",
    "Drawn",
    "Part",
    "drawn_from",
    "even_rows",
    "tempered",
)

# Heavier tails than the posterior's, but not by much: of twenty parameters the usual four
# to seven degrees put most draws where nothing fits.
PROPOSAL_FREEDOM = 20.0
MOST_MOVES = 8
HALFWAY = 0.35  # correlation with the beginnings
MOST_SLICES = 20  # then the draw stays where it is
LEAST_DRAWS = 100.0  # fewer are too few to go by; below it the weights are tempered
WORST = 1e12  # minus the log density where there is none


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A multivariate t distribution, one of a mixture to draw from."""

    share: float
    centre: FloatArray
    covariance: FloatArray

    def draw(self, count: int, rng: np.random.Generator) -> FloatArray:
        nu = PROPOSAL_FREEDOM
        normal = rng.standard_normal((count, self.centre.size))
        stretch = np.sqrt(nu / rng.chisquare(nu, count))
        factor = np.linalg.cholesky(self.covariance)
        return np.asarray(self.centre + normal * stretch[:, np.newaxis] @ factor.T)

    def squares(self, points: FloatArray) -> FloatArray:
        """Mahalanobis squares of points, shape (points,)."""
        factor = np.linalg.cholesky(self.covariance)
        return np.asarray(np.sum(np.linalg.solve(factor, (points - self.centre).T) ** 2, axis=0))

    def log_density(self, points: FloatArray) -> FloatArray:
        size, nu = self.centre.size, PROPOSAL_FREEDOM
        constant = gammaln((nu + size) / 2) - gammaln(nu / 2) - size / 2 * np.log(nu * np.pi)
        constant -= 0.5 * float(np.linalg.slogdet(self.covariance)[1])
        return np.asarray(constant - (nu + size) / 2 * np.log1p(self.squares(points) / nu))


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """Draws of equal weight, shape (draws, parameters), and their effective number."""

    points: FloatArray
    effective: float


def drawn_from(
    minus_log: Callable[[FloatArray], FloatArray],
    parts: Sequence[Part],
    count: int,
    rng: np.random.Generator,
) -> Drawn:
    """Draws of equal weight from a density, begun from a mixture near it.

    `count` proposals are weighted [1]_, tempered if too few of them would count, resampled, and
    moved along slices of the density until they no longer depend on where they began.

    Parameters
    ----------
    minus_log : callable
        Minus the log of the density up to a constant, of many points at once; `WORST` where there
        is none.
    parts : sequence of Part
        The mixture to begin from.
    count : int
        Draws.
    rng : Generator
        Source of every random number.

    Raises
    ------
    ArithmeticError
        The density is zero at every draw.
    """
    numbers = rng.multinomial(count, [part.share for part in parts])
    points = np.concatenate(
        [part.draw(number, rng) for part, number in zip(parts, numbers, strict=True)]
    )
    values = minus_log(points)
    if values.min() >= WORST:
        raise ArithmeticError("no draw lies within the model's reach")
    log_weight = -values - _log_mixture(parts, points)
    weights = np.exp(log_weight - log_weight.max())
    weights = tempered(weights / weights.sum(), LEAST_DRAWS)
    rows = even_rows(weights, count, rng)
    return _moved(minus_log, _as_one(parts), points[rows], values[rows], rng)


def _as_one(parts: Sequence[Part]) -> Part:
    """One distribution with the mean and the covariance of a mixture."""
    centre = np.sum([part.share * part.centre for part in parts], axis=0)
    apart = [part.centre - centre for part in parts]
    covariance = np.sum(
        [
            part.share * (part.covariance + np.outer(a, a))
            for part, a in zip(parts, apart, strict=True)
        ],
        axis=0,
    )
    return Part(share=1.0, centre=centre, covariance=covariance)


def _moved(
    minus_log: Callable[[FloatArray], FloatArray],
    part: Part,
    begun: FloatArray,
    values: FloatArray,
    rng: np.random.Generator,
) -> Drawn:
    """Move draws by elliptical slices [2]_.

    The ellipses are not made of the draws, which would correlate the draws (250 of them would
    count as 130). The share of the variance still correlated with the start counts as the start
    did, the rest as independent. Correlations near zero cannot be measured with so few draws, so
    half as many moves again as brought them to a third follow.
    """
    points, moves, alike = begun, 0, 1.0
    while moves < MOST_MOVES and alike > HALFWAY:
        points, values = _sliced(minus_log, part, points, values, rng)
        moves, alike = moves + 1, _alike(begun, points)
    for _ in range((moves + 1) // 2):
        points, values = _sliced(minus_log, part, points, values, rng)
    old, count = alike**2, len(begun)
    return Drawn(points=points, effective=1.0 / (old / LEAST_DRAWS + (1.0 - old) / count))


def _alike(begun: FloatArray, points: FloatArray) -> float:
    """Correlation of draws with their starting points; nine parameters in ten are below it."""
    each = [np.corrcoef(a, b)[0, 1] for a, b in zip(begun.T, points.T, strict=True)]
    return float(np.quantile(np.clip(each, 0.0, 1.0), 0.9))


def _log_mixture(parts: Sequence[Part], points: FloatArray) -> FloatArray:
    each = [np.log(part.share) + part.log_density(points) for part in parts]
    return np.asarray(logsumexp(each, axis=0))


def tempered(weights: FloatArray, least: float) -> FloatArray:
    """Weights raised to the highest power, at most 1, at which `least` of them count.

    A draw of no weight is outside the model's reach and stays out at every power.
    """
    if 1.0 / np.sum(weights**2) >= least:
        return weights
    within = weights > 0
    logs = np.log(weights[within] / weights.max())
    low, high = 0.0, 1.0
    for _ in range(30):
        power = 0.5 * (low + high)
        tried = np.exp(power * logs)
        if tried.sum() ** 2 / np.sum(tried**2) < least:
            high = power
        else:
            low = power
    found = np.zeros_like(weights)
    found[within] = np.exp(low * logs)
    return np.asarray(found / found.sum())


def _sliced(
    minus_log: Callable[[FloatArray], FloatArray],
    part: Part,
    here: FloatArray,
    values: FloatArray,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Move each draw once along an ellipse, to where the density over `part`'s is above a slice.

    Returns the draws and minus the log of their density, of which `values` is that before.
    """
    count, size = here.shape
    pull = 0.5 * (PROPOSAL_FREEDOM + part.squares(here))
    stretch = np.sqrt(pull / rng.gamma(0.5 * (size + PROPOSAL_FREEDOM), size=count))
    factor = np.linalg.cholesky(part.covariance)
    across = stretch[:, np.newaxis] * rng.standard_normal((count, size)) @ factor.T
    least = -values - part.log_density(here) + np.log(rng.random(count))
    angle: FloatArray = rng.uniform(0.0, 2.0 * np.pi, size=(count,))
    low, high = np.asarray(angle - 2.0 * np.pi), angle.copy()
    there, reached, open_ = here.copy(), values.copy(), np.arange(count)
    for _ in range(MOST_SLICES):
        if not open_.size:
            break
        turn = angle[open_, np.newaxis]
        tried = (here[open_] - part.centre) * np.cos(turn) + across[open_] * np.sin(turn)
        tried += part.centre
        trial = minus_log(tried)
        taken = -trial - part.log_density(tried) > least[open_]
        there[open_[taken]], reached[open_[taken]] = tried[taken], trial[taken]
        open_ = open_[~taken]
        back = angle[open_] < 0.0
        low[open_] = np.where(back, angle[open_], low[open_])
        high[open_] = np.where(back, high[open_], angle[open_])
        angle[open_] = rng.uniform(low[open_], high[open_])
    return there, reached


def even_rows(weights: FloatArray, count: int, rng: np.random.Generator) -> np.ndarray:
    """Rows of `count` draws of equal weight, by systematic resampling."""
    at = (np.arange(count) + rng.random()) / count
    rows = np.searchsorted(np.cumsum(weights), at)
    return np.asarray(rng.permutation(np.minimum(rows, weights.size - 1)))
