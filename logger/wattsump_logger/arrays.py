"""Types of rows of numbers and flags for both packages, and the runs in a row of flags."""

import numpy as np
from numpy.typing import NDArray

__all__ = ("BoolArray", "FloatArray", "runs")

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def runs(flags: BoolArray) -> list[slice]:
    """Return the stretches in which a flag is up without a break.

    >>> runs(np.array([True, True, False, True]))
    [slice(0, 2, None), slice(3, 4, None)]
    """
    edges = np.flatnonzero(np.diff(np.r_[False, flags, False].astype(np.int8))).tolist()
    return [slice(start, stop) for start, stop in zip(edges[::2], edges[1::2], strict=True)]
