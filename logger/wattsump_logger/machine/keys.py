"""The machine profile's keys: the keys of each section and how each is read.

One table per section. `read` turns a section's typed values into attributes, `write`
turns attributes back into text that reads to the same numbers. A typed uncertainty is a
half-width at about 95 %, so half of it is kept as standard uncertainty.
"""

import difflib
from collections.abc import Mapping
from dataclasses import dataclass

from wattsump_logger.errors import ProfileError, UnitError
from wattsump_logger.units.quantities import inside_unit, parse

__all__ = (
    "CHANNEL",
    "COOLER",
    "DRIVE",
    "HEATER",
    "LIMITS",
    "METAL",
    "MOUNTS",
    "NOT_PRINTED",
    "OIL",
    "SECTIONS",
    "Key",
    "read",
    "refuse_unknown",
    "table",
    "write",
)

NOT_PRINTED = "not printed"
MOUNTS = ("in oil", "insulated", "bare")

# Half-width at 95 % over standard uncertainty, JCGM 100:2008, G.6.6 (k = 2).
_HALF_WIDTH_OVER_U = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of a section.

    `form` is a kind of quantity or one of text, flag, number, choice; `default` is typed
    as the owner would type it; `low` and `high` catch slipped decimal points.
    """

    name: str
    attribute: str
    form: str
    required: bool = False
    default: str | float | bool | None = None
    low: float = float("-inf")
    high: float = float("inf")
    choices: tuple[str, ...] = ()
    halved: bool = False


def _quantity(
    name: str,
    attribute: str,
    kind: str,
    low: float,
    high: float,
    *,
    default: str | float | None = None,
    required: bool = False,
) -> Key:
    return Key(
        name=name,
        attribute=attribute,
        form=kind,
        low=low,
        high=high,
        default=default,
        required=required,
    )


def _relative(name: str, attribute: str, default: str) -> Key:
    return Key(
        name=name,
        attribute=attribute,
        form="fraction",
        low=0.0,
        high=1.0,
        default=default,
        halved=True,
    )


def _text(name: str, *, required: bool = False, default: str | None = None) -> Key:
    return Key(name=name, attribute=name, form="text", required=required, default=default)


OIL = (
    _text("grade", required=True),
    _quantity("volume", "volume_m3", "volume", 1e-4, 10.0, required=True),
    # Common practice, no source: a tank's dipstick and hoses leave about a tenth unknown.
    _relative("volume_uncertainty", "u_volume_rel", "10 %"),
    Key(name="viscosity_index", attribute="viscosity_index", form="number", low=0, high=400),
    _quantity("viscosity_40", "viscosity_40_mm2_s", "viscosity", 1.0, 1e4),
    _quantity("viscosity_100", "viscosity_100_mm2_s", "viscosity", 0.5, 1e3),
    # Common practice, no source: mineral hydraulic oil.
    _quantity("density_15", "density_15_kg_m3", "density", 600, 1300, default="870 kg/m3"),
    _quantity("specific_heat_40", "specific_heat_40_j_kgk", "specific_heat", 1000.0, 5000.0),
)
METAL = (
    _text("name", required=True),
    Key(
        name="material",
        attribute="material",
        form="choice",
        required=True,
        choices=("steel", "cast iron", "aluminium", "copper"),
    ),
    _quantity("mass", "mass_kg", "mass", 1e-3, 1e5, required=True),
    # Common practice, no source: how much of a part warms with the oil is judged by eye.
    _relative("mass_uncertainty", "u_mass_rel", "20 %"),
)
DRIVE = (
    _quantity("power", "power_w", "power", 1.0, 1e7),
    _quantity("pump_efficiency", "pump_efficiency", "fraction", 0.05, 1.0),
    _quantity("motor_efficiency", "motor_efficiency", "fraction", 0.05, 1.0),
    _quantity("pump_displacement", "pump_displacement_m3", "volume", 1e-7, 1e-2),
    Key(
        name="pump_kind",
        attribute="pump_kind",
        form="choice",
        choices=("gear", "vane", "piston"),
        default="gear",
    ),
    # Pump revolutions for one of the engine.
    Key(name="pump_ratio", attribute="pump_ratio", form="number", default=1.0, low=0.05, high=20),
    Key(name="working_rpm", attribute="working_rpm", form="number", low=300, high=10000),
)
COOLER = (
    _quantity("label_heat", "label_heat_w", "power", 1.0, 1e7),
    _quantity("label_etd", "label_etd_k", "temperature_difference", 1.0, 200.0),
    Key(name="fitted", attribute="fitted", form="flag", default=True),
    _quantity("air_flow", "air_flow_m3_s", "flow", 1e-4, 100.0),
    _quantity("oil_flow", "oil_flow_m3_s", "flow", 1e-7, 0.1),
    # The engine speed at which `oil_flow` was measured.
    Key(name="oil_flow_rpm", attribute="oil_flow_rpm", form="number", low=300, high=10000),
    # Common practice, no source: a flow taken from pump size and engine speed.
    _relative("oil_flow_uncertainty", "u_oil_flow_rel", "10 %"),
    Key(name="fan_with_engine", attribute="fan_with_engine", form="flag", default=False),
    Key(name="fan_follows_oil", attribute="fan_follows_oil", form="flag", default=False),
    _quantity("fan_thermostat", "fan_thermostat_c", "temperature", -40, 150),
    _quantity("bypass", "bypass_c", "temperature", -40, 150),
)
HEATER = (
    _quantity("power", "power_w", "power", 1.0, 1e6, required=True),
    # Common practice, no source: element tolerance and mains voltage together.
    _relative("power_uncertainty", "u_power_rel", "10 %"),
    _quantity("watt_density", "watt_density_w_m2", "heat_flux", 10.0, 1e6),
    Key(name="metered", attribute="metered", form="flag", default=False),
    Key(name="bonded", attribute="is_bonded", form="flag", default=False),
)
# Common practice: 66 °C advised, 82 °C where seals and hoses start to suffer, pump makers'
# viscosity window; no single source.
LIMITS = (
    _quantity("oil_warn", "oil_warn_c", "temperature", -40, 200, default="66 degC"),
    _quantity("oil_max", "oil_max_c", "temperature", -40, 200, default="82 degC"),
    _quantity(
        "viscosity_max_start",
        "viscosity_max_start_mm2_s",
        "viscosity",
        1,
        1e5,
        default="1000 mm2/s",
    ),
    _quantity("viscosity_min", "viscosity_min_mm2_s", "viscosity", 1, 1e3, default="13 mm2/s"),
    _quantity("viscosity_best_low", "viscosity_best_low", "viscosity", 1, 1e4, default="16 mm2/s"),
    _quantity(
        "viscosity_best_high", "viscosity_best_high", "viscosity", 1, 1e4, default="60 mm2/s"
    ),
)
CHANNEL = (
    _text("role"),
    _text("sensor", default="not stated"),
    Key(name="mount", attribute="mount", form="choice", choices=MOUNTS),
    _text("unit"),
    _quantity("offset", "offset_k", "temperature_difference", -50, 50, default="0 K"),
    Key(
        name="offset_uncertainty",
        attribute="u_offset_k",
        form="temperature_difference",
        low=0.0,
        high=50.0,
        halved=True,
    ),
    # Kelvins of correction per kelvin: a tenth would be another type of probe.
    Key(name="slope", attribute="slope", form="number", default=0.0, low=-0.1, high=0.1),
    _quantity("slope_at", "slope_at_c", "temperature", -80, 1500, default="0 degC"),
    _quantity("limit", "limit_c", "temperature", -80, 1500),
    _text("note", default=""),
)
SECTIONS = ("name", "oil", "metal", "drive", "cooler", "heater", "limits", "channels")


def table(value: object, where: str) -> Mapping[str, object]:
    """The value itself if it is a table of keys, a ProfileError otherwise."""
    if isinstance(value, Mapping):
        return value
    raise ProfileError(
        expected="a section of keys",
        found=repr(value),
        where=where,
        do="write it as a [section] with one key a line",
    )


def refuse_unknown(raw: Mapping[str, object], names: tuple[str, ...], where: str) -> None:
    """Raise on an unknown key, naming the nearest valid one."""
    for key in raw:
        if key in names:
            continue
        near = difflib.get_close_matches(str(key), names, n=1, cutoff=0.5)
        raise ProfileError(
            expected="one of " + ", ".join(names),
            found=f"the unknown key {key!r}",
            where=where,
            do=f"did you mean {near[0]!r}?" if near else "remove it",
        )


def read(raw: Mapping[str, object], keys: tuple[Key, ...], where: str) -> dict[str, object]:
    """Attributes of a section from its typed values."""
    refuse_unknown(raw, tuple(key.name for key in keys), where)
    return {key.attribute: _value(raw, key, f"{where}.{key.name}") for key in keys}


def write(attributes: Mapping[str, object], keys: tuple[Key, ...]) -> dict[str, object]:
    """Typed values that read back to these attributes; None is left out."""
    return {
        key.name: _typed(attributes[key.attribute], key)
        for key in keys
        if attributes.get(key.attribute) is not None
    }


def _value(raw: Mapping[str, object], key: Key, where: str) -> object:
    value = raw.get(key.name, key.default)
    if value is None:
        if key.required:
            raise ProfileError(
                expected=f"the key {key.name!r}", found="none", where=where, do="add it"
            )
        return None
    if key.name == "label_etd" and value == NOT_PRINTED:
        return None
    if key.form in {"text", "flag", "choice"}:
        return _word(value, key, where)
    number = _number(value, key, where)
    if not key.low <= number <= key.high:
        raise _wrong(value, f"{key.low:g} to {key.high:g} {inside_unit(key.form)}", where)
    return number / _HALF_WIDTH_OVER_U if key.halved else number


def _word(value: object, key: Key, where: str) -> object:
    expected: type = bool if key.form == "flag" else str
    if not isinstance(value, expected):
        raise _wrong(value, "true or false" if key.form == "flag" else "a text in quotes", where)
    if key.choices and value not in key.choices:
        raise _wrong(value, "one of " + ", ".join(key.choices), where)
    if key.required and value == "":
        raise _wrong(value, "a text that is not empty", where)
    return value


def _number(value: object, key: Key, where: str) -> float:
    if key.form == "number":
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise _wrong(value, "a number without quotes", where)
        return float(value)
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise _wrong(value, "a text with number and unit", where)
    try:
        return parse(value, key.form)
    except UnitError as error:
        found = error.found if error.found == repr(value) else f"{value!r}: {error.found}"
        raise ProfileError(
            expected=error.expected, found=found, where=where, do=error.do
        ) from error


def _wrong(value: object, expected: str, where: str) -> ProfileError:
    return ProfileError(
        expected=expected.strip(), found=repr(value), where=where, do="correct the value"
    )


def _typed(value: object, key: Key) -> object:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    number = float(value) * (_HALF_WIDTH_OVER_U if key.halved else 1.0)
    unit = inside_unit(key.form)
    return f"{number!r} {unit}" if unit else number
