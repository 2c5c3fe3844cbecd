"""Diagnostics of a fit: residuals, window, correlations, influence of each phase."""

from collections.abc import Sequence

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.model.fit import Fitted
from wattsump_analysis.model.influence import influence_of
from wattsump_analysis.model.innovations import innovations
from wattsump_analysis.reading.record import Record
from wattsump_analysis.results import Diagnostics, Phase
from wattsump_analysis.statistics.residuals import durbin_watson, lag_one, periodogram_excess

__all__ = (
    "SHORTEST_WINDOW_TAU",
    "diagnose",
)

SHORTEST_WINDOW_TAU = 0.5
AT_BOUND_SD = 4.9  # the search ends at five prior deviations
TOLD_CORRELATION = 0.5


def diagnose(record: Record, fitted: Fitted, phases: Sequence[Phase] = ()) -> Diagnostics:
    """Residuals, nodes, window, correlations and influence of each phase of a fitted record.

    The innovations are white if the network is right; residuals of its smoother are correlated
    even then.
    """
    tank = record.oils_c["tank"]
    seen = np.isfinite(tank)
    residuals = (tank - fitted.smooth.tank_c)[seen]
    posterior = fitted.posterior
    new = innovations(fitted.network, posterior.given(posterior.mode)).tank
    rate = (fitted.k_w_k.value + fitted.shell_w_k.value) / fitted.capacity_j_k.value
    return Diagnostics(
        bins=record.bins,
        bin_s=record.bin_s,
        nodes=fitted.nodes,
        layout=fitted.layout,
        layout_share=fitted.layout_share,
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
    """Correlations of parameters that the data do not separate well."""
    sd = np.sqrt(np.diag(covariance))
    r = covariance / np.outer(sd, sd)
    return {
        f"{names[i]}, {names[j]}": float(r[i, j])
        for i in range(len(names))
        for j in range(i)
        if abs(r[i, j]) > TOLD_CORRELATION
    }
