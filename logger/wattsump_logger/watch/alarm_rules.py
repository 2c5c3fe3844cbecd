"""Makes an outing's alarms of the machine profile, its oil, and what the driver typed.

A viscosity limit is watched as the oil temperature at which the oil has that viscosity,
so it shows in the same degrees as everything else.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from wattsump_logger.errors import UsageError
from wattsump_logger.machine.oil_line import TEMP_HIGH_C, TEMP_LOW_C, temperature_c
from wattsump_logger.machine.profile import OIL_ROLES, Limits, Oil, Profile, Role
from wattsump_logger.units.quantities import parse
from wattsump_logger.watch.alarms import Kind, Rule
from wattsump_logger.watch.look import channel_of

__all__ = (
    "USUAL_STALL_S",
    "Typed",
    "limit_of",
    "rules_for",
    "temp_at_viscosity_c",
    "typed_limits",
    "without_unknown",
)

# Common practice, no source: half a converter's step times four, so that a value which
# hovers about its limit gives one alarm; and times after which a change is real.
_HYSTERESIS_K = 2.0
_LIMIT_HOLD_S = 3.0
_RATE_HOLD_S = 20.0
_USUAL_RATE_K_MIN = 10.0
_FAULT_TRIP, _FAULT_CLEAR, _FAULT_HOLD_S = 0.25, 0.05, 5.0
USUAL_STALL_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """What the driver typed: limits by channel name or role, a rate, how long silence may last."""

    limit_c: Mapping[str, float] = field(default_factory=dict)
    rate_k_min: float = _USUAL_RATE_K_MIN
    stall_s: float = USUAL_STALL_S


def typed_limits(texts: Iterable[str]) -> dict[str, float]:
    """Return limits in °C by channel or role, from texts such as "tank=75 degC".

    Raises
    ------
    UsageError, UnitError
        The name, the "=" or the temperature is missing.
    """
    limits = {}
    for text in texts:
        name, equals, value = text.partition("=")
        if not name.strip() or not equals:
            raise UsageError(
                expected="CHANNEL=TEMPERATURE, such as tank='75 degC'",
                found=repr(text),
                where="--limit",
                do="name a channel and give its temperature with its unit",
            )
        limits[name.strip()] = parse(value.strip(), "temperature")
    return limits


def limit_of(channel: str, profile: Profile | None, typed: Typed) -> float | None:
    """Return the temperature a channel must stay below: typed, its own, or the oil's.

    A limit may be typed for a channel's name or for its role: tank='75 degC' also holds for a
    channel "t1" with the role tank. The name goes first.
    """
    for name in _names(channel, profile):
        if name in typed.limit_c:
            return typed.limit_c[name]
    if profile is None:
        return None
    profiled = profile.channels.get(channel)
    if profiled is not None and profiled.limit_c is not None:
        return profiled.limit_c
    return profile.limits.oil_max_c if _is_oil(channel, profile) else None


def rules_for(columns: Sequence[str], profile: Profile | None, typed: Typed) -> tuple[Rule, ...]:
    """Return the rules for a session with these columns.

    Raises
    ------
    UsageError
        A typed limit names a channel that is not there.
    """
    temps = {channel_of(column): column for column in columns if column.endswith("_c")}
    if unknown := typed.limit_c.keys() - _named(columns, profile):
        raise UsageError(
            expected="one of " + ", ".join(_named(columns, profile)),
            found=", ".join(sorted(unknown)),
            where="--limit",
            do="name a temperature channel of this controller",
        )
    rules = [
        rule
        for channel, column in temps.items()
        for rule in _temperature_rules(channel, column, profile, typed)
    ]
    rules += [_fault_rule(channel_of(column)) for column in columns]
    return (*rules, _stall_rule(typed.stall_s))


def without_unknown(typed: Typed, columns: Sequence[str], profile: Profile | None) -> Typed:
    """Return `typed` without the limits that fit none of the columns."""
    names = _named(columns, profile)
    return replace(
        typed, limit_c={name: limit for name, limit in typed.limit_c.items() if name in names}
    )


def _names(channel: str, profile: Profile | None) -> tuple[str, ...]:
    """Return a channel's name, and its role if no earlier channel has it."""
    profiled = None if profile is None else profile.channels.get(channel)
    if profile is None or profiled is None or profiled.role == Role.OTHER:
        return (channel,)
    first = profile.role(profiled.role)
    return (channel, profiled.role.value) if first is profiled else (channel,)


