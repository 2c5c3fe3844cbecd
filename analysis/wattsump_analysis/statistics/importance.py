"""Weighted draws from a density known up to a constant.

References
----------
.. [1] J.-M. Cornuet, J.-M. Marin, A. Mira, C. P. Robert, Adaptive Multiple Importance
   Sampling, Scandinavian Journal of Statistics 39 (2012) 798.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, logsumexp

__all__ = ("ENOUGH_DRAWS", "WIDER", "WORST", "Drawn", "Proposal", "tempered", "weighted_draws")

FloatArray = NDArray[np.float64]

# Heavier tails than the posterior's, but not by much: of twenty parameters the usual four
# to seven degrees put most draws where nothing fits.
PROPOSAL_FREEDOM = 20.0
MOST_PROPOSALS = 6
WIDER = 1.15  # covariance of a proposal over that it is made from
ENOUGH_DRAWS = 100.0
WORST = 1e12  # minus the log density where there is none


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A multivariate t distribution to draw from."""

    centre: FloatArray
    covariance: FloatArray

    def draw(self, count: int, rng: np.random.Generator) -> FloatArray:
        nu = PROPOSAL_FREEDOM
        normal = rng.standard_normal((count, self.centre.size))
        stretch = np.sqrt(nu / rng.chisquare(nu, count))
        factor = np.linalg.cholesky(self.covariance)
        return np.asarray(self.centre + normal * stretch[:, np.newaxis] @ factor.T)

    def log_density(self, points: FloatArray) -> FloatArray:
        size, nu = self.centre.size, PROPOSAL_FREEDOM
        factor = np.linalg.cholesky(self.covariance)
        z = np.linalg.solve(factor, (points - self.centre).T)
        constant = gammaln((nu + size) / 2) - gammaln(nu / 2) - size / 2 * np.log(nu * np.pi)
        constant -= float(np.sum(np.log(np.diag(factor))))
        return np.asarray(constant - (nu + size) / 2 * np.log1p(np.sum(z**2, axis=0) / nu))


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """Draws of shape (draws, parameters) whose `weights` sum to one.

    `log_evidence` is the log of the density's integral, and `effective` is how many draws the
    weights amounted to before any levelling: how well the proposals met the density.
    """

    points: FloatArray
    weights: FloatArray
    log_evidence: float
    effective: float


def weighted_draws(
    minus_log: Callable[[FloatArray], float], first: Proposal, count: int, rng: np.random.Generator
) -> Drawn:
    """Draws with weights of the posterior over the mixture of all that was proposed [1]_.

    Each proposal goes where the draws so far put the weight; none is thrown away. Proposals of
    `count` draws follow one another until the weights amount to `ENOUGH_DRAWS`; where they do
    not, the weights are levelled until they do.

    Parameters
    ----------
    minus_log : callable
        Minus the log of the density up to a constant; `WORST` where there is none.
    first : Proposal
        Where to begin.
    count : int
        Draws of each proposal.
    rng : Generator
        Source of every random number.

    Returns
    -------
    Drawn

    Raises
    ------
    ArithmeticError
        Where no draw lies where there is a density.
    """
    proposals: list[Proposal] = []
    points, values = np.empty((0, first.centre.size)), np.empty(0)
    proposal = first
    while True:
        drawn = proposal.draw(count, rng)
        proposals.append(proposal)
        points = np.concatenate([points, drawn])
        values = np.append(values, [minus_log(theta) for theta in drawn])
        if values.min() >= WORST:
            raise ArithmeticError("no draw lies within the model's reach")
        density = logsumexp([one.log_density(points) for one in proposals], axis=0)
        log_weight = -values - density + np.log(len(proposals))
        top = log_weight.max()
        weights = np.exp(log_weight - top)
        evidence = float(top + np.log(np.mean(weights)))
        weights = weights / weights.sum()
        effective = float(1.0 / np.sum(weights**2))
        if effective < ENOUGH_DRAWS:
            weights = tempered(weights)
        if effective >= ENOUGH_DRAWS or len(proposals) == MOST_PROPOSALS:
            return Drawn(points=points, weights=weights, log_evidence=evidence, effective=effective)
        centre = weights @ points
        apart = points - centre
        scatter = (weights[:, np.newaxis] * apart).T @ apart
        proposal = Proposal(centre=centre, covariance=0.5 * (proposal.covariance + WIDER * scatter))


def tempered(weights: FloatArray) -> FloatArray:
    """Weights raised to the highest power at which `ENOUGH_DRAWS` of them count.

    A draw of no weight is outside the model's reach and stays out at every power.
    """
    within = weights > 0
    logs = np.log(weights[within] / weights.max())
    low, high = 0.0, 1.0
    for _ in range(30):
        power = 0.5 * (low + high)
        tried = np.exp(power * logs)
        if tried.sum() ** 2 / np.sum(tried**2) < ENOUGH_DRAWS:
            high = power
        else:
            low = power
    found = np.zeros_like(weights)
    found[within] = np.exp(low * logs)
    return np.asarray(found / found.sum())
