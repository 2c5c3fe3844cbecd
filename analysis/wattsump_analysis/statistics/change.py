"""Tests whether a value changed over the outings, by a step or by a drift.

One value per outing, in order, all in the same unit. A step makes a trend test significant and a
drift makes a step test significant, so `change_in` first tests whether anything changed at all,
then which of the two describes it better; the outings may be too few to separate them.

Every test here assumes that outings are independent except for the change being tested.

References
----------
.. [1] Cobb, G. W. (1978), The problem of the Nile, Biometrika 65, 243-251.
.. [2] Pettitt, A. N. (1979), A non-parametric approach to the change-point problem, Applied
   Statistics 28, 126-135.
.. [3] Kass, R. E. and Raftery, A. E. (1995), Bayes factors, JASA 90, 773-795.
"""

import warnings
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from wattsump_analysis.arrays import FloatArray, row_of
from wattsump_analysis.results import Interval
from wattsump_analysis.statistics.trends import mann_kendall

__all__ = ("Shape", "best_step", "change_in", "welch")

# A change is claimed when its probability by chance is at most this.
LEVEL = 0.05
# The exact trend test gets half of 0.05. Its smallest p is 2/n!, which is below that from five
# outings on; with fewer, no order of values is significant.
FEWEST_OUTINGS = 5
# A mean needs two values for its scatter.
FEWEST_PER_SIDE = 2
# Kass and Raftery [3], table of 2 ln B: below 2 is "not worth more than a bare mention".
WORTH_MENTIONING = 2.0
# The smallest p of so many shuffles is 1/2000, well below the levels used here.
SHUFFLES = 1999
SHUFFLES_AT_ONCE = 100


class Shape(StrEnum):
    """The kind of change."""

    NONE = "none"
    STEP = "step"
    SLOPE = "slope"
    EITHER = "either"
    TOO_FEW = "too few"


def welch(before: ArrayLike, after: ArrayLike) -> Interval:
    """Difference of two means with its 95 % interval, without assuming equal scatter (Welch).

    Parameters
    ----------
    before, after : array_like, shapes (n,) and (m,)
        Values of the two groups, at least 2 each.

    Returns
    -------
    Interval
        after - before; of zero width if neither group scatters.

    Raises
    ------
    RangeError
        A group of fewer than two values, or a value that is not finite.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.3.
    """
    a = row_of(before, "values before", at_least=2)
    b = row_of(after, "values after", at_least=2)
    change = float(b.mean() - a.mean())
    if np.ptp(a) == np.ptp(b) == 0.0:
        return Interval(value=change, low=change, high=change)
    with warnings.catch_warnings():
        # scipy warns if one group has no scatter; the interval is still right.
        warnings.simplefilter("ignore", RuntimeWarning)
        span = stats.ttest_ind(b, a, equal_var=False).confidence_interval(0.95)
    return Interval(value=change, low=float(span.low), high=float(span.high))


def best_step(values: ArrayLike) -> int:
    """Find the one step in the mean that leaves the smallest sum of squares.

    Parameters
    ----------
    values : array_like, shape (n,)
        One value per outing, in order, n at least 4.

    Returns
    -------
    int
        Number of values before the step; at least 2 lie on either side.

    Raises
    ------
    RangeError
        Fewer than four values, or one that is not finite.

    References
    ----------
    .. [1] Cobb, G. W. (1978), The problem of the Nile, Biometrika 65, 243-251 (the usual
       worked case of one step in the mean).
    """
    x = row_of(values, "values", at_least=2 * FEWEST_PER_SIDE)
    return FEWEST_PER_SIDE + int(np.argmax(_step_gains(x[None, :])[0]))


def change_in(values: ArrayLike, *, seed: int = 0) -> Shape:
    """Decide between no change, a step and a slope.

    Parameters
    ----------
    values : array_like, shape (n,)
        One value per outing, in order.
    seed : int
        Seed of the shuffles that calibrate the step test, so that results repeat.

    Returns
    -------
    Shape
        TOO_FEW under 5 outings; NONE, STEP or SLOPE; EITHER if the outings do not separate a
        step from a slope.

    Raises
    ------
    RangeError
        A value that is not finite.

    Notes
    -----
    Whether anything changed is decided by two tests, each at half the level: Mann-Kendall for a
    trend, and the largest drop in the sum of squares by any single step, compared with the same
    drop in shuffled rows (which allows for the search over places and for short rows, where
    Pettitt's approximation is powerless). Step or slope is decided by the Bayesian information
    criterion of a least-squares line (3 parameters) and of the step (4, with its place); a
    difference under 2 is EITHER [3]_.

    References
    ----------
    .. [3] Kass and Raftery (1995), JASA 90, 773-795.
    """
    y = row_of(values, "values", at_least=1)
    if len(y) < FEWEST_OUTINGS:
        return Shape.TOO_FEW
    if 2.0 * min(mann_kendall(y).p_value, _p_of_step(y, seed)) >= LEVEL:
        return Shape.NONE
    evidence = _step_over_slope(y)
    if abs(evidence) < WORTH_MENTIONING:
        return Shape.EITHER
    return Shape.STEP if evidence > 0.0 else Shape.SLOPE


def _step_gains(rows: FloatArray) -> FloatArray:
    """Drop in the sum of squares of each row, shape (rows, places), by a step at each place."""
    n = rows.shape[1]
    before = np.arange(FEWEST_PER_SIDE, n - FEWEST_PER_SIDE + 1)
    sums = np.cumsum(rows - rows.mean(axis=1, keepdims=True), axis=1)[:, before - 1]
    return np.asarray(sums**2 * n / (before * (n - before)))


def _p_of_step(y: FloatArray, seed: int) -> float:
    rng = np.random.default_rng(seed)
    gain = float(_step_gains(y[None, :]).max())
    if gain == 0.0:
        return 1.0
    as_large = 0
    for done in range(0, SHUFFLES, SHUFFLES_AT_ONCE):
        count = min(SHUFFLES - done, SHUFFLES_AT_ONCE)
        rows = rng.permuted(np.tile(y, (count, 1)), axis=1)
        # A shuffle that only swaps ties has the same gain up to rounding; it must count.
        as_large += int(np.sum(_step_gains(rows).max(axis=1) >= gain * (1.0 - 1e-9)))
    return (as_large + 1) / (SHUFFLES + 1)


def _step_over_slope(y: FloatArray) -> float:
    """Difference of the two Bayesian information criteria, positive for a step."""
    n, after = len(y), best_step(y)
    line = y - np.polyval(np.polyfit(np.arange(n), y, 1), np.arange(n))
    step = np.concatenate([part - part.mean() for part in (y[:after], y[after:])])
    # A fit without scatter would give an infinite logarithm.
    floor = np.finfo(np.float64).eps * n * float(y.var()) or 1.0
    return float(n * np.log(max(line @ line, floor) / max(step @ step, floor)) - np.log(n))
