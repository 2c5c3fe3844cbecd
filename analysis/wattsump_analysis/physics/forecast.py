"""How hot the oil gets, and how soon, from measured heat and conductance.

Heat Q is what the machine puts into its oil at a work rate [W]; conductance G is cooler plus shell
[W/K]. Formulas broadcast over arrays, so a sample of (Q, G) gives a sample of answers: the median
is the P50, the 90th percentile the P90. No margins are added by hand.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from wattsump_analysis.arrays import FloatArray, FloatOrArray, like, require
from wattsump_analysis.physics import air
from wattsump_analysis.physics.lumps import Countdown, OneNode, one_node_countdown

__all__ = (
    "TRUSTED_GAP_K",
    "Trust",
    "ambient_trust",
    "conductance_at_altitude_w_k",
    "fan_failure",
    "limiting_ambient_c",
    "limiting_ambient_from_reading_c",
    "steady_temp_c",
    "time_to_limit",
)

Standing = Literal["trusted", "stretched", "not trusted"]

# A forecast further than this from the measured ambients is flagged, and beyond twice this not
# trusted. Common practice, no source.
TRUSTED_GAP_K = 10.0
STRETCHED_GAP_K = 20.0

# Power of air density in the conductance at constant fan speed: 1 if the air's capacity rate is
# the limit, 0.5 if the air film is; 0.6 agrees with the trade's one per cent less cooling for each
# 175 m of altitude.
AIR_EXPONENT, AIR_EXPONENT_LOW, AIR_EXPONENT_HIGH = 0.6, 0.5, 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Trust:
    """Whether an ambient temperature is close enough to the measured ones."""

    standing: Standing
    gap_k: float
    reason: str


def limiting_ambient_from_reading_c(
    limit_c: float, measured_c: FloatOrArray, ambient_c: float | FloatArray
) -> FloatOrArray:
    """Air temperature at which a fluid would reach its limit, from one settled reading.

    Parameters
    ----------
    limit_c : float
        Limit of the fluid [°C].
    measured_c : float or array
        Fluid temperature once settled at the work rate [°C].
    ambient_c : float or array like `measured_c`
        Air temperature then [°C].

    Returns
    -------
    float or array like `measured_c`
        Limiting ambient temperature [°C].

    Notes
    -----
    LAT = limit - measured + ambient: a degree of air is a degree of oil. That holds at the same
    heat and conductance, so not across a fan thermostat, nor for an oil much thicker or thinner.

    References
    ----------
    SAE J1393, On-Highway Truck Cooling Test Code (limiting ambient temperature), summary.
    """
    shifted = np.asarray(limit_c - np.asarray(measured_c) + np.asarray(ambient_c))
    return like(measured_c, shifted)


def steady_temp_c(
    ambient_c: float | FloatArray, heat_w: FloatOrArray, conductance_w_k: FloatOrArray
) -> FloatOrArray:
    """Settled temperature at a work rate and an ambient.

    Parameters
    ----------
    ambient_c : float or array like `heat_w`
        Air [°C].
    heat_w, conductance_w_k : float, or arrays of one shape
        Heat into the oil [W], cooler plus shell [W/K].

    Returns
    -------
    float or array like `heat_w`
        Settled temperature [°C].

    Raises
    ------
    RangeError
        A conductance that is not positive.

    References
    ----------
    Energy balance: heat = conductance x (T - ambient).
    """
    g = require(conductance_w_k, 0.0, math.inf, unit="W/K", where="conductance", open_low=True)
    return like(heat_w, np.asarray(np.asarray(ambient_c) + np.asarray(heat_w) / g))


def limiting_ambient_c(
    limit_c: float, heat_w: FloatOrArray, conductance_w_k: FloatOrArray
) -> FloatOrArray:
    """Air temperature at which a work rate settles at a limit.

    Parameters
    ----------
    limit_c : float
        Limit of the fluid [°C].
    heat_w, conductance_w_k : float, or arrays of one shape
        Heat into the oil [W], cooler plus shell [W/K].

    Returns
    -------
    float or array like `heat_w`
        Limiting ambient temperature [°C]; minus the hottest day's is the margin [K].

    Raises
    ------
    RangeError
        A conductance that is not positive.

    References
    ----------
    Energy balance, with the name of SAE J1393.
    """
    g = require(conductance_w_k, 0.0, math.inf, unit="W/K", where="conductance", open_low=True)
    return like(heat_w, np.asarray(limit_c - np.asarray(heat_w) / g))


def time_to_limit(
    node: OneNode, *, start_c: float, ambient_c: float, heat_w: float, limit_c: float
) -> Countdown:
    """Find how long until the oil reaches a limit at a work rate, and where it would settle.

    Parameters
    ----------
    node : OneNode
        The machine.
    start_c, ambient_c, limit_c : float
        Oil now, air, and limit [°C].
    heat_w : float
        Heat into the oil [W].

    Returns
    -------
    Countdown
        Seconds, 0 when at or over the limit, infinite when never.

    References
    ----------
    `lumps.one_node_countdown`.
    """
    result = one_node_countdown(
        node, start_c=start_c, ambient_c=ambient_c, power_w=heat_w, target_c=limit_c
    )
    return replace(result, seconds=0.0) if start_c >= limit_c else result


def fan_failure(
    *,
    capacity_j_k: float,
    shell_w_k: float,
    still_cooler_w_k: float,
    start_c: float,
    ambient_c: float,
    heat_w: float,
    limit_c: float,
) -> Countdown:
    """Time until the limit when work continues with the fan stopped.

    Parameters
    ----------
    capacity_j_k : float
        Oil and metal [J/K].
    shell_w_k : float
        Tank, lines and housings to the air [W/K].
    still_cooler_w_k : float
        The cooler without its fan, as a fan-off phase measures it [W/K]; 0 is conservative.
    start_c, ambient_c, limit_c : float
        Oil when the fan stops, air, limit [°C].
    heat_w : float
        Heat into the oil [W].

    Returns
    -------
    Countdown
        Seconds to the limit (infinite when never) and final temperature.

    References
    ----------
    `lumps.one_node_countdown`.
    """
    require(still_cooler_w_k, 0.0, math.inf, unit="W/K", where="cooler without its fan")
    node = OneNode(capacity_j_k=capacity_j_k, loss_w_k=shell_w_k + still_cooler_w_k)
    return time_to_limit(node, start_c=start_c, ambient_c=ambient_c, heat_w=heat_w, limit_c=limit_c)


def conductance_at_altitude_w_k(
    conductance_w_k: float,
    *,
    measured_altitude_m: float,
    altitude_m: float,
    measured_temp_c: float = 20.0,
    temp_c: float = 20.0,
) -> tuple[float, float, float]:
    """Cooler conductance in thinner or denser air, same fan speed: low, likely, high.

    Parameters
    ----------
    conductance_w_k : float
        Measured [W/K].
    measured_altitude_m, altitude_m : float
        Altitude of the measurement and of the forecast [m].
    measured_temp_c, temp_c : float
        Air at both [°C].

    Returns
    -------
    tuple of three floats
        Low, likely, high [W/K]: density ratio to the powers that bound the air side's share.

    Raises
    ------
    RangeError
        Altitude or temperature outside the standard atmosphere's range.

    Notes
    -----
    A fan of constant speed moves constant volume; mass flow falls with density. Use
    `sizing.at_flows` instead if both flows are known.

    References
    ----------
    ISO 2533 for density; exponents common practice, no source, 0.6 being the one that gives the
    trade's cooling x (1 - altitude/17 500 m).
    """
    there = air.density_kg_m3(measured_temp_c, air.pressure_pa(measured_altitude_m))
    ratio = air.density_kg_m3(temp_c, air.pressure_pa(altitude_m)) / there
    low, high = sorted((ratio**AIR_EXPONENT_LOW, ratio**AIR_EXPONENT_HIGH))
    likely = ratio**AIR_EXPONENT
    return conductance_w_k * low, conductance_w_k * likely, conductance_w_k * high


def ambient_trust(ambient_c: float, measured_ambient_c: FloatArray) -> Trust:
    """Judge whether a forecast at an ambient can be trusted, given the measured ambients.

    Parameters
    ----------
    ambient_c : float
        Air of the forecast [°C].
    measured_ambient_c : array
        Air temperatures of the outing [°C]; NaN is no reading.

    Returns
    -------
    Trust
        "trusted" up to 10 K beyond the measured span, "stretched" up to 20 K, then "not trusted".

    Raises
    ------
    RangeError
        No reading at all.

    References
    ----------
    Common practice, no source; SAE J1393 transfers degree for degree within a stated range only.
    """
    readings = np.asarray(measured_ambient_c)[np.isfinite(measured_ambient_c)]
    require(float(readings.size), 1.0, math.inf, unit="ambient readings", where="ambient_trust")
    low, high = float(readings.min()), float(readings.max())
    gap = max(low - ambient_c, ambient_c - high, 0.0)
    span = f"{ambient_c:.0f} °C is {gap:.0f} K outside the {low:.0f} to {high:.0f} °C measured"
    if gap <= TRUSTED_GAP_K:
        return Trust(standing="trusted", gap_k=gap, reason=f"within {TRUSTED_GAP_K:.0f} K: {span}")
    if gap <= STRETCHED_GAP_K:
        return Trust(standing="stretched", gap_k=gap, reason=f"{span}; measure on a nearer day")
    return Trust(standing="not trusted", gap_k=gap, reason=f"{span}; too far for a figure")