def _named(columns: Sequence[str], profile: Profile | None) -> dict[str, None]:
    """Return every name a limit may be typed for, in the order of the columns."""
    channels = [channel_of(column) for column in columns if column.endswith("_c")]
    return dict.fromkeys(name for channel in channels for name in _names(channel, profile))


def _is_oil(channel: str, profile: Profile) -> bool:
    channels = (profile.role(role) for role in OIL_ROLES)
    return channel in {oil.name for oil in channels if oil is not None}


def _temperature_rules(
    channel: str, column: str, profile: Profile | None, typed: Typed
) -> Iterator[Rule]:
    limit_c = limit_of(channel, profile, typed)
    if limit_c is not None:
        yield _above(f"{channel} above {limit_c:g} degC", column, limit_c, urgent=True)
    if profile is None:
        return
    tank = profile.role(Role.TANK)
    if tank is not None and tank.name == channel:
        yield from _tank_rules(channel, column, profile, limit_c, typed)


def _tank_rules(
    channel: str, column: str, profile: Profile, limit_c: float | None, typed: Typed
) -> Iterator[Rule]:
    limits = profile.limits
    yield _rate(channel, column, typed.rate_k_min)
    if limit_c is None or limits.oil_warn_c < limit_c:
        name = f"{channel} above {limits.oil_warn_c:g} degC"
        yield _above(name, column, limits.oil_warn_c, urgent=False)
    yield from _viscosity_rules(channel, column, profile.oil, limits)


def _viscosity_rules(channel: str, column: str, oil: Oil, limits: Limits) -> Iterator[Rule]:
    thin_c = temp_at_viscosity_c(oil, limits.viscosity_min_mm2_s)
    thick_c = temp_at_viscosity_c(oil, limits.viscosity_max_start_mm2_s)
    if thin_c is not None:
        name = f"{channel} oil thinner than {limits.viscosity_min_mm2_s:g} mm2/s"
        yield _above(name, column, thin_c, urgent=True)
    if thick_c is not None:
        yield Rule(
            name=f"{channel} oil thicker than {limits.viscosity_max_start_mm2_s:g} mm2/s",
            kind=Kind.BELOW,
            column=column,
            channel=channel,
            trip=thick_c,
            clear=thick_c + _HYSTERESIS_K,
            hold_off_s=_LIMIT_HOLD_S,
            running_only=True,
        )


def _above(name: str, column: str, limit_c: float, *, urgent: bool) -> Rule:
    return Rule(
        name=name,
        kind=Kind.ABOVE,
        column=column,
        channel=channel_of(column),
        trip=limit_c,
        clear=limit_c - _HYSTERESIS_K,
        hold_off_s=_LIMIT_HOLD_S,
        urgent=urgent,
    )


def _rate(channel: str, column: str, rate_k_min: float) -> Rule:
    return Rule(
        name=f"{channel} rises faster than {rate_k_min:g} K/min",
        kind=Kind.RATE,
        column=column,
        channel=channel,
        trip=rate_k_min,
        clear=0.7 * rate_k_min,
        hold_off_s=_RATE_HOLD_S,
        urgent=False,
    )


def _fault_rule(channel: str) -> Rule:
    return Rule(
        name=f"{channel} gives no reading",
        kind=Kind.FAULT,
        channel=channel,
        trip=_FAULT_TRIP,
        clear=_FAULT_CLEAR,
        hold_off_s=_FAULT_HOLD_S,
        urgent=False,
    )


def _stall_rule(stall_s: float) -> Rule:
    return Rule(
        name="nothing from the controller", kind=Kind.STALLED, trip=stall_s, clear=0.1 * stall_s
    )


def temp_at_viscosity_c(oil: Oil, viscosity_mm2_s: float) -> float | None:
    """Temperature at which an oil has a viscosity [°C]; None beyond -60 to 200 °C."""
    temp_c = temperature_c(viscosity_mm2_s, oil.line)
    return temp_c if TEMP_LOW_C <= temp_c <= TEMP_HIGH_C else None
