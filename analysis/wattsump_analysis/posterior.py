"""From readings and prior knowledge to the posterior of the network's parameters.

Positive parameters are handled as logarithms, all with Gaussian priors: weak ones where
the data must speak, stated ones where a weighing, a label of a sensor or a flow meter
speaks. The mode is found by BFGS, the Hessian there gives a proposal, and weighted draws
from a heavy-tailed proposal give the posterior itself, so an interval may be lopsided.

References
----------
.. [1] JCGM 101:2008 (GUM Supplement 1): propagation of distributions by Monte Carlo.
.. [2] A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, sections 10.4 and 13.3.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import gammaln

from wattsump_analysis._adjoint import log_likelihood_and_slope
from wattsump_analysis.network import Network, Parameters

__all__ = (
    "LINEAR",
    "Gaussian",
    "Posterior",
    "log_posterior_and_slope",
    "log_posterior_at",
    "sample_posterior",
)

FloatArray = NDArray[np.float64]

LINEAR = (
    "loop_oil",
    "tank_metal",
    "motion_gain",
    "viscosity_exponent",
    "offset_ambient_k",
    "offset_in_k",
    "offset_out_k",
    "lag_tank_s",
    "lag_in_s",
    "lag_out_s",
    "metal_heat",
)
PROPOSAL_FREEDOM = 6.0  # heavy enough tails to cover a skewed posterior
DRAWS = 400
PASSES = 2
FIRST_LOOK = 50  # steps of a search before it is compared with another
LONGEST_SEARCH = 300
LONGEST_STRIDE = 2.0  # of a prior's standard deviation, so that no pass leaves the map
WIDEST = 1.5  # variance of a proposal over that of the prior
ENOUGH_DRAWS = 80.0
WORST = 1e12
LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True, slots=True, kw_only=True)
class Gaussian:
    """Prior of one parameter, of its logarithm unless the name is in `LINEAR`.

    `stated` marks knowledge from outside the readings (a type B contribution).
    """

    mean: float
    sd: float
    stated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """Weighted draws of the free parameters, and the Gaussian at the mode.

    `draws` has shape (draws, free), in the handled (log) form; `weights` sum to one.
    """

    names: tuple[str, ...]
    priors: Mapping[str, Gaussian]
    mode: FloatArray
    covariance: FloatArray
    draws: FloatArray
    weights: FloatArray
    log_evidence: float
    converged: bool

    @property
    def effective_draws(self) -> float:
        return float(1.0 / np.sum(self.weights**2))

    def parameters(self, theta: FloatArray) -> Parameters:
        return _parameters(self.names, theta, self.priors)

    @property
    def place(self) -> dict[str, float]:
        """The mode by name, to start another search from."""
        return dict(zip(self.names, map(float, self.mode), strict=True))

    def column(self, name: str) -> FloatArray:
        """Draws of one parameter in its own unit, shape (draws,)."""
        values = self.draws[:, self.names.index(name)]
        return values if name in LINEAR else np.exp(values)


def _parameters(
    names: tuple[str, ...], theta: FloatArray, priors: Mapping[str, Gaussian]
) -> Parameters:
    handled = {name: prior.mean for name, prior in priors.items()}
    handled.update(zip(names, (float(v) for v in theta), strict=True))
    return Parameters(
        **{name: v if name in LINEAR else float(np.exp(v)) for name, v in handled.items()}
    )


class _Target:
    """Minus the log posterior in units of `scale` about `centre`."""

    def __init__(self, network: Network, priors: Mapping[str, Gaussian]) -> None:
        self.network = network
        self.priors = priors
        self.names = tuple(name for name, prior in priors.items() if prior.sd > 0)
        self.mean = np.array([priors[name].mean for name in self.names])
        self.sd = np.array([priors[name].sd for name in self.names])

    def _prior(self, theta: FloatArray) -> float:
        pull = (theta - self.mean) / self.sd
        return (
            0.5 * float(pull @ pull) + float(np.sum(np.log(self.sd))) + 0.5 * theta.size * LOG_2PI
        )

    def __call__(self, theta: FloatArray) -> float:
        try:
            # Far from the mode numbers overflow; such a point is simply the worst.
            with np.errstate(all="ignore"):
                p = _parameters(self.names, theta, self.priors)
                value = self._prior(theta) - self.network.log_likelihood(p)
        except (np.linalg.LinAlgError, ArithmeticError):
            return WORST
        return value if np.isfinite(value) else WORST

    def with_slope(self, theta: FloatArray) -> tuple[float, FloatArray]:
        """The value and its gradient; no slope where the model breaks."""
        try:
            with np.errstate(all="ignore"):
                p = _parameters(self.names, theta, self.priors)
                value, slopes = log_likelihood_and_slope(self.network, p)
        except (np.linalg.LinAlgError, ArithmeticError):
            return WORST, np.zeros(theta.size)
        handled = [slopes[n] * (1.0 if n in LINEAR else getattr(p, n)) for n in self.names]
        slope = (theta - self.mean) / self.sd**2 - np.array(handled)
        if not (np.isfinite(value) and np.isfinite(slope).all()):
            return WORST, np.zeros(theta.size)
        return self._prior(theta) - value, slope


def _mode(
    target: _Target, start: FloatArray, most: int = LONGEST_SEARCH
) -> tuple[FloatArray, FloatArray, bool]:
    """Mode and a rough covariance, by BFGS in units that make the parameters alike."""
    unit = np.minimum(target.sd, 0.3)

    def scaled(z: FloatArray) -> tuple[float, FloatArray]:
        value, slope = target.with_slope(start + unit * z)
        return value, slope * unit

    # Beyond five prior deviations there is nothing to look for, only overflow.
    reach = 5.0 * target.sd / unit
    away = (start - target.mean) / unit
    found = minimize(
        scaled,
        np.zeros(start.size),
        jac=True,
        method="L-BFGS-B",
        bounds=list(zip(-reach - away, reach - away, strict=True)),
        options={"maxcor": 40, "ftol": 1e-7, "gtol": 1e-2, "maxiter": most},
    )
    inverse = found.hess_inv @ np.eye(start.size)
    covariance = np.asarray(inverse) * np.outer(unit, unit)
    return start + unit * found.x, covariance, bool(found.success)


def _refine(
    target: _Target, mode: FloatArray, rough: FloatArray, passes: int
) -> tuple[FloatArray, FloatArray]:
    """Newton's mode and covariance, by second differences along the rough one's axes.

    Each pass takes the axes of the last, so that the differences are as long as the
    posterior is wide in every direction, long valleys included.
    """
    covariance = _within_prior(rough, target.sd)
    for _ in range(passes):
        values, vectors = np.linalg.eigh(covariance)
        axes = vectors * np.sqrt(np.clip(values, 1e-8, None))
        slope, hessian = _differences(target, mode, axes)
        found, turn = np.linalg.eigh(hessian)
        turned = axes @ turn
        # A direction that second differences call flat or worse keeps a wide proposal.
        covariance = np.asarray(turned / np.clip(found, 0.1, None) @ turned.T)
        covariance = _within_prior(covariance, target.sd)
        stride = -turned @ ((turn.T @ slope) / np.clip(found, 0.3, None))
        reach = np.max(np.abs(stride) / target.sd)
        stride *= min(1.0, LONGEST_STRIDE / max(reach, 1e-12))
        here = target(mode)
        for shorter in (1.0, 0.5, 0.25, 0.1):
            if target(mode + shorter * stride) < here:
                mode = mode + shorter * stride
                break
    return mode, 0.5 * (covariance + covariance.T)


def _within_prior(covariance: FloatArray, sd: FloatArray) -> FloatArray:
    """The covariance, no wider in any direction than a little more than the prior.

    Readings narrow a prior; what comes out wider is a curvature that was misread, and draws
    from it would all lie where nothing fits.
    """
    values, vectors = np.linalg.eigh(covariance / np.outer(sd, sd))
    kept = (vectors * np.clip(values, 1e-10, WIDEST)) @ vectors.T
    return np.asarray(kept * np.outer(sd, sd))


def _differences(
    target: _Target, mode: FloatArray, axes: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Slope and curvature of the target along `axes`, by differences of its slope."""
    step = 0.7
    plus = [axes.T @ target.with_slope(mode + step * axis)[1] for axis in axes.T]
    minus = [axes.T @ target.with_slope(mode - step * axis)[1] for axis in axes.T]
    hessian = (np.array(plus) - np.array(minus)) / (2 * step)
    return axes.T @ target.with_slope(mode)[1], 0.5 * (hessian + hessian.T)


