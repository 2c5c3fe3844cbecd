"""Checks of numbers and arrays; formulas return a float for a float, an array for an array."""

from collections.abc import Sequence
from typing import TypeVar, overload

import numpy as np
from numpy.typing import ArrayLike

from wattsump_logger.arrays import FloatArray
from wattsump_logger.errors import RangeError

__all__ = (
    "FloatArray",
    "FloatOrArray",
    "like",
    "out_of_range",
    "require",
    "row_of",
)
FloatOrArray = TypeVar("FloatOrArray", float, FloatArray)


@overload
def like(model: float, values: FloatArray) -> float: ...
@overload
def like(model: FloatArray, values: FloatArray) -> FloatArray: ...
def like(model: float | FloatArray, values: FloatArray) -> float | FloatArray:
    """Give `values` the kind of `model`: a float for a float, an array for an array."""
    return float(values) if np.ndim(model) == 0 else values


def require(
    value: float | FloatArray | Sequence[float],
    low: float,
    high: float,
    *,
    unit: str,
    where: str,
    do: str = "check the value and its unit",
    open_low: bool = False,
) -> FloatArray:
    """Return `value` as an array, or raise RangeError when any part lies outside low..high.

    NaN means "no reading" and passes. `open_low` excludes the lower bound itself.
    """
    array = np.asarray(value, dtype=np.float64)
    outside = (array > high) | ((array <= low) if open_low else (array < low))
    if not np.any(outside):
        return array
    first = float(array[outside].flat[0])
    bound = f"above {low:g}" if open_low else f"at least {low:g}"
    expected = f"{bound}{'' if np.isinf(high) else f' and at most {high:g}'} {unit}".rstrip()
    raise RangeError(expected=expected, found=f"{first:g} {unit}".rstrip(), where=where, do=do)


def row_of(values: ArrayLike, what: str, *, at_least: int, positive: bool = False) -> FloatArray:
    """Give the values as one row of finite numbers, or raise RangeError saying what is wrong.

    A missing value is refused and not skipped.
    """
    x = np.atleast_1d(np.asarray(values, dtype=np.float64))
    if x.ndim != 1 or len(x) < at_least:
        raise out_of_range(f"at least {at_least} {what} in a row", x.shape, "outings")
    if not np.isfinite(x).all():
        raise out_of_range(f"finite {what}; leave out outings that have none", x, "outings")
    if positive and not (x > 0.0).all():
        raise out_of_range(f"{what} above 0", x, "outings")
    return x


def out_of_range(expected: str, found: object, where: str) -> RangeError:
    """Return the error for unusable input of a statistic."""
    return RangeError(
        expected=expected, found=f"{found!r}", where=where, do="correct it and run again"
    )
