"""Has a value changed over the outings, by a step or by a drift, and could we have seen it?

One value per outing, in order, in any one unit. A step makes a trend test fire and a drift
makes a step test fire, so `change_in` asks first whether anything changed at all, then which
of the two describes it better, and says so when the outings cannot tell them apart.

Every test here takes outings as independent of each other apart from the change looked for.

References
----------
.. [1] Cobb, G. W. (1978), The problem of the Nile, Biometrika 65, 243-251.
.. [2] Pettitt, A. N. (1979), A non-parametric approach to the change-point problem, Applied
   Statistics 28, 126-135.
.. [3] Kass, R. E. and Raftery, A. E. (1995), Bayes factors, JASA 90, 773-795.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from wattsump_analysis.arrays import FloatArray, check_share, out_of_range, row_of
from wattsump_analysis.statistics.trends import MannKendall, Slope, mann_kendall, theil_sen

__all__ = (
    "Change",
    "Difference",
    "Shape",
    "Step",
    "best_step",
    "change_in",
    "welch",
)

# At five outings the exact trend test can first fall below 0.05 after sharing it with the
# step test (2/5! twice over); with fewer, no order of values could ever be called a change.
FEWEST_OUTINGS = 5
# Fewer on one side leave no scatter to judge a mean by.
FEWEST_PER_SIDE = 2
# Kass and Raftery [3], table of 2 ln B: below 2 is "not worth more than a bare mention".
WORTH_MENTIONING = 2.0
# The smallest p that so many shuffles can show is 1/2000, well under any level in use here.
SHUFFLES = 1999
SHUFFLES_AT_ONCE = 100


class Shape(StrEnum):
    """What kind of change the outings show."""

    NONE = "none"
    STEP = "step"
    SLOPE = "slope"
    EITHER = "either"
    TOO_FEW = "too few"


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """Difference of two means whose scatter may differ, with its interval."""

    change: float
    low: float
    high: float
    t: float
    dof: float
    p_value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """The one step that leaves the least scatter; `after` outings come before it.

    The interval and t are those of two groups divided beforehand. The division was searched
    for, so `difference.p_value` flatters it; `Change.p_value` does not.
    """

    after: int
    before_mean: float
    after_mean: float
    difference: Difference
    scatter_ss: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """Whether a row of outings changed, how, and the evidence of step over slope.

    `step_over_slope` is the difference of the two Bayesian information criteria, positive
    where the step describes the row better. `left_over` is the trend in what the step leaves.
    """

    shape: Shape
    p_value: float
    step_over_slope: float
    step: Step | None
    slope: Slope | None
    trend: MannKendall | None
    left_over: MannKendall | None


def welch(before: ArrayLike, after: ArrayLike, *, confidence: float = 0.95) -> Difference:
    """Difference of two means, the scatter of the two not taken as equal.

    Parameters
    ----------
    before, after : array_like, shapes (n,) and (m,)
        Values of the two groups, at least 2 each.
    confidence : float
        Of the interval, between 0 and 1 [-].

    Returns
    -------
    Difference
        after - before with its interval; t, degrees of freedom and two-sided p. Without any
        scatter the interval is the change itself and t is infinite (0 without change).

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
    check_share(confidence, "confidence", "welch")
    change = float(b.mean() - a.mean())
    v_a, v_b = float(a.var(ddof=1)) / len(a), float(b.var(ddof=1)) / len(b)
    error = float(np.sqrt(v_a + v_b))
    if error == 0.0:
        t, dof = (np.copysign(np.inf, change) if change else 0.0), float(len(a) + len(b) - 2)
    else:
        t = change / error
        dof = (v_a + v_b) ** 2 / (v_a**2 / (len(a) - 1) + v_b**2 / (len(b) - 1))
    reach = float(stats.t.ppf(0.5 + confidence / 2.0, dof)) * error
    return Difference(
        change=change,
        low=change - reach,
        high=change + reach,
        t=float(t),
        dof=dof,
        p_value=float(2.0 * stats.t.sf(abs(t), dof)),
    )


