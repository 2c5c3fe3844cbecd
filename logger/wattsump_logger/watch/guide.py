"""Guides a driver through a proving run: what to do now, for how long, and which hazards.

The live view accepts any `Guide`. `ProvingRun` is the plain one, a state machine: a step waits
until the machine's flags say that the driver has done what was asked, or the driver says so by
a key; it runs until its time or temperature is reached. During a wrong move (`wrong_moves`) its
time stands still, or the step is void. The run may be ended at any time and keeps its results. A
running estimate, if there is one, comes from outside.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from wattsump_logger.watch.hot_oil import HotOil
from wattsump_logger.watch.look import Look
from wattsump_logger.watch.steps import SETTLED_K_MIN, Need, Step, Until, met, settled
from wattsump_logger.watch.wrong_moves import Act, Situation, WrongMove, wrong_move

__all__ = (
    "SETTLED_K_MIN",
    "Advice",
    "Estimate",
    "Guide",
    "Learned",
    "Need",
    "ProvingRun",
    "Step",
    "Until",
    "met",
)

_LONGEST_TICK_S = 30.0  # a longer pause between looks does not count as time of a step
_GONE_ON_S = 60.0  # of a later step, before an optional one counts as left out


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """A running estimate: one line for the screen, and whether more time adds little."""

    text: str
    enough: bool = False


Estimate = Callable[[Look, str], Learned | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What the driver should see: `marks` are to be written into the session now.

    `wrong` is the code of the wrong move that `urgent` tells of.
    """

    stage: str
    do: str
    left_s: float | None = None
    until: str = ""
    urgent: str = ""
    wrong: str = ""
    safety: tuple[str, ...] = ()
    learned: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()
    position: str = ""
    finished: bool = False


class Guide(Protocol):
    """The interface that the live view calls at every look."""

    def follow(self, look: Look, *, go_on: bool = False) -> Advice | None:
        """Return the advice for this moment, if any; `go_on` is the driver's key."""


