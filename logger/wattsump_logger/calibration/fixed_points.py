"""Known temperatures that water gives: melting ice, and boiling at a known pressure."""

import math

from wattsump_logger.errors import RangeError

__all__ = ("ICE_POINT_C", "altitude_pressure_pa", "boiling_point_c")

# ASTM E563: crushed pure ice and air-saturated water at 101 325 Pa.
ICE_POINT_C = 0.0

# IAPWS-IF97, table 34: coefficients n1 to n10 of the saturation line.
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)
_LOWEST_PA, _HIGHEST_PA = 611.213, 22.064e6


def boiling_point_c(pressure_pa: float) -> float:
    """Boiling point of pure water at a pressure.

    Parameters
    ----------
    pressure_pa : float
        Absolute pressure at the water's surface [Pa]: a barometer's station pressure,
        not the weather report's, which is reduced to sea level.

    Returns
    -------
    float
        Saturation temperature [°C].

    Raises
    ------
    RangeError
        A pressure outside 611.213 Pa to 22.064 MPa.

    References
    ----------
    .. [1] IAPWS R7-97(2012), IF97 region 4, equation (31).

    Examples
    --------
    >>> boiling_point_c(101325.0)
    99.974
    """
    if not _LOWEST_PA <= pressure_pa <= _HIGHEST_PA:
        raise RangeError(
            expected="611.213 Pa to 22.064 MPa",
            found=f"{pressure_pa:g} Pa",
            where="boiling point",
            do="give the absolute pressure",
        )
    beta = math.pow(pressure_pa / 1e6, 0.25)
    E = beta * beta + _N[2] * beta + _N[5]
    F = _N[0] * beta * beta + _N[3] * beta + _N[6]
    G = _N[1] * beta * beta + _N[4] * beta + _N[7]
    D = 2.0 * G / (-F - math.sqrt(F * F - 4.0 * E * G))
    root = (_N[9] + D) ** 2 - 4.0 * (_N[8] + _N[9] * D)
    return (_N[9] + D - math.sqrt(root)) / 2.0 - 273.15


def altitude_pressure_pa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere at an altitude.

    Parameters
    ----------
    altitude_m : float
        Geopotential altitude [m], -2000 to 11 000; a map's height will do.

    Returns
    -------
    float
        Pressure [Pa]. Weather moves the true one by about 1 kPa (common practice, no
        source), which is 0.3 K of boiling point.

    Raises
    ------
    RangeError
        An altitude outside the layer.

    References
    ----------
    .. [1] ISO 2533:1975, equation (12) with the layer from -2000 to 11 000 m.
    """
    if not -2000.0 <= altitude_m <= 11000.0:
        raise RangeError(
            expected="-2000 to 11 000 m",
            found=f"{altitude_m:g} m",
            where="standard atmosphere",
            do="give the height above the sea",
        )
    exponent = 9.80665 / (0.0065 * 287.05287)
    return float(101325.0 * (1.0 - 0.0065 * altitude_m / 288.15) ** exponent)
