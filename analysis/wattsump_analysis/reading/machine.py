"""Knowledge from outside the readings: heat capacity of oil and metal, oil flow, probe errors.

About half of the heat that a small machine stores is in its metal. A machine whose metal is
not listed therefore has an unknown capacity, not a small one.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from wattsump_analysis.physics.oil import (
    U_DENSITY_REL,
    U_SPECIFIC_HEAT_REL,
    USUAL_DENSITY_15_KG_M3,
    density_kg_m3,
    specific_heat_j_kgk,
    walther_from_grade,
)
from wattsump_logger.machine.oil_line import Walther
from wattsump_logger.machine.profile import Channel, Profile, Role

__all__ = (
    "METAL_J_KGK",
    "Knowledge",
    "StatedFlow",
    "bare_pipes",
    "bucket_matched",
    "contact_of",
    "knowledge",
    "metal_capacity_j_k",
    "oil_capacity_j_k",
    "oil_flow_w_k",
    "oil_heat_factor",
    "stated_flow",
)

# T. L. Bergman and A. S. Lavine, Fundamentals of Heat and Mass Transfer, table A.1 at 300 K
# (written from memory of the table): plain carbon steel 434, pure aluminium 903, pure copper
# 385 J/(kg K), rising with temperature (steel 487 at 400 K), taken at about 330 K. Cast iron:
# 0.46 to 0.54 kJ/(kg K), common practice, no source.
METAL_J_KGK: Mapping[str, float] = {
    "steel": 455.0,
    "cast iron": 490.0,
    "aluminium": 915.0,
    "copper": 388.0,
}
U_METAL_C_REL = 0.04
# A volume with a larger relative uncertainty (typed as 80 % or more) counts as unknown.
UNKNOWN_REL = 0.4
# Of a small machine at rest: 65 kJ/K over a shell of 13 W/K; common practice, no source.
USUAL_TAU_S = 5000.0
FILLED_AT_C = 20.0

# Difference between warm probes of one batch that a soak matched: their slopes differ by about
# 0.2 % of the rise; common practice, no source.
MATCHED_U_K = 0.08
MATCHED_AMBIENT_U_K = 0.4
SUN_K = 0.5  # usual excess of an air probe that nobody matched; common practice, no source
U_SUN_K = 0.7
U_DATA_SHEET_REL = 0.015  # of a typical value that is printed; common practice, no source
U_NOT_STATED_K = 1.85  # as of a channel without a stated sensor
U_HEATER_REL = 0.05  # nameplate power on a wandering supply; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Knowledge:
    """Knowledge from outside the readings; `u_` are standard uncertainties.

    Capacities of None are unknown. `oil_flow_w_k` is a flow that is stated, not recorded,
    times its heat capacity [W/K], at the engine speed `flow_rpm`, None for the usual one at
    work, and all the pump's with `flow_of_pump`; `u_flow_rel` is that of the oil flow, stated or
    recorded.
    `u_match_k` is that of the differences between oil probes after matching, `u_ambient_k` that
    of air against oil, `u_heater_rel` that of the heater's power; `sun_k` is a usual excess of
    the air probe. `contact` has mean and standard uncertainty of the part of the way to the air
    that each probe outside the oil reads too low, by role.
    """

    oil_j_k: float | None
    u_oil_rel: float
    metal_j_k: float | None
    u_metal_rel: float
    walther: Walther
    oil_flow_w_k: float | None = None
    flow_rpm: float | None = None
    flow_of_pump: bool = False
    u_flow_rel: float = 0.03
    u_oil_heat_rel: float = 0.032
    u_match_k: float = 1.5
    u_ambient_k: float = 1.5
    sun_k: float = 0.4
    u_heater_rel: float = 0.05
    heater_bonded: bool = False
    contact: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def is_outside(self, probe: str) -> bool:
        """Whether a probe sits on the outside of its pipe or tank."""
        return self.contact.get(probe, CONTACT["in oil"]) != CONTACT["in oil"]


def oil_heat_factor(profile: Profile | None) -> tuple[float, float]:
    """The oil's specific heat over that of the correlation, and its relative uncertainty."""
    oil = None if profile is None else profile.oil
    if oil is None or oil.specific_heat_40_j_kgk is None:
        return 1.0, U_SPECIFIC_HEAT_REL
    usual = float(specific_heat_j_kgk(40.0, oil.density_15_kg_m3))
    return oil.specific_heat_40_j_kgk / usual, U_DATA_SHEET_REL


