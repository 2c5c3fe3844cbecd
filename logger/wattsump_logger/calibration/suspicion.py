"""Finds readings that are numbers but hardly temperatures: pure functions over arrays.

Nothing is removed or changed; each function returns a mask or an answer.
Thresholds are common practice, no source, and are arguments.
"""

import numpy as np
from numpy.typing import ArrayLike

from wattsump_logger.arrays import BoolArray, FloatArray, runs
from wattsump_logger.errors import RangeError

__all__ = ("exact_zeros", "full_scale", "long_repeats", "sunlit", "swapped")

# Readings of dead wiring, °C: the parts' ends of scale, and all-ones words as driver code
# converts them.
FULL_SCALE_C = (-2048.0, -250.0, 1023.75, 1600.0, 1800.0, 2047.0, 2047.75)


def exact_zeros(temp_c: ArrayLike, *, least: int = 3) -> BoolArray:
    """Where a reading is exactly 0.00 at least `least` times in a row [mask, shape (n,)].

    A dead bus reads 0; a real temperature passes through it.
    """
    temps = _column(temp_c)
    mask = np.zeros(temps.size, dtype=np.bool_)
    for run in runs(temps == 0.0):
        mask[run] = run.stop - run.start >= least
    return mask


def full_scale(temp_c: ArrayLike) -> BoolArray:
    """Where a reading is an end of scale [mask, shape (n,)]."""
    return np.isin(_column(temp_c), FULL_SCALE_C)


def long_repeats(temp_c: ArrayLike, elapsed_s: ArrayLike, *, longest_s: float = 600.0) -> BoolArray:
    """Where a value does not change for longer than `longest_s` [mask, shape (n,)].

    A quiet bath can do that with a 0.25 K step; a working machine cannot.
    """
    temps, elapsed = _column(temp_c), _column(elapsed_s)
    _same_length(temps, elapsed)
    mask = np.zeros(temps.size, dtype=np.bool_)
    if temps.size == 0:
        return mask
    starts = np.flatnonzero(np.r_[True, temps[1:] != temps[:-1]])
    ends = np.r_[starts[1:], temps.size]
    for start, end in zip(starts, ends, strict=True):
        mask[start:end] = elapsed[end - 1] - elapsed[start] > longest_s
    return mask & np.isfinite(temps)


def sunlit(
    ambient_c: ArrayLike, elapsed_s: ArrayLike, *, swing_k: float = 3.0, within_s: float = 300.0
) -> BoolArray:
    """Where the ambient probe swings faster than shaded air does [mask, shape (n,)].

    Air in the shade changes by a kelvin in five minutes; a probe that goes in and out of the
    sun, or of the cooler's own warm air, by several. The mask covers the window in which
    highest minus lowest exceeds `swing_k`.
    """
    temps, elapsed = _column(ambient_c), _column(elapsed_s)
    _same_length(temps, elapsed)
    mask = np.zeros(temps.size, dtype=np.bool_)
    ends = np.searchsorted(elapsed, elapsed + within_s, side="right")
    for start, end in enumerate(ends):
        window = temps[start:end]
        finite = window[np.isfinite(window)]
        if finite.size and np.ptp(finite) > swing_k:
            mask[start:end] = True
    return mask


def swapped(
    warmer_c: ArrayLike, cooler_c: ArrayLike, *, margin_k: float = 0.5, share: float = 0.9
) -> bool:
    """Whether the probe that must be warmer is nearly always the cooler of the two.

    For cooler inlet against outlet, or tank against ambient, on rows where the machine
    is warm. True if at least `share` of the complete rows are reversed by more than
    `margin_k`; False also where fewer than ten rows are complete.
    """
    warmer, cooler = _column(warmer_c), _column(cooler_c)
    _same_length(warmer, cooler)
    excess = cooler - warmer
    excess = excess[np.isfinite(excess)]
    return excess.size >= 10 and float(np.mean(excess > margin_k)) >= share


def _column(values: ArrayLike) -> FloatArray:
    column = np.asarray(values, dtype=np.float64)
    if column.ndim != 1:
        raise RangeError(
            expected="one column",
            found=f"shape {column.shape}",
            where="suspicious readings",
            do="pass one channel at a time",
        )
    return column


def _same_length(first: FloatArray, second: FloatArray) -> None:
    if first.size != second.size:
        raise RangeError(
            expected="two columns of equal length",
            found=f"{first.size} and {second.size}",
            where="suspicious readings",
            do="take both from one session",
        )
