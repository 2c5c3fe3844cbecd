"""How many outings it takes to see a change, and how large a change so many would show.

A change is seen by comparing the mean of the outings before with that of the outings after
(two-sided t, scatter alike on both sides). What decides is the change in units of the scatter
of one outing: both are given here as shares of the mean.

References
----------
.. [1] Cohen, J. (1988), Statistical Power Analysis for the Behavioral Sciences, 2nd ed.,
   chapter 2.
"""

import numpy as np
from scipy import optimize, stats

from wattsump_analysis.rows import check_share, out_of_range

__all__ = ("detectable_change", "outings_needed", "power_to_see")

# More outings than a machine sees in its life; beyond it the answer is "never".
MOST_OUTINGS = 100_000
WHERE = "outings"
# Of each piece of the integral; agrees with scipy, where scipy answers, to 1e-9.
NODES = 80


def power_to_see(
    change: float, cov: float, before: int, after: int, *, confidence: float = 0.95
) -> float:
    """Probability that a change of a given size would be called one.

    Parameters
    ----------
    change : float
        Size of the change as a share of the mean, either sign [-].
    cov : float
        Standard deviation of one outing as a share of the mean, above 0 [-].
    before, after : int
        Outings on either side, at least 1 each and 3 together.
    confidence : float
        Of the test, between 0 and 1 [-].

    Returns
    -------
    float
        Between 1 - confidence (no change) and 1 [-].

    Raises
    ------
    RangeError
        A parameter outside its range.

    Notes
    -----
    Noncentral t with before + after - 2 degrees of freedom and noncentrality
    d sqrt(before after / (before + after)), d = |change| / cov [1]_, section 2.3.

    References
    ----------
    .. [1] Cohen (1988), chapter 2.
    """
    _check(cov, confidence)
    if before < 1 or after < 1 or before + after < 3:
        raise out_of_range("1 or more outings on each side, 3 together", (before, after), WHERE)
    dof = before + after - 2
    shift = abs(change) / cov * np.sqrt(before * after / (before + after))
    return _beyond(float(stats.t.ppf(0.5 + confidence / 2.0, dof)), dof, float(shift))


def outings_needed(
    change: float,
    cov: float,
    *,
    before: int | None = None,
    power: float = 0.8,
    confidence: float = 0.95,
) -> int | None:
    """Fewest outings after (and before, if not given) that would show a change.

    Parameters
    ----------
    change, cov, confidence : float
        As for `power_to_see`; a change of 0 is refused.
    before : int, optional
        Outings there already are from before the change. Left out, the answer is the number
        needed on each side.
    power : float
        Wanted probability of seeing the change, above 1 - confidence and below 1 [-].

    Returns
    -------
    int or None
        None where no number of outings after it would do, since those before are too few.

    Raises
    ------
    RangeError
        A parameter outside its range.

    References
    ----------
    .. [1] Cohen (1988), chapter 2.
    """
    _check(cov, confidence)
    _check_power(power, confidence)
    if change == 0.0 or not np.isfinite(change):
        raise out_of_range("a change other than 0", change, WHERE)

    def enough(n: int) -> bool:
        first = n if before is None else before
        return power_to_see(change, cov, first, n, confidence=confidence) >= power

    few = 2 if before is None or before < 2 else 1
    if enough(few):
        return few
    many = 2 * few
    while not enough(many):
        few, many = many, 2 * many
        if few > MOST_OUTINGS:
            return None
    while many - few > 1:
        middle = (few + many) // 2
        few, many = (few, middle) if enough(middle) else (middle, many)
    return many


def detectable_change(
    cov: float, before: int, after: int, *, power: float = 0.8, confidence: float = 0.95
) -> float:
    """Smallest change that so many outings would have shown, as a share of the mean.

    Parameters
    ----------
    cov, before, after, power, confidence
        As for `power_to_see` and `outings_needed`.

    Returns
    -------
    float
        Size of the change [-]; above 1 means that even a loss of everything could hide.

    Raises
    ------
    RangeError
        A parameter outside its range.

    References
    ----------
    .. [1] Cohen (1988), chapter 2.
    """
    _check(cov, confidence)
    _check_power(power, confidence)

    def shortfall(change: float) -> float:
        return power_to_see(change, cov, before, after, confidence=confidence) - power

    high = cov
    while shortfall(high) < 0.0:
        high *= 2.0
    return float(optimize.brentq(shortfall, 0.0, high, rtol=1e-10))


def _beyond(critical: float, dof: int, shift: float) -> float:
    """Probability that a noncentral t lies beyond +-critical.

    scipy.stats.nct answers NaN for much of 1 to 3 degrees of freedom (scipy 1.17), which is
    where a machine with few outings lives. So the normal probability is integrated here over
    the chi density of the scatter, in pieces about the place where it turns from 0 to 1.
    """
    chi = stats.chi(dof)
    low, high = float(chi.ppf(1e-15)), float(chi.isf(1e-15))
    turn, width = shift * np.sqrt(dof) / critical, np.sqrt(dof) / critical
    edges = np.unique(np.clip([low, turn - 8 * width, turn, turn + 8 * width, high], low, high))
    node, weight = np.polynomial.legendre.leggauss(NODES)
    half = np.diff(edges)[:, None] / 2.0
    s = edges[:-1, None] + half * (node + 1.0)
    limit = critical * s / np.sqrt(dof)
    chance = stats.norm.sf(limit - shift) + stats.norm.cdf(-limit - shift)
    return min(1.0, float(np.sum(half * weight * chi.pdf(s) * chance)))


def _check(cov: float, confidence: float) -> None:
    if not (cov > 0.0 and np.isfinite(cov)):
        raise out_of_range("a scatter of one outing above 0", cov, WHERE)
    check_share(confidence, "confidence", WHERE)


def _check_power(power: float, confidence: float) -> None:
    if not 1.0 - confidence < power < 1.0:
        raise out_of_range(f"a power between {1.0 - confidence:.3g} and 1", power, WHERE)
