"""Role and unit of each column of a foreign table, from the words in its name.

A name that fits several roles is asked about, never guessed. A column without a role is kept
under its own name if its unit is clear, else left out; the preview shows both.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from wattsump_logger.arrays import FloatArray
from wattsump_logger.errors import UsageError
from wattsump_logger.machine.parts import USUAL_UNIT, Role
from wattsump_logger.units.quantities import parse

__all__ = (
    "ABSENT_COSTS",
    "DEGREES",
    "DEGREE_OF",
    "HOTTEST_AIR_C",
    "MEANS",
    "Column",
    "Guess",
    "column_unit",
    "differ",
    "guess",
    "inside",
    "is_column_unit",
    "is_unit",
    "needs_unit",
    "own_name",
    "plausible_units",
    "typed_column",
)

# What a missing role costs, the worst first. Common practice, no source.
ABSENT_COSTS: Mapping[Role, str] = {
    Role.AMBIENT: "no verdict: heat per kelvin needs the air going in",
    Role.TANK: "no heat capacity route: only oil flow and both cooler probes can give watts",
    Role.COOLER_IN: "the share of the label gets a wider range, counted from the tank",
    Role.COOLER_OUT: "no oil side: nothing to compare the watts with",
    Role.ENGINE: "no verdict: nothing shows when oil was pumped. Type when it ran, as in --was "
    "'engine on 09:10 to 10:20'",
    Role.FAN: "fan steps cannot be used, and a fan thermostat looks like a poor cooler. Type "
    "when it ran, as in --was 'fan on 09:10 to 09:40'",
    Role.DRIVE: "unless the engine's speed is there, no watts: idling passes for work. Type when "
    "it turned, as in --was 'drive on 09:10 to 10:05'",
    Role.FLOW: "the oil side rests on the flow in the profile, if there is one",
}

# What to type for a column, in words.
MEANS: Mapping[str, str] = {
    Role.TANK: "oil in the tank",
    Role.COOLER_IN: "oil going into the cooler",
    Role.COOLER_OUT: "oil coming out of the cooler",
    Role.AMBIENT: "air going into the cooler, in the shade",
    Role.CASE_DRAIN: "oil in the drain of the pump's or a motor's case",
    Role.PUMP_INLET: "oil on its way from the tank to the pump",
    Role.AIR_OFF: "air coming out of the cooler",
    Role.METAL: "a part's surface: tank wall, pump, frame",
    Role.HEATER_ZONE: "oil right at the tank heater",
    Role.FAN: "the cooler's fan: on or off, or its speed",
    Role.ENGINE: "engine running or not, or its speed",
    Role.DRIVE: "drive turning or standing",
    Role.HEATER: "tank heater on or off, or its power",
    Role.FLOW: "oil flow through the cooler",
    Role.SUPPLY: "supply voltage",
    Role.OTHER: "something else: kept, not used",
    "nothing": "leave the column out",
}

# How degrees are spelled in tables.
DEGREES: Mapping[str, tuple[str, ...]] = {
    "c": ("c", "°c", "ºc", "degc", "celsius", "deg c"),
    "f": ("f", "°f", "ºf", "degf", "fahrenheit", "deg f"),
}
DEGREE_OF = {spelled: unit for unit, words in DEGREES.items() for spelled in words}
# Spellings in tables -> the unit in a session's column, as people type it, and its kind.
_UNITS: Mapping[str, tuple[str, str, str]] = {
    **dict.fromkeys(DEGREES["c"], ("c", "degC", "temperature")),
    **dict.fromkeys(DEGREES["f"], ("c", "degF", "temperature")),
    **dict.fromkeys(("k", "kelvin"), ("c", "K", "temperature")),
    **dict.fromkeys(("lpm", "l/min", "l min-1", "ltr/min", "litres/min"), ("lpm", "L/min", "flow")),
    **dict.fromkeys(("gpm", "us gpm", "usgpm", "gal/min"), ("lpm", "gpm", "flow")),
    "l/s": ("lpm", "L/s", "flow"),
    "l/h": ("lpm", "L/h", "flow"),
    "m3/h": ("lpm", "m3/h", "flow"),
    **dict.fromkeys(("rpm", "r/min", "1/min", "min-1", "rev/min"), ("rpm", "", "")),
    **dict.fromkeys(("on", "on/off", "0/1", "state", "bool"), ("on", "", "")),
    **dict.fromkeys(("w", "watt", "watts"), ("w", "W", "power")),
    "kw": ("w", "kW", "power"),
    **dict.fromkeys(("v", "volt", "volts"), ("v", "V", "voltage")),
    "mv": ("v", "mV", "voltage"),
    **dict.fromkeys(("a", "amp", "amps"), ("a", "", "")),
    "bar": ("bar", "bar", "pressure"),
    "psi": ("bar", "psi", "pressure"),
    "kpa": ("bar", "kPa", "pressure"),
    **dict.fromkeys(("%", "pct", "percent"), ("pct", "", "")),
    **dict.fromkeys(("km/h", "kmh"), ("kmh", "km/h", "speed")),
    "mph": ("kmh", "mph", "speed"),
}
# Units of times: they stand in a row of units too.
_TIME_UNITS = frozenset({"s", "sec", "ms", "min", "h", "hh:mm:ss", "hms", "utc", "local", "-"})
_IMPERIAL = frozenset({"imp", "imperial", "uk"})  # gallons are of the US here
_FORMAT = re.compile(r"[ymdhs:/. -]{2,}")  # of a date or time: yyyy-mm-dd hh:mm
# In brackets and not known, they are units all the same: 0.1 degC, imp gpm, x1000 rpm, Hz.
_LIKE_UNIT = re.compile(r".*([/%°º]|hz$|[\dx].*\b(c|f|k|degc|degf|rpm|w|kw)$|gpm|gph|gal|min-1)")
_FROM_INSIDE = {"lpm": 60_000.0, "bar": 1e-5, "kmh": 3.6}  # of m3/s, Pa, m/s

# Words by role. All words of a row must be there; a row with more words goes first.
_WORDS: tuple[tuple[str, Role], ...] = (
    ("air off", Role.AIR_OFF),
    ("air out", Role.AIR_OFF),
    ("air outlet", Role.AIR_OFF),
    ("case drain", Role.CASE_DRAIN),
    ("cooler in", Role.COOLER_IN),
    ("cooler inlet", Role.COOLER_IN),
    ("oil in", Role.COOLER_IN),
    ("oil inlet", Role.COOLER_IN),
    ("cooler out", Role.COOLER_OUT),
    ("cooler outlet", Role.COOLER_OUT),
    ("oil out", Role.COOLER_OUT),
    ("oil outlet", Role.COOLER_OUT),
    ("pump inlet", Role.PUMP_INLET),
    ("pump in", Role.PUMP_INLET),
    ("air in", Role.AMBIENT),
    ("air inlet", Role.AMBIENT),
    ("oil flow", Role.FLOW),
    ("ambient", Role.AMBIENT),
    ("outside", Role.AMBIENT),
    ("outdoor", Role.AMBIENT),
    ("intake", Role.AMBIENT),
    ("suction", Role.PUMP_INLET),
    ("tank", Role.TANK),
    ("reservoir", Role.TANK),
    ("sump", Role.TANK),
    ("fan", Role.FAN),
    ("engine", Role.ENGINE),
    ("heater", Role.HEATER),
    ("flow", Role.FLOW),
    ("drive", Role.DRIVE),
    ("tracks", Role.DRIVE),
    ("travel", Role.DRIVE),
    ("battery", Role.SUPPLY),
    ("supply", Role.SUPPLY),
)
# With one of these, a name is of something else, though a word of a role is in it.
_ELSEWHERE = frozenset(
    {"fuel", "coolant", "water", "exhaust", "humidity", "level", "status", "alarm", "setpoint"}
    | {"hours", "dew", "error"}
)
_WIDE: Mapping[str, tuple[Role, ...]] = {
    "oil": (Role.TANK, Role.COOLER_IN, Role.COOLER_OUT),
    "hydraulic": (Role.TANK, Role.COOLER_IN, Role.COOLER_OUT),
    "air": (Role.AMBIENT, Role.AIR_OFF),
    "cooler": (Role.COOLER_IN, Role.COOLER_OUT),
    "inlet": (Role.COOLER_IN, Role.AMBIENT),
    "outlet": (Role.COOLER_OUT, Role.AIR_OFF),
    "drain": (Role.CASE_DRAIN,),
}
_IN_BRACKETS = re.compile(r"[\[(]\s*([^\])]{1,12}?)\s*[\])]")
HOTTEST_AIR_C, _HOTTEST_OIL_C, _COLDEST_C = 58.0, 150.0, -60.0  # from memory; smoking oil


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """Role of a column, None for none, and its unit as a table spells it.

    `unit` of "" is a plain number or a state.
    """

    role: Role | None
    unit: str
    is_used: bool = True

    def text(self) -> str:
        """The column as it is typed and kept."""
        if not self.is_used:
            return "nothing"
        return f"{self.role.value if self.role else Role.OTHER.value} {self.unit}".strip()


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """The roles that a name fits (none or several if it is unclear), and the unit in it.

    `is_strange` marks a unit that is there and not known.
    """

    roles: tuple[Role, ...]
    unit: str | None
    is_strange: bool = False


def is_unit(cell: str) -> bool:
    """Tell whether a cell is the name of a unit and nothing else."""
    text = cell.strip().strip("[]()").strip().lower()
    return text in _UNITS or text in _TIME_UNITS or bool(_FORMAT.fullmatch(text))


def is_column_unit(text: str) -> bool:
    """Tell whether a text in lower case is the unit of a column of readings."""
    return text in _UNITS


def guess(name: str, unit: str = "") -> Guess:
    """Return roles and unit from a column's name and a unit under it."""
    role, sign = _own_column(name)
    if role is not None:
        return Guess(roles=(role,), unit=sign)
    bracketed = [match[1] for match in _IN_BRACKETS.finditer(name) if is_unit(match[1])]
    rest = _IN_BRACKETS.sub(" ", name) if bracketed else name
    strange = not bracketed and any(map(_is_strange, _IN_BRACKETS.findall(name.lower())))
    words = re.findall(r"[a-z]+|[°º][a-z]|%", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", rest).lower())
    spelled = unit.strip("[]() ") or (bracketed[0] if bracketed else "")
    if not spelled and len(words) > 1 and words[-1] in _UNITS:
        spelled = words.pop()
    if not spelled and (match := re.search(r"\b(l/min|r/min|km/h|m3/h|l/h)\b", rest.lower())):
        spelled = match[1]
    if not spelled and words[-1:] == ["rpm"]:
        spelled = "rpm"
    known = spelled.lower() if spelled.lower() in _UNITS else None
    strange |= bool(_IMPERIAL & set(words)) or (bool(unit.strip("[]() -")) and not is_unit(unit))
    roles = tuple(role for role in _roles(words) if known is None or _fits(role, known))
    return Guess(roles=roles, unit=None if strange else known, is_strange=strange)


def _is_strange(text: str) -> bool:
    """Tell whether a text in brackets is like a unit and none; a degree sign may be garbled."""
    return bool(_LIKE_UNIT.match(text)) and not is_unit(re.sub(r"[^ -~]", "", text))


def _fits(role: Role, unit: str) -> bool:
    """Tell whether a role's column can be in a unit: degrees, or anything but degrees."""
    return role not in USUAL_UNIT if _UNITS[unit][0] == "c" else role in USUAL_UNIT


def _own_column(name: str) -> tuple[Role | None, str | None]:
    """Return role and unit of a name written as in a session of our own."""
    stem, _, unit = name.strip().rpartition("_")
    try:
        role = Role(stem)
    except ValueError:
        return None, None
    usual = {"c": "c", "k": "c"}.get(unit, unit)
    return (role, usual) if usual in _UNITS else (None, None)


def _roles(words: list[str]) -> tuple[Role, ...]:
    if _ELSEWHERE & set(words) or {"engine", "oil"} <= set(words):
        return ()
    fitting = [
        (len(pattern.split()), role)
        for pattern, role in _WORDS
        if set(pattern.split()) <= set(words)
    ]
    if fitting:
        most = max(count for count, _ in fitting)
        return tuple(dict.fromkeys(role for count, role in fitting if count == most))
    if "rpm" in words:
        return (Role.ENGINE,)
    return next((roles for word, roles in _WIDE.items() if word in words), ())


def plausible_units(roles: Mapping[str, Role | None], values: Mapping[str, FloatArray]) -> set[str]:
    """Return which of c and f the temperatures without a unit can be in, all the same."""
    return {
        unit
        for unit in ("c", "f")
        if all(
            _is_plausible(inside(array, unit), roles.get(name))
            for name, array in values.items()
            if np.isfinite(array).any()
        )
    }


def _is_plausible(values_c: FloatArray, role: Role | None) -> bool:
    hottest_c = HOTTEST_AIR_C if role is Role.AMBIENT else _HOTTEST_OIL_C
    coldest, middle = np.nanquantile(values_c, (0.02, 0.5))
    return bool(coldest > _COLDEST_C and middle < hottest_c)


def inside(values: FloatArray, unit: str) -> FloatArray:
    """Return values in the unit that a session's column has.

    Raises
    ------
    UsageError
        An unknown unit.
    """
    scale, offset = _line(unit.lower())
    return np.asarray(values * scale + offset, dtype=float)


@lru_cache(maxsize=64)
def _line(unit: str) -> tuple[float, float]:
    column, spelled, kind = _UNITS[unit] if unit else ("", "", "")
    if not kind:
        return 1.0, 0.0
    zero, unity = (parse(f"{at} {spelled}", kind) for at in (0, 1))
    factor = _FROM_INSIDE.get(column, 1.0)
    return (unity - zero) * factor, zero * factor


def column_unit(column: Column) -> str:
    """Return the unit in the session column's name."""
    if column.unit:
        return _UNITS[column.unit][0]
    return USUAL_UNIT.get(column.role, "on") if column.role else "on"


def own_name(name: str) -> str:
    """Return a channel's name from a column's: a letter first, then a-z, 0-9 and _."""
    words = re.findall(r"[a-z0-9]+", _IN_BRACKETS.sub("", name).lower())
    if len(words) > 1 and words[-1] in _UNITS:
        words.pop()
    stem = "_".join(words)[:16].rstrip("_")
    return stem if stem[:1].isalpha() else f"x_{stem}"[:16].rstrip("_")


def typed_column(text: str, where: str) -> Column:
    """Return a column as the owner types it: "tank", "tank degF", "other V", "nothing".

    Raises
    ------
    UsageError
        An unknown role or unit.
    """
    word, _, unit = text.strip().partition(" ")
    if word in {"nothing", "-"}:
        return Column(role=None, unit="", is_used=False)
    try:
        role = Role(word)
    except ValueError:
        raise UsageError(
            expected="nothing or one of " + ", ".join(role.value for role in Role),
            found=repr(word),
            where=where,
            do="name what the column measures, as in 'tank degF'",
        ) from None
    spelled = unit.strip().lower()
    if spelled and spelled not in _UNITS:
        raise UsageError(
            expected="a unit such as degC, degF, gpm, L/min, rpm, on, kW, V",
            found=repr(unit.strip()),
            where=where,
            do="write it after the role, as in 'tank degF'",
        )
    return Column(role=role, unit=spelled)


def differ(units: Iterable[str]) -> bool:
    """Tell whether spellings of units are of more than one unit."""
    return len({_UNITS[unit] for unit in units}) > 1


def needs_unit(role: Role | None) -> bool:
    """Tell whether a role's column is one of temperatures."""
    return role is None or USUAL_UNIT.get(role) is None
