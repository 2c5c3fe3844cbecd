"""Alarms as a pure state machine: from rules and readings to standings and notices.

A rule trips after its condition has held for the hold-off time, and clears only beyond
its hysteresis, so a value close to its limit gives one alarm. An alarm that is over but was
not acknowledged stays on the screen. A missing reading neither trips nor clears a limit; the
fault rule watches for missing readings.

    quiet -> rising -> alarm -> seen -> quiet
                         |               ^
                         +---> passed ---+     (over before anyone acknowledged it)
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum, StrEnum

from wattsump_logger.watch.look import Look

__all__ = (
    "TABLE",
    "Kind",
    "Notice",
    "Rule",
    "Signal",
    "Standing",
    "State",
    "acknowledge",
    "advance",
    "at_rest",
)


class Kind(StrEnum):
    """What a rule watches."""

    ABOVE = "above"
    BELOW = "below"
    RATE = "rate"
    FAULT = "fault"
    STALLED = "stalled"


class State(StrEnum):
    """Where an alarm stands."""

    QUIET = "quiet"
    RISING = "rising"
    ALARM = "alarm"
    SEEN = "seen"
    PASSED = "passed"


class Signal(Enum):
    """Input to one alarm: the result of one look, or the key."""

    OVER = "over"
    HELD = "held"
    BETWEEN = "between"
    CLEAR = "clear"
    UNKNOWN = "unknown"
    KEY = "key"


_Q, _R, _A, _S, _P = State.QUIET, State.RISING, State.ALARM, State.SEEN, State.PASSED

TABLE: Mapping[State, Mapping[Signal, State]] = {
    # state: over, held, between, clear, unknown, key
    state: dict(zip(Signal, row, strict=True))
    for state, row in {
        _Q: (_R, _A, _Q, _Q, _Q, _Q),
        _R: (_R, _A, _Q, _Q, _Q, _R),
        _A: (_A, _A, _A, _P, _A, _S),
        _S: (_S, _S, _S, _Q, _S, _S),
        _P: (_P, _A, _P, _P, _P, _Q),
    }.items()
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One condition that raises an alarm.

    `trip` and `clear` are in the unit of what the kind watches: °C, K/min, the share of
    faulty readings, or seconds of silence. `running_only` keeps a rule quiet while the
    engine is known to stand, when thick oil does no harm.
    """

    name: str
    kind: Kind
    trip: float
    clear: float
    column: str = ""
    channel: str = ""
    hold_off_s: float = 0.0
    urgent: bool = True
    running_only: bool = False

    @property
    def level(self) -> str:
        """The word for it: an alarm, or a warning if it is not urgent."""
        return "alarm" if self.urgent else "warning"

    def measure(self, look: Look) -> float | None:
        """Return the value that the rule compares; None where there is none."""
        match self.kind:
            case Kind.ABOVE | Kind.BELOW:
                return look.values.get(self.column)
            case Kind.RATE:
                return look.rates_k_min.get(self.column)
            case Kind.FAULT:
                return look.fault_share.get(self.channel)
            case Kind.STALLED:
                return look.silent_s

    def is_over(self, value: float) -> bool:
        """Tell whether a value trips the rule."""
        return value <= self.trip if self.kind is Kind.BELOW else value >= self.trip

    def is_clear(self, value: float) -> bool:
        """Tell whether a value is on the safe side by the hysteresis."""
        return value >= self.clear if self.kind is Kind.BELOW else value <= self.clear


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where one rule stands; `over_since_s` is when its condition last began to hold.

    `set_off` is the value that raised the alarm, None before the first.
    """

    state: State = State.QUIET
    over_since_s: float | None = None
    value: float | None = None
    set_off: float | None = None

    @property
    def named(self) -> float | None:
        """The value to name the alarm with: what set it off once it is over, else the newest."""
        return self.set_off if self.state is State.PASSED else self.value


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """An alarm changed: `event` is raised, over or seen."""

    rule: Rule
    event: str
    value: float | None

    @property
    def text(self) -> str:
        """The notice as a mark of the session: fixed words first, then the rule's name."""
        level = self.rule.level
        words = {"raised": level, "over": f"{level} over", "seen": f"{level} seen"}[self.event]
        return f"{words}: {self.rule.name}{_figure(self.rule, self.value)}"


_FIGURES = {
    Kind.ABOVE: " ({:.1f} degC)",
    Kind.BELOW: " ({:.1f} degC)",
    Kind.RATE: " ({:+.1f} K/min)",
    Kind.FAULT: " ({:.0%} of readings)",
    Kind.STALLED: " ({:.0f} s)",
}


def _figure(rule: Rule, value: float | None) -> str:
    return "" if value is None else _FIGURES[rule.kind].format(value)


def at_rest(rules: Sequence[Rule]) -> tuple[Standing, ...]:
    """Return the standings at the start of an outing."""
    return tuple(Standing() for _ in rules)


def advance(
    rules: Sequence[Rule], standings: Sequence[Standing], look: Look
) -> tuple[tuple[Standing, ...], tuple[Notice, ...]]:
    """Return the standings after one look, and what changed."""
    after, notices = [], []
    for rule, before in zip(rules, standings, strict=True):
        now = replace(_step(rule, before, look), set_off=before.set_off)
        if now.state is not before.state and (event := _EVENTS.get((before.state, now.state))):
            if event == "raised":
                now = replace(now, set_off=now.value)
            notices.append(Notice(rule=rule, event=event, value=now.value))
        after.append(now)
    return tuple(after), tuple(notices)


_EVENTS = {
    (_Q, _A): "raised",
    (_R, _A): "raised",
    (_P, _A): "raised",
    (_A, _P): "over",
    (_S, _Q): "over",
}


def _step(rule: Rule, before: Standing, look: Look) -> Standing:
    value = rule.measure(look)
    if rule.running_only and look.is_on("engine") is False:
        return Standing(state=TABLE[before.state][Signal.CLEAR], value=value)
    if value is None:
        return Standing(state=TABLE[before.state][Signal.UNKNOWN], value=before.value)
    if not rule.is_over(value):
        signal = Signal.CLEAR if rule.is_clear(value) else Signal.BETWEEN
        return Standing(state=TABLE[before.state][signal], value=value)
    since_s = look.now_s if before.over_since_s is None else before.over_since_s
    held = look.now_s - since_s >= rule.hold_off_s
    signal = Signal.HELD if held else Signal.OVER
    return Standing(state=TABLE[before.state][signal], over_since_s=since_s, value=value)


def acknowledge(
    rules: Sequence[Rule], standings: Sequence[Standing]
) -> tuple[tuple[Standing, ...], tuple[Notice, ...]]:
    """Return the standings after the acknowledge key, and a notice for each alarm it changed."""
    after, notices = [], []
    for rule, before in zip(rules, standings, strict=True):
        state = TABLE[before.state][Signal.KEY]
        if state is not before.state:
            notices.append(Notice(rule=rule, event="seen", value=before.value))
        after.append(replace(before, state=state))
    return tuple(after), tuple(notices)
