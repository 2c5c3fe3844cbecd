"""Heat for the cab from the air behind the cooler, and what taking it costs the oil."""

import math
from dataclasses import dataclass

import numpy as np

from wattsump_analysis.arrays import FloatOrArray, like, require
from wattsump_analysis.physics.sizing import Range, at_flows

__all__ = ("CabHeat", "behind_cooler", "ducting_cost_w_k", "oil_temp_with_duct_c")


@dataclass(frozen=True, slots=True, kw_only=True)
class CabHeat:
    """Air behind the cooler [°C] and what it gives a cab held at `cab_c` [W].

    `to_cab_w` is 0 when the air is no warmer than the cab; `from_outside_w` is what the same air
    carries above outside, the figure to set against a heater that warms fresh air.
    """

    air_off_c: float
    cab_c: float
    to_cab_w: float
    from_outside_w: float


def behind_cooler(
    *,
    heat_w: float,
    air_rate_w_k: float,
    ambient_c: float,
    cab_c: float = 20.0,
    ducted_share: float = 1.0,
) -> CabHeat:
    """Air temperature behind the cooler and the heat it offers the cab.

    Parameters
    ----------
    heat_w : float
        Heat the cooler rejects at the measured load [W].
    air_rate_w_k : float
        Capacity rate of the air through the core [W/K], see `air.capacity_rate_w_k`.
    ambient_c, cab_c : float
        Air entering the core, and the temperature wanted in the cab [°C].
    ducted_share : float
        Share of the core's air that the duct takes [-].

    Returns
    -------
    CabHeat
        Mean air temperature behind the core and heat; duct losses are not deducted.

    Raises
    ------
    RangeError
        A negative heat, a capacity rate that is not positive or a share outside 0 to 1.

    Notes
    -----
    T_off = T_in + heat/C_air; to the cab: share x C_air x (T_off - T_cab).

    References
    ----------
    Energy balance of the air stream.
    """
    require(heat_w, 0.0, math.inf, unit="W", where="cooler heat")
    require(air_rate_w_k, 0.0, math.inf, unit="W/K", where="air capacity rate", open_low=True)
    require(ducted_share, 0.0, 1.0, unit="of 1", where="ducted share")
    air_off = ambient_c + heat_w / air_rate_w_k
    return CabHeat(
        air_off_c=air_off,
        cab_c=cab_c,
        to_cab_w=ducted_share * air_rate_w_k * max(air_off - cab_c, 0.0),
        from_outside_w=ducted_share * heat_w,
    )


def ducting_cost_w_k(
    measured_w_k: float, *, air_rate_w_k: float, oil_rate_w_k: float, air_left: float
) -> Range:
    """Conductance the cooler loses when a duct reduces its air flow.

    Parameters
    ----------
    measured_w_k : float
        Conductance without the duct [W/K].
    air_rate_w_k, oil_rate_w_k : float
        Capacity rates without the duct [W/K].
    air_left : float
        Air flow with the duct over that without [-], 0.1 to 1. A duct of the core's own area
        leaves most of it, a long small one half: common practice, no source; measure it.

    Returns
    -------
    Range
        Loss [W/K].

    Raises
    ------
    RangeError
        A share out of range, or a conductance the streams cannot carry.

    References
    ----------
    `sizing.at_flows`.
    """
    require(air_left, 0.1, 1.0, unit="of 1", where="air left by the duct")
    remaining = at_flows(
        measured_w_k, air_rate_w_k=air_rate_w_k, oil_rate_w_k=oil_rate_w_k, air_factor=air_left
    )
    return Range(
        low=measured_w_k - remaining.high,
        likely=measured_w_k - remaining.likely,
        high=measured_w_k - remaining.low,
    )


def oil_temp_with_duct_c(
    *,
    heat_w: FloatOrArray,
    ambient_c: float,
    shell_w_k: FloatOrArray,
    measured_w_k: FloatOrArray,
    cost_w_k: FloatOrArray,
) -> FloatOrArray:
    """Settled oil temperature at the same work with the duct fitted [°C].

    Parameters
    ----------
    heat_w : float or array
        Heat into the oil [W].
    ambient_c : float
        Air [°C].
    shell_w_k, measured_w_k, cost_w_k : float or array like `heat_w`
        Shell, cooler without the duct, and what the duct costs it [W/K].

    Returns
    -------
    float or array like `heat_w`
        Settled oil temperature [°C].

    Raises
    ------
    RangeError
        No conductance remains.

    References
    ----------
    Energy balance.
    """
    remaining = np.asarray(shell_w_k) + np.asarray(measured_w_k) - np.asarray(cost_w_k)
    require(remaining, 0.0, math.inf, unit="W/K", where="conductance left", open_low=True)
    return like(heat_w, np.asarray(ambient_c + np.asarray(heat_w) / remaining))
