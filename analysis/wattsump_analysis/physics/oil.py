"""Hydraulic oil: viscosity against temperature, density, heat capacity.

Viscosity follows the straight line of ASTM D341 in log log Z against log T, drawn through two
known viscosities (`wattsump_logger.machine.oil_line`) or from an oil's label (`oil_label` there).
Temperatures in °C at every boundary, kinematic viscosity in mm²/s (= cSt). NaN in, NaN out.

Standard uncertainties: `U_WALTHER_REL` for the line between its two points,
`oil_label.U_GRADE_REL` for a viscosity given only as a grade, `U_DENSITY_REL` and
`U_SPECIFIC_HEAT_REL` for the two correlations.
"""

import math
from dataclasses import dataclass

import numpy as np

from wattsump_analysis.arrays import FloatArray, FloatOrArray, like, require
from wattsump_logger.errors import RangeError
from wattsump_logger.machine.oil_label import USUAL_VISCOSITY_INDEX, read_label, viscosity_100
from wattsump_logger.machine.oil_line import (
    TEMP_HIGH_C,
    TEMP_LOW_C,
    VISCOSITY_LOW_MM2_S,
    ZERO_CELSIUS_K,
    Walther,
    temperature_c,
    walther_from_two_points,
    z_of,
)

__all__ = (
    "USUAL_DENSITY_15_KG_M3",
    "U_DENSITY_REL",
    "U_SPECIFIC_HEAT_REL",
    "U_WALTHER_REL",
    "Window",
    "density_kg_m3",
    "minutes_outside",
    "specific_heat_j_kgk",
    "viscosity_mm2_s",
    "volumetric_heat_j_m3k",
    "walther_from_grade",
    "window",
)

# A line through 310 K and 370 K of the engine-oil table (Bergman & Lavine, Table A.5) misses the
# rows between by 1.8 %; beyond its points, and below 0 °C with a polymer-thickened oil, more.
U_WALTHER_REL = 0.02
# The API lubricating-oil expansion and the 0.0007 /K rule differ by 0.3 % at 80 °C; the density
# at 15 °C itself, when not read from a data sheet, spans about 850..890: common practice.
U_DENSITY_REL = 0.01
# The correlation lies 1.5 to 2.7 % under the engine-oil table and within 0.3 % of a mineral
# heat-transfer oil.
U_SPECIFIC_HEAT_REL = 0.03

# Typical of mineral hydraulic oils: common practice, no source.
USUAL_DENSITY_15_KG_M3 = 870.0

