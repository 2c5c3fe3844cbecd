"""Levels of outings under changing conditions and with serial correlation.

K and heat of an outing depend on the weather, the oil's temperature and the time of year, and are
correlated with those of the last outing. Taken as independent, such outings show false steps. Here
y = (ln K, ln heat) of n outings has the covariance

    S = V (x) R + X X',   R_ij = rho^|i - j|

V is the scatter of one outing, R that of an autoregression of first order, and the columns of X
are conditions, each times the standard deviation of its unknown slope: marginalised, so that a
step is only claimed if they do not explain it as well. Levels between steps follow by generalised
least squares; rho is chosen together with the steps.

References
----------
.. [1] G. E. P. Box, G. M. Jenkins, Time Series Analysis, sec. 3.2: the autoregression.
.. [2] A. C. Aitken, On least squares and linear combination of observations, Proc. R. Soc.
   Edinburgh 55 (1935) 42: generalised least squares.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from scipy.linalg import cholesky, solve_triangular

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.season.outing import Outing, start_of

__all__ = (
    "U_OIL_HEAT_PER_K",
    "Conditions",
    "Levels",
    "conditions_of",
    "levels_of",
    "no_conditions",
)

# Prior of the correlation of neighbours; a choice: most machines repeat nearly independently,
# few carry more than half of an outing's error into the next.
CORRELATIONS = (0.0, 0.15, 0.3, 0.45, 0.6)
CORRELATION_ODDS = (0.3, 0.25, 0.2, 0.15, 0.1)
# A core is three parts in four air side, whose conductance goes with the 0.75th power of the
# air's density: 0.55 of it, within 0.2. Common practice, no source.
AIR_DENSITY, U_AIR_DENSITY = 0.55, 0.2
# Oil is warmer by as much as the air, thinner, and passes its side of the core better.
# Common practice, no source.
OIL_K_PER_K, U_OIL_K_PER_K = 0.0015, 0.0015
# A drive's heat depends on its oil's temperature, either way. Common practice, no source.
U_OIL_HEAT_PER_K = 0.004
# Other effects of the time of year, as sine and cosine, in ln K and in ln heat; a choice.
U_YEAR_K, U_YEAR_HEAT = 0.04, 0.03
KELVIN, REFERENCE_AIR_C = 273.15, 20.0
YEAR_S = 365.25 * 86400.0
ROUNDS = 3
FEWEST_FOR_DRIFT = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """Effects on ln K and ln heat of outings other than the machine's.

    `offsets` are what is taken off, shape (n, 2); `k` and `heat` are columns (n, p) and (n, q)
    scaled to an unknown slope of standard deviation 1.
    """

    offsets: FloatArray
    k: FloatArray
    heat: FloatArray

    def of(self, keep: FloatArray) -> "Conditions":
        """The conditions of some outings."""
        return Conditions(offsets=self.offsets[keep], k=self.k[keep], heat=self.heat[keep])


def no_conditions(n: int) -> Conditions:
    """Conditions without any effect on `n` outings."""
    return Conditions(offsets=np.zeros((n, 2)), k=np.zeros((n, 0)), heat=np.zeros((n, 0)))


def conditions_of(outings: Sequence[Outing]) -> Conditions:
    """Conditions of outings, from their air and their dates.

    The oil's own temperature is not among them, because it follows from K and heat, which are to
    be judged. A missing value is taken as the others' median; without dates there is no year.
    """
    air_c = _filled([outing.ambient_c for outing in outings])
    density = np.log((KELVIN + REFERENCE_AIR_C) / (KELVIN + air_c))
    warmer = air_c - REFERENCE_AIR_C
    offsets = np.zeros((len(outings), 2))
    offsets[:, 0] = AIR_DENSITY * density + OIL_K_PER_K * warmer
    year = _year([start_of(outing) for outing in outings])
    return Conditions(
        offsets=offsets,
        k=np.column_stack([U_AIR_DENSITY * density, U_OIL_K_PER_K * warmer, U_YEAR_K * year]),
        heat=np.column_stack([U_OIL_HEAT_PER_K * warmer, U_YEAR_HEAT * year]),
    )


def _filled(values: Sequence[float | None]) -> FloatArray:
    row = np.array([np.nan if value is None else value for value in values], dtype=np.float64)
    seen = np.isfinite(row)
    return np.where(seen, row, np.median(row[seen]) if seen.any() else REFERENCE_AIR_C)


def _year(starts: Sequence[datetime | None]) -> FloatArray:
    """Sine and cosine of the time of year, (n, 2); nothing where an outing has no clock."""
    if any(start is None for start in starts):
        return np.zeros((len(starts), 0))
    angle = 2.0 * np.pi * np.array([s.timestamp() for s in starts if s is not None]) / YEAR_S
    return np.column_stack([np.sin(angle), np.cos(angle)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Levels of (ln K, ln heat) between steps, shape (m, 2), and their basis.

    `covariance` (2 m, 2 m) has all of K before all of heat. `referred` are the rows with the
    conditions taken off, (n, 2). `correlation` is that of neighbouring outings, `scatter` V.
    `drift` is a steady change from one outing to the next, (2,), beside the steps, 0 where none
    is needed; `u_drift` its standard uncertainty.
    """

    starts: tuple[int, ...]
    level: FloatArray
    covariance: FloatArray
    referred: FloatArray
    correlation: float
    scatter: FloatArray
    worth: float
    drift: FloatArray
    u_drift: FloatArray

    def change(self, number: int) -> tuple[FloatArray, FloatArray]:
        """Step from stretch `number` - 1 to `number`, (2,), and its covariance, (2, 2)."""
        m = len(self.level)
        pick = np.zeros((2, 2 * m))
        for quantity in range(2):
            pick[quantity, quantity * m + number] = 1.0
            pick[quantity, quantity * m + number - 1] = -1.0
        return self.level[number] - self.level[number - 1], pick @ self.covariance @ pick.T


