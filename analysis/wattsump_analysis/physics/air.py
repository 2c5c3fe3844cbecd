"""Air at the cooler's face: pressure and density with altitude and temperature, heat capacity.

Dry air. Damp air at 30 °C is up to 1.5 % lighter, which is neglected beside the ± 5 % by which an
installation changes a cooler.
"""

import numpy as np

from wattsump_analysis.arrays import FloatOrArray, like, require

__all__ = (
    "STANDARD_PRESSURE_PA",
    "capacity_rate_w_k",
    "density_kg_m3",
    "pressure_pa",
    "specific_heat_j_kgk",
)

# ISO 2533:1975, clause 2: sea-level values, lapse rate and specific gas constant of dry air.
STANDARD_PRESSURE_PA = 101_325.0
SEA_LEVEL_K = 288.15
LAPSE_K_M = 0.0065
GAS_CONSTANT_J_KGK = 287.05287
GRAVITY_M_S2 = 9.80665

# Bergman & Lavine, Fundamentals of Heat and Mass Transfer, Table A.4, air: T K, cp J/(kg K);
# from memory.
_CP_K = (200.0, 250.0, 300.0, 350.0, 400.0)
_CP_J_KGK = (1007.0, 1006.0, 1007.0, 1009.0, 1014.0)


def pressure_pa(altitude_m: FloatOrArray) -> FloatOrArray:
    """Pressure of the standard atmosphere at a geopotential altitude.

    Parameters
    ----------
    altitude_m : float or array
        Altitude above sea level [m], -2000 to 11 000.

    Returns
    -------
    float or array like `altitude_m`
        Pressure [Pa]. Weather moves it by about 3 %.

    Raises
    ------
    RangeError
        Altitude out of range.

    Notes
    -----
    p = p0 (1 - L H/T0)^(g/(R L)), exponent 5.25588.

    References
    ----------
    ISO 2533:1975, equation 12 with the constants of clause 2.

    Examples
    --------
    >>> round(pressure_pa(1000.0), 1)
    89874.6
    """
    h = require(altitude_m, -2000.0, 11_000.0, unit="m", where="altitude")
    exponent = GRAVITY_M_S2 / (GAS_CONSTANT_J_KGK * LAPSE_K_M)
    ratio = 1.0 - LAPSE_K_M * h / SEA_LEVEL_K
    return like(altitude_m, np.asarray(STANDARD_PRESSURE_PA * ratio**exponent))


def density_kg_m3(temp_c: FloatOrArray, pressure_pa: float = STANDARD_PRESSURE_PA) -> FloatOrArray:
    """Density of dry air as an ideal gas.

    Parameters
    ----------
    temp_c : float or array
        Air temperature [°C], -73 to 126.
    pressure_pa : float
        Absolute pressure [Pa], 20 000 to 120 000.

    Returns
    -------
    float or array like `temp_c`
        Density [kg/m³].

    Raises
    ------
    RangeError
        Temperature or pressure out of range.

    References
    ----------
    ISO 2533:1975, clause 2 (equation of state and gas constant).
    """
    t = require(temp_c, -73.0, 126.0, unit="°C", where="air temperature")
    require(pressure_pa, 20_000.0, 120_000.0, unit="Pa", where="air pressure")
    return like(temp_c, np.asarray(pressure_pa / (GAS_CONSTANT_J_KGK * (t + 273.15))))


def specific_heat_j_kgk(temp_c: FloatOrArray) -> FloatOrArray:
    """Specific heat capacity of dry air at constant pressure.

    Parameters
    ----------
    temp_c : float or array
        Air temperature [°C], -73 to 126.

    Returns
    -------
    float or array like `temp_c`
        Specific heat capacity [J/(kg K)], interpolated in the table; standard uncertainty 0.2 %.

    Raises
    ------
    RangeError
        Temperature out of range.

    References
    ----------
    T. L. Bergman and A. S. Lavine, Fundamentals of Heat and Mass Transfer, Table A.4.
    """
    t = require(temp_c, -73.0, 126.0, unit="°C", where="air temperature")
    return like(temp_c, np.asarray(np.interp(t + 273.15, _CP_K, _CP_J_KGK)))


def capacity_rate_w_k(
    flow_m3_s: float, temp_c: float, pressure_pa: float = STANDARD_PRESSURE_PA
) -> float:
    """Heat an air stream carries per kelvin: flow times density times specific heat.

    Parameters
    ----------
    flow_m3_s : float
        Air actually moving through the core, at `temp_c` [m³/s]; a fan's free-air figure is more.
    temp_c : float
        Temperature at which the flow is counted [°C].
    pressure_pa : float
        Absolute pressure [Pa].

    Returns
    -------
    float
        Capacity rate [W/K].

    Raises
    ------
    RangeError
        A flow that is not positive, or temperature or pressure out of range.

    References
    ----------
    Definition; properties as `density_kg_m3` and `specific_heat_j_kgk`.
    """
    require(flow_m3_s, 0.0, np.inf, unit="m³/s", where="air flow", open_low=True)
    return flow_m3_s * density_kg_m3(temp_c, pressure_pa) * specific_heat_j_kgk(temp_c)
