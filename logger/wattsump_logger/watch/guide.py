"""A guide through a proving run: what to do now, for how long, and what to beware of.

The live view accepts any `Guide`. `ProvingRun` is the plain one: its steps begin when the
machine's flags say that the driver has done what was asked, or when the driver says so by
a key, and end by time and oil temperature. It may be left at any time; what has been
learned so far stands. A running estimate, if there is one, comes from outside.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from wattsump_logger.watch.look import Look

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

# A rest in which no probe moves faster matches the probes, for the guide and for `prove`
# alike: at this rate a tank with a time constant of an hour and a half is 4 K off the air.
SETTLED_K_MIN = 0.05

_UNMET_S = 5.0  # how long a flag may be wrong before the driver is told: switches bounce
_GONE_ON_S = 60.0  # how long a later step must be under way before an optional one gives way
_LONGEST_TICK_S = 30.0  # a pause in looks longer than this is no time spent on a step


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """A running estimate: one line for the screen, and whether more time adds little."""

    text: str
    enough: bool = False


Estimate = Callable[[Look, str], Learned | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What the driver should see: `marks` are to be written into the session now."""

    stage: str
    do: str
    left_s: float | None = None
    until: str = ""
    urgent: str = ""
    safety: tuple[str, ...] = ()
    learned: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()
    position: str = ""
    finished: bool = False


class Guide(Protocol):
    """What the live view asks at every look."""

    def follow(self, look: Look, *, go_on: bool = False) -> Advice | None:
        """Return the advice for this moment, if any; `go_on` is the driver's key."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """Something the driver must see to: `what` is engine, working, fan or heater."""

    what: str
    want: bool

    def met(self, look: Look) -> bool | None:
        """Tell whether it is so; None where nothing tells."""
        flag = look.is_working if self.what == "working" else look.is_on(self.what)
        return None if flag is None else flag is self.want


@dataclass(frozen=True, slots=True, kw_only=True)
class Until:
    """A step may end before its time: oil above, risen by, or probes at rest."""

    oil_above_c: float | None = None
    risen_k: float | None = None
    settled: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of a run.

    `heats` says that the oil gets hotter without its cooler, `optional` that a driver who
    does what the next step asks has left this one out.
    """

    name: str
    do: str
    longest_s: float
    shortest_s: float = 0.0
    needs: tuple[Need, ...] = ()
    until: Until = Until()
    until_text: str = ""
    safety: tuple[str, ...] = ()
    heats: bool = False
    estimated: bool = False
    optional: bool = False


def met(step: Step, look: Look) -> bool | None:
    """Tell whether all a step needs is so: False if anything is not, None if untold."""
    answers = [need.met(look) for need in step.needs]
    if False in answers:
        return False
    return None if None in answers else True


