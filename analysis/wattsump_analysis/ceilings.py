"""The most heat per kelvin that air and oil could carry through a cooler, whatever its core."""

import math
from dataclasses import dataclass

from wattsump_analysis._shapes import require

__all__ = ("Ceilings", "ceilings")

# Share of the air stream's ceiling that cores as built reach: common practice, no source.
BUILT_SHARE_LOW, BUILT_SHARE_HIGH = 0.3, 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Ceilings:
    """The most that the streams could carry, and what cores as built make of the air's."""

    air_w_k: float | None
    oil_w_k: float | None
    lowest_w_k: float
    built_low_w_k: float | None
    built_high_w_k: float | None


def ceilings(air_rate_w_k: float | None = None, oil_rate_w_k: float | None = None) -> Ceilings:
    """Find the most heat per kelvin that two streams allow whatever the core.

    Parameters
    ----------
    air_rate_w_k, oil_rate_w_k : float, optional
        Capacity rates [W/K] of installed air flow and of oil flow; at least one.

    Returns
    -------
    Ceilings
        Each stream's, the lower, and 0.3 to 0.6 of the air's, which cores as built reach.

    Raises
    ------
    RangeError
        A rate that is not positive, or none given.

    Notes
    -----
    heat/ETD = effectiveness x C_min, and effectiveness is under 1.

    References
    ----------
    W. M. Kays and A. L. London, Compact Heat Exchangers, 3rd ed., chapter 2; the shares of cores
    as built are common practice, no source.
    """
    known = [rate for rate in (air_rate_w_k, oil_rate_w_k) if rate is not None]
    require(float(len(known)), 1.0, 2.0, unit="flows", where="ceilings", do="give air or oil flow")
    require(known, 0.0, math.inf, unit="W/K", where="capacity rate", open_low=True)
    return Ceilings(
        air_w_k=air_rate_w_k,
        oil_w_k=oil_rate_w_k,
        lowest_w_k=min(known),
        built_low_w_k=None if air_rate_w_k is None else BUILT_SHARE_LOW * air_rate_w_k,
        built_high_w_k=None if air_rate_w_k is None else BUILT_SHARE_HIGH * air_rate_w_k,
    )
