"""How much outings say for a change at any of them, whatever the machine's scatter may be.

With y = (ln K, ln heat) of n outings, stacked, and all that moves them drawn from normals,

    y = level + C z + h d + e,   e ~ N(0, V (x) R),   R_ij = rho^|i - j|,   z ~ N(0, 1)

C are the conditions and the changes so far; h d is one further change, along h. V =
[[c^2 + k^2, c^2], [c^2, c^2 + w^2]]: an error that scales both, one of K alone, and one of heat
alone with the work of the day. Neither V, nor rho, nor by how much a drive's heat answers its
oil's warmth is known: each is on a grid with its prior odds, and results are means over the
grid. At a point of the grid the evidence is exact.

References
----------
.. [1] G. E. P. Box, G. M. Jenkins, Time Series Analysis, sec. 3.2: the autoregression.
.. [2] A. Gelman et al., Bayesian Data Analysis, 3rd ed., sec. 14.8: linear models with
   normal priors.
.. [3] A. H. Stroud, Approximate Calculation of Multiple Integrals (1971), formulas of degree 5
   for a normal weight; from memory.
"""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import ArrayLike

from wattsump_analysis.arrays import FloatArray

__all__ = (
    "FLAT",
    "TIDY",
    "TYPICAL",
    "Evidence",
    "Given",
    "Grid",
    "covariance_of",
    "log_sum",
    "shift_evidence",
)

