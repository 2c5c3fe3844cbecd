"""Statistics of the independence of residuals."""

import numpy as np

from wattsump_analysis.arrays import FloatArray

__all__ = (
    "durbin_watson",
    "lag_one",
    "periodogram_excess",
)


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


def durbin_watson(residuals: FloatArray) -> float:
    """Durbin-Watson statistic: about 2 for independent residuals, 0 for a smooth misfit.

    References
    ----------
    J. Durbin, G. S. Watson, Biometrika 37 (1950) 409, eq. (1).
    """
    total = float(residuals @ residuals)
    return float(np.sum(np.diff(residuals) ** 2)) / total if total > 0 else 2.0
