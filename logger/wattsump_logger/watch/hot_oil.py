"""When a run has to be cooled: every oil channel against its own limit.

The proving run and the one fan-off of an ordinary outing stop by this rule alike. A channel's
limit is that of its alarm: typed, its own in the profile, or the oil's. The tank, which a run
warms on purpose, also has the temperature at which its oil gets thin and the oil's warning.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from wattsump_logger.machine.profile import OIL_ROLES, Limits, Profile, Role
from wattsump_logger.watch.alarm_rules import Typed, limit_of, temp_at_viscosity_c
from wattsump_logger.watch.look import Look, channel_of

__all__ = ("COOLED_K", "NOTHING_TYPED", "HotOil", "Nearest", "safe_limit_c", "stops_c")

# Common practice, no source. A single wild reading is no hot oil.
COOLED_K = 3.0  # below where oil is too hot, before it counts as cool again
_MARGIN_K = 3.0
_THIN_MARGIN_K = 5.0
_HOLD_S = 3.0
NOTHING_TYPED = Typed()


@dataclass(frozen=True, slots=True, kw_only=True)
class Nearest:
    """The oil channel nearest to where it has to be cooled, or furthest above."""

    channel: str
    oil_c: float
    stop_c: float

    @property
    def margin_k(self) -> float:
        """How far it is below."""
        return self.stop_c - self.oil_c

    @property
    def where(self) -> str:
        """The channel's name as words."""
        return self.channel.replace("_", " ")


def safe_limit_c(profile: Profile | None, typed: Typed = NOTHING_TYPED) -> float:
    """Tank temperature to which a run without the fan may go: the warning, or thin oil."""
    bounds = [_limit_c(Role.TANK, profile, typed) - 2 * _MARGIN_K]
    if profile is not None:
        thin_c = temp_at_viscosity_c(profile.oil, profile.limits.viscosity_min_mm2_s)
        bounds.append(profile.limits.oil_warn_c)
        bounds += [] if thin_c is None else [thin_c - _THIN_MARGIN_K]
    return min(bounds)


def stops_c(profile: Profile | None, typed: Typed = NOTHING_TYPED) -> dict[str, float]:
    """Return by role of oil the temperature [°C] at which it has to be cooled."""
    stops = {
        role.value: _limit_c(role, profile, typed) - _MARGIN_K
        for role in sorted(OIL_ROLES)
        if profile is None or profile.role(role) is not None
    }
    tank_c = min(stops.get(Role.TANK, float("inf")), safe_limit_c(profile, typed) + 2 * _MARGIN_K)
    return {**stops, Role.TANK.value: tank_c}


def _limit_c(role: Role, profile: Profile | None, typed: Typed) -> float:
    channel = None if profile is None else profile.role(role)
    limit_c = limit_of(role.value if channel is None else channel.name, profile, typed)
    if limit_c is not None:
        return limit_c
    if profile is not None:
        return profile.limits.oil_max_c
    # Of a machine that nobody described the tank stays below the usual warning.
    return Limits().oil_warn_c if role is Role.TANK else Limits().oil_max_c


class HotOil:
    """Follows the oil channels; hot from a stop until all are cooler by `COOLED_K`.

    Parameters
    ----------
    stops_c : mapping of str to float
        By role of oil, the temperature at which it has to be cooled [°C].
    """

    def __init__(self, stops_c: Mapping[str, float]) -> None:
        self._stops_c = stops_c
        self._over_since_s: float | None = None
        self.is_hot = False
        self.nearest: Nearest | None = None  # None while no oil channel reads

    def take(self, look: Look) -> None:
        """Take the newest look."""
        self.nearest = self._nearest(look)
        if self.nearest is None:
            return
        margin_k = self.nearest.margin_k
        if self.is_hot:
            self.is_hot = margin_k <= COOLED_K
        if self.is_hot or margin_k > 0.0:
            self._over_since_s = None
            return
        if self._over_since_s is None:
            self._over_since_s = look.now_s
        self.is_hot = look.now_s - self._over_since_s >= _HOLD_S

    def _nearest(self, look: Look) -> Nearest | None:
        read = [
            Nearest(channel=channel_of(look.column(role)), oil_c=oil_c, stop_c=stop_c)
            for role, stop_c in self._stops_c.items()
            if (oil_c := look.read(role)) is not None
        ]
        return min(read, key=lambda one: one.margin_k, default=None)
