"""Fits one exponential to each phase in which nothing was switched: ratios, no watts."""

import math

import numpy as np
from scipy.special import stdtrit

from wattsump_analysis.reading.phases import find_phases
from wattsump_analysis.reading.record import Record
from wattsump_analysis.results import Interval, Phase, PhaseFit
from wattsump_analysis.statistics.exponentials import ExponentialFit, fit_exponential
from wattsump_analysis.statistics.residuals import lag_one

__all__ = ("LEAST_SPAN_K", "fit_phases")

LEAST_SPAN_K = 2.0
LEAST_BINS = 8
# Just after a switch, heat moves between oil, core and metal and not to the air.
SETTLE_S = 120.0
MOST_LAG = 0.98  # beyond it the residuals are a curve, not noise
TRANSIENTS = frozenset(
    {"warm-up", "fan on", "fan off", "idle cool-down", "stopped cool-down", "steady work"}
)


def _joined(phases: tuple[Phase, ...]) -> list[Phase]:
    """Phases, with each warm-up joined to the steady work after it: they are one transient."""
    joined: list[Phase] = []
    for phase in phases:
        before = joined[-1] if joined else None
        if before is not None and (before.kind, phase.kind) == ("warm-up", "steady work"):
            joined[-1] = Phase(kind="warm-up", start_s=before.start_s, end_s=phase.end_s)
        elif phase.kind in TRANSIENTS:
            joined.append(phase)
    return joined


def fit_phases(record: Record, fan_known: bool) -> tuple[PhaseFit, ...]:
    """Fit the tank's temperature over each phase in which it moved.

    Returns
    -------
    tuple of PhaseFit
        Intervals are widened for correlated residuals: the variance times
        (1 + r) / (1 - r) with their autocorrelation r.

    References
    ----------
    G. E. P. Box, G. M. Jenkins, Time Series Analysis: variance of a mean of an AR(1) series.
    """
    fits = []
    for phase in _joined(find_phases(record, fan_known)):
        part = record.between(phase.start_s + SETTLE_S, phase.end_s)
        tank = part.oils_c["tank"]
        seen = np.isfinite(tank)
        if np.count_nonzero(seen) < LEAST_BINS or np.ptp(tank[seen]) < LEAST_SPAN_K:
            continue
        t, y = part.elapsed_s[seen] - part.elapsed_s[seen][0], tank[seen]
        fit = fit_exponential(t, y)
        residuals = y - (
            fit.value("final") + fit.value("amplitude") * np.exp(-t / fit.value("tau_s"))
        )
        fits.append(_phase_fit(phase, fit, lag_one(residuals)))
    return tuple(fits)


def _phase_fit(phase: Phase, fit: ExponentialFit, lag: float) -> PhaseFit:
    lag = min(max(lag, 0.0), MOST_LAG)
    grown = math.sqrt((1.0 + lag) / (1.0 - lag))
    # The number of independent readings among n correlated ones.
    freedom = max(fit.n * (1.0 - lag) / (1.0 + lag) - 3.0, 1.0)
    reach = float(stdtrit(freedom, 0.975))
    half = reach * grown * fit.error("tau_s") if fit.identified else math.inf
    tau = fit.value("tau_s")
    return PhaseFit(
        phase=phase,
        tau_s=Interval(value=tau, low=tau - half, high=tau + half),
        final_c=fit.value("final"),
        rms_k=fit.rms,
        window_tau=fit.window_tau,
        trusted=fit.identified and fit.shape_right,
        why=fit.reason,
    )
