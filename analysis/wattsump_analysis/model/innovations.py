"""Innovations: each reading of the tank less its prediction from the readings before it.

Residuals of a smoother are correlated even if the model is right, because the smoother used the
same and later readings. Standardised innovations of a filter are independent and of unit variance
if the network is right.

References
----------
.. [1] A. C. Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, 1989,
   sec. 3.4.1 and 5.4.2: prediction error decomposition, diagnostic checks.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.model.description import NODES
from wattsump_analysis.model.network import Network

__all__ = ("Innovations", "innovations")


@dataclass(frozen=True, slots=True, kw_only=True)
class Innovations:
    """Standardised innovations of the tank's readings, and the log likelihood of all."""

    tank: FloatArray
    log_likelihood: float


def innovations(network: Network, given: Any, unknown: FloatArray | None = None) -> Innovations:
    """Run a filter through the record at one set of parameters.

    Parameters
    ----------
    network : Network
        With its record, n bins.
    given
        Parameters at which to run it.
    unknown : ndarray, optional
        The linear unknowns; by default their mean given all readings.
    """
    if unknown is None:
        unknown = network.spread(given).means[0]
    a, b, f = network.steps(given)
    size = a.shape[1]
    back = np.linalg.inv(a)
    carry = -back @ b
    push = np.einsum("tij,tj->ti", back, f @ np.append(1.0, unknown))
    stir = (back * network.step_sds(given)[:, np.newaxis] ** 2) @ back.transpose(0, 2, 1)
    probes = [
        (
            NODES.index(probe.node),
            network.seen[row],
            *network.reading(row, given, unknown),
        )
        for row, probe in enumerate(network.probes)
    ]
    # The state has the bin before too, because a late probe reads it.
    mean = np.zeros(2 * size)
    cov = np.zeros((2 * size, 2 * size))
    cov[:size, :size] = np.linalg.inv(network.start_precision)
    tank, total = [], 0.0
    for at in range(network.record.bins):
        if at:
            now = mean[:size].copy()
            first = cov[:size, :size].copy()
            across = carry[at - 1] @ first
            mean = np.append(carry[at - 1] @ now + push[at - 1], now)
            cov[:size, :size] = across @ carry[at - 1].T + stir[at - 1]
            cov[:size, size:] = across
            cov[size:, :size] = across.T
            cov[size:, size:] = first
        for row, (node, seen, now_factor, before, value, variance) in enumerate(probes):
            if not seen[at]:
                continue
            gain = now_factor[at] * cov[:, node] + before[at] * cov[:, size + node]
            spread = now_factor[at] * gain[node] + before[at] * gain[size + node] + variance
            error = value[at] - now_factor[at] * mean[node] - before[at] * mean[size + node]
            if row == 0:
                tank.append(error / np.sqrt(spread))
            total -= 0.5 * float(np.log(2 * np.pi * spread) + error**2 / spread)
            mean = mean + gain * (error / spread)
            cov = cov - np.outer(gain, gain) / spread
    return Innovations(tank=np.array(tank), log_likelihood=total)
