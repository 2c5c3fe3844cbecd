"""Divides a machine's outings into stretches that differ by more than it repeats.

K and heat of an outing are tested together, as logarithms, because their errors are correlated:
a heat capacity 5 % high raises both by 5 %. A change of one without the other is therefore much
stronger evidence than a change of both alike.

References
----------
.. [1] Jackson, B. et al. (2005), An algorithm for optimal partitioning of data on an interval,
   IEEE Signal Processing Letters 12, 105-108.
.. [2] Gelman, A. et al., Bayesian Data Analysis, 3rd ed., section 3.6 (covariance with a
   prior worth so many observations).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wattsump_analysis.arrays import FloatArray, out_of_range
from wattsump_analysis.season.serial import Conditions, Levels, levels_of, no_conditions

__all__ = (
    "PENALTY",
    "TYPICAL",
    "TYPICAL_WORTH",
    "Scatter",
    "Stretches",
    "find_stretches",
    "repeatability",
    "smallest_seen",
    "usual_scatter",
)

# Covariance of ln K and ln heat of one ordinary outing: as fits of emulated outings of one
# machine repeat (7 %, 5 %, correlation 0.7; docs/trend-method.md says how it was measured),
# and for the heat 6 % more, because nobody does the same work twice.
TYPICAL = np.array([[0.07**2, 0.7 * 0.07 * 0.05], [0.7 * 0.07 * 0.05, 0.05**2 + 0.06**2]])
# Weight of that covariance, in outings, beside the machine's own scatter.
TYPICAL_WORTH = 6.0
# Drop in squared normalised scatter that a further step must bring. For two numbers a
# fixed place would pass by chance once in exp(13/2), about 670; the search over places and
# the look after every outing raise that to the rate measured in docs/validation-seasons.md.
PENALTY = 12.0
USUAL_CORRELATION = 0.15  # of neighbouring outings, if nothing else is known; a choice
FEWEST = 2
# An outing that both its neighbours contradict, beyond this squared distance (of 2 degrees
# of freedom: once in 22 000), is one odd outing and no change.
ODD = 20.0
# A short stretch must stay apart without its most extreme outing: a squared distance passed
# by chance once in 12 (2 degrees of freedom), as that outing's part comes on top.
UNAIDED = 5.0
SHORT = 3
# Robust standard deviation of a normal from its median absolute deviation.
MAD_TO_SD = 1.4826
ROUNDS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """How one machine repeats: covariance (2, 2) of ln K and ln heat, and its basis."""

    covariance: FloatArray
    own_outings: float

    @property
    def sd(self) -> FloatArray:
        """Standard deviations of ln K and ln heat of one outing, shape (2,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def basis(self) -> float:
        """Degrees of freedom of the t that allows for the uncertainty of the covariance.

        Of a multivariate t with a prior worth so many outings: one less than their sum [2].
        """
        return self.own_outings + TYPICAL_WORTH - 1.0

    @property
    def correlation(self) -> float:
        """Correlation of the two within one outing."""
        sd = self.sd
        return float(self.covariance[0, 1] / (sd[0] * sd[1]))

    def of_difference(self, before: int, after: int) -> FloatArray:
        """Covariance of the difference of two means over so many outings, shape (2, 2)."""
        return self.covariance * (1.0 / before + 1.0 / after)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretches:
    """Stretches of like outings.

    `starts` are positions of each stretch's first outing, the first being 0; `odd` are
    positions of outings set aside; `newest_is_odd` says the last outing alone lies beyond
    the scatter of the last stretch, set aside or not. `levels` are of the outings kept.
    """

    starts: tuple[int, ...]
    odd: tuple[int, ...]
    newest_is_odd: bool
    scatter: Scatter
    levels: Levels

    def members(self, stretch: int, n: int) -> NDArray[np.int64]:
        """Positions of the outings of a stretch, odd ones left out."""
        end = self.starts[stretch + 1] if stretch + 1 < len(self.starts) else n
        inside = np.arange(self.starts[stretch], end)
        return inside[~np.isin(inside, self.odd)]


def repeatability(
    rows: ArrayLike,
    starts: tuple[int, ...] | None = None,
    *,
    usual: FloatArray = TYPICAL,
) -> Scatter:
    """Estimate how a machine repeats.

    Parameters
    ----------
    rows : array_like, shape (n, 2)
        ln K and ln heat, one row per outing, in order.
    starts : tuple of int, optional
        Where stretches begin. Without them neighbours are compared, which one or several
        steps hardly disturb.
    usual : ndarray, shape (2, 2)
        Covariance to lean on while the machine's own outings are few.

    Returns
    -------
    Scatter
        The machine's own covariance, drawn towards the usual one as long as outings are few.

    Raises
    ------
    RangeError
        Rows that are not pairs of finite numbers.
    """
    y = _pairs(rows)
    if starts is None:
        sums, worth = _from_neighbours(y, usual)
    else:
        parts = np.split(y, list(starts[1:]))
        residuals = np.concatenate([part - part.mean(axis=0) for part in parts])
        sums, worth = residuals.T @ residuals, float(len(y) - len(parts))
    covariance = (TYPICAL_WORTH * usual + sums) / (TYPICAL_WORTH + worth)
    return Scatter(covariance=covariance, own_outings=worth)


def usual_scatter(own_u: ArrayLike) -> FloatArray:
    """Covariance to begin with, from the outings' own uncertainties.

    Parameters
    ----------
    own_u : array_like, shape (n, 2)
        Relative standard uncertainties of K and heat that each outing drew afresh; NaN where
        an outing has none.

    Returns
    -------
    ndarray, shape (2, 2)
        `TYPICAL`, widened by up to 2 if the median outing's uncertainty is larger. A smaller
        one does not narrow it: only repeated outings show how a machine repeats.
    """
    u = np.asarray(own_u, dtype=np.float64).reshape(-1, 2)
    typical_sd = np.sqrt(np.diag(TYPICAL))
    factor = np.ones(2)
    for column in range(2):
        stated = u[np.isfinite(u[:, column]), column]
        if stated.size:
            factor[column] = np.clip(np.median(stated) / typical_sd[column], 1.0, 2.0)
    return np.asarray(TYPICAL * np.outer(factor, factor))


def find_stretches(
    rows: ArrayLike,
    *,
    penalty: float = PENALTY,
    usual: FloatArray = TYPICAL,
    conditions: Conditions | None = None,
) -> Stretches:
    """Divide outings into stretches wherever they differ beyond repeatability.

    Parameters
    ----------
    rows : array_like, shape (n, 2)
        ln K and ln heat, one row per outing, in order.
    penalty : float
        Gain that a further step must bring, in squared standard deviations; above 0.
    usual : ndarray, shape (2, 2)
        As for `repeatability`.
    conditions : Conditions, optional
        What else moves each outing; nothing if not given.

    Returns
    -------
    Stretches

    Raises
    ------
    RangeError
        Rows that are not pairs of finite numbers, or a penalty not above 0.

    Notes
    -----
    Minimises, over all divisions into stretches of at least two outings, the sum of squared
    Mahalanobis distances from the stretch means plus `penalty` per step [1]_. The covariance
    comes first from neighbours, then from the stretches. A step must not rest on a single
    outing: without it the others must still be `UNAIDED` away.
    """
    raw = _pairs(rows)
    if not penalty > 0.0:
        raise out_of_range("a penalty above 0", penalty, "outings")
    conditions = no_conditions(len(raw)) if conditions is None else conditions
    y = raw - conditions.offsets
    scatter = repeatability(y, usual=usual)
    odd = _odd(y, scatter)
    while True:
        kept = np.setdiff1d(np.arange(len(y)), odd)
        starts: tuple[int, ...] = (0,)
        for _ in range(ROUNDS):
            starts = _divide(y[kept], scatter, penalty)
            scatter = repeatability(y[kept], starts, usual=usual)
        alone = _carried_by_single(y[kept], starts, scatter)
        if alone is None:
            break
        odd = (*odd, int(kept[alone]))
    levels = levels_of(
        raw[kept],
        starts,
        conditions.of(kept),
        usual,
        usual_worth=TYPICAL_WORTH,
        penalty=penalty,
    )
    scatter = Scatter(covariance=levels.scatter, own_outings=levels.worth)
    last = levels.referred[levels.starts[-1] :]
    return Stretches(
        starts=(0, *(int(kept[start]) for start in levels.starts[1:])),
        odd=tuple(sorted(odd)),
        newest_is_odd=len(y) - 1 in odd or _newest_is_odd(last, scatter),
        scatter=scatter,
        levels=levels,
    )


def smallest_seen(
    scatter: Scatter,
    before: int,
    after: int,
    *,
    penalty: float = PENALTY,
    correlation: float = USUAL_CORRELATION,
) -> FloatArray:
    """Smallest change of ln K alone and of ln heat alone that would have been seen, shape (2,).

    Four times in five, with so many outings on either side. The other of the two staying put
    is itself evidence, so it is the scatter of one given the other that counts.
    """
    alone = np.sqrt(1.0 / np.diag(np.linalg.inv(scatter.covariance)))
    place = np.arange(before + after)
    serial = max(correlation, USUAL_CORRELATION) ** np.abs(np.subtract.outer(place, place))
    step = np.column_stack([np.ones(place.size), place >= before])
    width = np.linalg.inv(step.T @ np.linalg.solve(serial, step))[1, 1]
    # 0.84 standard deviations of a normal leave a fifth below.
    return np.asarray(alone * np.sqrt(width) * (np.sqrt(penalty) + 0.8416))


def _pairs(rows: ArrayLike) -> FloatArray:
    y = np.asarray(rows, dtype=np.float64)
    if y.ndim != 2 or y.shape[1] != 2 or len(y) == 0 or not np.isfinite(y).all():
        raise out_of_range("finite pairs of ln K and ln heat", y, "outings")
    return y


def _from_neighbours(y: FloatArray, typical: FloatArray) -> tuple[FloatArray, float]:
    """Sum of squares and its worth in outings, from differences of neighbours without steps."""
    if len(y) < 3:
        return np.zeros((2, 2)), 0.0
    difference = np.diff(y, axis=0) / np.sqrt(2.0)
    usual = MAD_TO_SD * np.median(np.abs(difference), axis=0)
    # With the typical scatter, a run of nearly equal outings does not turn all others into steps.
    usual = np.maximum(usual, 0.5 * np.sqrt(np.diag(typical)))
    steady = difference[(np.abs(difference) <= 3.0 * usual).all(axis=1)]
    # Each outing is in two differences, so they are worth fewer outings than there are.
    worth = len(steady) * 2.0 / 3.0
    return steady.T @ steady * (2.0 / 3.0), worth


def _distance(difference: FloatArray, covariance: FloatArray) -> float:
    return float(difference @ np.linalg.solve(covariance, difference))


def _odd(y: FloatArray, scatter: Scatter) -> tuple[int, ...]:
    """Positions of single outings that both neighbours contradict."""
    odd: list[int] = []
    for i in range(2, len(y) - 2):
        around = y[[i - 2, i - 1, i + 1, i + 2]]
        before, after = around[:2].mean(axis=0), around[2:].mean(axis=0)
        distance = _distance(y[i] - around.mean(axis=0), scatter.covariance * 1.25)
        if distance > ODD and _distance(before - after, scatter.covariance) < 0.5 * distance:
            odd.append(i)
    return tuple(odd)


def _divide(y: FloatArray, scatter: Scatter, penalty: float) -> tuple[int, ...]:
    n = len(y)
    if n < 2 * FEWEST:
        return (0,)
    white = np.linalg.solve(np.linalg.cholesky(scatter.covariance), (y - y.mean(axis=0)).T).T
    sums = np.concatenate([np.zeros((1, 2)), np.cumsum(white, axis=0)])
    squares = np.concatenate([[0.0], np.cumsum(np.sum(white**2, axis=1))])
    best = np.full(n + 1, np.inf)
    best[0] = -penalty
    came_from = np.zeros(n + 1, dtype=np.int64)
    for end in range(FEWEST, n + 1):
        start = np.arange(end - FEWEST + 1)
        length = end - start
        within = squares[end] - squares[start]
        within -= np.sum((sums[end] - sums[start]) ** 2, axis=1) / length
        total = best[start] + within + penalty
        came_from[end] = int(np.argmin(total))
        best[end] = total[came_from[end]]
    starts = []
    end = n
    while end > 0:
        end = int(came_from[end])
        starts.append(end)
    return tuple(reversed(starts))


def _carried_by_single(y: FloatArray, starts: tuple[int, ...], scatter: Scatter) -> int | None:
    """Position of an outing that alone makes a short stretch differ from a neighbour."""
    edges = (*starts, len(y))
    for number in range(len(starts)):
        part = np.arange(edges[number], edges[number + 1])
        if len(starts) == 1 or len(part) > SHORT:
            continue
        for other in (number - 1, number + 1):
            if not 0 <= other < len(starts):
                continue
            level = y[edges[other] : edges[other + 1]].mean(axis=0)
            distances = [_distance(row - level, scatter.covariance) for row in y[part]]
            extreme = int(np.argmax(distances))
            rest = np.delete(y[part], extreme, axis=0)
            width = 1.0 / len(rest) + 1.0 / (edges[other + 1] - edges[other])
            if _distance(rest.mean(axis=0) - level, scatter.covariance * width) < UNAIDED:
                return int(part[extreme])
    return None


def _newest_is_odd(last: FloatArray, scatter: Scatter) -> bool:
    if len(last) < 2:
        return False
    others = last[:-1]
    distance = _distance(
        last[-1] - others.mean(axis=0), scatter.covariance * (1.0 + 1.0 / len(others))
    )
    # 9.21 is passed once in a hundred by chance (2 degrees of freedom).
    return distance > 9.21
