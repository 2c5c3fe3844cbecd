"""What the analysis supplies to `log`: where the oil is heading, and how well K is known.

Nothing heavy is imported before a capture asks for it. The fit runs in a thread of its own,
seldom, and never twice at a time: recording comes first.
"""

import threading
import warnings
from array import array
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from wattsump_logger.commands_log import PROVING_RUN, Supplies

if TYPE_CHECKING:
    from wattsump_analysis.guide import Known
    from wattsump_analysis.heading import Likely
    from wattsump_logger.guide_steps import Advice, Guide, Learned
    from wattsump_logger.look import Look
    from wattsump_logger.profile import Profile
    from wattsump_logger.session import Session
    from wattsump_logger.watching import Forecast

__all__ = ("Ahead", "Guided", "Kept", "RunningK", "supplies")

_WINDOW_S = 900.0
_SETTLES_S = 30.0  # after a switch oil and probes need this to be on the new course
_AGAIN_S = 5.0
_MANY_SWITCHES = 3  # in a window: a thermostat is at work, and the mean is what counts
_FIT_AGAIN_S = 60.0
_FIT_SHARE = 4.0  # a slow computer rests so many times as long as the last fit took
_ROW_S = 2.0
_MOST_ROWS = 21_600  # of these rows: twelve hours
_USUAL_LIMIT_C = 82.0  # common practice, no source
_USUAL_TAU_S, _USUAL_SD = 900.0, 0.9
_STATED_SD = 0.5
_SHELL_W_K, _STILL_SHARE, _USUAL_K_W_K = 13.0, 0.1, 90.0

Background = Callable[[Callable[[], None]], object]


def supplies() -> Supplies:
    """Return what `log` is given."""
    return Supplies(forecaster=Ahead, guides={PROVING_RUN: _proving_run})


def _proving_run(profile: "Profile | None") -> "Guide":
    from wattsump_logger.proving_steps import proving_run

    running = RunningK(profile)
    return Guided(proving_run(profile, estimate=running.learned), running)


class Ahead:
    """Says where the oil is heading; fits `watching.Forecaster`.

    Parameters
    ----------
    profile : Profile, optional
        Gives the oil's channel, its limit, and a likely time constant.
    limits_c : mapping of str to float, optional
        Limits as typed, by channel.
    """

    def __init__(
        self, profile: "Profile | None" = None, limits_c: Mapping[str, float] | None = None
    ) -> None:
        from wattsump_logger.alarm_rules import Typed, limit_of

        tank = profile.role("tank") if profile else None
        self._column = (profile.column("tank") if profile else None) or "tank_c"
        name = tank.name if tank else "tank"
        limit_c = limit_of(name, profile, Typed(limit_c=limits_c or {}))
        self._limit_c = _USUAL_LIMIT_C if limit_c is None else limit_c
        self._likely = {fan: likely(profile, fan=fan) for fan in (True, False)}
        self._readings: deque[tuple[float, float]] = deque()
        self._switched_s: deque[float] = deque(maxlen=_MANY_SWITCHES)
        self._fan: bool | None = None
        self._doing: tuple[bool | None, ...] = ()
        self._since_s = 0.0
        self._found: Forecast | None = None
        self._found_s = float("-inf")

    def __call__(self, look: "Look") -> "Forecast | None":
        """Return the forecast, at most some seconds old; None while there is none to trust."""
        now_s, oil_c = look.elapsed_s, look.values.get(self._column)
        if now_s is None or oil_c is None:
            return self._found
        if self._readings and now_s < self._readings[-1][0]:
            self._begin(now_s)
            self._switched_s.clear()
        self._follow_switches(look, now_s)
        if now_s - self._since_s >= _SETTLES_S:
            self._keep(now_s, oil_c)
        if look.is_on("engine") is False and not look.is_on("heater"):
            return None
        if now_s - self._found_s >= _AGAIN_S:
            self._found_s, self._found = now_s, self._forecast()
        return self._found

    def _begin(self, now_s: float) -> None:
        self._readings.clear()
        self._since_s, self._found, self._found_s = now_s, None, float("-inf")

    def _follow_switches(self, look: "Look", now_s: float) -> None:
        fan = look.is_on("fan")
        if fan is not self._fan:
            self._fan = fan
            self._switched_s.append(now_s)
        often = len(self._switched_s) == _MANY_SWITCHES
        cycles = often and now_s - self._switched_s[0] < _WINDOW_S
        doing = (look.is_on("engine"), look.is_on("heater"), None if cycles else fan)
        if doing != self._doing:
            self._doing = doing
            self._begin(now_s)

    def _keep(self, now_s: float, oil_c: float) -> None:
        if not self._readings or now_s - self._readings[-1][0] >= 1.0:
            self._readings.append((now_s, oil_c))
        while self._readings[0][0] < now_s - _WINDOW_S:
            self._readings.popleft()

    def _forecast(self) -> "Forecast | None":
        import numpy as np

        from wattsump_analysis.heading import find_heading
        from wattsump_logger.watching import Forecast

        table = np.array(self._readings, dtype=np.float64).reshape(-1, 2)
        found = find_heading(
            table[:, 0], table[:, 1], self._limit_c, self._likely[self._fan is not False]
        )
        if found is None:
            return None
        return Forecast(
            heading_c=found.final_c,
            u_heading_k=found.u_final_k,
            minutes_to_limit=None if found.seconds is None else found.seconds / 60.0,
            limit_c=self._limit_c,
        )