DENSITY_LOW_KG_M3, DENSITY_HIGH_KG_M3 = 750.0, 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The temperatures between which an oil stays inside two viscosity limits."""

    coldest_c: float
    hottest_c: float


def _nu(z: FloatArray) -> FloatArray:
    """Invert Z(nu): the exponential term is under 1e-10 above 5 mm²/s, so only thin oil iterates.

    Newton's method on the standard's forward form, not the standard's approximate inverse, so
    that the round trip is exact.
    """
    nu = np.asarray(z - 0.7)
    if not np.any(nu < 5.0):
        return nu
    for _ in range(8):
        small = np.exp(-1.47 - 1.84 * nu - 0.51 * nu**2)
        nu = nu - (nu + 0.7 + small - z) / (1.0 - small * (1.84 + 1.02 * nu))
    return nu


def viscosity_mm2_s(temp_c: FloatOrArray, walther: Walther) -> FloatOrArray:
    """Kinematic viscosity of an oil at a temperature.

    Parameters
    ----------
    temp_c : float or array, any shape
        Oil temperature [°C], -60 to 200. NaN gives NaN.
    walther : Walther
        The oil's line.

    Returns
    -------
    float or array like `temp_c`
        Kinematic viscosity [mm²/s].

    Raises
    ------
    RangeError
        A temperature outside -60..200 °C, or so hot for this oil that the viscosity leaves the
        0.21 mm²/s at which the equation ends.

    Notes
    -----
    log10 log10 Z = a - b log10 T, Z = v + 0.7 + exp(-1.47 - 1.84 v - 0.51 v²). The exponential
    term matters under 2 mm²/s only; it is kept everywhere so that the curve has no step. The
    line describes a liquid: below the cloud point or pour point the oil is thicker than this.

    References
    ----------
    ASTM D341, Standard Practice for Viscosity-Temperature Equations and Charts for Liquid
    Petroleum or Hydrocarbon Products, equations of the simplified form.

    Examples
    --------
    >>> round(viscosity_mm2_s(80.0, walther_from_two_points(40.0, 32.0, 100.0, 5.4)), 2)
    8.53
    """
    t = require(temp_c, TEMP_LOW_C, TEMP_HIGH_C, unit="°C", where="oil temperature")
    z = 10.0**10.0 ** (walther.a - walther.b * np.log10(t + ZERO_CELSIUS_K))
    if np.any(z < z_of(VISCOSITY_LOW_MM2_S)):
        raise RangeError(
            expected=f"a viscosity of at least {VISCOSITY_LOW_MM2_S} mm²/s",
            found=f"a thinner oil at {float(np.nanmax(t)):g} °C",
            where="ASTM D341",
            do="check the two viscosities of the oil",
        )
    return like(temp_c, _nu(z))


def walther_from_grade(grade: str, index: float | None = None) -> Walther:
    """Line of an oil from its label alone.

    The viscosity at 40 °C is the grade's mid-point, with uncertainty `oil_label.U_GRADE_REL`.

    Parameters
    ----------
    grade : str
        As `oil_label.read_label` takes it.
    index : float, optional
        Viscosity index [-], 0 to 400; usually the label's own, or 100 where it has none.

    Returns
    -------
    Walther
        The line.

    References
    ----------
    ISO 3448; ASTM D2270; ASTM D341.
    """
    label = read_label(grade)
    if index is None:
        index = USUAL_VISCOSITY_INDEX if label.index is None else label.index
    at_40 = label.viscosity_40_mm2_s
    return walther_from_two_points(40.0, at_40, 100.0, viscosity_100(at_40, index))


def density_kg_m3(
    temp_c: FloatOrArray, density_15_kg_m3: float = USUAL_DENSITY_15_KG_M3
) -> FloatOrArray:
    """Density of a mineral lubricating oil.

    Parameters
    ----------
    temp_c : float or array, any shape
        Oil temperature [°C], -60 to 200.
    density_15_kg_m3 : float
        Density at 15 °C [kg/m³], 750 to 1000.

    Returns
    -------
    float or array like `temp_c`
        Density [kg/m³], at atmospheric pressure.

    Raises
    ------
    RangeError
        Temperature or density out of range.

    Notes
    -----
    rho = rho15 exp(-alpha dT (1 + 0.8 alpha dT)), alpha = 0.6278/rho15, dT = t - 15 °C. The
    constant of the lubricating group is written from memory of the table.

    References
    ----------
    API Manual of Petroleum Measurement Standards chapter 11.1, lubricating oils (Table 54D).
    """
    t = require(temp_c, TEMP_LOW_C, TEMP_HIGH_C, unit="°C", where="oil temperature")
    _require_density(density_15_kg_m3)
    x = 0.6278 / density_15_kg_m3 * (t - 15.0)
    return like(temp_c, np.asarray(density_15_kg_m3 * np.exp(-x * (1.0 + 0.8 * x))))


def specific_heat_j_kgk(
    temp_c: FloatOrArray, density_15_kg_m3: float = USUAL_DENSITY_15_KG_M3
) -> FloatOrArray:
    """Specific heat capacity of a petroleum oil.

    Parameters
    ----------
    temp_c : float or array, any shape
        Oil temperature [°C], -60 to 200.
    density_15_kg_m3 : float
        Density at 15 °C [kg/m³], 750 to 1000.

    Returns
    -------
    float or array like `temp_c`
        Specific heat capacity [J/(kg K)].

    Raises
    ------
    RangeError
        Temperature or density out of range.

    Notes
    -----
    cp = (1685 + 3.4 t)/sqrt(SG) with SG the density over water's 999.0 kg/m³ at 15.6 °C
    (15 °C instead of 15.6 °C changes cp by 0.02 %).

    References
    ----------
    C. S. Cragoe, Thermal Properties of Petroleum Products, Miscellaneous Publication 97,
    National Bureau of Standards, 1929; the SI form as in W. R. Gambill, 1957.
    """
    t = require(temp_c, TEMP_LOW_C, TEMP_HIGH_C, unit="°C", where="oil temperature")
    _require_density(density_15_kg_m3)
    return like(temp_c, np.asarray((1685.0 + 3.4 * t) / math.sqrt(density_15_kg_m3 / 999.0)))


def volumetric_heat_j_m3k(
    temp_c: FloatOrArray, density_15_kg_m3: float = USUAL_DENSITY_15_KG_M3
) -> FloatOrArray:
    """Heat capacity of a cubic metre of oil [J/(m³ K)]: density times specific heat.

    References
    ----------
    As `density_kg_m3` and `specific_heat_j_kgk`.
    """
    rho = np.asarray(density_kg_m3(temp_c, density_15_kg_m3))
    return like(temp_c, rho * np.asarray(specific_heat_j_kgk(temp_c, density_15_kg_m3)))


def window(walther: Walther, thickest_mm2_s: float, thinnest_mm2_s: float) -> Window:
    """Return the temperatures at which an oil reaches its thickest and its thinnest viscosity.

    References
    ----------
    ASTM D341, through `temperature_c`.
    """
    require(thickest_mm2_s, thinnest_mm2_s, math.inf, unit="mm²/s", where="thickest viscosity")
    return Window(
        coldest_c=temperature_c(thickest_mm2_s, walther),
        hottest_c=temperature_c(thinnest_mm2_s, walther),
    )


def minutes_outside(
    elapsed_s: FloatArray, temp_c: FloatArray, limits: Window, longest_gap_s: float = 30.0
) -> tuple[float, float, float]:
    """Minutes of an outing with the oil too cold, in range, and too hot.

    Parameters
    ----------
    elapsed_s, temp_c : array, shape (n,)
        Time [s], increasing, and oil temperature [°C]; NaN is no reading.
    limits : Window
        The two temperatures.
    longest_gap_s : float
        Two readings with a longer gap [s] are not counted: the oil was not observed.

    Returns
    -------
    tuple of three floats
        Minutes below, within and above [min]; each pair of readings counts at its mean.

    References
    ----------
    None: it is a count.
    """
    step = np.diff(elapsed_s)
    mean = 0.5 * (temp_c[1:] + temp_c[:-1])
    seen = np.isfinite(mean) & (step <= longest_gap_s)
    cold, hot = seen & (mean < limits.coldest_c), seen & (mean > limits.hottest_c)
    parts = (cold, seen & ~cold & ~hot, hot)
    return tuple(float(step[part].sum()) / 60.0 for part in parts)  # type: ignore[return-value]


def _require_density(density_15_kg_m3: float) -> None:
    require(
        density_15_kg_m3,
        DENSITY_LOW_KG_M3,
        DENSITY_HIGH_KG_M3,
        unit="kg/m³",
        where="oil density at 15 °C",
    )
