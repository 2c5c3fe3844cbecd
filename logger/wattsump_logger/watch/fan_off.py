"""Proposes one five-minute fan-off while an ordinary outing is recorded.

While the fan is always on, the cooler's watts can hardly be separated from the drive's: both may
be larger or smaller together. Five minutes at work without the fan separate them. The proposal
comes once, when the oil is warm enough to show a difference and far enough below its limit for
five minutes without the fan. It ends early when any oil channel gets hot, by the rule of
`hot_oil`, or when none is read. The driver may ignore it, and the program switches nothing.
"""

from collections.abc import Mapping

from wattsump_logger.machine.profile import Profile
from wattsump_logger.watch.alarm_rules import Typed
from wattsump_logger.watch.guide import Advice
from wattsump_logger.watch.hot_oil import NOTHING_TYPED, HotOil, stops_c
from wattsump_logger.watch.look import Look

__all__ = ("FanOff", "fan_off")

FAN_OFF_S = 300.0
# Common practice, no source: a machine is warm by then, and oil without its cooler warms by up
# to three kelvins a minute.
WORKED_S = 900.0
LEAST_EXCESS_K = 20.0
RESERVE_K = 15.0
_UNREAD_S = 10.0
_LONGEST_TICK_S = 30.0  # a longer pause between looks does not count as work

_SAFETY = (
    "Oil and cooler scald: no hands on hoses, tank or core.",
    "The fan may start by itself: fingers and clothes clear of it.",
)


class FanOff:
    """Follows an outing and proposes a fan-off once it is safe and worth while.

    Parameters
    ----------
    stops_c : mapping of str to float
        By role of oil, the temperature at which the fan has to be on again [°C].
    """

    def __init__(self, stops_c: Mapping[str, float]) -> None:
        self._hot = HotOil(stops_c)
        self._read_s = 0.0  # when oil was last read
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
        self._hot.take(look)
        if self._hot.nearest is not None:
            self._read_s = look.now_s
        if self._since_s is not None:
            return self._running(look, go_on=go_on)
        if not self._is_worth_while(look):
            return None
        fan = look.is_on("fan")
        if fan is False or (fan is None and go_on):
            self._since_s = look.now_s
            return self._advice("Fan off, drive at work as before.", FAN_OFF_S, "stage fan-off")
        return self._advice(
            "Five minutes without the fan tell the cooler's watts to 25 %, not 40 %.",
            until="" if fan is not None else "g when the fan is off",
        )

    def _running(self, look: Look, *, go_on: bool) -> Advice:
        left_s = FAN_OFF_S - (look.now_s - (self._since_s or 0.0))
        nearest = self._hot.nearest
        if self._hot.is_hot and nearest is not None:
            urgent = f"FAN ON NOW: {nearest.where} at {nearest.oil_c:.0f} degC."
            return self._end(look, f"{nearest.where} hot", urgent)
        if look.now_s - self._read_s >= _UNREAD_S:
            return self._end(look, "oil not seen", "FAN ON NOW: no oil probe gives a reading.")
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

    def _is_worth_while(self, look: Look) -> bool:
        air, nearest = look.read("ambient"), self._hot.nearest
        if air is None or nearest is None or look.is_working is False:
            return False
        warm = nearest.oil_c - air >= LEAST_EXCESS_K
        return warm and nearest.margin_k >= RESERVE_K and self._worked_s >= WORKED_S


def fan_off(profile: Profile | None = None, typed: Typed = NOTHING_TYPED) -> FanOff:
    """Return the proposal for this machine and the limits the driver typed."""
    return FanOff(stops_c(profile, typed))
