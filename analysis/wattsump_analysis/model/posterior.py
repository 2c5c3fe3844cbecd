"""From readings and prior knowledge to the posterior of the network's parameters.

Positive parameters are handled as logarithms, shares as logits, all with Gaussian priors: weak
ones where the data must speak, stated ones where a weighing, a label of a sensor or a flow meter
speaks. The mode is found by BFGS, the Hessian there gives a proposal, and weighted draws
from a heavy-tailed proposal give the posterior itself, so an interval may be lopsided.

References
----------
.. [1] JCGM 101:2008 (GUM Supplement 1): propagation of distributions by Monte Carlo.
.. [2] A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, sections 10.4 and 13.3.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit

from wattsump_analysis.model.gradient import log_likelihood_and_slope
from wattsump_analysis.model.network import Network, Parameters
from wattsump_analysis.statistics.importance import WIDER, WORST, Proposal, weighted_draws

__all__ = (
    "LINEAR",
    "Gaussian",
    "Posterior",
    "draw_from",
    "find_mode",
    "log_posterior_and_slope",
    "log_posterior_at",
    "natural",
)

FloatArray = NDArray[np.float64]

LINEAR = (
    "motion_gain",
    "viscosity_exponent",
    "offset_ambient_k",
    "offset_in_k",
    "offset_out_k",
    "lag_tank_s",
    "lag_in_s",
    "lag_out_s",
)
SHARES = ("loop_oil", "tank_metal", "metal_heat", "link_in_loop")
DRAWS = 150  # from each proposal
FIRST_LOOK = 30  # steps of a search before it is compared with another
LONGEST_SEARCH = 300
SEARCHED = 3e-6  # of the target's own size: Newton's passes end what a search begins
LONGEST_STRIDE = 2.0  # of a prior's standard deviation, so that no pass leaves the map
FARTHEST_ASIDE = 1.5  # standard deviations from mode to mean, over all parameters
WIDEST = 1.5  # variance of a proposal over that of the prior
LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True, slots=True, kw_only=True)
class Gaussian:
    """Prior of one parameter: as it is if in `LINEAR`, its logit if in `SHARES`, else its log.

    `stated` marks knowledge from outside the readings (a type B contribution).
    """

    mean: float
    sd: float
    stated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """Weighted draws of the free parameters, and the Gaussian at the mode.

    `draws` has shape (draws, free), in the handled (log) form; `weights` sum to one.
    `effective_draws` is how many these amounted to before they were levelled. `fixed` holds, draw
    by draw in handled form, what is fixed but not at the mean of `priors`, as in draws of
    another layout.
    """

    names: tuple[str, ...]
    priors: Mapping[str, Gaussian]
    mode: FloatArray
    covariance: FloatArray
    draws: FloatArray
    weights: FloatArray
    log_evidence: float
    converged: bool
    effective_draws: float
    fixed: Mapping[str, FloatArray] = field(default_factory=dict)

    def parameters(self, theta: FloatArray) -> Parameters:
        return _parameters(self.names, theta, self.priors)

    def draw(self, row: int) -> Parameters:
        """Parameters of one draw, with what its own layout fixes."""
        names = (*self.names, *self.fixed)
        theta = np.append(self.draws[row], [values[row] for values in self.fixed.values()])
        return _parameters(names, theta, self.priors)

    @property
    def place(self) -> dict[str, float]:
        """The mode by name, to start another search from."""
        return dict(zip(self.names, map(float, self.mode), strict=True))

    def column(self, name: str) -> FloatArray:
        """Draws of one parameter in its own unit, shape (draws,); a fixed one repeats."""
        if name in self.names:
            handled = self.draws[:, self.names.index(name)]
        else:
            usual = np.full(self.weights.size, self.priors[name].mean)
            handled = self.fixed.get(name, usual)
        return natural(name, handled)


def natural(name: str, handled: FloatArray) -> FloatArray:
    """Values of a parameter in its own unit from those it is handled by."""
    if name in LINEAR:
        return handled
    return np.asarray(expit(handled) if name in SHARES else np.exp(handled))


def _stretch(name: str, value: float) -> float:
    """Slope of a parameter's value in what it is handled by."""
    if name in LINEAR:
        return 1.0
    return value * (1.0 - value) if name in SHARES else value


def _parameters(
    names: tuple[str, ...], theta: FloatArray, priors: Mapping[str, Gaussian]
) -> Parameters:
    handled = {name: prior.mean for name, prior in priors.items()}
    handled.update(zip(names, (float(v) for v in theta), strict=True))
    return Parameters(**{name: float(natural(name, np.asarray(v))) for name, v in handled.items()})


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
        handled = [slopes[n] * _stretch(n, getattr(p, n)) for n in self.names]
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
        options={"maxcor": 40, "ftol": SEARCHED, "gtol": 1e-2, "maxiter": most},
    )
    inverse = found.hess_inv @ np.eye(start.size)
    covariance = np.asarray(inverse) * np.outer(unit, unit)
    return start + unit * found.x, covariance, bool(found.success)


