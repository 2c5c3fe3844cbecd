"""The table of wrong moves in a guided run: what is wrong, what to do, what ends it.

The first row that fits applies. Where safety asks for something else than the step, `instead`
replaces the step's text, so that the screen never asks for both.
Times are common practice, no source.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import Enum

from wattsump_logger.watch.hot_oil import COOLED_K, Nearest
from wattsump_logger.watch.look import Look
from wattsump_logger.watch.steps import Step

__all__ = ("WRONG_MOVES", "Act", "Situation", "WrongMove", "wrong_move")

_BOUNCE_S = 5.0  # how long a flag may be wrong before the driver sees it: switches bounce
_BLIND_S = 10.0
_STARTED_S = 60.0
_GONE_S = 600.0
_IDLE_S = 900.0


class Act(Enum):
    """What a wrong move does to the step while it stands, and after `acts_after_s`."""

    NOTHING = "nothing"
    HOLD = "time stands still"
    VOID = "time begins anew; then the step is void"
    CUT = "time stands still; then a step that heats is cut short"
    PASS_OVER = "the step waits; then it is left out"
    TO_END = "time stands still; then the last step begins"


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """Where the machine and its step stand.

    `hottest` is the oil channel nearest to its stop or furthest above, `is_hot` that one has been
    there and has not cooled. `blind_s` is how long the tank has not been read, `unmet_s` how long
    the machine has not been as a running step needs it, `waited_s` how long a step has waited to
    begin.
    """

    step: Step
    look: Look
    is_running: bool
    hottest: Nearest | None = None
    is_hot: bool = False
    blind_s: float = 0.0
    unmet_s: float = 0.0
    waited_s: float = 0.0

    def asks(self, what: str, want: bool) -> bool:
        """Tell whether the step needs this of the machine."""
        return any(need.what == what and need.want is want for need in self.step.needs)

    def unmet(self, what: str, want: bool) -> bool:
        """Tell whether the step needs this of the machine and a column shows that it is not so."""
        return any(
            need.what == what and need.want is want and need.met(self.look) is False
            for need in self.step.needs
        )

    @property
    def is_heated(self) -> bool:
        """Whether the heater is on, or the running step has it on and nothing tells."""
        heater = self.look.is_on("heater")
        return heater is True or (heater is None and self.is_running and self.asks("heater", True))

    @property
    def is_hot_seen(self) -> bool:
        """Whether oil is too hot and still read."""
        return self.is_hot and self.hottest is not None

    @property
    def is_told(self) -> bool:
        """Whether a running step has been wrong for longer than a switch bounces."""
        return self.is_running and self.unmet_s >= _BOUNCE_S


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongMove:
    """One row: the driver's text, and the effect on the step. `why` goes into the mark."""

    code: str
    fits: Callable[[Situation], bool]
    wrong: str
    mend: str
    instead: str = ""
    act: Act = Act.HOLD
    acts_after_s: float = 0.0
    why: str = ""

    @property
    def holds(self) -> bool:
        """Whether the step's time stands still."""
        return self.act is not Act.NOTHING


def _hot(code: str, where: Callable[[Situation], bool], instead: str) -> WrongMove:
    return WrongMove(
        code=code,
        fits=lambda at: at.is_hot_seen and where(at),
        wrong="Oil too hot: {where} at {oil_c:.0f} degC.",
        instead=instead,
        mend="until {where} is below {cool_c:.0f} degC",
        act=Act.NOTHING,
    )


def _unseen(code: str, where: Callable[[Situation], bool], instead: str) -> WrongMove:
    return WrongMove(
        code=code,
        fits=lambda at: at.blind_s >= _BLIND_S and where(at),
        wrong="The tank's probe gives no reading: nobody sees how hot the oil is.",
        instead=instead,
        mend="goes on when it reads again; g ends this step",
        act=Act.CUT,
        acts_after_s=_STARTED_S,
        why="cut short, oil not seen",
    )


def _held(code: str, what: str, want: bool, wrong: str, mend: str) -> WrongMove:
    """A switch that is not as the running step needs it: its time stands still."""
    return WrongMove(
        code=code,
        fits=lambda at: at.is_told and at.unmet(what, want),
        wrong=f"{wrong}: time stands still.",
        mend=f"{mend}; g ends this step",
    )


