"""Weighted draws from a density known up to a constant.

References
----------
.. [1] J.-M. Cornuet, J.-M. Marin, A. Mira, C. P. Robert, Adaptive Multiple Importance
   Sampling, Scandinavian Journal of Statistics 39 (2012) 798.
.. [2] O. Cappé et al., Adaptive importance sampling in general mixture classes, Statistics and
   Computing 18 (2008) 447: eq. 16 to 18, what the parts of a proposal become.
.. [3] R. Nishihara, I. Murray, R. P. Adams, Parallel MCMC with generalized elliptical slice
   sampling, Journal of Machine Learning Research 15 (2014) 2087: algorithm 2.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln, logsumexp

from wattsump_analysis.arrays import FloatArray

__all__ = (
    "ENOUGH_DRAWS",
    "WORST",
    "Drawn",
    "Part",
    "even_rows",
    "moved",
    "tempered",
    "weighted_draws",
)

# Heavier tails than the posterior's, but not by much: of twenty parameters the usual four
# to seven degrees put most draws where nothing fits.
PROPOSAL_FREEDOM = 20.0
MOST_ROUNDS = 6
MOST_MOVES = 8
MOST_SLICES = 20  # then the draw stays where it is
ENOUGH_DRAWS = 200.0
LEAST_DRAWS = 100.0  # below it the weights are tempered
WIDER = 1.1  # covariance of a proposal over that of the draws it is made from
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
    """Draws of shape (draws, parameters) whose `weights` sum to one.

    `effective` is how many draws the weights amounted to before any tempering: how well the
    proposals met the density.
    """

    points: FloatArray
    weights: FloatArray
    effective: float


def weighted_draws(
    minus_log: Callable[[FloatArray], FloatArray],
    parts: Sequence[Part],
    count: int,
    rng: np.random.Generator,
) -> Drawn:
    """Draws with weights of the posterior over the mixture of all that was proposed [1]_.

    Proposals of `count` draws follow one another, each made of the draws so far [2]_, until the
    weights amount to `ENOUGH_DRAWS`; none is thrown away. Weights that never amount to
    `LEAST_DRAWS` are tempered until they do.

    Parameters
    ----------
    minus_log : callable
        Minus the log of the density up to a constant, of many points at once; `WORST` where there
        is none.
    parts : sequence of Part
        Where to begin.
    count : int
        Draws of each round.
    rng : Generator
        Source of every random number.

    Raises
    ------
    ArithmeticError
        Where no draw lies where there is a density.
    """
    size = parts[0].centre.size
    points, values = np.empty((0, size)), np.empty(0)
    densities = np.empty((0, 0))
    proposals: list[Sequence[Part]] = []
    for _ in range(MOST_ROUNDS):
        numbers = rng.multinomial(count, [part.share for part in parts])
        drawn = np.concatenate(
            [part.draw(number, rng) for part, number in zip(parts, numbers, strict=True)]
        )
        densities = np.hstack(
            [densities, [_log_mixture(one, drawn) for one in proposals]]
            if proposals
            else [np.empty((0, count))]
        )
        proposals.append(parts)
        points = np.concatenate([points, drawn])
        values = np.append(values, minus_log(drawn))
        densities = np.vstack([densities, _log_mixture(parts, points)])
        if values.min() >= WORST:
            raise ArithmeticError("no draw lies within the model's reach")
        log_weight = -values - logsumexp(densities, axis=0)
        weights = np.exp(log_weight - log_weight.max())
        weights /= weights.sum()
        effective = float(1.0 / np.sum(weights**2))
        if effective >= ENOUGH_DRAWS:
            break
        parts = _met(parts, points, tempered(weights, max(3.0 * size, LEAST_DRAWS)))
    return Drawn(points=points, weights=tempered(weights, LEAST_DRAWS), effective=effective)


def _log_mixture(parts: Sequence[Part], points: FloatArray) -> FloatArray:
    each = [np.log(part.share) + part.log_density(points) for part in parts]
    return np.asarray(logsumexp(each, axis=0))


def _met(parts: Sequence[Part], points: FloatArray, weights: FloatArray) -> tuple[Part, ...]:
    """Parts moved to the draws that each accounts for [2]_."""
    size, nu = points.shape[1], PROPOSAL_FREEDOM
    each = np.array([np.log(part.share) + part.log_density(points) for part in parts])
    belongs = np.exp(each - logsumexp(each, axis=0)) * weights
    shares = np.maximum(belongs.sum(axis=1), 0.02)
    found = []
    for part, own, share in zip(parts, belongs, shares / shares.sum(), strict=True):
        pull = own * (nu + size) / (nu + part.squares(points))
        if pull.sum() <= 0.0:
            found.append(part)
            continue
        centre = pull @ points / pull.sum()
        apart = points - centre
        scatter = WIDER * (pull[:, np.newaxis] * apart).T @ apart / own.sum()
        # Few draws tell few directions; the rest keeps what it was.
        trust = 1.0 / float(np.sum((own / own.sum()) ** 2))
        trust = trust / (trust + size)
        covariance = trust * scatter + (1.0 - trust) * part.covariance
        found.append(Part(share=float(share), centre=centre, covariance=covariance))
    return tuple(found)


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


def moved(
    minus_log: Callable[[FloatArray], FloatArray],
    points: FloatArray,
    ancestors: float,
    rng: np.random.Generator,
) -> tuple[FloatArray, float]:
    """Even draws moved by elliptical slices of the density [3]_ until enough of them count.

    Parameters
    ----------
    minus_log : callable
        As of `weighted_draws`.
    points : ndarray, shape (draws, parameters)
        Draws of equal weight, many of them alike.
    ancestors : float
        How many different draws they amount to.
    rng : Generator
        Source of every random number.

    Returns
    -------
    tuple
        The moved draws, and how many they amount to: what still goes together with where it
        began counts as the beginnings did, the rest as fresh.
    """
    covariance = np.cov(points, rowvar=False)
    covariance += 1e-6 * np.diag(np.diag(covariance))
    part = Part(share=1.0, centre=points.mean(axis=0), covariance=covariance)
    here, effective = points, ancestors
    value = -minus_log(here) - part.log_density(here)
    for _ in range(MOST_MOVES):
        if effective >= ENOUGH_DRAWS:
            break
        here, value = _sliced(minus_log, part, here, value, rng)
        pairs = zip(points.T, here.T, strict=True)
        alike = np.clip([np.corrcoef(a, b)[0, 1] for a, b in pairs], 0.0, 1.0)
        old = float(np.quantile(alike, 0.9)) ** 2
        effective = 1.0 / (old / ancestors + (1.0 - old) / len(points))
    return here, effective


def _sliced(
    minus_log: Callable[[FloatArray], FloatArray],
    part: Part,
    here: FloatArray,
    value: FloatArray,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Each draw once along an ellipse to where the density over `part`'s is above a slice."""
    count, size = here.shape
    pull = 0.5 * (PROPOSAL_FREEDOM + part.squares(here))
    stretch = np.sqrt(pull / rng.gamma(0.5 * (size + PROPOSAL_FREEDOM), size=count))
    factor = np.linalg.cholesky(part.covariance)
    across = stretch[:, np.newaxis] * rng.standard_normal((count, size)) @ factor.T
    least = value + np.log(rng.random(count))
    angle: FloatArray = rng.uniform(0.0, 2.0 * np.pi, size=(count,))
    low, high = np.asarray(angle - 2.0 * np.pi), angle.copy()
    there, reached, open_ = here.copy(), value.copy(), np.arange(count)
    for _ in range(MOST_SLICES):
        turn = angle[open_, np.newaxis]
        tried = (here[open_] - part.centre) * np.cos(turn) + across[open_] * np.sin(turn)
        tried += part.centre
        trial = -minus_log(tried) - part.log_density(tried)
        taken = trial > least[open_]
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