class ProvingRun:
    """Follows `steps` one by one.

    Parameters
    ----------
    steps : sequence of Step
        Of `proving_run.proving_steps`, or any other.
    stops_c : mapping of str to float
        By role of oil, the temperature [°C] at which heating steps are cut short and the
        driver is told to cool the machine.
    estimate : callable, optional
        Called with the look and the step's name; returns the estimate so far.
    """

    def __init__(
        self,
        steps: Sequence[Step],
        *,
        stops_c: Mapping[str, float],
        estimate: Estimate | None = None,
    ) -> None:
        self._steps = tuple(steps)
        self._hot = HotOil(stops_c)
        self._estimate = estimate
        self._at = 0
        self._running = False
        self._forced = False  # the driver's key overrules a flag
        self._ran_s = 0.0
        self._unmet_s = 0.0  # how long the machine has not been as a running step needs it
        self._waited_s = 0.0
        self._past_s = 0.0  # how long the machine has been as a step after an optional one needs it
        self._blind_s: float | None = None  # since the tank was last read, None before
        self._wrong: WrongMove | None = None
        self._last_s: float | None = None
        self._oil_before_c: float | None = None
        self._learned: list[str] = []
        self._estimated = ""

    def follow(self, look: Look, *, go_on: bool = False) -> Advice:
        """Return the advice for this moment; move on to the next step when one ends."""
        passed_s = 0.0 if self._last_s is None else look.now_s - self._last_s
        self._last_s = look.now_s
        if self._at >= len(self._steps):
            return self._end()
        step = self._steps[self._at]
        passed_s = passed_s if 0 <= passed_s <= _LONGEST_TICK_S else 0.0
        situation = self._situation(step, look, passed_s)
        self._wrong = wrong_move(situation)
        marks: tuple[str, ...] = ()
        if self._running:
            why = self._tick(step, look, passed_s, go_on)
            if why:
                marks = self._leave(step, look, why)
        elif self._is_left_out(step, look, passed_s, go_on):
            marks = self._leave_out()
        elif not (self._hot.is_hot and step.heats) and ((state := met(step, look)) or go_on):
            marks = self._begin(step, look, forced=state is False)
        if marks:  # the wrong move was of the step before
            self._wrong = (
                wrong_move(self._situation(self._steps[self._at], look, 0.0))
                if (self._at < len(self._steps))
                else None
            )
        return self._advice(look, marks)

    def _situation(self, step: Step, look: Look, passed_s: float) -> Situation:
        """Count the time since the last look, and return the state of machine and step."""
        self._hot.take(look)
        if look.read("tank") is not None:
            self._blind_s = 0.0
        elif self._blind_s is not None:
            self._blind_s += passed_s
        unmet = self._running and met(step, look) is False and not self._forced
        self._unmet_s = self._unmet_s + passed_s if unmet else 0.0
        self._waited_s = 0.0 if self._running else self._waited_s + passed_s
        return Situation(
            step=step,
            look=look,
            is_running=self._running,
            hottest=self._hot.nearest,
            is_hot=self._hot.is_hot,
            blind_s=self._blind_s or 0.0,
            unmet_s=self._unmet_s,
            waited_s=self._waited_s,
        )

    def _is_left_out(self, step: Step, look: Look, passed_s: float, go_on: bool) -> bool:
        """Whether a step that has not begun is left out: by key, or because the driver went on."""
        if self._wrong is not None and self._wrong.act is Act.PASS_OVER:
            return go_on or self._waited_s >= self._wrong.acts_after_s
        if not step.optional or met(step, look) is not False:
            self._past_s = 0.0
            return False
        # Not at once: a driver may move the machine before he begins.
        self._past_s = self._past_s + passed_s if self._is_past(look) else 0.0
        return go_on or self._past_s >= _GONE_ON_S

    def _is_past(self, look: Look) -> bool:
        """Whether the machine is as one of the next two steps needs it.

        Two, because a driver may warm the oil with the fan on although asked to have it off.
        Steps that follow do not count: the machine is as they ask before this one begins.
        """
        later = [step for step in self._steps[self._at + 1 :] if not step.follows]
        return any(met(after, look) for after in later[:2])

    def _leave_out(self) -> tuple[str, ...]:
        """Pass over a step and those that follow it; return their marks."""
        marks: list[str] = []
        while not marks or (self._at < len(self._steps) and self._steps[self._at].follows):
            marks.append(f"stage {self._steps[self._at].name} left out")
            self._next()
        return tuple(marks)

    def _begin(self, step: Step, look: Look, *, forced: bool) -> tuple[str, ...]:
        self._running, self._forced = True, forced
        self._ran_s = self._unmet_s = 0.0
        self._oil_before_c = look.read("tank")
        return (f"stage {step.name}",)

    def _tick(self, step: Step, look: Look, passed_s: float, go_on: bool) -> str:
        """Count the time of a running step; return why it ends, "" while it goes on."""
        if self._wrong is None or not self._wrong.holds:
            self._ran_s += passed_s if not self._unmet_s else 0.0
        if self._wrong is not None and self._wrong.act is Act.VOID:
            self._ran_s = 0.0
        knows_enough = self._knows_enough(step, look)
        if go_on:
            return "by key"
        if why := self._broken_off(step, look):
            return why
        if self._ran_s < step.shortest_s:
            return ""
        if self._is_reached(step.until, look) or knows_enough:
            return "done"
        return "done" if self._ran_s >= step.longest_s else ""

    def _broken_off(self, step: Step, look: Look) -> str:
        """Why a step ends early, "" if it does not."""
        wrong = self._wrong
        if step.heats and self._hot.is_hot:
            where = self._hot.nearest.where if self._hot.nearest is not None else "oil"
            return f"cut short, {where} hot"
        if wrong is not None and wrong.act is Act.CUT and step.heats:
            return wrong.why if (self._blind_s or 0.0) >= wrong.acts_after_s else ""
        if step.optional and self._unmet_s >= _GONE_ON_S and self._is_past(look):
            return "the machine went on"
        if wrong is not None and wrong.act in (Act.VOID, Act.TO_END):
            return wrong.why if self._unmet_s >= wrong.acts_after_s else ""
        return ""

    def _is_reached(self, until: Until, look: Look) -> bool:
        oil_c = look.read("tank")
        if until.settled and settled(look):
            return True
        if oil_c is None:
            return False
        above = until.oil_above_c is not None and oil_c >= until.oil_above_c
        before_c = self._oil_before_c
        risen = until.risen_k is not None and before_c is not None
        return above or (risen and oil_c - (before_c or 0.0) >= (until.risen_k or 0.0))

    def _knows_enough(self, step: Step, look: Look) -> bool:
        if self._estimate is None or not step.estimated:
            return False
        learned = self._estimate(look, step.name)
        self._estimated = learned.text if learned else self._estimated
        return bool(learned and learned.enough)

    def _leave(self, step: Step, look: Look, why: str) -> tuple[str, ...]:
        lesson = self._lesson(step, look)
        if lesson:
            self._learned.append(lesson)
        if self._wrong is not None and self._wrong.act is Act.TO_END and why == self._wrong.why:
            self._at = len(self._steps) - 2  # the last step is the cool-down with the engine off
        self._next()
        return (f"stage {step.name} ends: {why}",)

    def _next(self) -> None:
        self._at += 1
        self._running = self._forced = False
        self._unmet_s = self._waited_s = self._past_s = 0.0

    def _lesson(self, step: Step, look: Look) -> str:
        """Return what the readings of a step show without any model."""
        if step.until.settled:
            # After a start the probes differ by more than their errors.
            if not settled(look) or met(step, look) is False:
                return f"{step.name}: probes were not at rest"
            temps = [value for column, value in _temperatures(look)]
            if len(temps) > 1:
                return f"{step.name}: probes within {max(temps) - min(temps):.1f} K"
        oil_c = look.read("tank")
        if oil_c is None or self._oil_before_c is None or not self._ran_s:
            return ""
        change_k = oil_c - self._oil_before_c
        return f"{step.name}: {change_k:+.1f} K in {self._ran_s / 60:.1f} min"

    def _known(self) -> tuple[str, ...]:
        return (*([self._estimated] if self._estimated else []), *self._learned)

    def _advice(self, look: Look, marks: tuple[str, ...]) -> Advice:
        if self._at >= len(self._steps):
            return self._end(marks)
        step, wrong = self._steps[self._at], self._wrong
        return Advice(
            stage=step.name,
            do=wrong.instead if wrong is not None and wrong.instead else step.do,
            left_s=max(0.0, step.longest_s - self._ran_s) if self._running else None,
            until=wrong.mend if wrong is not None else self._until(step, look),
            urgent=wrong.wrong if wrong is not None else "",
            wrong=wrong.code if wrong is not None else "",
            safety=step.safety,
            learned=self._known(),
            marks=marks,
            position=f"{self._at + 1} of {len(self._steps)}",
        )

    def _until(self, step: Step, look: Look) -> str:
        """What a step waits for when there is no wrong move."""
        if self._running:
            return step.until_text
        state = met(step, look)
        if state:
            return ""
        if step.optional and state is False:
            return "g leaves it out"
        waits_for = " and ".join(str(need) for need in step.needs if need.met(look) is False)
        return f"waits for {waits_for}; g begins it" if waits_for else "g begins it"

    def _end(self, marks: tuple[str, ...] = ()) -> Advice:
        return Advice(
            stage="end",
            do="The run is complete. Ctrl-C ends the outing.",
            learned=self._known(),
            marks=marks,
            finished=True,
        )


def _temperatures(look: Look) -> list[tuple[str, float]]:
    return [
        (column, value)
        for column, value in look.values.items()
        if column.endswith("_c") and value is not None
    ]
