"""Warming cold oil before start: time, temperature, power and energy, and the hazards.

A heater warms its own end of the tank first. The one-lump answer is for a well stirred tank; the
two-zone answer separates the heated zone from the far zone. A probe beside the heater reads the
heated zone. Times in s, temperatures in °C, powers in W.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from wattsump_analysis.arrays import FloatOrArray, like, require
from wattsump_analysis.physics.lumps import (
    Countdown,
    OneNode,
    TwoNode,
    one_node_countdown,
    two_node_countdown,
)

__all__ = (
    "WATT_DENSITY_LIMITS",
    "Battery",
    "DensityLimit",
    "Zones",
    "battery_for",
    "circulation_gain",
    "energy_j",
    "highest_rise_k",
    "power_to_hold_w",
    "switch_on_lead_s",
    "time_to_target",
    "watt_density_judgement",
    "zones",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DensityLimit:
    """A limit of heater power per area in oil, and its source."""

    name: str
    limit_w_m2: float
    source: str


# Ascending. 1 W/cm² = 10 000 W/m².
WATT_DENSITY_LIMITS = (
    DensityLimit(
        name="hydraulic tank, immersed",
        limit_w_m2=7_000.0,
        source="common practice, a trade handbook's 4.5 W/in²",
    ),
    DensityLimit(
        name="pad bonded outside a tank",
        limit_w_m2=8_000.0,
        source="common practice, no source; some allow twice that",
    ),
    DensityLimit(
        name="immersed in oil, upper end",
        limit_w_m2=12_000.0,
        source="common practice, no source; half of that is kinder",
    ),
    DensityLimit(
        name="a water element, which chars oil to tar",
        limit_w_m2=60_000.0,
        source="common practice, no source",
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Zones:
    """Times for the heated zone, the far zone and the stirred tank to reach the same target."""

    near: Countdown
    far: Countdown
    stirred: Countdown


@dataclass(frozen=True, slots=True, kw_only=True)
class Battery:
    """What a preheat takes from a battery through its inverter."""

    energy_j: float
    charge_ah: float
    size_ah: float
    current_a: float


def time_to_target(
    node: OneNode, *, start_c: float, ambient_c: float, heater_w: float, target_c: float
) -> Countdown:
    """Find the time a heater needs for a well stirred tank.

    Parameters
    ----------
    node : OneNode
        Oil and the metal that warms with it, and its loss.
    start_c, ambient_c, target_c : float
        Cold soak, air, wanted temperature [°C].
    heater_w : float
        Heater power [W], at least 0.

    Returns
    -------
    Countdown
        Seconds (0 if warm enough already, infinite if the heater is too small) and the final
        temperature.

    Raises
    ------
    RangeError
        A negative power.

    References
    ----------
    `lumps.one_node_countdown`.
    """
    require(heater_w, 0.0, math.inf, unit="W", where="heater power")
    result = one_node_countdown(
        node, start_c=start_c, ambient_c=ambient_c, power_w=heater_w, target_c=target_c
    )
    return Countdown(seconds=0.0, final_c=result.final_c) if start_c >= target_c else result


def zones(
    nodes: TwoNode, *, start_c: float, ambient_c: float, heater_w: float, target_c: float
) -> Zones:
    """Compare heated zone, far zone and stirred tank on the way to the same target.

    Parameters
    ----------
    nodes : TwoNode
        The zone at the heater first, the far one second, their losses and coupling.
    start_c, ambient_c, target_c : float
        Cold soak, air, wanted temperature [°C].
    heater_w : float
        Heater power into the first zone [W], at least 0.

    Returns
    -------
    Zones
        Three countdowns; `stirred` is the same tank with no difference inside it.

    Raises
    ------
    RangeError
        A negative power.

    References
    ----------
    `lumps.two_node_countdown`.
    """
    require(heater_w, 0.0, math.inf, unit="W", where="heater power")
    lump = OneNode(capacity_j_k=sum(nodes.capacities_j_k), loss_w_k=sum(nodes.losses_w_k))
    stirred = time_to_target(
        lump, start_c=start_c, ambient_c=ambient_c, heater_w=heater_w, target_c=target_c
    )
    near, far = (
        two_node_countdown(
            nodes,
            which=which,
            start_c=(start_c, start_c),
            ambient_c=ambient_c,
            powers_w=(heater_w, 0.0),
            target_c=target_c,
        )
        for which in (0, 1)
    )
    if start_c >= target_c:
        near = Countdown(seconds=0.0, final_c=near.final_c)
        far = Countdown(seconds=0.0, final_c=far.final_c)
    return Zones(near=near, far=far, stirred=stirred)


def circulation_gain(
    compared: Zones, pump_inlet: Literal["near the heater", "far from it"]
) -> float:
    """Seconds that circulating the oil saves at the pump inlet [s]; negative when it costs time.

    Infinite if only a stirred tank reaches the target, minus infinite if only a still tank does,
    NaN if neither does.

    References
    ----------
    `zones`: circulating makes the tank one lump. The pump's own heat is neglected.
    """
    still = compared.near if pump_inlet == "near the heater" else compared.far
    return still.seconds - compared.stirred.seconds


def power_to_hold_w(loss_w_k: FloatOrArray, *, hold_c: float, ambient_c: float) -> FloatOrArray:
    """Heater power that holds a temperature against the air [W]; 0 when the air is warmer.

    Raises
    ------
    RangeError
        A negative loss.

    References
    ----------
    Energy balance at rest.
    """
    loss = require(loss_w_k, 0.0, math.inf, unit="W/K", where="loss")
    return like(loss_w_k, np.asarray(loss * max(hold_c - ambient_c, 0.0)))


def highest_rise_k(loss_w_k: FloatOrArray, heater_w: FloatOrArray) -> FloatOrArray:
    """Final rise above the air with the heater on [K]; infinite without loss.

    Raises
    ------
    RangeError
        A negative loss or power.

    References
    ----------
    Energy balance at rest.
    """
    loss = require(loss_w_k, 0.0, math.inf, unit="W/K", where="loss")
    heater = require(heater_w, 0.0, math.inf, unit="W", where="heater power")
    lossless = np.where(heater > 0.0, math.inf, 0.0)
    rise = np.where(loss > 0.0, heater / np.where(loss > 0.0, loss, 1.0), lossless)
    return like(loss_w_k, rise)


def watt_density_judgement(density_w_m2: float) -> tuple[DensityLimit, ...]:
    """Return the limits that a heater's power per area exceeds, mildest first.

    Parameters
    ----------
    density_w_m2 : float
        Heater power over its wetted or bonded area [W/m²].

    Returns
    -------
    tuple of DensityLimit
        Those that are exceeded.

    Raises
    ------
    RangeError
        A density that is not positive.

    References
    ----------
    `WATT_DENSITY_LIMITS`, each with its source.
    """
    require(density_w_m2, 0.0, math.inf, unit="W/m²", where="watt density", open_low=True)
    return tuple(limit for limit in WATT_DENSITY_LIMITS if density_w_m2 > limit.limit_w_m2)


def energy_j(heater_w: float, seconds: float) -> float:
    """Energy a preheat takes at the heater [J].

    Raises
    ------
    RangeError
        A negative or infinite time: the heater never reaches the target.

    References
    ----------
    Definition.
    """
    require(seconds, 0.0, 1e9, unit="s", where="preheat time", do="choose a larger heater")
    return heater_w * seconds


def battery_for(
    heater_w: float,
    seconds: float,
    *,
    voltage_v: float = 12.0,
    inverter_efficiency: float = 0.85,
    usable_share: float = 0.5,
) -> Battery:
    """Battery charge that a preheat through an inverter takes.

    Parameters
    ----------
    heater_w, seconds : float
        Heater power [W] and time on [s].
    voltage_v : float
        Battery voltage under load [V].
    inverter_efficiency : float
        Share of battery energy that reaches the heater [-]; 1 for a heater of battery voltage.
    usable_share : float
        Share of the rated charge that may be used [-]: half of a lead-acid battery, less in the
        cold. Both defaults are common practice, no source.

    Returns
    -------
    Battery
        Energy and charge drawn, the rated size that allows it, and the current.

    Raises
    ------
    RangeError
        An endless preheat, or a voltage or share out of range.

    References
    ----------
    Definition.
    """
    require(voltage_v, 0.0, 1000.0, unit="V", where="battery voltage", open_low=True)
    for share, where in ((inverter_efficiency, "inverter"), (usable_share, "usable charge")):
        require(share, 0.0, 1.0, unit="of 1", where=where, open_low=True)
    drawn = energy_j(heater_w, seconds) / inverter_efficiency
    charge = drawn / voltage_v / 3600.0
    return Battery(
        energy_j=drawn,
        charge_ah=charge,
        size_ah=charge / usable_share,
        current_a=heater_w / inverter_efficiency / voltage_v,
    )


def switch_on_lead_s(
    node: OneNode,
    *,
    start_c: float,
    ambient_c: float,
    heater_w: float,
    target_c: float,
    u_capacity_rel: float,
    u_loss_rel: float,
    coverage_factor: float = 1.645,
) -> float:
    """Lead time of the heater so that the oil is warm at start nineteen times in twenty.

    Parameters
    ----------
    node, start_c, ambient_c, heater_w, target_c
        As `time_to_target`.
    u_capacity_rel, u_loss_rel : float
        Relative standard uncertainties of capacity and loss [-].
    coverage_factor : float
        1.645 for one-sided 95 % of a normal distribution.

    Returns
    -------
    float
        Seconds; infinite if the heater may not reach the target at all.

    Raises
    ------
    RangeError
        A negative power or uncertainty.

    Notes
    -----
    Capacity and loss are each shifted by the coverage factor and the effects added in quadrature:
    near the final temperature the time is not linear in the loss, and a first-order formula would
    be too optimistic.

    References
    ----------
    JCGM 100:2008, clause 5.1.2, with finite steps as in its note on larger non-linearity.
    """
    require([u_capacity_rel, u_loss_rel], 0.0, 1.0, unit="of 1", where="relative uncertainty")

    def needed(capacity_scale: float, loss_scale: float) -> float:
        moved = OneNode(
            capacity_j_k=node.capacity_j_k * capacity_scale, loss_w_k=node.loss_w_k * loss_scale
        )
        return time_to_target(
            moved, start_c=start_c, ambient_c=ambient_c, heater_w=heater_w, target_c=target_c
        ).seconds

    best = needed(1.0, 1.0)
    moved = (
        needed(1.0 + coverage_factor * u_capacity_rel, 1.0),
        needed(1.0, 1.0 + coverage_factor * u_loss_rel),
    )
    if not all(map(math.isfinite, (best, *moved))):
        return math.inf
    return best + math.hypot(*(t - best for t in moved))
