"""Thermocouple emf and temperature on ITS-90, letter types K J T N E R S B.

The forward function E(t) is the definition. `temperature_c` inverts it by Newton steps
to well below a microkelvin, where the published inverse polynomials miss by up to 0.06 K.
Everything is elementwise and takes a fixed number of steps, so that one value alone
and the same value inside an array give the same bits.

References
----------
.. [1] Burns et al., NIST Monograph 175, 1993 (NIST SRD 60; IEC 60584-1; ASTM E230).
"""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from wattsump_logger.arrays import BoolArray, FloatArray
from wattsump_logger.errors import RangeError, UsageError
from wattsump_logger.thermocouples.tables import REFERENCE, Segment

__all__ = (
    "LETTERS",
    "emf_mv",
    "emf_range_mv",
    "temperature_c",
    "temperature_range_c",
)

LETTERS = tuple(REFERENCE)

# Type B falls to a minimum near 21 °C and is back at 0 mV near 42 °C: an emf below
# that of 50 °C does not determine the temperature.
_LOWEST_INVERTIBLE_C = {"B": 50.0}

# A start within a node's linear interpolation leaves < 0.2 K except near -270 °C, where
# the curve is almost flat; five steps converge there too (checked over every type).
_NODE_SPACING_K = 5.0
_NEWTON_STEPS = 5


def emf_mv(temp_c: ArrayLike, letter: str, *, outside: str = "raise") -> FloatArray:
    """Thermocouple emf with the reference junction at 0 °C.

    Parameters
    ----------
    temp_c : array_like
        Junction temperature [°C], any shape; NaN stays NaN.
    letter : str
        Thermocouple type, one of `LETTERS`.
    outside : {"raise", "nan"}
        What a temperature outside the type's range gives.

    Returns
    -------
    ndarray
        E(t) [mV], shape of `temp_c`.

    Raises
    ------
    RangeError
        A temperature outside the range of the reference function.
    UsageError
        An unknown type letter.

    Notes
    -----
    E = sum c_i t^i, plus a0 exp(a1 (t - a2)^2) for type K above 0 °C [1]_.
    Range by type: `temperature_range_c`.

    References
    ----------
    .. [1] NIST Monograph 175, reference functions of each letter type.

    Examples
    --------
    >>> float(emf_mv(100.0, "K"))
    4.0962
    """
    temps = np.asarray(temp_c, dtype=np.float64)
    low_c, high_c = temperature_range_c(letter)
    inside = _inside(temps, low_c, high_c, f"type {letter}", "°C", outside)
    return np.where(inside, _forward(temps, letter)[0], np.nan)


def temperature_c(emf: ArrayLike, letter: str, *, outside: str = "raise") -> FloatArray:
    """Junction temperature from the emf against a reference junction at 0 °C.

    Parameters
    ----------
    emf : array_like
        E [mV], any shape; NaN stays NaN.
    letter : str
        Thermocouple type, one of `LETTERS`.
    outside : {"raise", "nan"}
        What an emf outside the type's range gives.

    Returns
    -------
    ndarray
        t90 [°C], shape of `emf`; agrees with the forward function to 1e-6 K above
        -260 °C.

    Raises
    ------
    RangeError
        An emf outside `emf_range_mv`.
    UsageError
        An unknown type letter.

    Notes
    -----
    Newton steps on the forward function from a tabulated start. A cold junction at t_c
    is applied in emf: t = inverse(V + E(t_c)), never as inverse(V) + t_c.

    References
    ----------
    .. [1] NIST Monograph 175, reference functions of each letter type.

    Examples
    --------
    >>> float(temperature_c(1.892531 + emf_mv(25.0, "K"), "K"))
    71.0000
    """
    emfs = np.asarray(emf, dtype=np.float64)
    low_mv, high_mv = emf_range_mv(letter)
    inside = _inside(emfs, low_mv, high_mv, f"type {letter}", "mV", outside)
    safe = np.where(inside, emfs, high_mv)
    nodes_mv, nodes_c = _start_nodes(letter)
    temps = _interpolated(safe, nodes_mv, nodes_c)
    for _ in range(_NEWTON_STEPS):
        value, slope = _forward(temps, letter)
        temps = np.clip(temps - (value - safe) / slope, nodes_c[0], nodes_c[-1])
    return np.where(inside, temps, np.nan)


