"""Heat capacity from a known cooler heat, and K of another stretch from that capacity.

With the oil side as the known heat, tau (K + G) = C gives the capacity in one stretch;
with it C / tau - G gives K in another, from its temperatures alone.
"""

from dataclasses import dataclass

import numpy as np

from wattsump_analysis._shapes import FloatArray
from wattsump_analysis.results import Interval

__all__ = ("KnownHeat", "capacity_from_heat", "conductance_from_capacity", "draws_of", "span_of")

DRAWS = 4000
# Shell loss of small machines, W/K: common practice, no source; the width of the fit's prior.
SHELL_W_K, SHELL_LOG_SD = 13.0, 0.5
COVERAGE = 1.959964


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownHeat:
    """Draws of capacity [J/K] and shell loss [W/K] that belong together, shape (m,)."""

    capacity_j_k: FloatArray
    shell_w_k: FloatArray


def draws_of(value: Interval, rng: np.random.Generator) -> FloatArray:
    """Draws from a quantity given by value and 95 % interval, kept above zero."""
    sd = max((value.high - value.low) / (2.0 * COVERAGE * value.value), 1e-6)
    return np.asarray(value.value * np.exp(sd * rng.standard_normal(DRAWS)))


def span_of(draws: FloatArray) -> Interval:
    """Median and central 95 % of even draws.

    Quantiles are those that a new draw falls below with just that chance, however few there are
    (R. J. Hyndman and Y. Fan, The American Statistician 50 (1996) 361, definition 6); the usual
    ones of 60 draws hold 92 %.
    """
    low, middle, high = np.quantile(draws, (0.025, 0.5, 0.975), method="weibull")
    return Interval(value=float(middle), low=float(low), high=float(high))


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
    tau_s: Interval, known: KnownHeat, rng: np.random.Generator
) -> Interval:
    """K = C / tau - G, with capacity and shell loss from another stretch.

    References
    ----------
    As `capacity_from_heat`.
    """
    return span_of(known.capacity_j_k / draws_of(tau_s, rng) - known.shell_w_k)
