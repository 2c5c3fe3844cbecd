"""The machine profile: oil, metal, drive, cooler, heater, limits and channels.

Every quantity is typed with its unit and kept as typed for the session's sidecar. Inside, units
are in the names and every uncertainty is a standard uncertainty. A wrong profile is refused in one
line with key, value and what was expected. An unknown key is refused, because a misspelt one would
have no effect.
"""

import difflib
import re
import tomllib
from collections.abc import Callable, Collection, Mapping
from copy import deepcopy
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from wattsump_logger.errors import ProfileError, RangeError, UsageError, reason_of
from wattsump_logger.inputs import read_small
from wattsump_logger.machine import keys
from wattsump_logger.machine.oil_label import (
    USUAL_VISCOSITY_INDEX,
    holds_water,
    read_label,
    viscosity_100,
)
from wattsump_logger.machine.parts import (
    OIL_ROLES,
    SEVERAL,
    USUAL_UNIT,
    Channel,
    Cooler,
    Drive,
    Heater,
    Limits,
    Metal,
    Oil,
    Role,
)
from wattsump_logger.machine.sensor_class import NO_SENSOR, SensorClass
from wattsump_logger.printable import printable
from wattsump_logger.units.quantities import COLUMN_UNITS

__all__ = (
    "OIL_ROLES",
    "SEVERAL",
    "Channel",
    "Cooler",
    "Drive",
    "Heater",
    "Limits",
    "Metal",
    "Oil",
    "Profile",
    "Role",
    "SensorClass",
    "column_of",
    "load_profile",
    "profile_from_dict",
    "raw_profile",
)

_LONGEST_NAME = 80  # what screens, plots and pages have room for
_CHANNEL_NAME = re.compile(r"[a-z][a-z0-9_]{0,15}")


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Profile:
    """One machine. `typed` is what the owner wrote, for `to_dict`."""

    name: str
    oil: Oil
    metal: tuple[Metal, ...] = ()
    drive: Drive = field(default_factory=Drive)
    cooler: Cooler = field(default_factory=Cooler)
    heater: Heater | None = None
    limits: Limits = field(default_factory=Limits)
    channels: Mapping[str, Channel] = field(default_factory=dict)
    typed: Mapping[str, object] = field(default_factory=dict, compare=False, repr=False)

    def __repr__(self) -> str:
        oil = f"{self.oil.grade}, {self.oil.volume_m3 * 1000:.3g} L"
        return f"<Profile {self.name!r}: {oil}, {len(self.channels)} channels>"

    def role(self, role: Role | str) -> Channel | None:
        """The first channel of a role; if none is declared, one named like the role.

        None if that name belongs to a channel of another role, and for "other". The session may
        lack the channel's column.
        """
        wanted = Role(role)
        for channel in self.channels.values():
            if channel.role is wanted:
                return channel
        if wanted is Role.OTHER or wanted.value in self.channels:
            return None
        return _channel({}, wanted.value, "profile")

    def column(self, role: Role | str) -> str | None:
        """The session column of a role's channel, such as "tank_c" or "fan_on"."""
        channel = self.role(role)
        return None if channel is None else channel.column

    def to_dict(self) -> dict[str, object]:
        """Plain data that `profile_from_dict` reads to an equal profile.

        A section is kept as typed if it is unchanged, else written in inside units.
        """
        typed = self.typed
        result: dict[str, object] = {"name": self.name}
        result["oil"] = _kept(typed.get("oil"), _oil, self.oil) or _written(self.oil, keys.OIL)
        if self.metal:
            result["metal"] = _kept(typed.get("metal"), _metals, self.metal) or [
                keys.write(asdict(part), keys.METAL) for part in self.metal
            ]
        for name, reader, table in _PLAIN_SECTIONS:
            value = getattr(self, name)
            if value is None or (name not in typed and value == reader(None, name)):
                continue
            result[name] = _kept(typed.get(name), reader, value) or _written(value, table)
        if self.channels:
            result["channels"] = _kept(typed.get("channels"), _channels, self.channels) or {
                name: _channel_written(channel) for name, channel in self.channels.items()
            }
        return deepcopy(result)


def column_of(
    role: Role | str, columns: Collection[str], profile: Profile | None = None
) -> str | None:
    """The column among a session's `columns` that plays a role, None where none does.

    The profile's channel of that role goes first; then a column with the role's name ("fan_on"),
    unless the profile gives that name to a channel of another role. A temperature of the fan
    does not show whether it runs.
    """
    role = Role(role)
    units = [unit for unit in COLUMN_UNITS if unit not in ("c", "k") or role not in USUAL_UNIT]
    names = [f"{role.value}_{unit}" for unit in units]
    if profile is not None:
        declared = profile.column(role)
        if declared in columns:
            return declared
        if role.value in profile.channels and profile.channels[role.value].role is not role:
            return None
    return next((name for name in names if name in columns), None)


def load_profile(path: str | Path) -> Profile:
    """Read a machine profile from a TOML file.

    Raises
    ------
    ProfileError
        The file is missing, is not TOML, or has a wrong or unknown key.
    """
    return profile_from_dict(raw_profile(path), str(path))


