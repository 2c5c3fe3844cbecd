"""The state of a machine after its newest outing: a word, and its present K and heat."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from wattsump_analysis.results import Interval
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.trend import Step, Trend
from wattsump_analysis.statistics.intervals import NORMAL_95

__all__ = ("Standing", "State", "newest_stretch", "state_of", "turn_of")


class Standing(StrEnum):
    """The state of a machine, in order of urgency."""

    TOO_HOT = "oil over limit"
    WORSE = "worse"
    DRIFTS = "drifts"
    APART = "newest apart"
    FEW = "too few outings"
    BETTER = "better"
    SAME = "no change"


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """A machine now: `k_w_k` and `heat_w` are the newest stretch's, under like conditions.

    `harm` is how much hotter the oil is over the air at like work since the newest change, as a
    share; 0 without a change.
    """

    standing: Standing
    k_w_k: Interval
    heat_w: Interval
    harm: float


def state_of(trend: Trend) -> State:
    """Return the state of a trend's machine."""
    k_w_k, heat_w = _levels_now(trend)
    newest = trend.steps[-1] if trend.steps else None
    return State(
        standing=_standing(trend, newest),
        k_w_k=k_w_k,
        heat_w=heat_w,
        harm=0.0 if newest is None else turn_of(newest),
    )


def newest_stretch(trend: Trend) -> tuple[Outing, ...]:
    """Return the outings since the newest change, odd ones left out."""
    members = trend.stretches.members(len(trend.stretches.starts) - 1, len(trend.outings))
    return tuple(trend.outings[i] for i in members)


def turn_of(step: Step) -> float:
    """Return the change of oil over air at like work that a step brings, as a share.

    At steady work the rise is heat over K, as the shell's part is small beside the cooler's.
    """
    return (1.0 + step.heat.value) / (1.0 + step.k.value) - 1.0


def _standing(trend: Trend, newest: Step | None) -> Standing:
    if _too_hot(newest_stretch(trend)):
        return Standing.TOO_HOT
    if newest is not None and turn_of(newest) > 0.0:
        return Standing.WORSE
    if any(trend.drifting):
        return Standing.DRIFTS
    if trend.newest_is_odd:
        return Standing.APART
    return Standing.SAME if newest is None else Standing.BETTER


def _too_hot(outings: Sequence[Outing]) -> bool:
    return any(outing.minutes_above_max > 0.0 for outing in outings)


def _levels_now(trend: Trend) -> tuple[Interval, Interval]:
    """Levels of the newest stretch with their 95 % intervals, in their units."""
    levels = trend.stretches.levels
    ends = np.multiply.outer([-NORMAL_95, 0.0, NORMAL_95], levels.u_now)
    low, value, high = np.exp(levels.now + ends)
    k, heat = (
        Interval(value=float(value[i]), low=float(low[i]), high=float(high[i])) for i in range(2)
    )
    return k, heat
