"""What a careful engineer asks of a fit, and the label held against it."""

from collections.abc import Sequence

import numpy as np

from wattsump_analysis._influence import influence_of
from wattsump_analysis._innovations import innovations
from wattsump_analysis._shapes import FloatArray
from wattsump_analysis.fit import Fitted, interval
from wattsump_analysis.record import Record
from wattsump_analysis.results import Diagnostics, LabelCheck, Phase, Route
from wattsump_analysis.transients import durbin_watson

__all__ = (
    "AGREE_REL",
    "SHORTEST_WINDOW_TAU",
    "check_label",
    "contradiction",
    "diagnose",
    "lag_one",
    "largest_disagreement",
    "periodogram_excess",
)

SHORTEST_WINDOW_TAU = 0.5
AGREE_REL = 0.15
AT_BOUND_SD = 4.9  # the search ends at five prior deviations
TOLD_CORRELATION = 0.5


def lag_one(residuals: FloatArray) -> float:
    """Autocorrelation at lag one about the mean.

    References
    ----------
    G. E. P. Box, G. M. Jenkins, Time Series Analysis, eq. (2.1.11); NIST StRD Lew.
    """
    d = residuals - residuals.mean()
    total = float(d @ d)
    return float(d[1:] @ d[:-1]) / total if total > 0 else 0.0


def periodogram_excess(residuals: FloatArray) -> float:
    """Largest distance of the cumulated periodogram from a straight line, times sqrt(m).

    White noise exceeds 1.36 five times in a hundred.

    References
    ----------
    M. S. Bartlett, An Introduction to Stochastic Processes, 1955, sec. 9.22; the limit is
    Kolmogorov's.
    """
    power = np.abs(np.fft.rfft(residuals - residuals.mean())[1:]) ** 2
    if residuals.size % 2 == 0:
        power = power[:-1]  # the last frequency has half the freedom
    m = power.size
    if m < 4 or power.sum() <= 0:
        return 0.0
    cumulated = np.cumsum(power) / power.sum()
    return float(np.sqrt(m) * np.max(np.abs(cumulated - np.arange(1, m + 1) / m)))


def diagnose(record: Record, fitted: Fitted, phases: Sequence[Phase] = ()) -> Diagnostics:
    """Residuals, nodes, window, correlations and influence of each phase of a fitted record.

    The innovations are white if the network is right; residuals of its smoother follow one
    another even then.
    """
    tank = record.oils_c["tank"]
    seen = np.isfinite(tank)
    residuals = (tank - fitted.smooth.tank_c)[seen]
    posterior = fitted.posterior
    new = innovations(fitted.network, posterior.parameters(posterior.mode)).tank
    rate = (fitted.k_w_k.value + fitted.shell_w_k.value) / fitted.capacity_j_k.value
    return Diagnostics(
        bins=record.bins,
        bin_s=record.bin_s,
        nodes=fitted.nodes,
        layout=fitted.layout,
        evidence_two_over_one=fitted.evidence_two_over_one,
        residual_rms_k=float(np.sqrt(np.mean(residuals**2))),
        residual_lag1=lag_one(residuals),
        durbin_watson=durbin_watson(residuals),
        periodogram_excess=periodogram_excess(residuals),
        innovation_lag1=lag_one(new),
        innovation_durbin_watson=durbin_watson(new),
        innovation_periodogram_excess=periodogram_excess(new),
        window_tau=record.bins * record.bin_s * rate,
        effective_draws=posterior.effective_draws,
        correlations=_correlations(posterior.names, posterior.covariance),
        at_bounds=tuple(
            name
            for name, value in zip(posterior.names, posterior.mode, strict=True)
            if abs(value - posterior.priors[name].mean) > AT_BOUND_SD * posterior.priors[name].sd
        ),
        influence=influence_of(fitted, phases),
    )


def _correlations(names: Sequence[str], covariance: FloatArray) -> dict[str, float]:
    """Pairs of parameters that the data do not separate well."""
    sd = np.sqrt(np.diag(covariance))
    r = covariance / np.outer(sd, sd)
    return {
        f"{names[i]}, {names[j]}": float(r[i, j])
        for i in range(len(names))
        for j in range(i)
        if abs(r[i, j]) > TOLD_CORRELATION
    }


def check_label(
    label_heat_w: float, label_etd_k: float | None, k_draws: FloatArray, weights: FloatArray
) -> LabelCheck:
    """Hold weighted draws of K against a label.

    Parameters
    ----------
    label_heat_w, label_etd_k : float
        Heat [W] at a difference oil in over air in [K]; None if that is not printed.
    k_draws, weights : ndarray, shape (m,)
        Draws of K [W/K] and their weights, which sum to one.

    Returns
    -------
    LabelCheck

    References
    ----------
    JCGM 101:2008, clause 7; JCGM 106:2012, clause 7.2.
    """
    if label_etd_k is None:
        return LabelCheck(
            label_heat_w=label_heat_w,
            label_etd_k=None,
            heat_at_etd_w=None,
            share_of_label=None,
            probability_met=None,
        )
    heat = k_draws * label_etd_k
    return LabelCheck(
        label_heat_w=label_heat_w,
        label_etd_k=label_etd_k,
        heat_at_etd_w=interval(heat, weights),
        share_of_label=interval(heat / label_heat_w, weights),
        probability_met=float(np.sum(weights[heat >= label_heat_w])),
    )


def contradiction(routes: Sequence[Route]) -> str:
    """Why two routes to K cannot both be right; "" if all may be.

    They are further apart than `AGREE_REL` and their 95 % ranges do not touch.
    """
    low = min(routes, key=lambda route: route.k_w_k.high, default=None)
    high = max(routes, key=lambda route: route.k_w_k.low, default=None)
    if low is None or high is None or low.k_w_k.high >= high.k_w_k.low:
        return ""
    if largest_disagreement((low, high)) <= AGREE_REL:
        return ""
    each = "; ".join(
        f"{route.name} {route.k_w_k.value:.0f} W/K, {route.k_w_k.low:.0f} to {route.k_w_k.high:.0f}"
        for route in (low, high)
    )
    return f"independent ways to the same figure exclude each other ({each})"


def largest_disagreement(routes: Sequence[Route]) -> float:
    """Largest difference between two routes to K over their mean; 0 with fewer than two."""
    values = [route.k_w_k.value for route in routes]
    if len(values) < 2:
        return 0.0
    return 2.0 * (max(values) - min(values)) / (max(values) + min(values))