def likely(profile: "Profile | None", *, fan: bool) -> "Likely":
    """Return the time constant a machine is likely to have, by its oil, metal and label."""
    from wattsump_analysis.heading import Likely

    if profile is None:
        return Likely(tau_s=_USUAL_TAU_S, sd_log=_USUAL_SD)
    from wattsump_analysis.capacity import metal_capacity_j_k, oil_capacity_j_k

    oil, _ = oil_capacity_j_k(profile, 60.0)
    if oil is None:
        return Likely(tau_s=_USUAL_TAU_S, sd_log=_USUAL_SD)
    metal, _ = metal_capacity_j_k(profile)
    cooler = profile.cooler
    k_w_k = _USUAL_K_W_K
    if cooler.label_heat_w is not None and cooler.label_etd_k is not None:
        k_w_k = cooler.label_heat_w / cooler.label_etd_k
    loss_w_k = _SHELL_W_K + k_w_k * (1.0 if fan else _STILL_SHARE)
    # As much warmth again is in the metal where none is listed.
    return Likely(tau_s=(oil + (oil if metal is None else metal)) / loss_w_k, sd_log=_STATED_SD)


class Kept:
    """The rows so far, thinned, as a session of their own. Memory is bounded: the oldest go."""

    def __init__(self) -> None:
        self._times = array("d")
        self._columns: dict[str, array[float]] = {}

    def take(self, look: "Look") -> None:
        """Keep the values of a look, unless they are hardly newer than the last."""
        now_s = look.elapsed_s
        if now_s is None or not look.values:
            return
        if self._times and (now_s < self._times[-1] or look.values.keys() != self._columns.keys()):
            self._times, self._columns = array("d"), {}
        if self._times and now_s - self._times[-1] < _ROW_S:
            return
        if len(self._times) >= _MOST_ROWS:
            for kept in (self._times, *self._columns.values()):
                del kept[: _MOST_ROWS // 8]
        self._times.append(now_s)
        for column, value in look.values.items():
            kept = self._columns.setdefault(column, array("d"))
            kept.append(float("nan") if value is None else value)

    def session(self) -> "Session":
        """Return a copy of what is kept."""
        from pathlib import Path

        import numpy as np

        from wattsump_logger.session import Session

        return Session(
            path=Path("this outing"),
            elapsed_s=np.array(self._times),
            columns={name: np.array(values) for name, values in self._columns.items()},
            faults=(),
            marks=(),
            start_utc=None,
            metadata={},
            notes=(),
        )


def in_a_thread(work: Callable[[], None]) -> object:
    """Run `work` beside the capture; it does not keep the program from ending."""
    thread = threading.Thread(target=work, name="running estimate", daemon=True)
    thread.start()
    return thread


class RunningK:
    """The running estimate: fits the rows so far now and then, in the background."""

    def __init__(self, profile: "Profile | None", background: Background = in_a_thread) -> None:
        self._profile = profile
        self._background = background
        self._kept = Kept()
        self._known: list[Known] = []
        self._refused = ""
        self._is_busy = False
        self._began_s = float("-inf")
        self._rests_s = _FIT_AGAIN_S

    def take(self, look: "Look") -> None:
        """Take a look; begin a fit where the last is old enough."""
        self._kept.take(look)
        if self._is_busy or look.now_s - self._began_s < self._rests_s:
            return
        session = self._kept.session()
        if session.elapsed_s.size < 2:
            return
        self._is_busy, self._began_s = True, look.now_s
        self._background(lambda: self._fit(session))

    def _fit(self, session: "Session") -> None:
        import time

        from wattsump_logger.errors import WattsumpError

        began_s = time.monotonic()
        try:
            from wattsump_analysis.guide import know_so_far

            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # they would be written across the screen
                found = know_so_far(session, self._profile)
            if found is not None:
                if self._known and found.elapsed_s <= self._known[-1].elapsed_s:
                    self._known.clear()  # another outing has begun
                self._known.append(found)
            self._refused = ""
        except WattsumpError as error:
            self._refused = f"no running estimate: found {error.found}"
        except (ValueError, ArithmeticError) as error:  # LinAlgError is a ValueError
            self._refused = f"no running estimate: {error}"
        finally:
            self._rests_s = max(_FIT_AGAIN_S, _FIT_SHARE * (time.monotonic() - began_s))
            self._is_busy = False

    def learned(self, look: "Look", step: str) -> "Learned | None":
        """Return what is known by now; enough in the work loop when more adds little."""
        from wattsump_logger.guide_steps import Learned

        known = tuple(self._known)
        if not known:
            return Learned(text=self._refused) if self._refused else None
        from wattsump_analysis.guide import adds_little, words

        return Learned(text=words(known), enough=step == "work loop" and adds_little(known))


class Guided:
    """A guide whose estimate sees every look, not only those of the steps that ask for it."""

    def __init__(self, guide: "Guide", running: RunningK) -> None:
        self._guide = guide
        self._running = running
        self._said: set[str] = set()  # a newer figure takes the place of these

    def follow(self, look: "Look", *, go_on: bool = False) -> "Advice":
        """Return the guide's advice with what is known by now, also between its steps."""
        self._running.take(look)
        advice = self._guide.follow(look, go_on=go_on)
        known = self._running.learned(look, advice.stage)
        if known is None:
            return advice
        self._said.add(known.text)
        rest = tuple(line for line in advice.learned if line not in self._said)
        return replace(advice, learned=(known.text, *rest))