def temperature_range_c(letter: str) -> tuple[float, float]:
    """Lowest and highest temperature of the reference function [°C]."""
    segments = REFERENCE[_checked(letter)]
    return segments[0].low_c, segments[-1].high_c


@lru_cache(maxsize=len(LETTERS))
def emf_range_mv(letter: str) -> tuple[float, float]:
    """Lowest and highest emf that determines the temperature [mV]."""
    low_c, high_c = temperature_range_c(letter)
    low_c = _LOWEST_INVERTIBLE_C.get(letter, low_c)
    ends = emf_mv([low_c, high_c], letter)
    return float(ends[0]), float(ends[1])


def _checked(letter: str) -> str:
    if letter not in REFERENCE:
        raise UsageError(
            expected="a thermocouple type letter, one of " + " ".join(LETTERS),
            found=repr(letter),
            where="thermocouple type",
            do="use the letter on the probe's plug or wire",
        )
    return letter


def _inside(
    values: FloatArray, low: float, high: float, where: str, unit: str, outside: str
) -> BoolArray:
    if outside not in {"raise", "nan"}:
        raise UsageError(
            expected="'raise' or 'nan'", found=repr(outside), where="outside", do="choose one"
        )
    beyond = (values < low) | (values > high)
    if outside == "raise" and beyond.any():
        raise RangeError(
            expected=f"{low:g} to {high:g} {unit}",
            found=f"{values[beyond].flat[0]:g} {unit}",
            where=where,
            do="check the probe type and the reading, or ask for outside='nan'",
        )
    return ~beyond & ~np.isnan(values)


def _forward(temps: FloatArray, letter: str) -> tuple[FloatArray, FloatArray]:
    segments = REFERENCE[letter]
    value, slope = _one_segment(temps, segments[0])
    for segment in segments[1:]:
        above = temps > segment.low_c
        if above.any():
            upper_value, upper_slope = _one_segment(temps, segment)
            value = np.where(above, upper_value, value)
            slope = np.where(above, upper_slope, slope)
    return value, slope


def _one_segment(temps: FloatArray, segment: Segment) -> tuple[FloatArray, FloatArray]:
    # Outside the segment the value is not used, but must not overflow.
    t = np.clip(temps, segment.low_c, segment.high_c)
    value, slope = _horner(t, segment.coefficients)
    if segment.gaussian is not None:
        a0, a1, a2 = segment.gaussian
        bump = a0 * np.exp(a1 * (t - a2) * (t - a2))
        value = value + bump
        slope = slope + bump * (2.0 * a1 * (t - a2))
    return value, slope


def _horner(x: FloatArray, coefficients: tuple[float, ...]) -> tuple[FloatArray, FloatArray]:
    value = np.full(x.shape, coefficients[-1])
    slope = np.zeros(x.shape)
    for coefficient in coefficients[-2::-1]:
        slope = slope * x + value
        value = value * x + coefficient
    return value, slope


@lru_cache(maxsize=len(LETTERS))
def _start_nodes(letter: str) -> tuple[FloatArray, FloatArray]:
    low_c, high_c = temperature_range_c(letter)
    low_c = _LOWEST_INVERTIBLE_C.get(letter, low_c)
    count = int((high_c - low_c) / _NODE_SPACING_K) + 2
    nodes_c = np.linspace(low_c, high_c, count)
    return emf_mv(nodes_c, letter), nodes_c


def _interpolated(x: FloatArray, nodes_x: FloatArray, nodes_y: FloatArray) -> FloatArray:
    # Not np.interp: it takes another arithmetic path for long inputs, and the last bit
    # would then depend on how many values are converted together.
    at = np.clip(np.searchsorted(nodes_x, x, side="right") - 1, 0, nodes_x.size - 2)
    fraction = (x - nodes_x[at]) / (nodes_x[at + 1] - nodes_x[at])
    return nodes_y[at] + fraction * (nodes_y[at + 1] - nodes_y[at])
