"""The steps of a guided run: what each needs of the machine, and when it may end."""

from dataclasses import dataclass

from wattsump_logger.watch.look import Look

__all__ = ("SETTLED_K_MIN", "Need", "Step", "Until", "met", "settled")

# The guide and `prove` match the probes in a rest in which none moves faster than this: a tank
# with a time constant of an hour and a half is then within 4 K of the air.
SETTLED_K_MIN = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """A state that a step needs: `what` is engine, working, drive, fan or heater.

    `is_usual` marks a state that is assumed where no column shows it: most machines log no heater.
    """

    what: str
    want: bool
    is_usual: bool = False

    def __str__(self) -> str:
        return f"{'drive' if self.what == 'working' else self.what} {'on' if self.want else 'off'}"

    def met(self, look: Look) -> bool | None:
        """Tell whether the need is met; None if no column shows it."""
        flag = look.is_working if self.what == "working" else look.is_on(self.what)
        if flag is None:
            return True if self.is_usual else None
        return flag is self.want


@dataclass(frozen=True, slots=True, kw_only=True)
class Until:
    """A step may end before its time: oil above, risen by, or probes at rest."""

    oil_above_c: float | None = None
    risen_k: float | None = None
    settled: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of a run.

    `heats` marks a step that warms the oil without its cooler, `optional` one that is left out
    when the driver does what the next step asks, `follows` one that is left out with the step
    before it.
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
    follows: bool = False


def met(step: Step, look: Look) -> bool | None:
    """Tell whether all needs of a step are met: False if one is not, None if that is unknown."""
    answers = [need.met(look) for need in step.needs]
    if False in answers:
        return False
    return None if None in answers else True


def settled(look: Look) -> bool:
    """Tell whether every probe stands still; their differences are then the probes' errors."""
    rates = [
        look.rates_k_min.get(column)
        for column, value in look.values.items()
        if column.endswith("_c") and value is not None
    ]
    return bool(rates) and all(rate is not None and abs(rate) < SETTLED_K_MIN for rate in rates)