# Three machines in five are tidy: each outing by itself, and no year. In the others neighbouring
# outings are alike, and the year moves both numbers. A choice.
CORRELATIONS = np.array([0.0, 0.3, 0.55])
CORRELATION_ODDS = np.array([0.6, 0.2, 0.2])
TIDY = CORRELATIONS == 0.0
# A drive's heat answers its oil's warmth, either way, per kelvin. Common practice, no source.
ANSWERS = np.array([-0.006, 0.0, 0.006])
ANSWER_ODDS = np.array([0.25, 0.5, 0.25])
# Scatter (c, k, w) of one ordinary outing: full fits of an emulated machine repeated to 5.5 to
# 7.1 % in K and 7.0 to 8.9 % in heat, the work's own 5 % among it, with a correlation of 0.42 to
# 0.84. These make 6.5 %, 8.1 % and 0.57.
TYPICAL = np.array([0.055, 0.035, 0.060])
# How far a machine may be from the typical one, in a logarithm: within a factor of 1.35 on two
# machines in three. A choice.
SPREAD = 0.3
# Points for a mean over three normal numbers, exact up to the fifth power [3]: the middle, six
# along one number and eight corners, so many standard deviations out, and their shares.
OUT = np.sqrt(3.0)
POINTS = np.array([p for p in product((-1.0, 0.0, 1.0), repeat=3) if np.count_nonzero(p) != 2])
SHARES = np.array([2.0 / 9.0, 1.0 / 9.0, 0.0, 1.0 / 72.0])[np.count_nonzero(POINTS, axis=1)]
# Width of a level of which nothing is known, in a logarithm.
FLAT = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Points (c, k, w) of the scatter, shape (v, 3), with the logarithms of their odds, (v,).

    `sd` is what outings leave unknown of each number, in a logarithm.
    """

    scatter: FloatArray
    log_odds: FloatArray
    sd: float

    @classmethod
    def about(cls, typical: FloatArray, centre: FloatArray, outings: int) -> "Grid":
        """Points around `centre` (3,), with the odds they have about `typical` (3,)."""
        # An outing tells of each number about half of what it would if it were all of the scatter.
        sd = float(1.0 / np.sqrt(1.0 / SPREAD**2 + 0.5 * outings))
        scatter = centre * np.exp(OUT * sd * POINTS)
        off = np.log(scatter / typical) / SPREAD
        log_odds = 0.5 * np.sum((OUT * POINTS) ** 2 - off**2, axis=1) + np.log(SHARES)
        return cls(scatter=scatter, log_odds=log_odds, sd=sd)

    @property
    def covariance(self) -> FloatArray:
        """V at each point, (v, 2, 2)."""
        return covariance_of(self.scatter)


def covariance_of(scatter: FloatArray) -> FloatArray:
    """V, (..., 2, 2), of a scatter (c, k, w), (..., 3)."""
    c, k, w = np.moveaxis(scatter**2, -1, 0)
    return np.stack([np.stack([c + k, c], -1), np.stack([c, c + w], -1)], -2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """Logarithms of K and heat `rows` (n, 2), and what moves them.

    `offsets` (n, 2) are to be taken off the rows; `columns` (n, 2, p) move K and heat, each
    scaled to an unknown slope of standard deviation 1, the first `yearly` of them with the time
    of year; `oil_k` (n,) is how much warmer the oil ran than usual, `rise_k` its usual rise over
    air.
    """

    rows: FloatArray
    offsets: FloatArray
    columns: FloatArray
    oil_k: FloatArray
    rise_k: float
    yearly: int = 0

    def part(self, keep: slice) -> "Given":
        """Some of the outings."""
        return replace(
            self,
            rows=self.rows[keep],
            offsets=self.offsets[keep],
            columns=self.columns[keep],
            oil_k=self.oil_k[keep],
        )

    def along(self, column: FloatArray, covariance: ArrayLike) -> "Given":
        """The same with one thing more, that moves outings along `column` (n,) so widely."""
        root = np.linalg.cholesky(np.asarray(covariance, dtype=np.float64))
        more = np.einsum("i,qp->iqp", column, root)
        return replace(self, columns=np.concatenate([self.columns, more], axis=2))


class Evidence:
    """Exact evidence at every point of the grid: axes (correlation, scatter, answer)."""

    def __init__(self, given: Given, grid: Grid) -> None:
        n = len(given.rows)
        level = np.broadcast_to(FLAT * np.eye(2), (n, 2, 2))
        columns = np.concatenate([level, given.columns], axis=2)
        rows = given.rows - given.offsets
        rows = rows - np.median(rows, axis=0)
        y = np.repeat(rows[:, :, None], len(ANSWERS), axis=2)
        y[:, 1] -= np.multiply.outer(given.oil_k, ANSWERS)
        self.grid, self._given = grid, given
        # By how much each column counts at each correlation.
        self._share = np.ones((len(CORRELATIONS), columns.shape[2]))
        self._share[TIDY, 2 : 2 + given.yearly] = 0.0
        each = zip(CORRELATIONS, self._share, strict=True)
        self._c = np.stack([_white(columns * share, rho) for rho, share in each])
        self._y = np.stack([_white(y, rho) for rho in CORRELATIONS])
        self._v = np.linalg.inv(grid.covariance)
        inner = self._within(np.einsum("jiqp,jirs->jqrps", self._c, self._c, optimize=True))
        inner += np.eye(columns.shape[2])
        self._inverse = np.linalg.inv(inner)
        cy = self._within(np.einsum("jiqp,jira->jqrpa", self._c, self._y, optimize=True))
        self._z = self._inverse @ cy
        yy = np.einsum("jiqa,jira->jqra", self._y, self._y, optimize=True)
        cost = np.einsum("vqr,jqra->jva", self._v, yy) - np.sum(cy * self._z, axis=2)
        determinant = (
            np.linalg.slogdet(inner)[1]
            + n * np.linalg.slogdet(grid.covariance)[1]
            + 2.0 * (n - 1) * np.log1p(-(CORRELATIONS**2))[:, None]
        )
        # The oil is as warm as K and heat make it: heat brought to like oil is a change of
        # variables, of which this is the determinant.
        stretch = n * np.log(np.maximum(1.0 - ANSWERS * given.rise_k, 0.1))
        log_odds = (
            -0.5 * (cost + determinant[..., None])
            + np.log(CORRELATION_ODDS)[:, None, None]
            + grid.log_odds[:, None]
            + np.log(ANSWER_ODDS)
            + stretch
        )
        # Logarithms of the posterior odds of each point, summing to 1.
        self.log_weights = log_odds - log_sum(log_odds, axis=(0, 1, 2))

    def _within(self, products: FloatArray) -> FloatArray:
        """Sum over quantities (j, q, r, ...) under each V: (j, v, ...)."""
        return np.asarray(np.einsum("vqr,jqrps->jvps", self._v, products, optimize=True))

    def along(self, columns: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What y says of a further change along each of `columns` (n, h).

        Its likelihood at a point is exp(b'd - d'A d / 2), apart from a constant: A of shape
        (j, v, 1, h, 2, 2) and b (j, v, a, h, 2).
        """
        h = np.stack([_white(columns, rho) for rho in CORRELATIONS])
        plain = np.einsum("jih,jirp->jhrp", h, self._c, optimize=True)
        across = np.einsum("vqr,jhrp->jvhqp", self._v, plain, optimize=True)
        own = np.einsum("jih,jih->jh", h, h)
        (j, v, count, _, p), answers = across.shape, self._z.shape[-1]
        flat = across.reshape(j, v, 2 * count, p)
        solved = (flat @ self._inverse).reshape(across.shape)
        a = np.einsum("vqr,jh->jvhqr", self._v, own) - np.einsum(
            "jvhqp,jvhrp->jvhqr", solved, across
        )
        hy = np.einsum("jih,jira->jhra", h, self._y, optimize=True)
        b = np.einsum("vqr,jhra->jvahq", self._v, hy, optimize=True)
        b -= np.moveaxis((flat @ self._z).reshape(j, v, count, 2, answers), -1, 2)
        return a[:, :, None], b

    @property
    def centre(self) -> FloatArray:
        """Mean scatter (3,), by its logarithm: where the middle of the grid had better be."""
        weights = np.exp(self.log_weights).sum(axis=(0, 2))
        return np.asarray(np.exp(weights @ np.log(self.grid.scatter)))

    @property
    def columns_mean(self) -> tuple[FloatArray, FloatArray]:
        """Mean (p,) and covariance (p, p) of z, the levels (2) first, over the grid."""
        weights = np.exp(self.log_weights)
        z = self._z * self._share[:, None, :, None]
        own = self._inverse * (self._share[:, :, None] * self._share[:, None])[:, None]
        mean = np.einsum("jva,jvpa->p", weights, z)
        off = z - mean[:, None]
        spread = np.einsum("jva,jvpa,jvsa->ps", weights, off, off, optimize=True)
        return mean, spread + np.einsum("jva,jvps->ps", weights, own, optimize=True)

    @property
    def scatter_mean(self) -> FloatArray:
        """Mean of V, (2, 2)."""
        weights = np.exp(self.log_weights)
        return np.asarray(np.einsum("jva,vqr->qr", weights, self.grid.covariance))

    @property
    def correlation_mean(self) -> float:
        """Mean of rho."""
        return float(np.exp(self.log_weights).sum(axis=(1, 2)) @ CORRELATIONS)

    @property
    def answer_mean(self) -> tuple[float, float]:
        """By how much heat answers the oil's warmth, per K, and its standard uncertainty."""
        weights = np.exp(self.log_weights).sum(axis=(0, 1))
        mean = float(weights @ ANSWERS)
        return mean, float(np.sqrt(weights @ (ANSWERS - mean) ** 2))


