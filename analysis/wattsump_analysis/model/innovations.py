"""What each reading of the tank adds to all that was read before it.

Residuals of a smoother follow one another even where the model is right, for it has seen the
reading it is held against and those after it. The innovations of a filter that has not are
independent, of unit variance, if the network is the machine.

References
----------
.. [1] A. C. Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, 1989,
   sec. 3.4.1 and 5.4.2: prediction error decomposition, diagnostic checks.
"""

from dataclasses import dataclass

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.model.banded import STATES, solve
from wattsump_analysis.model.network import Network, Parameters, start_precision

__all__ = ("Innovations", "innovations")


@dataclass(frozen=True, slots=True, kw_only=True)
class Innovations:
    """Standardised innovations of the tank's readings, and the log likelihood of all."""

    tank: FloatArray
    log_likelihood: float


def innovations(network: Network, p: Parameters, levels_w: FloatArray | None = None) -> Innovations:
    """Run a filter through the record at one set of parameters.

    Parameters
    ----------
    network : Network
        With its record, n bins.
    p : Parameters
        Where the fit ended.
    levels_w : ndarray, optional
        Level of each kind of work [W]; the mean given all readings unless stated.

    Returns
    -------
    Innovations
    """
    c = network.coefficients(p)
    steps = network.steps(p, c)
    if levels_w is None:
        levels_w = solve(network.system_of(p, c, steps))[3]
    later, earlier, forced = steps
    back = np.linalg.inv(later)
    carry = back @ earlier
    push = np.einsum("tij,tj->ti", back, forced[:, :, 0] + forced[:, :, 1:] @ levels_w)
    stir = (back / network.step_weights(p, c)) @ back.transpose(0, 2, 1)
    probes = [
        (probe.name, probe.node, probe.noise_k**2, *network.observed(probe))
        for probe in network.observations(p, c)
    ]
    # The state before rides along, because a late probe reads it too.
    mean = np.zeros(2 * STATES)
    cov = np.zeros((2 * STATES, 2 * STATES))
    cov[:STATES, :STATES] = np.linalg.inv(start_precision(network, p))
    found, total = [], 0.0
    for at in range(network.record.bins):
        if at:
            now = mean[:STATES].copy()
            first = cov[:STATES, :STATES].copy()
            across = carry[at - 1] @ first
            mean = np.append(carry[at - 1] @ now + push[at - 1], now)
            cov[:STATES, :STATES] = across @ carry[at - 1].T + stir[at - 1]
            cov[:STATES, STATES:] = across
            cov[STATES:, :STATES] = across.T
            cov[STATES:, STATES:] = first
        for name, node, variance, now_factor, before, reading in probes:
            if not network.seen[name][at]:
                continue
            gain = now_factor[at] * cov[:, node] + before[at] * cov[:, STATES + node]
            spread = now_factor[at] * gain[node] + before[at] * gain[STATES + node] + variance
            apart = reading[at] - now_factor[at] * mean[node] - before[at] * mean[STATES + node]
            if name == "tank":
                found.append(apart / np.sqrt(spread))
            total -= 0.5 * float(np.log(2 * np.pi * spread) + apart**2 / spread)
            mean = mean + gain * (apart / spread)
            cov = cov - np.outer(gain, gain) / spread
    return Innovations(tank=np.array(found), log_likelihood=total)