def oil_capacity_j_k(profile: Profile, reference_c: float) -> tuple[float | None, float]:
    """Heat capacity of the oil at a temperature, and its relative standard uncertainty.

    Parameters
    ----------
    profile : Profile
        Machine; its oil volume is what was filled in at about 20 degC.
    reference_c : float
        Oil temperature [°C].

    Returns
    -------
    tuple
        Capacity [J/K], None where the volume is stated as not known; uncertainty [-].

    References
    ----------
    Mass times specific heat: `oil.density_kg_m3`, `oil.specific_heat_j_kgk`.
    """
    oil = profile.oil
    factor, u_heat = oil_heat_factor(profile)
    relative = math.sqrt(oil.u_volume_rel**2 + U_DENSITY_REL**2 + u_heat**2)
    if oil.u_volume_rel >= UNKNOWN_REL:
        return None, relative
    mass = oil.volume_m3 * float(density_kg_m3(FILLED_AT_C, oil.density_15_kg_m3))
    heat_j_kgk = factor * float(specific_heat_j_kgk(reference_c, oil.density_15_kg_m3))
    return mass * heat_j_kgk, relative


def metal_capacity_j_k(profile: Profile) -> tuple[float | None, float]:
    """Heat capacity of the listed metal, and its relative standard uncertainty.

    Returns
    -------
    tuple
        Capacity [J/K], None where no metal is listed; uncertainty [-], the parts'
        masses taken as independent and the specific heat as common to all.

    References
    ----------
    JCGM 100:2008, eq. (10).
    """
    if not profile.metal:
        return None, 1.0
    parts = np.array([METAL_J_KGK[part.material] * part.mass_kg for part in profile.metal])
    u_parts = parts * np.array([part.u_mass_rel for part in profile.metal])
    total = float(parts.sum())
    return total, math.hypot(float(np.linalg.norm(u_parts)) / total, U_METAL_C_REL)


# Volumetric efficiency of a pump that fills a cooler's line, warm oil at low pressure, and its
# standard uncertainty with wear; common practice, no source.
VOLUMETRIC_EFFICIENCY: Mapping[str, tuple[float, float]] = {
    "gear": (0.88, 0.04),
    "vane": (0.89, 0.035),
    "piston": (0.94, 0.025),
}
# What a pump moves at work over what it moved when its flow was caught without load: slip under
# pressure; common practice, no source.
LOADED, U_LOADED = 0.95, 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedFlow:
    """An oil flow that was not recorded, its engine speed and its uncertainty.

    `rpm` is None for a flow at the usual working speed. `of_pump` marks the pump's whole flow,
    of which some may miss the cooler.
    """

    flow_m3_s: float
    rpm: float | None
    u_rel: float
    of_pump: bool = False


def stated_flow(profile: Profile) -> StatedFlow | None:
    """The flow measured once, else the pump's displacement times its speed.

    The speed of a pump is taken at 1000 revolutions of the engine where `working_rpm` is not
    stated; it can then only be used with a recorded engine speed.
    """
    cooler, drive = profile.cooler, profile.drive
    if cooler.oil_flow_m3_s is not None:
        flow, u_rel, rpm = cooler.oil_flow_m3_s, cooler.u_oil_flow_rel, cooler.oil_flow_rpm
        if rpm is not None:
            flow, u_rel = LOADED * flow, math.hypot(u_rel, U_LOADED)
        return StatedFlow(flow_m3_s=flow, rpm=rpm, u_rel=u_rel)
    if drive.pump_displacement_m3 is None:
        return None
    rpm = drive.working_rpm or 1000.0
    efficiency, u_efficiency = VOLUMETRIC_EFFICIENCY[drive.pump_kind]
    turns_per_s = rpm * drive.pump_ratio / 60.0
    return StatedFlow(
        flow_m3_s=drive.pump_displacement_m3 * turns_per_s * efficiency,
        rpm=rpm,
        u_rel=u_efficiency / efficiency,
        of_pump=True,
    )


def oil_flow_w_k(flow_m3_s: float, reference_c: float, density_15_kg_m3: float) -> float:
    """Oil flow times the heat capacity of oil at a temperature [W/K]."""
    mass_kg_s = flow_m3_s * float(density_kg_m3(reference_c, density_15_kg_m3))
    return mass_kg_s * float(specific_heat_j_kgk(reference_c, density_15_kg_m3))


# Part of the way from reading to air by which the oil is warmer than a probe outside it, and its
# standard uncertainty. Oil at 30 l/min in a steel tube of 19 mm passes 80 to 320 W/(m2 K) to the
# wall; 20 mm of foam lets 3 out (1 to 4 %), a bare wall in still or moving air 10 to 40 (3 to
# 30 %): T. L. Bergman and A. S. Lavine, Fundamentals of Heat and Mass Transfer, eqs. 3.33 and
# 8.57, from memory.
CONTACT: Mapping[str, tuple[float, float]] = {
    "in oil": (0.0, 0.0),
    "insulated": (0.02, 0.015),
    "bare": (0.10, 0.05),
}
USUAL_MOUNT = {Role.TANK: "in oil", Role.COOLER_IN: "insulated", Role.COOLER_OUT: "insulated"}


