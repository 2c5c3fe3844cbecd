"""The compiled pass over the bins, for as many trials as are given."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.model.kernel import Shape
from wattsump_analysis.model.native import functions
from wattsump_analysis.model.trace import LANES

__all__ = ("Pass",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """Likelihood, slope and states of a record's network.

    `values` of its methods are the coefficient series, shape (trials, elements, n), `scales` what
    all bins of a trial share, shape (trials, shape.scales).

    Parameters
    ----------
    shape : Shape
        Which operations it takes.
    common : ndarray, shape (n, shape.common)
        What all trials share in a bin.
    start : ndarray, shape (shape.entries,)
        Weighted squares before anything is read: the lower half of a matrix by rows.
    """

    shape: Shape
    common: FloatArray
    start: FloatArray

    def minus_twice(self, values: FloatArray, scales: FloatArray) -> FloatArray:
        """Squares and log determinants of the elimination, shape (trials,)."""
        parts = [whole for _, _, _, whole in self._forward(values, scales, keep=False)]
        return np.concatenate(parts)[: len(values)]

    def precisions(self, values: FloatArray, scales: FloatArray) -> FloatArray:
        """Symmetric matrices over the last bin's states, the unknowns and 1."""
        rows = self.shape.carried
        whole = np.zeros((len(values), rows, rows))
        i, j = np.tril_indices(rows)
        parts = [carry[-1].T.copy() for _, _, carry, _ in self._forward(values, scales, keep=False)]
        whole[:, i, j] = whole[:, j, i] = np.concatenate(parts)[: len(values)]
        return whole

    def slopes(
        self, values: FloatArray, scales: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """`minus_twice`, and its slopes in values and scales."""
        shape, n = self.shape, len(self.common)
        compiled = functions(shape).backward
        found, by_values, by_scales = [], [], []
        for lanes, scale, carry, whole in self._forward(values, scales, keep=True):
            by_carry = np.empty((shape.entries, LANES))
            by_value = np.zeros((n, shape.elements, LANES))
            by_scale = np.zeros((shape.scales, LANES))
            self._call(compiled, lanes, scale, carry, by_carry, by_scale, by_value)
            found.append(whole)
            by_values.append(by_value.transpose(2, 1, 0))
            by_scales.append(by_scale.T)
        whole, by_value, by_scale = map(np.concatenate, (found, by_values, by_scales))
        trials = len(values)
        return whole[:trials], by_value[:trials], by_scale[:trials]

    def states(
        self, values: FloatArray, scales: FloatArray, unknowns: FloatArray, noise: FloatArray
    ) -> FloatArray:
        """States given the unknowns: their mean, and what unit noises make of it.

        Noises and states have shape (trials, n, states of a bin).
        """
        compiled = functions(self.shape).draw
        passes = self._forward(values, scales, keep=True)
        groups = zip(passes, _lanes(unknowns), _lanes(noise), strict=True)
        parts = []
        for (lanes, scale, carry, _), unknown, own in groups:
            states = np.empty_like(own)
            self._call(compiled, lanes, scale, carry, unknown, own, states)
            parts.append(states.transpose(2, 0, 1))
        return np.concatenate(parts)[: len(values)]

    def _forward(
        self, values: FloatArray, scales: FloatArray, *, keep: bool
    ) -> Iterator[tuple[FloatArray, FloatArray, FloatArray, FloatArray]]:
        """Values, scales, carried matrices (the last, or of each bin) and totals of `LANES`."""
        shape, n = self.shape, len(self.common)
        compiled = functions(shape).forward
        carry = np.empty((n if keep else 1, shape.entries, LANES))
        ratios, total = np.empty((n, LANES)), np.empty(LANES)
        for lanes, scale in zip(_lanes(values.transpose(0, 2, 1)), _lanes(scales), strict=True):
            self._call(compiled, lanes, scale, carry, ratios, total)
            yield lanes, scale, carry, total + np.log(ratios).sum(axis=0)

    def _call(self, compiled: Callable[..., None], *arrays: FloatArray) -> None:
        lanes, scale, carry, *rest = arrays
        arrays = (lanes, self.common, scale, self.start, carry, *rest)
        kept = carry[0].size if len(carry) > 1 else 0
        compiled(len(self.common) - 1, kept, *(array.ctypes.data for array in arrays))


def _lanes(rows: FloatArray) -> FloatArray:
    """Trials (trials, ...) side by side in groups (groups, ..., LANES); the last repeats."""
    groups = -(-len(rows) // LANES)
    filled = rows[np.minimum(np.arange(groups * LANES), len(rows) - 1)]
    grouped = filled.reshape(groups, LANES, *rows.shape[1:])
    return np.ascontiguousarray(np.moveaxis(grouped, 1, -1))