def levels_of(
    rows: FloatArray,
    starts: tuple[int, ...],
    conditions: Conditions,
    usual: FloatArray,
    *,
    usual_worth: float,
    penalty: float,
) -> Levels:
    """Drop steps that conditions or serial correlation explain, and find the levels of the rest.

    Parameters
    ----------
    rows : ndarray, shape (n, 2)
        ln K and ln heat.
    starts : tuple of int
        Candidates: where stretches begin, the first at 0.
    conditions : Conditions
        Of the same outings.
    usual : ndarray, shape (2, 2)
        Usual scatter of one outing, with the weight of `usual_worth` outings.
    penalty : float
        Gain of a step, in squared standard deviations, below which it is dropped.
    """
    tried = [
        (score + 2.0 * np.log(odds), levels)
        for correlation, odds in zip(CORRELATIONS, CORRELATION_ODDS, strict=True)
        for drifts in ((False, True) if len(rows) >= FEWEST_FOR_DRIFT else (False,))
        for score, levels in (
            _at_correlation(
                rows, starts, conditions, usual, usual_worth, penalty, correlation, drifts=drifts
            ),
        )
    ]
    return max(tried, key=lambda pair: pair[0])[1]


def _at_correlation(
    rows: FloatArray,
    starts: tuple[int, ...],
    conditions: Conditions,
    usual: FloatArray,
    usual_worth: float,
    penalty: float,
    correlation: float,
    *,
    drifts: bool,
) -> tuple[float, Levels]:
    n = len(rows)
    y = rows - conditions.offsets
    lag = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    serial = correlation**lag
    explained = np.zeros((2 * n, 2 * n))
    explained[:n, :n] = conditions.k @ conditions.k.T
    explained[n:, n:] = conditions.heat @ conditions.heat.T
    unserial = np.linalg.inv(serial)
    scatter = usual
    kept = starts
    for _ in range(ROUNDS):
        fit = _Gls(y, np.kron(scatter, serial) + explained, drifts=drifts)
        kept = _pruned(fit, kept, penalty)
        level, covariance, residuals = fit.levels(kept)
        part = explained @ np.linalg.solve(fit.whole, residuals.T.ravel())
        rest = residuals - part.reshape(2, n).T
        worth = float(n - len(kept))
        scatter = (usual_worth * usual + rest.T @ unserial @ rest) / (usual_worth + worth)
    fit = _Gls(y, np.kron(scatter, serial) + explained, drifts=drifts)
    level, covariance, residuals = fit.levels(kept)
    part = explained @ np.linalg.solve(fit.whole, residuals.T.ravel())
    m = len(level)  # of each quantity: the levels, and the drift behind them
    of_levels = [i for i in range(2 * m) if i % m < len(kept)]
    # The usual scatter is part of the scatter, and of the likelihood of a correlation.
    prior = usual_worth * (
        float(np.trace(np.linalg.solve(scatter, usual))) + float(np.linalg.slogdet(scatter)[1])
    )
    score = -fit.cost(kept) - fit.log_determinant - prior - penalty * (len(kept) + drifts)
    return score, Levels(
        starts=kept,
        level=level[: len(kept)],
        covariance=covariance[np.ix_(of_levels, of_levels)],
        referred=y - part.reshape(2, n).T,
        correlation=correlation,
        scatter=scatter,
        worth=worth,
        drift=level[-1] if drifts else np.zeros(2),
        u_drift=np.sqrt(np.diag(covariance))[[m - 1, 2 * m - 1]] if drifts else np.zeros(2),
    )


