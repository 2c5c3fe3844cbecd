"""The compiled pass over the bins, for as many trials as are given."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.model.kernel import Shape
from wattsump_analysis.model.native import functions
from wattsump_analysis.model.trace import LANES

__all__ = ("Pass",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """Likelihood, slope and states of a record's network.

    `given` of its methods are the parameters in the order of `shape`, and the bin [s], shape
    (trials, parameters + 1).

    Parameters
    ----------
    shape : Shape
        The operations of the pass.
    common : ndarray, shape (n, shape.common)
        Numbers of each bin that all trials share.
    start : ndarray, shape (shape.entries,)
        Weighted squares before the first reading: the lower half of a matrix by rows.
    """

    shape: Shape
    common: FloatArray
    start: FloatArray
    _kept: dict[str, FloatArray] = field(default_factory=dict, repr=False, compare=False)

    def minus_twice(self, given: FloatArray) -> FloatArray:
        """Squares and log determinants of the elimination, shape (trials,)."""
        return np.concatenate([up.whole for up in self._up(given)])[: len(given)]

    def precisions(self, given: FloatArray) -> FloatArray:
        """Symmetric matrices over the last bin's states, the unknowns and 1."""
        rows = self.shape.carried
        whole = np.zeros((len(given), rows, rows))
        i, j = np.tril_indices(rows)
        parts = [up.carry.T.copy() for up in self._up(given)]
        whole[:, i, j] = whole[:, j, i] = np.concatenate(parts)[: len(given)]
        return whole

    def slopes(self, given: FloatArray) -> tuple[FloatArray, FloatArray]:
        """`minus_twice`, and its slopes in `given`."""
        shape, wholes, slopes = self.shape, [], []
        for up in self._up(given, keep=True):
            by_given = np.zeros(up.given.shape)
            by_carry = self._room("by_carry", shape.entries)
            by_values = np.zeros((len(shape.elements), LANES))
            self._call("backward", up, by_given, by_carry, by_values)
            wholes.append(up.whole)
            slopes.append(by_given.T)
        return np.concatenate(wholes)[: len(given)], np.concatenate(slopes)[: len(given)]

    def states(self, given: FloatArray, unknowns: FloatArray, noise: FloatArray) -> FloatArray:
        """States given the unknowns: their mean plus unit noises times their root covariance.

        Noises and states have shape (trials, n, states of a bin).
        """
        parts = []
        ups = self._up(given, keep=True)
        for up, unknown, own in zip(ups, _lanes(unknowns), _lanes(noise), strict=True):
            states = np.empty_like(own)
            self._call("draw", up, unknown, own, states)
            parts.append(states.transpose(2, 0, 1))
        return np.concatenate(parts)[: len(given)]

    def _up(self, given: FloatArray, *, keep: bool = False) -> Iterator["_Up"]:
        """Each group of trials after the forward pass; all use the same arrays."""
        shape, n = self.shape, len(self.common)
        values = self._room("values", n if keep else 1, len(shape.elements))
        carry = self._room("carry", shape.entries)
        columns = self._room("columns", n if keep else 1, shape.columns)
        ratios, total = np.empty((n, LANES)), np.empty(LANES)
        for lanes in _lanes(given):
            up = _Up(given=lanes, values=values, carry=carry, columns=columns, whole=total)
            self._call("forward", up, ratios, total)
            yield replace(up, whole=total + np.log(ratios).sum(axis=0))

    def _room(self, name: str, *shape: int) -> FloatArray:
        """An array (*shape, LANES), the same at each call: the system takes long to give a new one.

        Each of its vectors lies in one line of the processor's cache.
        """
        count = LANES * int(np.prod(shape))
        if name not in self._kept or self._kept[name].size < count + LANES:
            self._kept[name] = np.empty(count + LANES)
        room = self._kept[name]
        begin = -(room.ctypes.data // room.itemsize) % LANES
        return room[begin : begin + count].reshape(*shape, LANES)

    def _call(self, name: str, up: "_Up", *rest: FloatArray) -> None:
        arrays = (self.common, self.start, up.given, up.values, up.carry, up.columns, *rest)
        compiled = getattr(functions(self.shape), name)
        kept = int(len(up.values) > 1)
        compiled(len(self.common) - 1, kept, *(array.ctypes.data for array in arrays))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Up:
    """Results of the forward pass for `LANES` trials."""

    given: FloatArray
    values: FloatArray
    carry: FloatArray
    columns: FloatArray
    whole: FloatArray


def _lanes(rows: FloatArray) -> FloatArray:
    """Trials (trials, ...) side by side in groups (groups, ..., LANES); the last repeats."""
    groups = -(-len(rows) // LANES)
    filled = rows[np.minimum(np.arange(groups * LANES), len(rows) - 1)]
    grouped = filled.reshape(groups, LANES, *rows.shape[1:])
    return np.ascontiguousarray(np.moveaxis(grouped, 1, -1))