class ProvingRun:
    """Follows `steps` one by one.

    Parameters
    ----------
    steps : sequence of Step
        Of `proving_steps.proving_steps`, or any other.
    oil_column : str
        The session column of the tank.
    stop_c : float
        Oil temperature at which heating steps are cut short and the driver is told to
        cool the machine.
    estimate : callable, optional
        Given the look and the step's name, returns what is known by now.
    """

    def __init__(
        self,
        steps: Sequence[Step],
        *,
        oil_column: str = "tank_c",
        stop_c: float = 79.0,
        estimate: Estimate | None = None,
    ) -> None:
        self._steps = tuple(steps)
        self._oil_column = oil_column
        self._stop_c = stop_c
        self._estimate = estimate
        self._at = 0
        self._running = False
        self._forced = False  # the driver's word stands against a flag
        self._ran_s = 0.0
        self._unmet_s = 0.0
        self._last_s: float | None = None
        self._oil_before_c: float | None = None
        self._learned: list[str] = []
        self._estimated = ""

    def follow(self, look: Look, *, go_on: bool = False) -> Advice:
        """Return the advice for this moment, moving on to the next step where it is time."""
        passed_s = 0.0 if self._last_s is None else look.now_s - self._last_s
        self._last_s = look.now_s
        if self._at >= len(self._steps):
            return self._end()
        step = self._steps[self._at]
        marks: tuple[str, ...] = ()
        if self._running:
            why = self._tick(step, look, passed_s, go_on)
            if why:
                marks = self._leave(step, look, why)
        elif self._is_left_out(step, look, go_on):
            marks = (f"stage {step.name} left out",)
            self._at += 1
        elif (state := met(step, look)) or go_on:
            marks = self._begin(step, look, forced=state is False)
        return self._advice(look, marks)

    def _is_left_out(self, step: Step, look: Look, go_on: bool) -> bool:
        """Whether an optional step, not begun, is passed over: by key, or by what is done."""
        if not step.optional or met(step, look) is not False:
            return False
        return go_on or self._is_past(look)

    def _is_past(self, look: Look) -> bool:
        """Whether the machine is as a later step needs it.

        The next two: a driver may warm the oil with the fan on, whatever he was asked.
        """
        return any(met(after, look) for after in self._steps[self._at + 1 : self._at + 3])

    def _begin(self, step: Step, look: Look, *, forced: bool) -> tuple[str, ...]:
        self._running, self._forced = True, forced
        self._ran_s = self._unmet_s = 0.0
        self._oil_before_c = look.values.get(self._oil_column)
        return (f"stage {step.name}",)

    def _tick(self, step: Step, look: Look, passed_s: float, go_on: bool) -> str:
        """Let time pass in a running step; return why it ends, "" while it goes on."""
        unmet = met(step, look) is False and not self._forced
        self._unmet_s = self._unmet_s + passed_s if unmet else 0.0
        if not unmet and 0 <= passed_s <= _LONGEST_TICK_S:
            self._ran_s += passed_s
        knows_enough = self._knows_enough(step, look)
        if go_on:
            return "by key"
        if step.optional and self._unmet_s >= _GONE_ON_S and self._is_past(look):
            return "the machine went on"
        oil_c = look.values.get(self._oil_column)
        if step.heats and oil_c is not None and oil_c >= self._stop_c:
            return "cut short, oil hot"
        if self._ran_s < step.shortest_s:
            return ""
        if self._is_reached(step.until, look) or knows_enough:
            return "done"
        return "done" if self._ran_s >= step.longest_s else ""

    def _is_reached(self, until: Until, look: Look) -> bool:
        oil_c = look.values.get(self._oil_column)
        if until.settled and _is_settled(look):
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
        found = self._estimate(look, step.name)
        self._estimated = found.text if found else self._estimated
        return bool(found and found.enough)

    def _leave(self, step: Step, look: Look, why: str) -> tuple[str, ...]:
        said = self._lesson(step, look)
        if said:
            self._learned.append(said)
        self._at += 1
        self._running = self._forced = False
        return (f"stage {step.name} ends: {why}",)

    def _lesson(self, step: Step, look: Look) -> str:
        """Return what a step taught by itself, without any model."""
        if step.until.settled:
            # Probes of a machine that was started since differ by more than their errors.
            if not _is_settled(look) or met(step, look) is False:
                return f"{step.name}: probes were not at rest"
            temps = [value for column, value in _temperatures(look)]
            if len(temps) > 1:
                return f"{step.name}: probes within {max(temps) - min(temps):.1f} K"
        oil_c = look.values.get(self._oil_column)
        if oil_c is None or self._oil_before_c is None or not self._ran_s:
            return ""
        change_k = oil_c - self._oil_before_c
        return f"{step.name}: {change_k:+.1f} K in {self._ran_s / 60:.1f} min"

    def _known(self) -> tuple[str, ...]:
        return (*([self._estimated] if self._estimated else []), *self._learned)

    def _advice(self, look: Look, marks: tuple[str, ...]) -> Advice:
        if self._at >= len(self._steps):
            return self._end(marks)
        step = self._steps[self._at]
        state = met(step, look)
        until = step.until_text
        if not self._running:
            until = "g begins it" if state is None else ""
            if step.optional and state is False:
                until = "g leaves it out"
        return Advice(
            stage=step.name,
            do=step.do,
            left_s=max(0.0, step.longest_s - self._ran_s) if self._running else None,
            until=until,
            urgent=self._warning(step, look),
            safety=step.safety,
            learned=self._known(),
            marks=marks,
            position=f"{self._at + 1} of {len(self._steps)}",
        )

    def _warning(self, step: Step, look: Look) -> str:
        oil_c = look.values.get(self._oil_column)
        if oil_c is not None and oil_c >= self._stop_c:
            return f"Oil at {oil_c:.0f} degC: fan on, no load, let it cool."
        if self._running and self._unmet_s >= _UNMET_S:
            return "Time stands still: the machine is not as this step needs it."
        return ""

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


def _is_settled(look: Look) -> bool:
    """Tell whether every probe stands still; how far they are apart is what is learned."""
    rates = [look.rates_k_min.get(column) for column, _ in _temperatures(look)]
    return bool(rates) and all(rate is not None and abs(rate) < SETTLED_K_MIN for rate in rates)