def _white(columns: FloatArray, rho: float) -> FloatArray:
    """Rows (n, ...) of an autoregression of first order, made independent [1]."""
    out = columns.copy()
    out[1:] = (columns[1:] - rho * columns[:-1]) / np.sqrt(1.0 - rho**2)
    return out


def log_sum(values: FloatArray, axis: int | tuple[int, ...]) -> FloatArray:
    """Logarithm of the sum of exponentials along axes."""
    top = values.max(axis=axis, keepdims=True)
    total = np.log(np.sum(np.exp(values - top), axis=axis))
    return np.asarray(total + top.reshape(total.shape))


def shift_evidence(
    a: FloatArray, b: FloatArray, mean: ArrayLike, covariance: ArrayLike
) -> FloatArray:
    """Logarithm of the Bayes factor of a change d ~ N(mean, covariance) against none.

    Parameters
    ----------
    a, b : ndarray, shapes (..., 2, 2) and (..., 2)
        The likelihood of d is exp(b'd - d'a d / 2).
    mean, covariance : array_like, shapes (2,) and (2, 2)
        Of d, in one pattern.

    Returns
    -------
    ndarray, shape (...)

    Notes
    -----
    With b shifted to the mean m, (b - a m), it is b'm - m'a m / 2 - ln det(I + S a) / 2
    + b' (I + S a)^-1 S b / 2 [2]_.
    """
    m, s = np.asarray(mean, dtype=np.float64), np.asarray(covariance, dtype=np.float64)
    # Written out: products of matrices of two rows cost ten times as much as their sums.
    a00, a01, a11 = a[..., 0, 0], a[..., 0, 1], a[..., 1, 1]
    am0, am1 = a00 * m[0] + a01 * m[1], a01 * m[0] + a11 * m[1]
    b0, b1 = b[..., 0], b[..., 1]
    at_mean = b0 * m[0] + b1 * m[1] - 0.5 * (am0 * m[0] + am1 * m[1])
    b0, b1 = b0 - am0, b1 - am1
    t00, t01 = 1.0 + s[0, 0] * a00 + s[0, 1] * a01, s[0, 0] * a01 + s[0, 1] * a11
    t10, t11 = s[1, 0] * a00 + s[1, 1] * a01, 1.0 + s[1, 0] * a01 + s[1, 1] * a11
    determinant = t00 * t11 - t01 * t10
    sb0, sb1 = s[0, 0] * b0 + s[0, 1] * b1, s[1, 0] * b0 + s[1, 1] * b1
    square = (b0 * (t11 * sb0 - t01 * sb1) + b1 * (t00 * sb1 - t10 * sb0)) / determinant
    return np.asarray(at_mean - 0.5 * np.log(determinant) + 0.5 * square)