WRONG_MOVES: tuple[WrongMove, ...] = (
    WrongMove(
        code="driven-plugged-in",
        fits=lambda at: at.is_heated and at.look.is_on("drive") is True,
        wrong="The drive turns with the heater plugged in.",
        instead="Stop first: drive in neutral, brake on. Then heater off; look at its cord.",
        mend="goes on when the drive stands",
    ),
    _hot(
        "hot-heated",
        lambda at: at.is_heated,
        "Heater off now. Drive in neutral, fan on: let it cool.",
    ),
    _hot(
        "hot-running",
        lambda at: at.look.is_on("engine") is not False,
        "Fan on, no load, engine at idle: let it cool.",
    ),
    _hot(
        "hot-stopped",
        lambda at: True,
        "Leave everything closed, hands off. Fan on if it runs without the engine.",
    ),
    _unseen(
        "probe-lost-heated",
        lambda at: at.is_heated,
        "Heater off now, fan on. Engine off before you look at the probe's plug.",
    ),
    _unseen(
        "probe-lost",
        lambda at: True,
        "Fan on, no load. Engine off before you look at the probe's plug.",
    ),
    WrongMove(
        code="started-in-soak",
        fits=lambda at: at.is_told and at.step.until.settled and at.unmet("engine", False),
        wrong="Engine started: this soak is void.",
        mend="stop it and the soak begins anew; g goes on without",
        act=Act.VOID,
        acts_after_s=_STARTED_S,
        why="void, engine started",
    ),
    WrongMove(
        code="heated-in-soak",
        fits=lambda at: at.is_told and at.step.until.settled and at.unmet("heater", False),
        wrong="Heater on: this soak is void.",
        mend="heater off and the soak begins anew; g goes on without",
        act=Act.VOID,
        acts_after_s=_STARTED_S,
        why="void, heater on",
    ),
    WrongMove(
        code="started-before-soak",
        fits=lambda at: not at.is_running and at.step.until.settled and at.unmet("engine", False),
        wrong="Engine is on: no soak of a running machine.",
        mend="stop it and wait until it is cold; g goes on without",
        act=Act.PASS_OVER,
        acts_after_s=_STARTED_S,
    ),
    WrongMove(
        code="heated-before-soak",
        fits=lambda at: not at.is_running and at.step.until.settled and at.unmet("heater", False),
        wrong="Heater is on: no soak of a tank that is heated.",
        mend="heater off and wait until it is cold; g goes on without",
        act=Act.PASS_OVER,
        acts_after_s=_STARTED_S,
    ),
    WrongMove(
        code="heated-standing",
        fits=lambda at: (
            at.is_heated
            and at.look.is_on("engine") is False
            and (at.is_told or not at.is_running)
            and (at.asks("engine", True) or at.asks("working", True))
        ),
        wrong="The heater is on and the oil stands still: it may char at the element.",
        instead="Heater off now. It comes on only while the engine sends oil round.",
        mend="goes on with the engine running; g ends this step",
    ),
    WrongMove(
        code="engine-stopped",
        fits=lambda at: (
            at.is_told
            and (at.unmet("working", True) or at.unmet("engine", True))
            and at.look.is_on("engine") is False
        ),
        wrong="Engine stopped: time stands still.",
        mend="start it again; g ends this step; in 10 min the cool-down begins",
        act=Act.TO_END,
        acts_after_s=_GONE_S,
        why="engine stayed off",
    ),
    WrongMove(
        code="heater-at-work",
        fits=lambda at: (
            at.look.is_on("heater") is True
            and at.look.is_on("engine") is True
            and not at.asks("drive", False)
        ),
        wrong="The heater is on while the engine runs.",
        instead="Stand still and unplug the heater; never drive off plugged in.",
        mend="goes on when the heater is off",
    ),
    _held("drive-stands", "working", True, "The drive stands", "turn it at working speed"),
    _held("drive-turns", "drive", False, "The drive turns", "drive in neutral"),
    _held("fan-is-on", "fan", False, "Fan is on", "fan off at its switch"),
    _held("fan-is-off", "fan", True, "Fan is off", "fan on at its switch"),
    _held(
        "heater-is-off",
        "heater",
        True,
        "Heater is off",
        "heater on, or its own cut-out has opened",
    ),
    _held("heater-is-on", "heater", False, "Heater is on", "heater off and unplugged"),
    _held("engine-is-on", "engine", False, "Engine is on", "stop it"),
    WrongMove(
        code="nobody-begins",
        fits=lambda at: not at.is_running and at.waited_s >= _IDLE_S,
        wrong="This step has waited for 15 min.",
        mend="g begins it or leaves it out; Ctrl-C ends the outing",
        act=Act.NOTHING,
    ),
)


def wrong_move(situation: Situation) -> WrongMove | None:
    """Return the first row that fits, its words filled in; None where nothing is wrong."""
    move = next((row for row in WRONG_MOVES if row.fits(situation)), None)
    if move is None or situation.hottest is None:
        return move
    nearest = situation.hottest
    values = {"where": nearest.where, "oil_c": nearest.oil_c, "cool_c": nearest.stop_c - COOLED_K}
    return replace(move, wrong=move.wrong.format(**values), mend=move.mend.format(**values))
