"""What is known besides the temperatures: heat capacity of oil and metal, probe errors.

About half of the warmth a small machine stores is in its metal. A machine whose metal is
not listed therefore has an unknown capacity, not a small one.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from wattsump_analysis.physics.oil import (
    U_DENSITY_REL,
    U_SPECIFIC_HEAT_REL,
    density_kg_m3,
    specific_heat_j_kgk,
    walther_from_grade,
)
from wattsump_logger.machine.oil_line import Walther
from wattsump_logger.machine.profile import Channel, Profile, Role

__all__ = (
    "METAL_J_KGK",
    "Knowledge",
    "knowledge",
    "metal_capacity_j_k",
    "oil_capacity_j_k",
    "oil_flow_w_k",
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
# From this relative uncertainty up (typed as 80 % or more) a volume is not known at all.
UNKNOWN_REL = 0.4
FILLED_AT_C = 20.0

# What soak zeroing leaves between probes of one batch, warm: tolerance slopes differ by about
# 0.2 % of the rise within a batch; common practice, no source.
MATCHED_U_K = 0.08
MATCHED_AMBIENT_U_K = 0.4
SUN_K = 0.5  # usual excess of an air probe that nobody matched; common practice, no source
U_SUN_K = 0.7
U_HEATER_REL = 0.05  # nameplate power on a wandering supply; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Knowledge:
    """What is known besides the temperatures; `u_` are standard uncertainties.

    Capacities of None are unknown. `oil_flow_w_k` is a flow that is stated, not recorded,
    times its heat capacity [W/K]; `u_flow_rel` is that of the oil flow, stated or recorded.
    `u_match_k` is what is left of the differences between oil probes after matching,
    `u_ambient_k` of air against oil, `sun_k` a usual excess of the air probe. `u_heater_rel`
    is that of the heater's power.
    """

    oil_j_k: float | None
    u_oil_rel: float
    metal_j_k: float | None
    u_metal_rel: float
    walther: Walther
    oil_flow_w_k: float | None = None
    u_flow_rel: float = 0.03
    u_match_k: float = 1.5
    u_ambient_k: float = 1.5
    sun_k: float = 0.4
    u_heater_rel: float = 0.05


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
    relative = math.sqrt(oil.u_volume_rel**2 + U_DENSITY_REL**2 + U_SPECIFIC_HEAT_REL**2)
    if oil.u_volume_rel >= UNKNOWN_REL:
        return None, relative
    mass = oil.volume_m3 * float(density_kg_m3(FILLED_AT_C, oil.density_15_kg_m3))
    return mass * float(specific_heat_j_kgk(reference_c, oil.density_15_kg_m3)), relative


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


def oil_flow_w_k(profile: Profile, reference_c: float) -> float | None:
    """Stated oil flow times the heat capacity of oil at a temperature [W/K], None if not stated."""
    flow_m3_s, density_15 = profile.cooler.oil_flow_m3_s, profile.oil.density_15_kg_m3
    if flow_m3_s is None:
        return None
    mass_kg_s = flow_m3_s * float(density_kg_m3(reference_c, density_15))
    return mass_kg_s * float(specific_heat_j_kgk(reference_c, density_15))


def _u_of(channel: Channel | None, temp_c: float) -> float:
    return 1.85 if channel is None else channel.u_c(temp_c)


def knowledge(
    profile: Profile | None, reference_c: float, *, matched: bool, u_oil_heat_rel: float = 0.032
) -> Knowledge:
    """What a profile states, as the fit takes it.

    Parameters
    ----------
    profile : Profile or None
        Machine; None where nothing is known but the temperatures.
    reference_c : float
        Oil temperature at which capacity is stated [°C].
    matched : bool
        Whether a soak before the start matched the probes.
    u_oil_heat_rel : float
        Relative standard uncertainty of the flowing oil's heat per volume [-].

    Returns
    -------
    Knowledge

    References
    ----------
    JCGM 100:2008, 4.3.7 and 5.1.2.
    """
    tank = None if profile is None else profile.role(Role.TANK)
    air = None if profile is None else profile.role(Role.AMBIENT)
    u_match = MATCHED_U_K
    u_air = MATCHED_AMBIENT_U_K
    if not matched:
        u_match = math.sqrt(2.0) * _u_of(tank, 60.0)
        u_air = math.sqrt(_u_of(tank, 60.0) ** 2 + _u_of(air, 20.0) ** 2 + U_SUN_K**2)
    if profile is None:
        oil, u_oil, metal, u_metal = None, 1.0, None, 1.0
        walther = walther_from_grade("VG 46")
        flow_w_k, u_flow = None, 0.05
    else:
        oil, u_oil = oil_capacity_j_k(profile, reference_c)
        metal, u_metal = metal_capacity_j_k(profile)
        walther = profile.oil.line
        flow_w_k, u_flow = oil_flow_w_k(profile, reference_c), profile.cooler.u_oil_flow_rel
    return Knowledge(
        oil_j_k=oil,
        u_oil_rel=u_oil,
        metal_j_k=metal if oil is not None else None,
        u_metal_rel=u_metal,
        walther=walther,
        oil_flow_w_k=flow_w_k,
        u_flow_rel=math.hypot(u_flow, u_oil_heat_rel),
        u_match_k=u_match,
        u_ambient_k=u_air,
        sun_k=0.0 if matched else SUN_K,
        u_heater_rel=(
            U_HEATER_REL
            if profile is None or profile.heater is None
            else profile.heater.u_power_rel
        ),
    )
