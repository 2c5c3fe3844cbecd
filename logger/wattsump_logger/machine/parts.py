"""The parts a machine profile is made of: plain frozen values in inside units.

Every `u_...` is a standard uncertainty, relative where its name ends in `_rel`.
`profile` reads them from a file.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from wattsump_logger.machine.oil_line import Walther, walther_from_two_points
from wattsump_logger.machine.sensor_class import SensorClass

__all__ = (
    "OIL_ROLES",
    "SEVERAL",
    "USUAL_UNIT",
    "Channel",
    "Cooler",
    "Drive",
    "Heater",
    "Limits",
    "Metal",
    "Oil",
    "Role",
)


class Role(StrEnum):
    """What a channel measures."""

    TANK = "tank"
    COOLER_IN = "cooler_in"
    COOLER_OUT = "cooler_out"
    AMBIENT = "ambient"
    CASE_DRAIN = "case_drain"
    PUMP_INLET = "pump_inlet"
    AIR_OFF = "air_off"
    METAL = "metal"
    HEATER_ZONE = "heater_zone"
    FAN = "fan"
    ENGINE = "engine"
    DRIVE = "drive"
    HEATER = "heater"
    FLOW = "flow"
    SUPPLY = "supply"
    OTHER = "other"


# Those in oil, to which the limits of the oil apply.
OIL_ROLES = frozenset(
    {Role.TANK, Role.COOLER_IN, Role.COOLER_OUT, Role.CASE_DRAIN, Role.PUMP_INLET}
)

# Those that several channels may have.
SEVERAL = frozenset({Role.METAL, Role.AIR_OFF, Role.HEATER_ZONE, Role.OTHER})


# The unit in a session column's name where the profile does not say; the rest are °C.
USUAL_UNIT: Mapping[Role, str] = {
    Role.FAN: "on",
    Role.ENGINE: "rpm",
    Role.DRIVE: "on",
    Role.HEATER: "w",
    Role.FLOW: "lpm",
    Role.SUPPLY: "v",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Oil:
    """The oil in the machine; `u_volume_rel` is relative.

    `specific_heat_40_j_kgk` is that of a data sheet at 40 °C, None where none was typed.
    """

    grade: str
    volume_m3: float
    u_volume_rel: float
    viscosity_40_mm2_s: float
    viscosity_100_mm2_s: float
    density_15_kg_m3: float
    specific_heat_40_j_kgk: float | None = None

    @property
    def line(self) -> Walther:
        """Its viscosity against temperature."""
        return walther_from_two_points(
            40.0, self.viscosity_40_mm2_s, 100.0, self.viscosity_100_mm2_s
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Metal:
    """One metal part that warms with the oil; `u_mass_rel` is relative."""

    name: str
    material: Literal["steel", "cast iron", "aluminium", "copper"]
    mass_kg: float
    u_mass_rel: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """The hydrostatic drive, as far as known.

    `pump_displacement_m3` is that of the pump whose flow passes the cooler, per revolution;
    `pump_ratio` its revolutions for one of the engine; `working_rpm` the engine's usual speed.
    """

    power_w: float | None = None
    pump_efficiency: float | None = None
    motor_efficiency: float | None = None
    pump_displacement_m3: float | None = None
    pump_kind: Literal["gear", "vane", "piston"] = "gear"
    pump_ratio: float = 1.0
    working_rpm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cooler:
    """The cooler and its label; `label_etd_k` is None where the label does not print it.

    `oil_flow_rpm` is the engine speed at which `oil_flow_m3_s` holds, None for the usual one;
    `fan_follows_oil` marks a fan whose speed rises with the oil's temperature.
    """

    label_heat_w: float | None = None
    label_etd_k: float | None = None
    fitted: bool = False
    air_flow_m3_s: float | None = None
    oil_flow_m3_s: float | None = None
    oil_flow_rpm: float | None = None
    u_oil_flow_rel: float = 0.05
    fan_with_engine: bool = False
    fan_follows_oil: bool = False
    fan_thermostat_c: float | None = None
    bypass_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Heater:
    """The tank heater.

    `metered` marks a power that is measured, not read off its plate; `is_bonded` a pad on the
    tank's wall, part of whose heat is lost to the air behind it.
    """

    power_w: float
    u_power_rel: float
    watt_density_w_m2: float | None = None
    metered: bool = False
    is_bonded: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Limits of oil temperature and viscosity. Defaults are common practice."""

    oil_warn_c: float = 66.0
    oil_max_c: float = 82.0
    viscosity_max_start_mm2_s: float = 1000.0
    viscosity_min_mm2_s: float = 13.0
    viscosity_best_low: float = 16.0
    viscosity_best_high: float = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One channel: its role, its sensor, and the correction of its readings.

    The correction is `offset_k` plus `slope` times the reading's distance from `slope_at_c`.
    """

    name: str
    role: Role
    sensor: SensorClass
    offset_k: float = 0.0
    u_offset_k: float | None = None
    limit_c: float | None = None
    note: str = ""
    unit: str = "c"
    slope: float = 0.0
    slope_at_c: float = 0.0
    mount: Literal["in oil", "insulated", "bare"] | None = None

    def correction_k(self, temp_c: float) -> float:
        """Return the correction of a reading [K]."""
        return self.offset_k + self.slope * (temp_c - self.slope_at_c)

    @property
    def column(self) -> str:
        """Name of this channel's column in a session."""
        return f"{self.name}_{self.unit}"

    def u_c(self, temp_c: float) -> float:
        """Standard uncertainty of a reading [K]: of the offset once matched, else the class."""
        return self.sensor.u_c(temp_c) if self.u_offset_k is None else self.u_offset_k
