"""The type of a row of numbers, for both packages."""

import numpy as np
from numpy.typing import NDArray

__all__ = ("FloatArray",)

FloatArray = NDArray[np.float64]
