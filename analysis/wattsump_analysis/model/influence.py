"""How far K would change without the readings of a phase of the outing.

The oil probes' readings in the phase are omitted, and the mode of the rest is searched for from
the whole outing's mode, in units of its posterior, so that the search is short. K depends
strongly on a phase that changes it by more than its standard uncertainty.

References
----------
.. [1] R. D. Cook, S. Weisberg, Residuals and Influence in Regression, 1982, ch. 3 and 5:
   influence as the change of an estimate when cases are left out.
"""

from collections.abc import Sequence

import numpy as np
from scipy.optimize import minimize

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.model.fit import Fitted, conductance_w_k
from wattsump_analysis.model.network import Network
from wattsump_analysis.model.posterior import Target
from wattsump_analysis.results import Influence, Phase

__all__ = ("influence_of",)

FLAT = 0.1  # slope per standard deviation below which K no longer changes visibly
MOST_STEPS = 15
MOST_PHASES = 8
LEAST_BINS_LEFT = 12


def influence_of(fitted: Fitted, phases: Sequence[Phase]) -> tuple[Influence, ...]:
    """Relative change of K without each phase, in the order of `phases`.

    Parameters
    ----------
    fitted : Fitted
        Fit of the whole record.
    phases : sequence of Phase
        Phases of the outing. The `MOST_PHASES` longest are tried, except those without which too
        few readings remain. The search is short, so a large change is a lower bound.
    """
    posterior = fitted.posterior
    target, network = posterior.target, fitted.network
    mode = posterior.mode[: len(target.names)]
    values, vectors = np.linalg.eigh(posterior.covariance[: mode.size, : mode.size])
    axes = vectors * np.sqrt(np.clip(values, 1e-12, None))

    def log_k(part: Network) -> float:
        theta = mode + axes @ _shortest(target.of(part), mode, axes)
        return float(np.log(conductance_w_k(part, target.given(theta))[0]))

    whole = log_k(network)
    longest = sorted(phases, key=lambda phase: phase.start_s - phase.end_s)[:MOST_PHASES]
    influences = []
    for phase in (phase for phase in phases if phase in longest):
        t = network.record.elapsed_s
        less = network.without((t >= phase.start_s) & (t < phase.end_s))
        if np.count_nonzero(less.seen[0]) < LEAST_BINS_LEFT:
            continue
        change = float(np.expm1(log_k(less) - whole))
        influences.append(Influence(phase=phase, k_change_rel=change))
    return tuple(influences)


def _shortest(target: Target, mode: FloatArray, axes: FloatArray) -> FloatArray:
    """From the posterior's mode to that of `target`, in units of `axes`."""

    def minus(z: FloatArray) -> tuple[float, FloatArray]:
        value, slope = target.with_slope(mode + axes @ z)
        return value, axes.T @ slope

    result = minimize(
        minus,
        np.zeros(mode.size),
        jac=True,
        method="BFGS",
        options={"gtol": FLAT, "maxiter": MOST_STEPS},
    )
    return np.asarray(result.x)
