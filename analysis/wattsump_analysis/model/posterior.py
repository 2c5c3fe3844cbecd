"""Posterior of the network's parameters from readings and priors.

Positive parameters are fitted as logarithms, shares as logits, all with Gaussian priors: weak ones,
or stated ones from a weighing, a sensor's class or a flow meter. The prior is a mixture over
layouts. A mode is searched for in each; chains start from the modes and draw from the posterior
itself, so an interval may be asymmetric or come from both layouts.

References
----------
.. [1] JCGM 101:2008 (GUM Supplement 1): propagation of distributions by Monte Carlo.
.. [2] A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, sections 10.4 and 13.3.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
from scipy.special import logsumexp

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.model.case import Gaussian
from wattsump_analysis.model.network import Network, natural
from wattsump_analysis.model.ridge import Ridge
from wattsump_analysis.statistics.draws import (
    WORST,
    Part,
    drawn_from,
)

__all__ = ("Mode", "Posterior", "Target", "draw_from", "find_mode")

AT_ONCE = 100  # trials whose coefficient series are in memory together
MOST_PASSES = 40
LEAST_GAIN = 0.05  # gain of a pass; with less the mode is within a third of a deviation
STRIDES = (1.0, 1.5, 0.6, 0.3, 0.15, 0.06, 0.03, 0.01)  # as many as are computed at once
NEAR = 0.3  # first guess of a transform's standard deviation
LONGEST_STRIDE = 2.0  # of a prior's standard deviation, so that no pass leaves the prior's range
BESIDE = 0.7  # standard deviations between slopes
WIDEST = 1.5  # variance of a proposal over that of the prior
LOG_2PI = float(np.log(2 * np.pi))


class Target:
    """Minus the log posterior of a network, of transformed parameters.

    Parameters
    ----------
    network : Network
        Model with its record.
    layouts : sequence of mapping of str to Gaussian
        The prior of every parameter in each layout; a standard deviation of 0 fixes it. Layouts
        are equally probable before the readings, and have the same free parameters.
    """

    def __init__(self, network: Network, layouts: Sequence[Mapping[str, Gaussian]]) -> None:
        self.network = network
        self.layouts = layouts
        first = layouts[0]
        self.names = tuple(name for name, prior in first.items() if prior.sd > 0)
        self.mean = np.array([[layout[name].mean for name in self.names] for layout in layouts])
        self.sd = np.array([[layout[name].sd for name in self.names] for layout in layouts])
        self.fixed = {
            name: float(natural(name, prior.mean)) for name, prior in first.items() if prior.sd == 0
        }

    def only(self, layout: int) -> "Target":
        """The posterior in one layout."""
        return Target(self.network, [self.layouts[layout]])

    def of(self, network: Network) -> "Target":
        """The same prior with another network."""
        return Target(network, self.layouts)

    def given(self, theta: FloatArray) -> Any:
        """Parameters in their own units: floats, or columns (trials, 1) of theta's rows."""
        columns = theta[..., np.newaxis] if theta.ndim > 1 else theta
        each = {
            name: natural(name, columns[:, at] if theta.ndim > 1 else float(theta[at]))
            for at, name in enumerate(self.names)
        }
        return SimpleNamespace(**self.fixed, **each)

    def log_priors(self, theta: FloatArray) -> FloatArray:
        """Log prior density in each layout and of it, shape (layouts, ...)."""
        pull = (theta[np.newaxis] - self._wide(self.mean, theta)) / self._wide(self.sd, theta)
        whole = -0.5 * np.sum(pull**2, axis=-1) - 0.5 * theta.shape[-1] * LOG_2PI
        constant = -np.sum(np.log(self.sd), axis=-1) - np.log(len(self.layouts))
        return np.asarray(whole + (constant[:, np.newaxis] if theta.ndim > 1 else constant))

    def _wide(self, per_layout: FloatArray, theta: FloatArray) -> FloatArray:
        return per_layout[:, np.newaxis] if theta.ndim > 1 else per_layout

    def many(self, thetas: FloatArray) -> FloatArray:
        """Values at the rows of `thetas`; `WORST` where they are not finite."""
        results = np.empty(len(thetas))
        for begin in range(0, len(thetas), AT_ONCE):
            part = thetas[begin : begin + AT_ONCE]
            # Far from the mode numbers overflow; such a point counts as the worst.
            with np.errstate(all="ignore"):
                likelihood = self.network.log_likelihoods(self.given(part))
                value = -likelihood - logsumexp(self.log_priors(part), axis=0)
            results[begin : begin + AT_ONCE] = np.where(np.isfinite(value), value, WORST)
        return np.minimum(results, WORST)

    def __call__(self, theta: FloatArray) -> float:
        return float(self.many(theta[np.newaxis])[0])

    def with_slopes(self, thetas: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Values and gradients at the rows of `thetas`; `WORST` and 0 where not finite."""
        with np.errstate(all="ignore"):
            likelihood, slopes = self.network.slopes(self.names, self.given(thetas))
            each = self.log_priors(thetas)
            whole = logsumexp(each, axis=0)
            share = np.exp(each - whole)[..., np.newaxis]
            pulls = (thetas - self.mean[:, np.newaxis]) / self.sd[:, np.newaxis] ** 2
            slopes = np.sum(share * pulls, axis=0) - slopes
            values = -likelihood - whole
        broken = ~(np.isfinite(values) & np.isfinite(slopes).all(axis=1))
        return np.where(broken, WORST, values), np.where(broken[:, np.newaxis], 0.0, slopes)

    def with_slope(self, theta: FloatArray) -> tuple[float, FloatArray]:
        """`with_slopes` at a single point."""
        values, slopes = self.with_slopes(theta[np.newaxis])
        return float(values[0]), slopes[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mode:
    """A mode, the Gaussian there, and minus the log posterior, up to a constant."""

    theta: FloatArray
    covariance: FloatArray
    value: float

    @property
    def log_evidence(self) -> float:
        """Laplace's."""
        log_det = float(np.linalg.slogdet(self.covariance)[1])
        return -self.value + 0.5 * self.theta.size * LOG_2PI + 0.5 * log_det


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """Draws of equal weight: of the free parameters transformed, then of the linear unknowns.

    `draws` has shape (draws, names); `mode` and `covariance` are of the same names.
    `effective_draws` is the equivalent number of independent draws. `layout` is the share of the
    draws in each layout.
    """

    target: Target
    names: tuple[str, ...]
    priors: Mapping[str, Gaussian]
    mode: FloatArray
    covariance: FloatArray
    draws: FloatArray
    effective_draws: float
    layout: FloatArray

    @property
    def weights(self) -> FloatArray:
        return np.full(len(self.draws), 1.0 / len(self.draws))

    def given(self, theta: FloatArray) -> Any:
        """Parameters in their own units from one row, or from rows as columns."""
        return self.target.given(theta[..., : len(self.target.names)])

    def column(self, name: str) -> FloatArray:
        """Draws of one parameter in its own unit, shape (draws,); a fixed one repeats."""
        if name in self.names:
            return np.asarray(natural(name, self.draws[:, self.names.index(name)]))
        return np.full(len(self.draws), self.target.fixed[name])


def _newton(target: Target, mode: Mode) -> Mode:
    """The mode that Newton's passes reach.

    Slopes are differenced over the width of the previous pass's covariance in each direction, so
    that the covariance is that of the whole peak, not of its top.
    """
    sd = target.sd[0]
    for _ in range(MOST_PASSES):
        values, vectors = np.linalg.eigh(mode.covariance / np.outer(sd, sd))
        axes = sd[:, np.newaxis] * vectors * np.sqrt(values)
        beside = np.vstack([mode.theta, mode.theta + BESIDE * axes.T])
        values, slopes = target.with_slopes(beside)
        slope, *others = slopes @ axes
        hessian = (np.array(others) - slope) / BESIDE
        curvatures, turn = np.linalg.eigh(0.5 * (hessian + hessian.T))
        turned = axes @ turn
        # A direction of no or negative curvature keeps a wide proposal.
        covariance = _within_prior(turned / np.clip(curvatures, 0.1, None) @ turned.T, sd)
        stride = -turned @ ((turn.T @ slope) / np.clip(np.abs(curvatures), 0.3, None))
        stride *= min(1.0, LONGEST_STRIDE / max(np.max(np.abs(stride) / sd), 1e-12))
        tries = mode.theta + np.outer(STRIDES, stride)
        heights = target.many(tries)
        best = int(np.argmin(heights))
        gained = values[0] - heights[best]
        theta = tries[best] if gained > 0 else mode.theta
        value = float(min(values[0], heights[best]))
        mode = Mode(theta=theta, covariance=covariance, value=value)
        if gained < LEAST_GAIN:
            break
    return mode


def _within_prior(covariance: FloatArray, sd: FloatArray) -> FloatArray:
    """The covariance, limited in each direction to a little more than the prior's.

    Readings make a prior narrower. A wider result is a wrong estimate of curvature, and draws from
    it would not fit the readings.
    """
    values, vectors = np.linalg.eigh(covariance / np.outer(sd, sd))
    kept = (vectors * np.clip(values, 1e-10, WIDEST)) @ vectors.T
    whole = kept * np.outer(sd, sd)
    return np.asarray(0.5 * (whole + whole.T))


def find_mode(target: Target, starts: Sequence[FloatArray]) -> Mode:
    """Find the mode in one layout, with the Gaussian there and its Laplace evidence.

    Parameters
    ----------
    target : Target
        Of a single layout.
    starts : sequence of ndarray
        Starts of the search, which may end at a lower mode; the highest is returned.
    """
    rough = np.diag(np.minimum(target.sd[0], NEAR) ** 2)
    # All to the end: after a few passes the lower mode may still be ahead.
    places = [Mode(theta=start, covariance=rough, value=WORST) for start in starts]
    return min((_newton(target, place) for place in places), key=lambda mode: mode.value)


def draw_from(
    target: Target,
    modes: Sequence[Mode],
    rng: np.random.Generator,
) -> Posterior:
    """Draw from the posterior, starting from the modes of `find_mode`.

    Raises
    ------
    ArithmeticError
        The posterior is zero wherever the draws could start.
    """
    shares = np.exp(
        [mode.log_evidence for mode in modes] - logsumexp([m.log_evidence for m in modes])
    )
    parts = [
        Part(share=float(share), centre=mode.theta, covariance=mode.covariance)
        for mode, share in zip(modes, shares, strict=True)
    ]
    ridge = Ridge(target.names)
    drawn = drawn_from(ridge.slopes(target.with_slopes), [ridge.part(p) for p in parts], rng)
    theta = ridge.across(drawn.points)
    best = max(modes, key=lambda mode: -target(mode.theta)).theta
    network = target.network
    count = sum(name in network.unknown_priors for name in network.unknowns if " " not in name)
    linear = network.spread(target.given(theta)).drawn(rng)[:, :count]
    at_mode = network.spread(target.given(best[np.newaxis])).means[0, :count]
    draws = np.hstack([theta, linear])
    belongs = target.log_priors(theta)
    layout = np.exp(belongs - logsumexp(belongs, axis=0)).mean(axis=1)
    return Posterior(
        target=target,
        names=(*target.names, *network.unknowns[:count]),
        priors={**target.layouts[int(np.argmax(layout))], **network.unknown_priors},
        mode=np.append(best, at_mode),
        covariance=np.cov(draws, rowvar=False),
        draws=draws,
        effective_draws=drawn.effective,
        layout=layout,
    )
