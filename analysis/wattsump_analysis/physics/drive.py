"""Where a hydrostatic drive's heat comes from: the losses of pump and motor.

Efficiencies are overall, eta_t of ISO 4391, from shaft to oil or from oil to shaft.

Heat from power and guessed efficiencies is an estimate: enough to size a first cooler, no proof.
"""

import math
from dataclasses import dataclass

from wattsump_analysis.arrays import require

__all__ = ("HEAT_SHARES", "Share", "drive_loss_w", "loss_share")


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A rule of thumb for the share of input power that becomes heat in the oil [-]."""

    low: float
    high: float
    rule: str


# Common practice, no one source: makers' manuals and selection pages.
HEAT_SHARES = (
    Share(low=0.20, high=0.25, rule="hydrostatic manual, share of the largest input"),
    Share(low=0.25, high=0.40, rule="mobile machines, share of installed power"),
    Share(low=0.25, high=0.50, rule="selection page, share of nameplate power"),
)


def loss_share(*efficiencies: float) -> float:
    """Share of input power that machines in series turn into heat [-].

    Parameters
    ----------
    *efficiencies : float
        Overall efficiency of each [-], above 0 and at most 1.

    Returns
    -------
    float
        1 - product.

    Raises
    ------
    RangeError
        An efficiency out of range; per cent given as a whole number is the usual cause.

    References
    ----------
    ISO 4391, definition of overall efficiency.

    Examples
    --------
    >>> round(loss_share(0.80, 0.80), 2)
    0.36
    """
    where = "efficiency"
    require(efficiencies, 0.0, 1.0, unit="of 1", where=where, do="80 % is 0.80", open_low=True)
    return 1.0 - math.prod(efficiencies)


def drive_loss_w(power_w: float, pump_efficiency: float, motor_efficiency: float) -> float:
    """Heat a pump and motor make of the power put in, an estimate [W].

    Raises
    ------
    RangeError
        A negative power or an efficiency out of range.

    References
    ----------
    `loss_share`.
    """
    require(power_w, 0.0, math.inf, unit="W", where="drive power")
    return power_w * loss_share(pump_efficiency, motor_efficiency)
