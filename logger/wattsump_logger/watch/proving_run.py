"""The steps of the proving run, for one machine.

Times and temperatures are common practice, no source, and chosen for a machine whose oil
warms by some kelvins a minute. The fan is switched at working speed with the drive
turning, because at idle the cooler's oil flow is another. The last cool-down, with the engine
stopped, gives the heat loss of the shell, not of the cooler.

The heater warms oil that the pump circulates, so that tank and lines have one temperature; the
same without the heater gives the pump's own heat. A heater in standing oil, or a pad on the tank's
wall, is another test and no step of this one.
"""

from wattsump_logger.machine.profile import Profile
from wattsump_logger.watch.alarm_rules import Typed
from wattsump_logger.watch.guide import Estimate, ProvingRun
from wattsump_logger.watch.hot_oil import NOTHING_TYPED, safe_limit_c, stops_c
from wattsump_logger.watch.steps import Need, Step, Until

__all__ = ("proving_run", "proving_steps")

_FAN_STEPS = 3
_HEATER_TO_C = 60.0
_LEFT_FOR_CIRCULATION_K = 5.0

# Each fits a line of the screen.
_HOT = "Oil and cooler scald: no hands on hoses, tank or core."
_PRESSURE = "Never feel for a leak: oil under pressure goes through skin."
_MOVING = "Tracks or wheels turn: nobody near, someone at the stop."
_BLOCKED = "Brake on, drive locked in neutral, machine blocked against moving."
_FAN = "The fan may start by itself: fingers and clothes clear of it."
_MAINS = "Mains: residual-current protection, earth bond, full tank; never drive off."
_CORD = "Cord clear of hot and turning parts, of belts and tracks; nobody trips."
_LOCAL = "Local codes, a licensed electrician and the manual come first."
_FUMES = "Engine in the open air only."

_STOPPED = Need(what="engine", want=False)
_RUNNING = Need(what="engine", want=True)
_WORKING = Need(what="working", want=True)
_NEUTRAL = Need(what="drive", want=False)
_HEATING = Need(what="heater", want=True)
_NOT_HEATING = Need(what="heater", want=False)
_UNPLUGGED = Need(what="heater", want=False, is_usual=True)
_FAN_ON = Need(what="fan", want=True)
_FAN_OFF = Need(what="fan", want=False)


def proving_run(
    profile: Profile | None = None,
    typed: Typed = NOTHING_TYPED,
    *,
    estimate: Estimate | None = None,
) -> ProvingRun:
    """Return the guide through a proving run of this machine, by the limits the driver typed."""
    steps = proving_steps(profile, typed)
    return ProvingRun(steps, stops_c=stops_c(profile, typed), estimate=estimate)


def proving_steps(profile: Profile | None = None, typed: Typed = NOTHING_TYPED) -> tuple[Step, ...]:
    """Return the steps; the heater's are among them where the profile has one in the oil."""
    limit_c = safe_limit_c(profile, typed)
    heater = None if profile is None else profile.heater
    is_immersed = heater is not None and not heater.is_bonded
    fans = [step for number in range(1, _FAN_STEPS + 1) for step in _fan_pair(number, limit_c)]
    return (
        _soak(),
        *([_heater_run(limit_c), _circulation(limit_c)] if is_immersed else []),
        _rise(limit_c, has_heater=profile is None or heater is not None),
        *fans,
        _work_loop(),
        _cool_down(),
    )


def _soak() -> Step:
    return Step(
        name="soak",
        do="Engine and heater off, fan off. Leave the machine alone: all probes at rest.",
        shortest_s=180,
        longest_s=900,
        needs=(_STOPPED, _UNPLUGGED),
        until=Until(settled=True),
        until_text="until no probe moves by 0.05 K/min",
        safety=(_HOT,),
    )


def _heater_run(limit_c: float) -> Step:
    to_c = min(_HEATER_TO_C, limit_c - _LEFT_FOR_CIRCULATION_K)
    room = ", below the limit by what the next step adds" if to_c < _HEATER_TO_C else ""
    return Step(
        name="heater run",
        do="Engine at working speed, drive in neutral, fan off. Then heater on.",
        shortest_s=600,
        longest_s=1800,
        needs=(_RUNNING, _NEUTRAL, _HEATING, _FAN_OFF),
        until=Until(oil_above_c=to_c),
        until_text=f"until the oil is at {to_c:.0f} degC{room}",
        safety=(_BLOCKED, _MAINS, _CORD, _LOCAL, _FUMES, _HOT),
        heats=True,
        estimated=True,
        optional=True,
    )


def _circulation(limit_c: float) -> Step:
    return Step(
        name="circulation",
        do="Heater off and unplugged. Engine speed, neutral and fan off as before.",
        shortest_s=300,
        longest_s=600,
        needs=(_RUNNING, _NEUTRAL, _NOT_HEATING, _FAN_OFF),
        until=Until(oil_above_c=limit_c),
        until_text="for ten minutes, to measure the pump's own heat",
        safety=(_BLOCKED, _CORD, _FUMES, _HOT, _FAN),
        heats=True,
        estimated=True,
        optional=True,
        follows=True,
    )


def _rise(limit_c: float, *, has_heater: bool) -> Step:
    unplugged = "Heater unplugged. " if has_heater else ""
    return Step(
        name="fan-off rise",
        do=f"{unplugged}Engine at working speed, drive turning, fan off.",
        shortest_s=120,
        longest_s=2400,
        needs=(_WORKING, _FAN_OFF, _UNPLUGGED),
        until=Until(oil_above_c=limit_c),
        until_text=f"until the oil is at {limit_c:.0f} degC",
        safety=(_MOVING, _FUMES, _HOT, _FAN),
        heats=True,
        estimated=True,
    )


def _fan_pair(number: int, limit_c: float) -> tuple[Step, Step]:
    keep = "Same engine speed, drive turning as before."
    on = Step(
        name=f"fan on {number}",
        do=f"Fan on. {keep}",
        shortest_s=180,
        longest_s=300,
        needs=(_WORKING, _FAN_ON, _UNPLUGGED),
        until_text="for the whole time, however it cools",
        safety=(_FAN, _MOVING, _HOT),
        estimated=True,
    )
    off = Step(
        name=f"fan off {number}",
        do=f"Fan off. {keep}",
        shortest_s=90,
        longest_s=300,
        needs=(_WORKING, _FAN_OFF, _UNPLUGGED),
        until=Until(oil_above_c=limit_c),
        until_text=f"until the oil is at {limit_c:.0f} degC again",
        safety=(_MOVING, _HOT, _FAN),
        heats=True,
        estimated=True,
    )
    return on, off


def _work_loop() -> Step:
    return Step(
        name="work loop",
        do="Fan on. Drive your usual loop with the usual load, round after round.",
        shortest_s=600,
        longest_s=1800,
        needs=(_WORKING, _FAN_ON, _UNPLUGGED),
        until_text="for half an hour, or until enough is known",
        safety=(_MOVING, _HOT, _PRESSURE),
        estimated=True,
    )


def _cool_down() -> Step:
    return Step(
        name="stopped cool-down",
        do="Park, engine off, fan off. Leave everything closed and do not touch it.",
        shortest_s=900,
        longest_s=1800,
        needs=(_STOPPED, _UNPLUGGED),
        until_text="for half an hour",
        safety=(_HOT, _PRESSURE),
        estimated=True,
    )
