"""Robust trends over outings, and a control chart.

One value per outing, in order, all in the same unit. The trend tests use ranks and medians, so a
single odd outing does not decide the answer. Outings are assumed independent except for the trend.
A step makes both tests significant, so `change.change_in` also tests for steps.

References
----------
.. [1] Helsel, D. R. and Hirsch, R. M., Statistical Methods in Water Resources, USGS, chapters
   10 and 12.
.. [2] Gilbert, R. O. (1987), Statistical Methods for Environmental Pollution Monitoring,
   chapter 16.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from wattsump_analysis.arrays import FloatArray, out_of_range, row_of
from wattsump_analysis.results import Interval
from wattsump_analysis.statistics.intervals import NORMAL_95
from wattsump_logger.arrays import BoolArray

__all__ = (
    "EwmaChart",
    "MannKendall",
    "ewma",
    "mann_kendall",
    "serial_inflation",
    "theil_sen",
)

# Gilbert [2] gives exact tables up to 10 values and the normal beyond.
EXACT_UP_TO = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class MannKendall:
    """Rank test for a trend in one direction."""

    s: int
    variance: float
    z: float
    tau: float
    p_normal: float
    p_exact: float | None

    @property
    def p_value(self) -> float:
        """Two-sided probability of so much trend by chance, exact where it is tabulated."""
        return self.p_normal if self.p_exact is None else self.p_exact


def mann_kendall(values: ArrayLike) -> MannKendall:
    """Mann-Kendall test with the correction for ties.

    Parameters
    ----------
    values : array_like, shape (n,)
        One value per outing, in order, n at least 3.

    Returns
    -------
    MannKendall
        S and its variance, z with the continuity correction, tau = S / (n (n - 1) / 2),
        two-sided p from the normal and, up to 10 values without ties, exactly.

    Raises
    ------
    RangeError
        Fewer than three values, or one that is not finite.

    Notes
    -----
    var S = [n (n-1)(2n+5) - sum t (t-1)(2t+5)] / 18 over groups of t tied values [1]_ [2]_.

    References
    ----------
    .. [1] Helsel and Hirsch, Statistical Methods in Water Resources, section 12.2.
    .. [2] Gilbert (1987), section 16.4.
    """
    x = row_of(values, "values", at_least=3)
    n = len(x)
    s = int(np.sum(np.triu(np.sign(x[None, :] - x[:, None]), 1)))
    tied = np.unique(x, return_counts=True)[1].astype(np.float64)
    variance = (n * (n - 1) * (2 * n + 5) - float(np.sum(tied * (tied - 1) * (2 * tied + 5)))) / 18
    z = 0.0 if variance == 0.0 else (s - np.sign(s)) / np.sqrt(variance)
    exact = None
    if n <= EXACT_UP_TO and len(tied) == n:
        exact = float(stats.kendalltau(np.arange(n), x, method="exact").pvalue)
    return MannKendall(
        s=s,
        variance=variance,
        z=float(z),
        tau=s / (n * (n - 1) / 2),
        p_normal=float(2.0 * stats.norm.sf(abs(z))),
        p_exact=exact,
    )


def serial_inflation(correlations: ArrayLike, n: int) -> float:
    """Factor by which serial correlation widens the variance of Kendall's S.

    Parameters
    ----------
    correlations : array_like, shape (lags,)
        Correlation of values at lags 1, 2, ..., each under 1.
    n : int
        Values in the row, more than lags.

    Returns
    -------
    float
        1 + 2 sum (1 - j / n) r_j [1]_.

    Raises
    ------
    RangeError
        As many lags as values or more, or a correlation of 1 or beyond.

    References
    ----------
    .. [1] S. Yue, C. Y. Wang, The Mann-Kendall test modified by effective sample size to detect
       trend in serially correlated hydrological series, Water Resources Management 18 (2004)
       201, eq. 6.
    """
    r = row_of(correlations, "correlations", at_least=1)
    if len(r) >= n or not np.all(np.abs(r) < 1.0):
        raise out_of_range(f"fewer than {n} correlations under 1", r, "serial correlation")
    lag = np.arange(1, len(r) + 1)
    return float(1.0 + 2.0 * np.sum((1.0 - lag / n) * r))


def theil_sen(values: ArrayLike, *, correlation: float = 0.0) -> Interval:
    """Median of all pairwise slopes per outing, with its 95 % interval from Kendall's S.

    Parameters
    ----------
    values : array_like, shape (n,)
        One value per outing, n at least 3.
    correlation : float
        Correlation of neighbouring outings about the slope, as in a first-order autoregression;
        from 0 to under 1.

    Returns
    -------
    Interval
        Slope in value per outing.

    Raises
    ------
    RangeError
        Fewer than three values, one that is not finite, or a correlation out of range.

    References
    ----------
    .. [1] Helsel and Hirsch, Statistical Methods in Water Resources, section 10.1.
    """
    x = row_of(values, "values", at_least=3)
    if not 0.0 <= correlation < 1.0:
        raise out_of_range("a correlation from 0 to under 1", correlation, "slope")
    wider = np.sqrt(serial_inflation(correlation ** np.arange(1, len(x)), len(x)))
    # The ranks that bound the slope lie a number of deviations of S from the middle. Take the
    # normal's share that moves them out by the factor by which correlation widens S.
    share = 1.0 - 2.0 * float(stats.norm.sf(NORMAL_95 * wider))
    slope, _, low, high = stats.theilslopes(x, alpha=share)
    return Interval(value=float(slope), low=float(low), high=float(high))


@dataclass(frozen=True, slots=True, kw_only=True)
class EwmaChart:
    """An exponentially weighted moving average with the limits it had at each outing."""

    value: FloatArray
    lower: FloatArray
    upper: FloatArray

    @property
    def out(self) -> BoolArray:
        """True at each outing whose average lies strictly outside its limits."""
        return (self.value < self.lower) | (self.value > self.upper)


def ewma(
    values: ArrayLike,
    *,
    target: float,
    sigma: ArrayLike,
    weight: float = 0.3,
    width: float = 3.0,
) -> EwmaChart:
    """Exponentially weighted moving average with time-varying limits.

    Parameters
    ----------
    values : array_like, shape (n,)
        One value per outing, in order.
    target : float
        Value while nothing has changed; the average starts here.
    sigma : float or array_like, shape (n,)
        Standard deviation of one outing about the target; an array gives each outing its own.
    weight : float
        Share of the newest value in the average, above 0, at most 1 [-].
    width : float
        Distance of the limits from the target, in standard deviations of the average [-].

    Returns
    -------
    EwmaChart
        Average and limits, each of shape (n,), in the unit of `values`.

    Raises
    ------
    RangeError
        No values, a value that is not finite, or a parameter outside its range.

    Notes
    -----
    z_i = w x_i + (1 - w) z_(i-1), z_0 = target. The variance of z_i is built by the same
    recursion, v_i = w^2 s_i^2 + (1 - w)^2 v_(i-1), v_0 = 0, which for a constant s is the
    closed form s^2 w/(2 - w) [1 - (1 - w)^(2i)] of [1]_ and stays exact when outings differ
    in quality.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4.
    """
    x = row_of(values, "values", at_least=1)
    s = row_of(sigma, "sigma", at_least=1, positive=True)
    if len(s) not in (1, len(x)):
        raise out_of_range(f"one sigma, or one for each of {len(x)} values", len(s), "ewma")
    _check_shape(weight, width)
    import pandas as pd  # a heavy import that not every trend needs

    share = 1.0 - (1.0 - weight) ** 2
    average = pd.Series([target, *x]).ewm(alpha=weight, adjust=False).mean()
    own = np.broadcast_to((weight * s) ** 2 / share, x.shape)
    variance = pd.Series([0.0, *own]).ewm(alpha=share, adjust=False).mean()
    reach = width * np.sqrt(variance.to_numpy()[1:])
    return EwmaChart(value=average.to_numpy()[1:], lower=target - reach, upper=target + reach)


def _check_shape(weight: float, width: float) -> None:
    if not 0.0 < weight <= 1.0:
        raise out_of_range("a weight above 0 and at most 1", weight, "ewma")
    if not width > 0.0:
        raise out_of_range("a width above 0", width, "ewma")