def _pruned(fit: "_Gls", starts: tuple[int, ...], penalty: float) -> tuple[int, ...]:
    while len(starts) > 1:
        whole = fit.cost(starts)
        without = [starts[:i] + starts[i + 1 :] for i in range(1, len(starts))]
        costs = [fit.cost(fewer) for fewer in without]
        weakest = int(np.argmin(costs))
        if costs[weakest] - whole >= penalty:
            break
        starts = without[weakest]
    return starts


class _Gls:
    """Generalised least squares of levels, and of a drift, under one covariance [2]."""

    def __init__(self, y: FloatArray, whole: FloatArray, *, drifts: bool) -> None:
        self.y, self.whole, self.n = y, whole, len(y)
        self._drifts = drifts
        self._factor = cholesky(whole, lower=True)
        self.log_determinant = 2.0 * float(np.log(np.diag(self._factor)).sum())
        self._white = solve_triangular(self._factor, y.T.ravel(), lower=True)

    def _solve(self, starts: tuple[int, ...]) -> tuple[FloatArray, FloatArray, FloatArray]:
        inside = np.zeros((self.n, len(starts)))
        for number, (begin, end) in enumerate(zip(starts, (*starts[1:], self.n), strict=True)):
            inside[begin:end, number] = 1.0
        if self._drifts:
            inside = np.column_stack([inside, np.arange(self.n) - 0.5 * (self.n - 1)])
        design = solve_triangular(self._factor, np.kron(np.eye(2), inside), lower=True)
        q, r = np.linalg.qr(design)
        return np.asarray(q), np.asarray(r), inside

    def cost(self, starts: tuple[int, ...]) -> float:
        """Squared normalised distance from the levels."""
        q, _, _ = self._solve(starts)
        return float(self._white @ self._white - np.sum((q.T @ self._white) ** 2))

    def levels(self, starts: tuple[int, ...]) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Levels (m, 2), their covariance, and the residuals of the rows (n, 2)."""
        q, r, inside = self._solve(starts)
        level = np.asarray(np.linalg.solve(r, q.T @ self._white).reshape(2, inside.shape[1]).T)
        inverse = np.linalg.inv(r)
        return level, np.asarray(inverse @ inverse.T), self.y - inside @ level
