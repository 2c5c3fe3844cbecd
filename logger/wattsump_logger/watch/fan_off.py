"""Proposes one five-minute fan-off while an ordinary outing is recorded.

While the fan is always on, the cooler's watts can hardly be separated from the drive's: both may
be larger or smaller together. Five minutes at work without the fan separate them. The proposal
comes once, when the oil is warm enough to show a difference and far enough below its limit for
five minutes without the fan. It ends early when the oil gets hot. The driver may ignore it, and
the program switches nothing.
"""

from collections.abc import Mapping

from wattsump_logger.machine.profile import OIL_ROLES, Profile, Role
from wattsump_logger.watch.guide import Advice
from wattsump_logger.watch.look import Look
from wattsump_logger.watch.proving_run import STOP_MARGIN_K, safe_limit_c

__all__ = ("FanOff", "fan_off")

FAN_OFF_S = 300.0
# Common practice, no source: a machine is warm by then, and oil without its cooler warms by up
# to three kelvins a minute.
WORKED_S = 900.0
LEAST_EXCESS_K = 20.0
RESERVE_K = 15.0
_LONGEST_TICK_S = 30.0  # a longer pause between looks does not count as work

_SAFETY = (
    "Oil and cooler scald: no hands on hoses, tank or core.",
    "The fan may start by itself: fingers and clothes clear of it.",
)


class FanOff:
    """Follows an outing and proposes a fan-off once it is safe and worth while.

    Parameters
    ----------
    limits_c : mapping of str to float
        By role of oil, the temperature at which the fan has to be on again [°C].
    """

    def __init__(self, limits_c: Mapping[str, float]) -> None:
        self._limits_c = limits_c
        self._worked_s = 0.0
        self._last_s: float | None = None
        self._since_s: float | None = None
        self._is_over = False
        self._is_marked = False

    def follow(self, look: Look, *, go_on: bool = False) -> Advice | None:
        """Return the proposal or its count-down, None outside of both."""
        self._count(look)
        if self._is_over:
            return None
        margin_k = self._margin_k(look)
        if self._since_s is not None:
            return self._running(look, margin_k, go_on=go_on)
        if not self._is_worth_while(look, margin_k):
            return None
        fan = look.is_on("fan")
        if fan is False or (fan is None and go_on):
            self._since_s = look.now_s
            return self._advice("Fan off, drive at work as before.", FAN_OFF_S, "stage fan-off")
        return self._advice(
            "Five minutes without the fan tell the cooler's watts to 20 %, not 40 %.",
            until="" if fan is not None else "g when the fan is off",
        )

    def _running(self, look: Look, margin_k: float, *, go_on: bool) -> Advice:
        left_s = FAN_OFF_S - (look.now_s - (self._since_s or 0.0))
        if margin_k <= 0.0:
            return self._end(look, "hot", "FAN ON NOW: the oil is at its limit.")
        if look.is_on("fan") or left_s <= 0.0 or (go_on and left_s < FAN_OFF_S):
            return self._end(look, "done", "")
        return self._advice("Fan off, drive at work as before.", left_s)

    def _end(self, look: Look, how: str, urgent: str) -> Advice:
        # The driver is asked until the fan runs; once, where no channel shows it.
        self._is_over = look.is_on("fan") is not False
        mark = () if self._is_marked else (f"stage fan-off ends: {how}",)
        self._is_marked = True
        return Advice(
            stage="fan-off", do="Fan on again.", urgent=urgent, safety=_SAFETY, marks=mark
        )

    def _advice(
        self, do: str, left_s: float | None = None, mark: str = "", until: str = ""
    ) -> Advice:
        return Advice(
            stage="fan-off",
            do=do,
            left_s=left_s,
            until=until,
            safety=_SAFETY,
            marks=(mark,) if mark else (),
        )

    def _count(self, look: Look) -> None:
        if self._last_s is not None and look.is_working is not False:
            self._worked_s += min(look.now_s - self._last_s, _LONGEST_TICK_S)
        self._last_s = look.now_s

    def _margin_k(self, look: Look) -> float:
        """How far the nearest oil channel is below its limit; negative infinity if none reads."""
        read = [
            limit - value
            for role, limit in self._limits_c.items()
            if (value := look.read(role)) is not None
        ]
        return min(read, default=0.0)

    def _is_worth_while(self, look: Look, margin_k: float) -> bool:
        air = look.read("ambient")
        oils = [v for role in self._limits_c if (v := look.read(role)) is not None]
        if air is None or not oils or look.is_working is False:
            return False
        warm = max(oils) - air >= LEAST_EXCESS_K
        return warm and margin_k >= RESERVE_K and self._worked_s >= WORKED_S


def fan_off(profile: Profile | None = None) -> FanOff:
    """Return the proposal for this machine: each oil channel against its own limit."""
    stop_c = safe_limit_c(profile) + STOP_MARGIN_K
    if profile is None:
        return FanOff({Role.TANK: stop_c})
    channels = {role: profile.role(role) for role in OIL_ROLES}
    own_c = {
        role: None if channel is None else channel.limit_c for role, channel in channels.items()
    }
    return FanOff(
        {role: stop_c if limit is None else limit - STOP_MARGIN_K for role, limit in own_c.items()}
    )