def best_step(values: ArrayLike, *, confidence: float = 0.95) -> Step:
    """Find the one step in the mean that leaves the smallest sum of squares.

    Parameters
    ----------
    values : array_like, shape (n,)
        One value per outing, in order, n at least 4; at least 2 stay on either side.
    confidence : float
        Of the interval of the difference, between 0 and 1 [-].

    Returns
    -------
    Step
        Place, means, Welch difference and the sum of squares left, in the values' unit.

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
    gain = _step_gains(x[None, :])[0]
    after = FEWEST_PER_SIDE + int(np.argmax(gain))
    return Step(
        after=after,
        before_mean=float(x[:after].mean()),
        after_mean=float(x[after:].mean()),
        difference=welch(x[:after], x[after:], confidence=confidence),
        scatter_ss=float(np.sum((x[:after] - x[:after].mean()) ** 2))
        + float(np.sum((x[after:] - x[after:].mean()) ** 2)),
    )


def change_in(
    values: ArrayLike,
    position: ArrayLike | None = None,
    *,
    confidence: float = 0.95,
    seed: int = 0,
) -> Change:
    """Decide between no change, a step and a slope, in that order of question.

    Parameters
    ----------
    values : array_like, shape (n,)
        One value per outing, in order.
    position : array_like, shape (n,), optional
        Where each outing lies, as for `theil_sen`; not decreasing.
    confidence : float
        A change is claimed where chance alone would show one less often than 1 - confidence.
    seed : int
        Of the shuffles that calibrate the step test, so that a result can be had again.

    Returns
    -------
    Change
        Shape TOO_FEW, without numbers, under 5 outings; NONE, or one of STEP, SLOPE and
        EITHER where the outings cannot tell those two apart.

    Raises
    ------
    RangeError
        A value or position that is not finite, or positions that decrease.

    Notes
    -----
    The first question is put to two tests, each at half of the level: Mann-Kendall for a
    trend, and the largest drop in the sum of squares by any one step, compared with the same
    in shuffled rows (which allows for the search over places and for short rows, where
    Pettitt's approximation is powerless). The second is the Bayesian information criterion of
    a least-squares line (3 parameters) against that of the step (4, its place included); a
    difference under 2 is EITHER [3]_.

    References
    ----------
    .. [3] Kass and Raftery (1995), JASA 90, 773-795.
    """
    y = row_of(values, "values", at_least=1)
    check_share(confidence, "confidence", "change_in")
    x = np.arange(len(y), dtype=np.float64)
    if position is not None:
        x = row_of(position, "positions", at_least=1)
    if len(x) != len(y) or (np.diff(x) < 0.0).any():
        raise out_of_range(f"{len(y)} positions that do not decrease", x, "change_in")
    if len(y) < FEWEST_OUTINGS or np.ptp(x) == 0.0:
        return Change(
            shape=Shape.TOO_FEW,
            p_value=1.0,
            step_over_slope=0.0,
            step=None,
            slope=None,
            trend=None,
            left_over=None,
        )
    trend, step = mann_kendall(y), best_step(y, confidence=confidence)
    p_value = min(1.0, 2.0 * min(trend.p_value, _p_of_step(y, seed)))
    evidence = _step_over_slope(x, y, step.scatter_ss)
    means = np.where(np.arange(len(y)) < step.after, step.before_mean, step.after_mean)
    return Change(
        shape=_shape(p_value, evidence, 1.0 - confidence),
        p_value=p_value,
        step_over_slope=evidence,
        step=step,
        slope=theil_sen(y, x, confidence=confidence),
        trend=trend,
        left_over=mann_kendall(y - means),
    )


def _shape(p_value: float, evidence: float, level: float) -> Shape:
    if p_value >= level:
        return Shape.NONE
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
    found = float(_step_gains(y[None, :]).max())
    if found == 0.0:
        return 1.0
    as_large = 0
    left = SHUFFLES
    while left > 0:
        count = min(left, SHUFFLES_AT_ONCE)
        rows = rng.permuted(np.tile(y, (count, 1)), axis=1)
        # A shuffle that only swaps ties gives the same gain up to rounding: count it.
        as_large += int(np.sum(_step_gains(rows).max(axis=1) >= found * (1.0 - 1e-9)))
        left -= count
    return (as_large + 1) / (SHUFFLES + 1)


def _step_over_slope(x: FloatArray, y: FloatArray, step_ss: float) -> float:
    n = len(y)
    dx, dy = x - x.mean(), y - y.mean()
    line_ss = float(np.sum((dy - dx * (dx @ dy) / (dx @ dx)) ** 2))
    # A row without scatter about one of the two would give an infinite logarithm.
    floor = np.finfo(np.float64).eps * float(dy @ dy) or 1.0
    ratio = max(line_ss, floor) / max(step_ss, floor)
    return float(n * np.log(ratio) - np.log(n))
