"""Where a hydrostatic drive's heat comes from: efficiencies, losses, a relief valve's rise.

Symbols of ISO 4391 in the formulas: V_g geometric displacement per revolution, n speed,
Q flow, p pressure difference, T torque, eta_v volumetric, eta_hm hydro-mechanical and eta_t
overall efficiency. SI units: m³, 1/s, m³/s, Pa, N m.

A heat worked out from power and guessed efficiencies is an estimate. It sizes a first cooler; it
proves nothing.
"""

import math
from dataclasses import dataclass

from wattsump_analysis._shapes import require

__all__ = (
    "HEAT_SHARES",
    "MotorPoint",
    "PumpPoint",
    "Share",
    "drive_loss_w",
    "heat_from_rise_w",
    "hydraulic_power_w",
    "loss_share",
    "motor_point",
    "pump_point",
    "relief_rise_k",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A rule of thumb for the share of input power that ends in the oil [-]."""

    low: float
    high: float
    rule: str


# Common practice, no one source: makers' manuals and selection pages.
HEAT_SHARES = (
    Share(low=0.20, high=0.25, rule="hydrostatic manual, share of the largest input"),
    Share(low=0.25, high=0.40, rule="mobile machines, share of installed power"),
    Share(low=0.25, high=0.50, rule="selection page, share of nameplate power"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpPoint:
    """A pump at work."""

    theoretical_flow_m3_s: float
    flow_m3_s: float
    hydraulic_power_w: float
    ideal_torque_nm: float
    torque_nm: float
    shaft_power_w: float
    efficiency: float

    @property
    def loss_w(self) -> float:
        """Heat it makes [W]."""
        return self.shaft_power_w - self.hydraulic_power_w


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorPoint:
    """A motor at work."""

    speed_rev_s: float
    torque_nm: float
    shaft_power_w: float
    hydraulic_power_w: float

    @property
    def loss_w(self) -> float:
        """Heat it makes [W]."""
        return self.hydraulic_power_w - self.shaft_power_w


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


def hydraulic_power_w(flow_m3_s: float, pressure_pa: float) -> float:
    """Power of a flow across a pressure difference [W], P = Q p.

    References
    ----------
    ISO 4391.
    """
    return flow_m3_s * pressure_pa


def pump_point(
    *,
    displacement_m3_rev: float,
    speed_rev_s: float,
    pressure_pa: float,
    eta_v: float,
    eta_hm: float,
) -> PumpPoint:
    """Flow, torque, powers and heat of a pump.

    Parameters
    ----------
    displacement_m3_rev : float
        V_g [m³/rev].
    speed_rev_s : float
        n [rev/s].
    pressure_pa : float
        p [Pa].
    eta_v, eta_hm : float
        Volumetric and hydro-mechanical efficiency [-].

    Returns
    -------
    PumpPoint
        The operating point.

    Raises
    ------
    RangeError
        A value that is not positive, or an efficiency above 1.

    Notes
    -----
    Q = V_g n eta_v, T = p V_g/(2 pi eta_hm), eta_t = eta_v eta_hm. Taking eta_v as an energy
    efficiency is disputed at high pressure, where oil is compressible.

    References
    ----------
    ISO 4391; ISO 4409:2019 for the test method.
    """
    _check_machine(displacement_m3_rev, pressure_pa, eta_v, eta_hm)
    require(speed_rev_s, 0.0, 1000.0, unit="rev/s", where="pump speed", open_low=True)
    theoretical = displacement_m3_rev * speed_rev_s
    flow = theoretical * eta_v
    ideal = pressure_pa * displacement_m3_rev / (2.0 * math.pi)
    return PumpPoint(
        theoretical_flow_m3_s=theoretical,
        flow_m3_s=flow,
        hydraulic_power_w=hydraulic_power_w(flow, pressure_pa),
        ideal_torque_nm=ideal,
        torque_nm=ideal / eta_hm,
        shaft_power_w=ideal / eta_hm * 2.0 * math.pi * speed_rev_s,
        efficiency=eta_v * eta_hm,
    )


def motor_point(
    *,
    displacement_m3_rev: float,
    flow_m3_s: float,
    pressure_pa: float,
    eta_v: float,
    eta_hm: float,
) -> MotorPoint:
    """Speed, torque, power and heat of a motor given a flow.

    Parameters
    ----------
    displacement_m3_rev : float
        V_g [m³/rev].
    flow_m3_s : float
        Q into the motor [m³/s].
    pressure_pa, eta_v, eta_hm : float
        As `pump_point`.

    Returns
    -------
    MotorPoint
        The operating point: n = Q eta_v/V_g, T = p V_g eta_hm/(2 pi).

    Raises
    ------
    RangeError
        A value that is not positive, or an efficiency above 1.

    References
    ----------
    ISO 4391.
    """
    _check_machine(displacement_m3_rev, pressure_pa, eta_v, eta_hm)
    require(flow_m3_s, 0.0, math.inf, unit="m³/s", where="motor flow", open_low=True)
    speed = flow_m3_s * eta_v / displacement_m3_rev
    torque = pressure_pa * displacement_m3_rev / (2.0 * math.pi) * eta_hm
    return MotorPoint(
        speed_rev_s=speed,
        torque_nm=torque,
        shaft_power_w=torque * 2.0 * math.pi * speed,
        hydraulic_power_w=hydraulic_power_w(flow_m3_s, pressure_pa),
    )


def relief_rise_k(pressure_pa: float, volumetric_heat_j_m3k: float = 1.75e6) -> float:
    """Temperature rise of oil throttled across a pressure difference [K], p/(rho cp).

    Raises
    ------
    RangeError
        A negative pressure or a heat capacity that is not positive.

    References
    ----------
    Energy balance of an adiabatic throttle, compressibility left out.
    """
    require(pressure_pa, 0.0, math.inf, unit="Pa", where="pressure difference")
    require(volumetric_heat_j_m3k, 0.0, math.inf, unit="J/(m³ K)", where="oil heat", open_low=True)
    return pressure_pa / volumetric_heat_j_m3k


def heat_from_rise_w(capacity_j_k: float, rise_k: float, seconds: float) -> float:
    """Heat that warms a known capacity at a rate, losses left out [W].

    Parameters
    ----------
    capacity_j_k : float
        Oil and metal [J/K]; oil alone reads about half.
    rise_k, seconds : float
        Rise [K] and the time it took [s].

    Returns
    -------
    float
        Heat [W].

    Raises
    ------
    RangeError
        A capacity or time that is not positive.

    References
    ----------
    Energy balance (the trade's tank-rise method).
    """
    require(capacity_j_k, 0.0, math.inf, unit="J/K", where="capacity", open_low=True)
    require(seconds, 0.0, math.inf, unit="s", where="time of the rise", open_low=True)
    return capacity_j_k * rise_k / seconds


def _check_machine(
    displacement_m3_rev: float, pressure_pa: float, eta_v: float, eta_hm: float
) -> None:
    require(
        displacement_m3_rev, 0.0, 0.01, unit="m³/rev", where="displacement", open_low=True
    )  # ten litres a revolution is larger than any mobile unit
    require(pressure_pa, 0.0, 1e9, unit="Pa", where="pressure difference", open_low=True)
    loss_share(eta_v, eta_hm)