def _refine(
    target: _Target, mode: FloatArray, rough: FloatArray, passes: tuple[bool, ...]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Newton's mode, covariance and mean, by differences of slopes along the rough one's axes.

    Each pass takes the axes of the last, so that the differences are as long as the
    posterior is wide in every direction, long valleys included; a pass that is True looks to
    both sides. A posterior steeper on one side has its mean on the other: to first order half the
    covariance times the slope of the curvature's trace away from the mode.
    """
    covariance = _within_prior(rough, target.sd)
    aside = np.zeros_like(mode)
    for both_sides in passes:
        values, vectors = np.linalg.eigh(covariance)
        axes = vectors * np.sqrt(np.clip(values, 1e-8, None))
        here, slope = target.with_slope(mode)
        slope = axes.T @ slope
        hessian, skew = _differences(target, mode, axes, slope, both_sides)
        found, turn = np.linalg.eigh(hessian)
        turned = axes @ turn
        # A direction that second differences call flat or worse keeps a wide proposal.
        covariance = np.asarray(turned / np.clip(found, 0.1, None) @ turned.T)
        covariance = _within_prior(covariance, target.sd)
        aside = -0.5 * turned @ ((turn.T @ skew) / np.clip(found, 0.3, None))
        aside *= min(1.0, FARTHEST_ASIDE / max(_length(aside, covariance), 1e-12))
        stride = -turned @ ((turn.T @ slope) / np.clip(found, 0.3, None))
        reach = np.max(np.abs(stride) / target.sd)
        stride *= min(1.0, LONGEST_STRIDE / max(reach, 1e-12))
        for shorter in (1.0, 0.5, 0.25, 0.1):
            if target(mode + shorter * stride) < here:
                mode = mode + shorter * stride
                break
    return mode, 0.5 * (covariance + covariance.T), aside


def _length(apart: FloatArray, covariance: FloatArray) -> float:
    """Length of a vector in standard deviations."""
    return float(np.sqrt(apart @ np.linalg.solve(covariance, apart)))


def _within_prior(covariance: FloatArray, sd: FloatArray) -> FloatArray:
    """The covariance, no wider in any direction than a little more than the prior.

    Readings narrow a prior; what comes out wider is a curvature that was misread, and draws
    from it would all lie where nothing fits.
    """
    values, vectors = np.linalg.eigh(covariance / np.outer(sd, sd))
    kept = (vectors * np.clip(values, 1e-10, WIDEST)) @ vectors.T
    return np.asarray(kept * np.outer(sd, sd))


def _differences(
    target: _Target, mode: FloatArray, axes: FloatArray, here: FloatArray, both_sides: bool
) -> tuple[FloatArray, FloatArray]:
    """Curvature and slope of its trace along `axes`, from slopes beside that at the mode, `here`.

    From one side only the trace's slope is taken as nothing.
    """
    step = 0.7

    def beside(side: float) -> FloatArray:
        return np.array([axes.T @ target.with_slope(mode + side * axis)[1] for axis in axes.T])

    plus = beside(step)
    if not both_sides:
        hessian = (plus - here) / step
        return 0.5 * (hessian + hessian.T), np.zeros_like(here)
    minus = beside(-step)
    hessian = (plus - minus) / (2 * step)
    bent = (plus + minus - 2 * here) / step**2
    return 0.5 * (hessian + hessian.T), bent.sum(axis=0)


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


def find_mode(
    network: Network,
    priors: Mapping[str, Gaussian],
    starts: Sequence[Mapping[str, float]] = ({},),
) -> Posterior:
    """Find the mode, with the Gaussian there and its Laplace evidence; its one draw is the mode.

    Parameters
    ----------
    network : Network
        Model with its record.
    priors : mapping of str to Gaussian
        One for each field of `Parameters`; a standard deviation of 0 fixes it.
    starts : sequence of mapping of str to float
        Where to look for the mode: handled (log, logit) values instead of the priors' means. Of
        the modes found the highest is kept, for a search may end on a lower one.
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
    mode, covariance, _ = _refine(target, mode, rough, (False,))
    evidence = -target(mode) + 0.5 * mode.size * LOG_2PI
    evidence += 0.5 * float(np.linalg.slogdet(covariance)[1])
    return Posterior(
        names=target.names,
        priors=priors,
        mode=mode,
        covariance=covariance,
        draws=mode[np.newaxis, :],
        weights=np.ones(1),
        log_evidence=evidence,
        converged=converged,
        effective_draws=1.0,
    )


def draw_from(
    network: Network, found: Posterior, rng: np.random.Generator, draws: int = DRAWS
) -> Posterior:
    """Draw from the posterior whose mode `find_mode` has found.

    Parameters
    ----------
    network : Network
        The model that the mode was found for.
    found : Posterior
        Mode and covariance to begin from; the priors are its own.
    rng : Generator
        Source of every random number.
    draws : int
        Draws of each proposal.

    Returns
    -------
    Posterior
        With its evidence from the draws.

    Raises
    ------
    ArithmeticError
        No draw lies within the model's reach.
    """
    target = _Target(network, found.priors)
    mode, covariance, aside = _refine(target, found.mode, found.covariance, (False, True))
    first = Proposal(centre=mode + aside, covariance=WIDER * covariance)
    drawn = weighted_draws(target, first, draws, rng)
    return replace(
        found,
        mode=mode,
        covariance=covariance,
        draws=drawn.points,
        weights=drawn.weights,
        log_evidence=drawn.log_evidence,
        effective_draws=drawn.effective,
    )
