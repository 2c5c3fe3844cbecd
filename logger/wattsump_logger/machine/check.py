"""Finds all errors of a machine profile, while reading it stops at the first."""

from collections.abc import Callable, Iterator, Mapping
from functools import partial

from wattsump_logger.errors import ProfileError
from wattsump_logger.machine import keys
from wattsump_logger.machine.profile import profile_from_dict

__all__ = ("problems",)

_TABLES: Mapping[str, tuple[keys.Key, ...]] = {
    "oil": keys.OIL,
    "drive": keys.DRIVE,
    "cooler": keys.COOLER,
    "heater": keys.HEATER,
    "limits": keys.LIMITS,
}
_LEAST_OIL = {"grade": "VG 46", "volume": "18 L"}


def problems(raw: Mapping[str, object], where: str) -> tuple[ProfileError, ...]:
    """Return all errors of a profile's plain data, () if it can be used."""
    found = [*_of_single_keys(raw, where)]
    if not found:  # keys are compared only if each by itself is right
        found = [*_caught(lambda: profile_from_dict(raw, where))]
    return tuple(found)


def _of_single_keys(raw: Mapping[str, object], where: str) -> Iterator[ProfileError]:
    yield from _unknown(raw, keys.SECTIONS, where)
    if not isinstance(raw.get("name"), str):
        yield from _caught(lambda: profile_from_dict({"oil": _LEAST_OIL}, where))
    if "oil" not in raw:
        yield from _caught(lambda: profile_from_dict({"name": "machine"}, where))
    for name, table in _TABLES.items():
        if name in raw:
            yield from _of_section(raw[name], table, f"{where}, {name}")
    metal = raw.get("metal")
    for number, part in enumerate(metal if isinstance(metal, list) else (), 1):
        yield from _of_section(part, keys.METAL, f"{where}, metal[{number}]")
    channels = raw.get("channels")
    for name, channel in (channels if isinstance(channels, Mapping) else {}).items():
        place = f"{where}, channels.{name}"
        wrong = [*_of_section(channel, keys.CHANNEL, place)]
        # Role, unit and sensor depend on each other: the whole channel by itself.
        alone = {"name": "machine", "oil": _LEAST_OIL, "channels": {name: channel}}
        yield from wrong or _caught(partial(profile_from_dict, alone, where))


def _of_section(section: object, table: tuple[keys.Key, ...], where: str) -> Iterator[ProfileError]:
    if not isinstance(section, Mapping):
        yield from _caught(lambda: keys.table(section, where))
        return
    yield from _unknown(section, tuple(key.name for key in table), where)
    for key in table:
        typed = {key.name: section[key.name]} if key.name in section else {}
        yield from _caught(partial(keys.read, typed, (key,), where))


def _unknown(
    section: Mapping[str, object], names: tuple[str, ...], where: str
) -> Iterator[ProfileError]:
    for key in section:
        yield from _caught(partial(keys.refuse_unknown, {key: None}, names, where))


def _caught(read: Callable[[], object]) -> Iterator[ProfileError]:
    try:
        read()
    except ProfileError as error:
        yield error