def _student(
    centre: FloatArray, covariance: FloatArray, count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Draws of a multivariate t and their log density."""
    size, nu = centre.size, PROPOSAL_FREEDOM
    factor = np.linalg.cholesky(covariance)
    normal = rng.standard_normal((count, size))
    stretch = np.sqrt(nu / rng.chisquare(nu, count))
    z = normal * stretch[:, np.newaxis]
    constant = gammaln((nu + size) / 2) - gammaln(nu / 2) - size / 2 * np.log(nu * np.pi)
    density = constant - np.sum(np.log(np.diag(factor)))
    density = density - (nu + size) / 2 * np.log1p(np.sum(z**2, axis=1) / nu)
    return centre + z @ factor.T, np.asarray(density)


def _weigh(
    target: _Target,
    centre: FloatArray,
    covariance: FloatArray,
    count: int,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray, float]:
    draws, density = _student(centre, covariance, count, rng)
    values = np.array([target(theta) for theta in draws])
    if values.min() >= WORST:
        raise ArithmeticError("no draw lies within the model's reach")
    log_weight = -values - density
    top = log_weight.max()
    weights = np.exp(log_weight - top)
    evidence = float(top + np.log(np.mean(weights)))
    return draws, weights / weights.sum(), evidence


def _tempered(weights: FloatArray) -> FloatArray:
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


def log_posterior_and_slope(
    network: Network, posterior: Posterior, theta: FloatArray
) -> tuple[float, FloatArray]:
    """Log posterior of `network` and its gradient at a handled vector.

    The priors are those of `posterior`; `network` may be that of a part of the readings.
    """
    value, slope = _Target(network, posterior.priors).with_slope(theta)
    return -value, -slope


def log_posterior_at(
    network: Network, priors: Mapping[str, Gaussian], place: Mapping[str, float]
) -> float:
    """Log posterior at handled values given by name; very low where the model breaks."""
    target = _Target(network, priors)
    return -target(np.array([place[name] for name in target.names]))


def sample_posterior(
    network: Network,
    priors: Mapping[str, Gaussian],
    rng: np.random.Generator,
    starts: Sequence[Mapping[str, float]] = ({},),
    draws: int = DRAWS,
) -> Posterior:
    """Find the mode and draw from the posterior.

    Parameters
    ----------
    network : Network
        Model with its record.
    priors : mapping of str to Gaussian
        One for each field of `Parameters`; a standard deviation of 0 fixes it.
    rng : Generator
        Source of every random number.
    starts : sequence of mapping of str to float
        Where to look for the mode: handled (log) values instead of the priors' means. Of the
        modes found the highest is kept, for a search may end on a lower one.
    draws : int
        Posterior draws; 0 stops at the mode with a Laplace evidence.
    """
    target = _Target(network, priors)
    places = [np.array([start.get(n, priors[n].mean) for n in target.names]) for start in starts]
    if len(places) > 1:
        # Which start leads higher shows long before the end of a search, except where one has
        # ended at once: it may sit on a small hill beside the other's slope.
        looks = [_mode(target, place, FIRST_LOOK) for place in places]
        leading = min(looks, key=lambda look: target(look[0]))
        places = [look[0] for look in looks if look is leading or (leading[2] and not look[2])]
    found = [_mode(target, place) for place in places]
    mode, rough, converged = min(found, key=lambda one: target(one[0]))
    mode, covariance = _refine(target, mode, rough, PASSES if draws else 1)
    evidence = -target(mode) + 0.5 * mode.size * np.log(2 * np.pi)
    evidence += 0.5 * np.linalg.slogdet(covariance)[1]
    if draws == 0:
        points, weights = mode[np.newaxis, :], np.ones(1)
    else:
        points, weights, evidence = _weigh(target, mode, 1.1 * covariance, draws, rng)
        for _ in range(2):
            if 1.0 / np.sum(weights**2) >= ENOUGH_DRAWS:
                break
            # Few draws carry the weight: temper until enough do, and move there.
            weights = _tempered(weights)
            centre = weights @ points
            apart = points - centre
            covariance = 0.5 * (covariance + (weights[:, np.newaxis] * apart).T @ apart)
            points, weights, evidence = _weigh(target, centre, 1.1 * covariance, draws, rng)
        if 1.0 / np.sum(weights**2) < ENOUGH_DRAWS:
            weights = _tempered(weights)
    return Posterior(
        names=target.names,
        priors=priors,
        mode=mode,
        covariance=covariance,
        draws=points,
        weights=weights,
        log_evidence=float(evidence),
        converged=converged,
    )
