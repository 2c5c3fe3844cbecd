"""Control charts over outings: is the newest value still within what repeats?

A chart needs a target (what the machine did while it was known to be good) and a standard
deviation of one outing about it (its repeatability); neither is guessed here. Values are one
per outing, in order, in any one unit; the charts come back in that unit. An outing without a
value is left out by the caller: a chart over a gap would hide how many outings it rests on.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4.
.. [2] Montgomery, D. C., Introduction to Statistical Quality Control, chapter 9.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wattsump_analysis.rows import out_of_range, row_of

__all__ = ("EwmaChart", "ewma")

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class EwmaChart:
    """An exponentially weighted moving average with the limits it had at each outing."""

    value: FloatArray
    lower: FloatArray
    upper: FloatArray

    @property
    def out(self) -> BoolArray:
        """True at each outing whose average lies strictly outside its limits."""
        return (self.value < self.lower) | (self.value > self.upper)

    @property
    def first_out(self) -> int | None:
        """Position of the first outing outside its limits, None if there is none."""
        return _first(self.out)


def ewma(
    values: ArrayLike,
    *,
    target: float,
    sigma: ArrayLike,
    weight: float = 0.3,
    width: float = 3.0,
) -> EwmaChart:
    """Exponentially weighted moving average with time-varying limits.

    Parameters
    ----------
    values : array_like, shape (n,)
        One value per outing, in order.
    target : float
        What the machine does while nothing has changed; the average starts here.
    sigma : float or array_like, shape (n,)
        Standard deviation of one outing about the target; an array gives each outing its own.
    weight : float
        Share of the newest value in the average, above 0, at most 1 [-].
    width : float
        Distance of the limits from the target, in standard deviations of the average [-].

    Returns
    -------
    EwmaChart
        Average and limits, each of shape (n,), in the unit of `values`.

    Raises
    ------
    RangeError
        No values, a value that is not finite, or a parameter outside its range.

    Notes
    -----
    z_i = w x_i + (1 - w) z_(i-1), z_0 = target. The variance of z_i is built by the same
    recursion, v_i = w^2 s_i^2 + (1 - w)^2 v_(i-1), v_0 = 0, which for a constant s is the
    closed form s^2 w/(2 - w) [1 - (1 - w)^(2i)] of [1]_ and stays exact when outings differ
    in quality.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4.
    """
    x = row_of(values, "values", at_least=1)
    s = row_of(sigma, "sigma", at_least=1, positive=True)
    if len(s) not in (1, len(x)):
        raise out_of_range(f"one sigma, or one for each of {len(x)} values", len(s), "ewma")
    s = np.broadcast_to(s, x.shape)
    _check_shape(weight, width)
    average = np.empty_like(x)
    variance = np.empty_like(x)
    z, v = float(target), 0.0
    for i, (x_i, s_i) in enumerate(zip(x, s, strict=True)):
        z = weight * x_i + (1.0 - weight) * z
        v = (weight * s_i) ** 2 + (1.0 - weight) ** 2 * v
        average[i], variance[i] = z, v
    reach = width * np.sqrt(variance)
    return EwmaChart(value=average, lower=target - reach, upper=target + reach)


def _first(flags: BoolArray) -> int | None:
    return int(np.argmax(flags)) if flags.any() else None


def _check_shape(weight: float, width: float) -> None:
    if not 0.0 < weight <= 1.0:
        raise out_of_range("a weight above 0 and at most 1", weight, "ewma")
    if not width > 0.0:
        raise out_of_range("a width above 0", width, "ewma")
