"""Normal equations of a chain of states, banded, and their solution.

States of five follow one another; each step, reading and prior adds to a block
tridiagonal precision. One banded Cholesky factor gives determinant, mean and draws.

References
----------
.. [1] H. Rue, L. Held, Gaussian Markov Random Fields, 2005, ch. 2: banded precision.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dpbtrf, dpbtrs

from wattsump_analysis.arrays import FloatArray

__all__ = ("STATES", "Equations", "Solution", "System", "covariances", "solve")

Solution = tuple[FloatArray, FloatArray, FloatArray, FloatArray]

STATES = 5  # tank, loop, drive metal and tank wall degC, wander of the heat W
BAND = 2 * STATES


@dataclass(frozen=True, slots=True, kw_only=True)
class System:
    """Banded normal equations of states given levels, and constants of the likelihood."""

    precision: FloatArray  # (BAND, STATES n) lower band
    right: FloatArray  # (STATES n, 1 + levels): data column, then one per level
    level_precision: FloatArray  # (levels, levels)
    level_right: FloatArray  # (levels,)
    quadratic: float
    log_scales: float
    rows: int


class Equations:
    """Normal equations under construction: the steps first, then what is added to them."""

    def __init__(
        self, later: FloatArray, earlier: FloatArray, forced: FloatArray, weight: FloatArray
    ) -> None:
        steps, _, columns = forced.shape
        # One product of small matrices costs little more than one of the six it holds.
        rows = np.concatenate([later, earlier, forced], axis=2)
        products = rows.transpose(0, 2, 1) @ (weight[:, np.newaxis] * rows)
        a, b, rest = slice(STATES), slice(STATES, 2 * STATES), slice(2 * STATES, None)
        self.diagonal = np.zeros((steps + 1, STATES, STATES))
        self.diagonal[:-1] += products[:, b, b]
        self.diagonal[1:] += products[:, a, a]
        self.below = -products[:, a, b]
        self.right = np.zeros((steps + 1, STATES, columns))
        self.right[1:] += products[:, a, rest]
        self.right[:-1] -= products[:, b, rest]
        known = products[:, rest, rest].sum(axis=0)
        self.quadratic = float(known[0, 0])
        self.level_precision = known[1:, 1:]
        self.level_right = -known[1:, 0]
        self.log_scales = -steps * float(np.sum(np.log(weight)))
        self.rows = STATES * steps

    def observe(
        self,
        node: int,
        now: FloatArray,
        before: FloatArray,
        reading: FloatArray,
        seen: NDArray[np.bool_],
        sigma: float,
    ) -> None:
        """Add readings `now` x node + `before` x node one step ago = `reading` where `seen`.

        The first of `before` is not used: nothing is before the start.
        """
        w = np.where(seen, 1.0 / sigma**2, 0.0)
        self.diagonal[:, node, node] += w * now**2
        self.diagonal[:-1, node, node] += w[1:] * before[1:] ** 2
        self.below[:, node, node] += w[1:] * now[1:] * before[1:]
        self.right[:, node, 0] += w * reading * now
        self.right[:-1, node, 0] += w[1:] * reading[1:] * before[1:]
        self.quadratic += float(np.sum(w * reading**2))
        count = int(np.count_nonzero(seen))
        self.log_scales += count * 2.0 * float(np.log(sigma))
        self.rows += count

    def level_prior(self, mean_w: FloatArray, spread_w: FloatArray) -> None:
        """Add the prior of every level of heat."""
        self.level_precision += np.diag(spread_w**-2.0)
        self.level_right += mean_w / spread_w**2
        self.quadratic += float(np.sum((mean_w / spread_w) ** 2))
        self.log_scales += 2.0 * float(np.sum(np.log(spread_w)))
        self.rows += mean_w.size

    def system(self) -> System:
        return System(
            precision=_band(self.diagonal, self.below),
            right=self.right.reshape(-1, self.right.shape[-1]),
            level_precision=self.level_precision,
            level_right=self.level_right,
            quadratic=self.quadratic,
            log_scales=self.log_scales,
            rows=self.rows,
        )


def solve(system: System) -> Solution:
    """Band factor, solved columns, factor of the levels' precision, and their mean."""
    factor, info = dpbtrf(system.precision, lower=1)
    if info != 0:
        raise np.linalg.LinAlgError("precision is not positive definite")
    solved, _ = dpbtrs(factor, system.right, lower=1)
    # right[:, 1:] is -A'B, so the Schur complement and its right side follow.
    cross = system.right[:, 1:]
    schur = system.level_precision - cross.T @ solved[:, 1:]
    levels_factor = np.linalg.cholesky(schur)
    levels_mean = np.linalg.solve(schur, system.level_right + cross.T @ solved[:, 0])
    return factor, solved, levels_factor, levels_mean


def _band(diagonal: FloatArray, below: FloatArray) -> FloatArray:
    """Lower band storage (BAND, STATES n) of a block tridiagonal symmetric matrix."""
    n = diagonal.shape[0]
    band = np.zeros((BAND, STATES * n), order="F")
    for row in range(STATES):
        for column in range(STATES):
            if row >= column:
                band[row - column, column::STATES] = diagonal[:, row, column]
            offset = STATES + row - column
            band[offset, column : STATES * (n - 1) : STATES] = below[:, row, column]
    return band


def covariances(factor: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Blocks of the inverse of the precision: of each state, and of each with the next.

    Shapes (n, STATES, STATES) and (n - 1, STATES, STATES), rows of the second the later state.
    From the last block back, S(i) = D(i) + G(i)' S(i+1) G(i).
    """
    n = factor.shape[1] // STATES
    corner = np.zeros((n, STATES, STATES))
    below = np.zeros((n - 1, STATES, STATES))
    for row in range(STATES):
        for column in range(STATES):
            if row >= column:
                corner[:, row, column] = factor[row - column, column::STATES]
            offset = STATES + row - column
            below[:, row, column] = factor[offset, column : STATES * (n - 1) : STATES]
    inverse = np.linalg.inv(corner)
    own = inverse.transpose(0, 2, 1) @ inverse
    carry = below @ inverse[:-1]
    own = _carried_back(own, carry)
    return own, -(own[1:] @ carry)


def _carried_back(own: FloatArray, carry: FloatArray) -> FloatArray:
    """S(i) = own(i) + carry(i)' S(i+1) carry(i), with S = own at the last.

    Two steps are one of the same kind, so every second S is found among half as many, and
    the others from their neighbours: as many passes over arrays as halvings, not as bins.
    """
    n = own.shape[0]
    if n == 1:
        return own
    carry_t = carry.transpose(0, 2, 1)
    first = (n - 1) % 2
    kept, left = slice(first, n, 2), slice(1 - first, n - 1, 2)
    here = slice(first, n - 2, 2)
    between = slice(first + 1, n - 1, 2)
    halved = own[kept].copy()
    halved[:-1] += carry_t[here] @ own[between] @ carry[here]
    found = np.empty_like(own)
    found[kept] = _carried_back(halved, carry[between] @ carry[here])
    found[left] = own[left] + carry_t[left] @ found[2 - first :: 2] @ carry[left]
    return found
