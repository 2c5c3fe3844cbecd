"""What every statistic over outings asks of its input, in one place."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wattsump_logger.errors import RangeError

__all__ = ("check_share", "out_of_range", "row_of")


def row_of(
    values: ArrayLike, what: str, *, at_least: int, positive: bool = False
) -> NDArray[np.float64]:
    """Give the values as one row of finite numbers, or raise RangeError saying what is wrong.

    A missing value is refused rather than skipped: the caller knows which outing it was.
    """
    x = np.atleast_1d(np.asarray(values, dtype=np.float64))
    if x.ndim != 1 or len(x) < at_least:
        raise out_of_range(f"at least {at_least} {what} in a row", x.shape, "outings")
    if not np.isfinite(x).all():
        raise out_of_range(f"finite {what}; leave out outings that have none", x, "outings")
    if positive and not (x > 0.0).all():
        raise out_of_range(f"{what} above 0", x, "outings")
    return x


def check_share(value: float, what: str, where: str) -> None:
    """Raise RangeError unless the value lies strictly between 0 and 1."""
    if not 0.0 < value < 1.0:
        raise out_of_range(f"a {what} between 0 and 1", value, where)


def out_of_range(expected: str, found: object, where: str) -> RangeError:
    """Build the error for a statistic that was handed something it cannot use."""
    return RangeError(
        expected=expected, found=f"{found!r}", where=where, do="correct it and run again"
    )
