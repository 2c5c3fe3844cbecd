"""Robust trends over outings: is there one direction, and how steep is it?

One value per outing, in order, in any one unit. Both methods go by ranks and medians, so one
odd outing does not carry the answer. Outings are taken as independent of each other apart
from the trend; a step makes both fire, which is why `steps.change_in` asks about steps too.

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

from wattsump_analysis.rows import check_share, out_of_range, row_of

__all__ = ("MannKendall", "Slope", "mann_kendall", "theil_sen")

# Gilbert [2] sends the reader to exact tables up to 10 values and to the normal beyond.
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
        """Two-sided probability of so much trend by chance, exact where that is known."""
        return self.p_normal if self.p_exact is None else self.p_exact


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """Robust line; the interval is for the slope, at the confidence asked for."""

    slope: float
    intercept: float
    low: float
    high: float


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


def theil_sen(
    values: ArrayLike, position: ArrayLike | None = None, *, confidence: float = 0.95
) -> Slope:
    """Median of all pairwise slopes, with an interval from Kendall's S.

    Parameters
    ----------
    values : array_like, shape (n,)
        One value per outing, n at least 3.
    position : array_like, shape (n,), optional
        Where each outing lies, in whatever the slope shall be per (days, hours run); the
        outing's number from 0 if left out.
    confidence : float
        Of the interval, between 0 and 1 [-].

    Returns
    -------
    Slope
        Slope and interval in value per position; intercept at position 0 through the medians.

    Raises
    ------
    RangeError
        Fewer than three values, one that is not finite, or all at one position.

    References
    ----------
    .. [1] Helsel and Hirsch, Statistical Methods in Water Resources, section 10.1.
    """
    y = row_of(values, "values", at_least=3)
    x = np.arange(len(y), dtype=np.float64)
    if position is not None:
        x = row_of(position, "positions", at_least=3)
    if len(x) != len(y) or np.ptp(x) == 0.0:
        raise out_of_range(f"{len(y)} positions that are not all one", x, "theil_sen")
    check_share(confidence, "confidence", "theil_sen")
    found = stats.theilslopes(y, x, alpha=confidence)
    return Slope(
        slope=float(found[0]),
        intercept=float(found[1]),
        low=float(found[2]),
        high=float(found[3]),
    )
