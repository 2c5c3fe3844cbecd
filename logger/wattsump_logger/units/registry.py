"""Registries of units: the few that labels and profiles use, and all of pint's.

pint needs most of a second to read its thousand definitions, for which every command with a
quantity would wait. The units in `FEW` are defined here (`tests/logger/units/test_registry.py`
compares each with pint's); any other unit loads all of pint's.
"""

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint

__all__ = ("FEW", "registry")

# What pint does not have, or by another name.
_OWN = (
    "Btu_it = 1055.05585262 joule",
    "lpm = liter / minute",
    "gpm = gallon / minute",
    "cfm = foot ** 3 / minute",
    "Ah = ampere * hour",
)

# SI brochure, 9th ed., and NIST SP 811, appendix B.
_SOME = (
    "mega- = 1e6 = M-",
    "kilo- = 1e3 = k-",
    "centi- = 1e-2 = c-",
    "milli- = 1e-3 = m-",
    "meter = [length] = m",
    "second = [time] = s",
    "gram = [mass] = g",
    "ampere = [current] = A",
    "kelvin = [temperature]; offset: 0 = K",
    "degree_Celsius = kelvin; offset: 273.15 = _ = degC",
    "degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = _ = degF",
    "minute = 60 * second = min",
    "hour = 60 * minute = h",
    "liter = 1e-3 * meter ** 3 = l = L = litre",
    "newton = kilogram * meter / second ** 2 = N",
    "joule = newton * meter = J",
    "watt = joule / second = W",
    "watt_hour = watt * hour = Wh",
    "volt = watt / ampere = V",
    "pascal = newton / meter ** 2 = Pa",
    "bar = 1e5 * pascal",
    "inch = 0.0254 * meter = in",
    "foot = 12 * inch = ft",
    "gallon = 231 * inch ** 3 = gal",
    "pound = 0.45359237 * kilogram = lb",
    "force_pound = 9.80665 * pound * meter / second ** 2 = lbf",
    "pound_force_per_square_inch = force_pound / inch ** 2 = psi",
    "horsepower = 550 * foot * force_pound / second = hp",
)

_LENGTHS = {"m", "mm", "cm", "km", "in", "inch", "ft", "cm**3"}
_VOLUMES = {"L", "l", "liter", "litre", "gal", "lpm", "gpm", "cfm"}
_HEATS = {"J", "kJ", "MJ", "W", "mW", "kW", "MW", "watt", "Wh", "kWh", "hp", "Btu_it"}
_LABELS = {"Btu_it/h", "kBtu_it/h"}
_WARMTHS = {"K", "degC", "degF", "delta_degC", "delta_degF"}
_OTHERS = {"s", "min", "h", "hour", "g", "kg", "lb", "A", "V", "mV", "Ah", "N"}
_PRESSURES = {"Pa", "kPa", "MPa", "bar", "mbar", "psi"}
FEW = frozenset(_LENGTHS | _VOLUMES | _HEATS | _LABELS | _WARMTHS | _OTHERS | _PRESSURES)


@lru_cache(maxsize=2)
def registry(few: bool) -> "pint.UnitRegistry[Decimal]":
    """Return the units of `FEW` alone, or all of them."""
    import pint

    # Decimal factors: 18 L is then 0.018 m3 to the last bit, and a profile's typed text
    # and its value agree.
    units: pint.UnitRegistry[Decimal] = (
        pint.UnitRegistry(None, non_int_type=Decimal)
        if few
        else pint.UnitRegistry(non_int_type=Decimal)
    )
    for definition in (*_SOME, *_OWN) if few else _OWN:
        units.define(definition)
    return units
