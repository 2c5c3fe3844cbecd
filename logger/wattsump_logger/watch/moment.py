"""The values that a live view shows at one moment."""

from dataclasses import dataclass
from typing import Protocol

from wattsump_logger.watch.alarms import State
from wattsump_logger.watch.guide import Advice
from wattsump_logger.watch.look import Look

__all__ = ("Course", "Forecast", "Forecaster", "Gauge", "Screen", "Sounding")


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """Where the oil is heading at the present work; None is "does not reach it".

    `u_heading_k` is the standard uncertainty of the heading.
    """

    heading_c: float
    minutes_to_limit: float | None
    limit_c: float
    u_heading_k: float = 0.0


class Forecaster(Protocol):
    """A function that forecasts the oil temperature."""

    def __call__(self, look: Look) -> Forecast | None:
        """Return the forecast for this moment, None while there is no reliable one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauge:
    """One temperature as it is shown."""

    name: str
    value_c: float | None
    rate_k_min: float | None = None
    limit_c: float | None = None
    fault: str = ""
    loud: bool = False

    @property
    def margin_k(self) -> float | None:
        """Kelvins below the limit; negative above it."""
        if self.limit_c is None or self.value_c is None:
            return None
        return self.limit_c - self.value_c


@dataclass(frozen=True, slots=True, kw_only=True)
class Sounding:
    """One alarm that is on the screen: its name, level and where it stands."""

    name: str
    urgent: bool
    state: State
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """One temperature over the last minutes, in even steps; None is a step without reading."""

    name: str
    temps_c: tuple[float | None, ...]
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """Everything a live view shows at one moment, with the units to show it in.

    `differences_k` are named differences between probes, such as inlet less outlet.
    """

    now_s: float = 0.0
    units: str = "si"
    machine: str = ""
    outing: str = ""
    port: str = ""
    link: str = ""
    elapsed_s: float | None = None
    row_count: int = 0
    complete_pct: float | None = None
    gauges: tuple[Gauge, ...] = ()
    differences_k: tuple[tuple[str, float | None], ...] = ()
    course: Course | None = None
    others: tuple[tuple[str, str], ...] = ()
    phase: str = ""
    forecast: Forecast | None = None
    known: str = ""
    alarms: tuple[Sounding, ...] = ()
    faults: tuple[str, ...] = ()
    trouble: tuple[str, ...] = ()
    marks: tuple[tuple[float | None, str], ...] = ()
    advice: Advice | None = None
    note: str | None = None
    poster: bool = False
    bell: bool = False
