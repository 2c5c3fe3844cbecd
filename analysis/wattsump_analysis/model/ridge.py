"""Coordinates in which two shares that stand for each other lie along a straight line.

Readings tell how much heat reaches the tank uncooled, hardly whether by `past_cooler` or by
`tank_heat`. Of two logits a and b the posterior is then a bent ridge: one is known while the other
may be anything small, or the other way round, and chains rarely get round the bend. Along
u = log(exp a + exp b) and v = a - b it is straight; volumes are the same, so densities are too.
"""

from collections.abc import Sequence

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.statistics.draws import Part, Slopes

__all__ = ("Ridge",)

PAIR = ("past_cooler", "tank_heat")


class Ridge:
    """Between parameters by name, last axis of every array, and their coordinates.

    If one of the pair is not among the names, the coordinates are the parameters.
    """

    def __init__(self, names: Sequence[str]) -> None:
        self.at = [names.index(name) for name in PAIR if name in names]
        self.paired = len(self.at) == len(PAIR)

    def along(self, theta: FloatArray) -> FloatArray:
        """Coordinates of parameters."""
        a, b = self._pair(theta)
        return self._with(theta, np.logaddexp(a, b), a - b)

    def across(self, points: FloatArray) -> FloatArray:
        """Parameters at coordinates."""
        u, v = self._pair(points)
        return self._with(points, u - np.logaddexp(0.0, -v), u - np.logaddexp(0.0, v))

    def slopes(self, minus_log: Slopes) -> Slopes:
        """The density of parameters, as one of coordinates."""

        def of_points(points: FloatArray) -> tuple[FloatArray, FloatArray]:
            values, slopes = minus_log(self.across(points))
            by_a, by_b = self._pair(slopes)
            first = self._first(points)
            return values, self._with(slopes, by_a + by_b, (1.0 - first) * by_a - first * by_b)

        return of_points

    def part(self, part: Part) -> Part:
        """A normal distribution of parameters, as one of coordinates near its centre."""
        centre = self.along(part.centre)
        first = self._first(centre)
        turn = np.eye(centre.size)
        if self.paired:
            own = np.array([[float(first), 1.0 - float(first)], [1.0, -1.0]])
            turn[np.ix_(self.at, self.at)] = own
        return Part(share=part.share, centre=centre, covariance=turn @ part.covariance @ turn.T)

    def _first(self, points: FloatArray) -> FloatArray:
        """Part of the first in the sum of the two."""
        return np.asarray(0.5 + 0.5 * np.tanh(0.5 * self._pair(points)[1]))

    def _pair(self, rows: FloatArray) -> tuple[FloatArray, FloatArray]:
        none = np.zeros(rows.shape[:-1])
        return (rows[..., self.at[0]], rows[..., self.at[1]]) if self.paired else (none, none)

    def _with(self, rows: FloatArray, first: FloatArray, second: FloatArray) -> FloatArray:
        new = rows.copy()
        if self.paired:
            new[..., self.at] = np.stack([first, second], axis=-1)
        return new
