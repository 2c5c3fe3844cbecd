"""Independent routes to K: capacity from the oil side of one stretch, K of another from that.

With K from the oil side, tau (K + G) = C gives the capacity in one stretch; with this
capacity C / tau - G gives K in another, from its temperatures alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.results import Interval, Route
from wattsump_analysis.statistics.intervals import DRAWS, draws_of, span_of
from wattsump_logger.remark import Remark
from wattsump_logger.units.measure import Measure, listed

__all__ = (
    "AGREE_REL",
    "KnownHeat",
    "capacity_from_heat",
    "conductance",
    "conductance_from_capacity",
    "contradiction",
    "largest_disagreement",
)

# Shell loss of small machines, W/K: common practice, no source; the width of the fit's prior.
SHELL_W_K, SHELL_LOG_SD = 13.0, 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownHeat:
    """Draws of capacity [J/K] and shell loss [W/K] that belong together, shape (m,)."""

    capacity_j_k: FloatArray
    shell_w_k: FloatArray


def capacity_from_heat(tau_s: Interval, k_w_k: Interval, rng: np.random.Generator) -> KnownHeat:
    """C = tau (K + G) with K known from the oil side.

    References
    ----------
    T. L. Bergman and A. S. Lavine, Fundamentals of Heat and Mass Transfer, eq. (5.7).
    """
    shell = SHELL_W_K * np.exp(SHELL_LOG_SD * rng.standard_normal(DRAWS))
    capacity = draws_of(tau_s, rng) * (draws_of(k_w_k, rng) + shell)
    return KnownHeat(capacity_j_k=capacity, shell_w_k=shell)


def conductance_from_capacity(
    tau_s: Interval, heat: KnownHeat, rng: np.random.Generator
) -> Interval:
    """K = C / tau - G, with capacity and shell loss from another stretch.

    References
    ----------
    As `capacity_from_heat`.
    """
    return span_of(heat.capacity_j_k / draws_of(tau_s, rng) - heat.shell_w_k)


AGREE_REL = 0.15


def contradiction(routes: Sequence[Route]) -> Remark | None:
    """Why two routes to K cannot both be right; None if all may be.

    They differ by more than `AGREE_REL` and their 95 % ranges do not overlap.
    """
    low = min(routes, key=lambda route: route.k_w_k.high, default=None)
    high = max(routes, key=lambda route: route.k_w_k.low, default=None)
    if low is None or high is None or low.k_w_k.high >= high.k_w_k.low:
        return None
    if largest_disagreement((low, high)) <= AGREE_REL:
        return None
    each = listed(((f"{route.name} ", conductance(route.k_w_k)) for route in (low, high)), "; ")
    text = ("independent ways to the same figure exclude each other: ", *each)
    return Remark(code="routes-exclude", text=text)


def conductance(k: Interval) -> Measure:
    """Return a K with its range for a sentence."""
    return Measure(value=k.value, kind="conductance", spec=".0f", low=k.low, high=k.high)


def largest_disagreement(routes: Sequence[Route]) -> float:
    """Largest difference between two routes to K over their mean; 0 with fewer than two."""
    values = [route.k_w_k.value for route in routes]
    if len(values) < 2:
        return 0.0
    return 2.0 * (max(values) - min(values)) / (max(values) + min(values))
