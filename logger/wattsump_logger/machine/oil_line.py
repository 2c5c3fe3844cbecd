"""Viscosity against temperature: the line of ASTM D341 through two known viscosities.

Kinematic viscosity in mm²/s (= cSt), temperature in °C. `wattsump_analysis.physics.oil` applies the
line to arrays.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from wattsump_logger.errors import RangeError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = (
    "TEMP_HIGH_C",
    "TEMP_LOW_C",
    "VISCOSITY_HIGH_MM2_S",
    "VISCOSITY_LOW_MM2_S",
    "ZERO_CELSIUS_K",
    "Walther",
    "temperature_c",
    "walther_from_two_points",
    "z_of",
)

ZERO_CELSIUS_K = 273.15
# Range in which the project uses the line: far wider than any machine, yet kelvins or most
# degrees Fahrenheit given as °C are out of it.
TEMP_LOW_C, TEMP_HIGH_C = -60.0, 200.0
# ASTM D341, range of the chart equation.
VISCOSITY_LOW_MM2_S, VISCOSITY_HIGH_MM2_S = 0.21, 2.0e7


@dataclass(frozen=True, slots=True, kw_only=True)
class Walther:
    """The line log10 log10 Z = a - b log10 T of one oil (T in K, Z from ASTM D341).

    Arrays are the lines of as many oils, for `wattsump_analysis.physics.oil.viscosity_mm2_s`.
    """

    a: "float | NDArray[np.float64]"
    b: "float | NDArray[np.float64]"


def z_of(viscosity_mm2_s: float) -> float:
    """Z = v + 0.7 + exp(-1.47 - 1.84 v - 0.51 v²) [mm²/s], ASTM D341, simplified form."""
    v = viscosity_mm2_s
    return v + 0.7 + math.exp(-1.47 - 1.84 * v - 0.51 * v**2)


def walther_from_two_points(
    temp_1_c: float, viscosity_1_mm2_s: float, temp_2_c: float, viscosity_2_mm2_s: float
) -> Walther:
    """Line of an oil through two measured viscosities.

    Parameters
    ----------
    temp_1_c, temp_2_c : float
        Two different temperatures [°C], -60 to 200; data sheets give 40 and 100.
    viscosity_1_mm2_s, viscosity_2_mm2_s : float
        Kinematic viscosities there [mm²/s], 0.21 to 2e7.

    Returns
    -------
    Walther
        The line.

    Raises
    ------
    RangeError
        Values out of range, or an oil that would thicken as it warms.

    References
    ----------
    ASTM D341, Standard Practice for Viscosity-Temperature Equations and Charts for Liquid
    Petroleum or Hydrocarbon Products, equations of the simplified form.
    """
    temps, viscosities = (temp_1_c, temp_2_c), (viscosity_1_mm2_s, viscosity_2_mm2_s)
    for temp_c in temps:
        _check(temp_c, TEMP_LOW_C, TEMP_HIGH_C, "°C", "oil temperature")
    for viscosity in viscosities:
        _check(viscosity, VISCOSITY_LOW_MM2_S, VISCOSITY_HIGH_MM2_S, "mm²/s", "oil viscosity")
    if (temp_2_c - temp_1_c) * (viscosity_1_mm2_s - viscosity_2_mm2_s) <= 0.0:
        raise RangeError(
            expected="a thinner oil at the hotter of two temperatures",
            found=f"{viscosity_1_mm2_s:g} mm²/s at {temp_1_c:g} °C "
            f"and {viscosity_2_mm2_s:g} mm²/s at {temp_2_c:g} °C",
            where="oil viscosity",
            do="check which viscosity belongs to which temperature",
        )
    x_1, x_2 = (math.log10(temp_c + ZERO_CELSIUS_K) for temp_c in temps)
    y_1, y_2 = (math.log10(math.log10(z_of(viscosity))) for viscosity in viscosities)
    b = (y_1 - y_2) / (x_2 - x_1)
    return Walther(a=y_1 + b * x_1, b=b)


def temperature_c(viscosity_mm2_s: float, walther: Walther) -> float:
    """Temperature [°C] at which an oil has a viscosity; not limited to -60 to 200 °C.

    Raises
    ------
    RangeError
        A viscosity outside 0.21 to 2e7 mm²/s, the range of the equation.

    References
    ----------
    ASTM D341.
    """
    _check(viscosity_mm2_s, VISCOSITY_LOW_MM2_S, VISCOSITY_HIGH_MM2_S, "mm²/s", "oil viscosity")
    y = math.log10(math.log10(z_of(viscosity_mm2_s)))
    return math.pow(10.0, float((walther.a - y) / walther.b)) - ZERO_CELSIUS_K


def _check(value: float, low: float, high: float, unit: str, where: str) -> None:
    if not low <= value <= high:
        raise RangeError(
            expected=f"at least {low:g} and at most {high:g} {unit}",
            found=f"{value:g} {unit}",
            where=where,
            do="check the value and its unit",
        )