def raw_profile(path: str | Path) -> dict[str, object]:
    """Return the plain data of a profile's TOML file, none of its keys read.

    Raises
    ------
    ProfileError
        The file is missing, or is not TOML.
    """
    where = str(path)
    try:
        return tomllib.loads(read_small(Path(path)))
    except OSError as error:
        reason = reason_of(error)
        do = "check the path; wattsump machine new writes a profile"
        raise _unreadable(where, reason, do) from error
    except UnicodeDecodeError as error:
        raise _unreadable(where, "bytes that are not UTF-8", "save it as UTF-8 text") from error
    except RecursionError as error:
        do = "write it as in docs/machine-profile.md"
        raise _unreadable(where, "lists too deep", do) from error
    except tomllib.TOMLDecodeError as error:
        raise _unreadable(where, str(error), "correct that line") from error


def profile_from_dict(raw: Mapping[str, object], where: str = "profile") -> Profile:
    """Read a machine profile from plain data, as a TOML file or a sidecar gives it.

    Raises
    ------
    ProfileError
        A wrong, missing or unknown key; the message names it.
    """
    keys.refuse_unknown(keys.table(raw, where), keys.SECTIONS, where)
    name = raw.get("name")
    if not isinstance(name, str) or not name.strip():
        raise _wrong(f"{where}, name", "the machine's name in quotes", name, "add it")
    if len(name) > _LONGEST_NAME:
        expected = f"a name of at most {_LONGEST_NAME} characters"
        raise _wrong(f"{where}, name", expected, f"{name[:40]}... of {len(name)}", "shorten it")
    if "oil" not in raw:
        raise _wrong(f"{where}, oil", "an [oil] section", None, "add it")
    return Profile(
        name=printable(name),
        oil=_oil(raw["oil"], f"{where}, oil"),
        metal=_metals(raw.get("metal"), f"{where}, metal"),
        drive=_drive(raw.get("drive"), f"{where}, drive"),
        cooler=_cooler(raw.get("cooler"), f"{where}, cooler"),
        heater=_heater(raw.get("heater"), f"{where}, heater"),
        limits=_limits(raw.get("limits"), f"{where}, limits"),
        channels=_channels(raw.get("channels"), f"{where}, channels"),
        typed=deepcopy(dict(raw)),
    )


def _unreadable(where: str, found: str, do: str) -> ProfileError:
    return ProfileError(expected="a machine profile in TOML", found=found, where=where, do=do)


def _wrong(where: str, expected: str, found: object, do: str = "correct it") -> ProfileError:
    return ProfileError(
        expected=expected, found="none" if found is None else repr(found), where=where, do=do
    )


# The tables of `keys` determine attributes and types, so the dictionaries below are untyped.
def _section(raw: object, table: tuple[keys.Key, ...], where: str) -> dict[str, Any]:
    return keys.read(keys.table({} if raw is None else raw, where), table, where)


def _oil(raw: object, where: str) -> Oil:
    read = _section(raw, keys.OIL, where)
    index = read.pop("viscosity_index")
    if holds_water(read["grade"]):
        raise _wrong(
            f"{where}.grade",
            "an oil, of petroleum or synthetic",
            read["grade"],
            "none of the formulas here holds for a fluid with water in it, which carries half as "
            "much heat again per litre; `wattsump rating` weighs the cooler's label without it",
        )
    try:
        label = read_label(read["grade"])
    except UsageError as error:
        label = None
        if read["viscosity_40_mm2_s"] is None:
            raise _wrong(
                f"{where}.grade",
                f"{error.expected}, or another name with viscosity_40 and viscosity_100",
                read["grade"],
                "add both viscosities from the oil's data sheet",
            ) from error
    if label is not None and read["viscosity_40_mm2_s"] is None:
        read["viscosity_40_mm2_s"] = label.viscosity_40_mm2_s
    if read["viscosity_100_mm2_s"] is None:
        implied = USUAL_VISCOSITY_INDEX if label is None else label.index or USUAL_VISCOSITY_INDEX
        read["viscosity_100_mm2_s"] = _from_index(
            read["viscosity_40_mm2_s"], implied if index is None else index, where
        )
    elif index is not None:
        raise _wrong(
            f"{where}.viscosity_index",
            "either viscosity_index or viscosity_100",
            index,
            "remove one of the two",
        )
    if read["viscosity_100_mm2_s"] >= read["viscosity_40_mm2_s"]:
        raise _wrong(
            f"{where}.viscosity_100",
            f"less than the {read['viscosity_40_mm2_s']:g} mm2/s at 40 degC",
            read["viscosity_100_mm2_s"],
        )
    return Oil(**read)


def _from_index(viscosity_40: float, index: float, where: str) -> float:
    try:
        return viscosity_100(viscosity_40, index)
    except (RangeError, UsageError) as error:
        raise ProfileError(
            expected=error.expected,
            found=error.found,
            where=f"{where}.viscosity_index",
            do=error.do,
        ) from error