def contact_of(profile: Profile | None) -> dict[str, tuple[float, float]]:
    """Contact error of each oil probe by role: as the profile has it, else as is usual."""
    found = {}
    for role, usual in USUAL_MOUNT.items():
        channel = None if profile is None else profile.role(role)
        mount = usual if channel is None or channel.mount is None else channel.mount
        found[role.value] = CONTACT[mount]
    return found


def bare_pipes(profile: Profile | None) -> frozenset[str]:
    """Roles of the cooler's probes, both if one of them sits bare on the outside of its pipe."""
    pipes = (Role.COOLER_IN, Role.COOLER_OUT)
    channels = [] if profile is None else [profile.role(role) for role in pipes]
    if not any(channel is not None and channel.mount == "bare" for channel in channels):
        return frozenset()
    return frozenset(role.value for role in pipes)


def _u_of(channel: Channel | None, temp_c: float) -> float:
    return U_NOT_STATED_K if channel is None else channel.u_c(temp_c)


def _bonded(profile: Profile | None) -> bool:
    return profile is not None and profile.heater is not None and profile.heater.is_bonded


def bucket_matched(profile: Profile | None) -> bool:
    """Whether the probes in oil were matched in one bath, whose offsets the profile holds."""
    if profile is None:
        return False
    oils = [profile.role(role) for role in (Role.TANK, Role.COOLER_IN, Role.COOLER_OUT)]
    return all(channel is None or channel.u_offset_k is not None for channel in oils)


def knowledge(
    profile: Profile | None,
    reference_c: float,
    *,
    matched: bool,
    drift_k_min: float = 0.0,
) -> Knowledge:
    """What a profile states, in the form the fit needs.

    Parameters
    ----------
    profile : Profile or None
        Machine; None if only the temperatures are known.
    reference_c : float
        Oil temperature at which capacity is stated [°C].
    matched : bool
        Whether a soak before the start matched the probes.
    drift_k_min : float
        How fast oil or air still changed in that soak [K/min].

    Returns
    -------
    Knowledge

    References
    ----------
    JCGM 100:2008, 4.3.7 and 5.1.2.
    """
    tank = None if profile is None else profile.role(Role.TANK)
    air = None if profile is None else profile.role(Role.AMBIENT)
    # A tank that drifts is this far from the air, and the oil in the pipes is between the two.
    off_balance_k = drift_k_min * USUAL_TAU_S / 60.0
    u_match = math.hypot(MATCHED_U_K, 0.5 * off_balance_k)
    u_air = math.hypot(MATCHED_AMBIENT_U_K, off_balance_k)
    if bucket_matched(profile) or not matched:
        u_match = math.sqrt(2.0) * _u_of(tank, 60.0)
    if not matched:
        u_air = math.sqrt(_u_of(tank, 60.0) ** 2 + _u_of(air, 20.0) ** 2 + U_SUN_K**2)
    factor, u_heat = oil_heat_factor(profile)
    u_oil_heat = math.hypot(u_heat, U_DENSITY_REL)
    if profile is None:
        oil, u_oil, metal, u_metal = None, 1.0, None, 1.0
        walther, density_15 = walther_from_grade("VG 46"), USUAL_DENSITY_15_KG_M3
        flow, u_flow = None, 0.05
    else:
        oil, u_oil = oil_capacity_j_k(profile, reference_c)
        metal, u_metal = metal_capacity_j_k(profile)
        walther = profile.oil.line
        flow = stated_flow(profile)
        u_flow = profile.cooler.u_oil_flow_rel if flow is None else flow.u_rel
        density_15 = profile.oil.density_15_kg_m3
    return Knowledge(
        oil_j_k=oil,
        u_oil_rel=u_oil,
        metal_j_k=metal if oil is not None else None,
        u_metal_rel=u_metal,
        walther=walther,
        oil_flow_w_k=(
            None if flow is None else factor * oil_flow_w_k(flow.flow_m3_s, reference_c, density_15)
        ),
        flow_rpm=None if flow is None else flow.rpm,
        flow_of_pump=flow is not None and flow.of_pump,
        u_flow_rel=math.hypot(u_flow, u_oil_heat),
        u_oil_heat_rel=u_oil_heat,
        u_match_k=u_match,
        u_ambient_k=u_air,
        sun_k=0.0 if matched else SUN_K,
        heater_bonded=_bonded(profile),
        contact=contact_of(profile),
        u_heater_rel=(
            U_HEATER_REL
            if profile is None or profile.heater is None
            else profile.heater.u_power_rel
        ),
    )