def _metals(raw: object, where: str) -> tuple[Metal, ...]:
    if raw is None:
        return ()
    if not isinstance(raw, list | tuple):
        raise _wrong(where, "a list of parts", raw, "write each part as [[metal]]")
    return tuple(
        Metal(**_section(part, keys.METAL, f"{where}[{number}]"))
        for number, part in enumerate(raw, 1)
    )


def _drive(raw: object, where: str) -> Drive:
    return Drive(**_section(raw, keys.DRIVE, where))


def _cooler(raw: object, where: str) -> Cooler:
    if raw is None:
        return Cooler()
    return Cooler(**_section(raw, keys.COOLER, where))


def _heater(raw: object, where: str) -> Heater | None:
    return None if raw is None else Heater(**_section(raw, keys.HEATER, where))


def _limits(raw: object, where: str) -> Limits:
    limits = Limits(**_section(raw, keys.LIMITS, where))
    if limits.oil_warn_c >= limits.oil_max_c:
        typed = isinstance(raw, Mapping) and "oil_warn" in raw
        raise ProfileError(
            expected=f"below oil_max, {limits.oil_max_c:g} degC",
            found=f"{limits.oil_warn_c:g} degC" + ("" if typed else ", the usual one"),
            where=f"{where}.oil_warn",
            do="correct it" if typed else "add oil_warn",
        )
    window = (
        limits.viscosity_min_mm2_s,
        limits.viscosity_best_low,
        limits.viscosity_best_high,
        limits.viscosity_max_start_mm2_s,
    )
    if list(window) != sorted(window):
        raise _wrong(
            where,
            "viscosity_min, viscosity_best_low, viscosity_best_high, viscosity_max_start rising",
            window,
        )
    return limits


def _channels(raw: object, where: str) -> dict[str, Channel]:
    if raw is None:
        return {}
    channels = {
        name: _channel(keys.table(section, f"{where}.{name}"), name, f"{where}.{name}")
        for name, section in keys.table(raw, where).items()
    }
    seen: dict[Role, str] = {}
    for name, channel in channels.items():
        if channel.role in seen and channel.role not in SEVERAL:
            raise _wrong(
                f"{where}.{name}.role",
                f"one channel with the role {channel.role.value!r}",
                f"{seen[channel.role]} and {name}",
            )
        seen[channel.role] = name
    return channels


def _channel(raw: Mapping[str, object], name: str, where: str) -> Channel:
    if _CHANNEL_NAME.fullmatch(name) is None:
        raise _wrong(
            where, "a channel name of a-z, 0-9 and _, at most 16 long, a letter first", name
        )
    read = _section(raw, keys.CHANNEL, where)
    role = _role(read["role"], name, where)
    unit = USUAL_UNIT.get(role, "c") if read["unit"] is None else read["unit"]
    if unit not in COLUMN_UNITS:
        raise _wrong(f"{where}.unit", "one of " + ", ".join(COLUMN_UNITS), unit)
    if unit != "c" and read["mount"] is not None:
        raise _wrong(f"{where}.mount", f"no mount on a channel in {unit!r}", read["mount"])
    read |= {"role": role, "unit": unit, "sensor": _sensor(read["sensor"], unit, where)}
    return Channel(name=name, **read)


def _role(typed: str | None, name: str, where: str) -> Role:
    try:
        return Role(name if typed is None else typed)
    except ValueError:
        roles = [role.value for role in Role]
        near = difflib.get_close_matches(typed or name, roles, n=1)
        raise _wrong(
            f"{where}.role",
            "one of " + ", ".join(roles),
            typed,
            "say what the channel tells" + "".join(f": did you mean {role!r}?" for role in near),
        ) from None


def _sensor(text: str, unit: str, where: str) -> SensorClass:
    if unit != "c":
        if text not in {"not stated", "none"}:
            raise _wrong(
                f"{where}.sensor", f"no sensor class on a channel in {unit!r}", text, "remove it"
            )
        return NO_SENSOR
    try:
        return SensorClass(text=text)
    except UsageError as error:
        raise ProfileError(
            expected=error.expected, found=error.found, where=f"{where}.sensor", do=error.do
        ) from error


def _kept(typed: object, reader: Callable[[object, str], object], value: object) -> Any:
    if typed is None:
        return None
    return typed if reader(typed, "profile") == value else None


def _written(value: Any, table: tuple[keys.Key, ...]) -> dict[str, object]:
    return keys.write(asdict(value), table)


def _channel_written(channel: Channel) -> dict[str, object]:
    values = asdict(channel) | {"role": channel.role.value, "sensor": channel.sensor.text}
    return keys.write(values, keys.CHANNEL)


_PLAIN_SECTIONS: tuple[tuple[str, Callable[[object, str], object], tuple[keys.Key, ...]], ...] = (
    ("drive", _drive, keys.DRIVE),
    ("cooler", _cooler, keys.COOLER),
    ("heater", _heater, keys.HEATER),
    ("limits", _limits, keys.LIMITS),
)
