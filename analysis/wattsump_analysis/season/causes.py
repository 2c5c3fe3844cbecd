"""Probable causes of a change: the cooler, its fan, the drive, or something that moves both.

The rule of the trade is K down and heat the same: cooler; K the same and heat up: drive; both:
oil, air or a moved sensor; K down and the fan step gone: fan. Here each cause has a distribution
of the change of ln K and ln heat, and Bayes' rule compares it with the measured change and its
covariance. Causes with the same effect keep nearly even probabilities.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from wattsump_analysis.arrays import out_of_range
from wattsump_analysis.season.events import EventKind
from wattsump_analysis.season.serial import U_OIL_HEAT_PER_K

__all__ = ("Cause", "FanStep", "Likely", "attribute", "more_outings")

SURE = 0.9
# With more further outings than this, another kind of test is quicker.
MOST_FURTHER = 12


class Cause(StrEnum):
    """The cause of a change."""

    COOLER = "the cooler"
    FAN = "the fan"
    DRIVE = "the drive"
    OTHER = "oil, air or a moved sensor"


@dataclass(frozen=True, slots=True, kw_only=True)
class FanStep:
    """Share of K that the fan adds, before and after, with standard uncertainties."""

    before: float
    after: float
    u_before: float
    u_after: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Likely:
    """A cause with its probability among those listed."""

    cause: Cause
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Story:
    """Distribution of the change under a cause: mean (2,), covariance (2, 2), and prior odds."""

    cause: Cause
    odds: float
    mean: tuple[float, float]
    covariance: tuple[tuple[float, float], tuple[float, float]]


# "The same" is never exact: hotter oil is thinner, leaks more and cools a little less well.
_SAME = 0.03**2
# Sizes are common practice, no source: cores lose tenths before somebody washes them, worn
# drives add tenths; a dead fan leaves a tenth of K. A wrong capacity or a moved tank probe
# scales both alike; an oil change moves each its own way.
_STORIES = (
    _Story(cause=Cause.COOLER, odds=0.42, mean=(0.0, 0.0), covariance=((0.16, 0), (0, _SAME))),
    _Story(cause=Cause.FAN, odds=0.08, mean=(-1.4, 0.0), covariance=((0.64, 0), (0, _SAME))),
    _Story(cause=Cause.DRIVE, odds=0.30, mean=(0.0, 0.0), covariance=((_SAME, 0), (0, 0.09))),
    _Story(
        cause=Cause.OTHER,
        odds=0.10,
        mean=(0.0, 0.0),
        covariance=((0.0625, 0.0625 - _SAME / 2), (0.0625 - _SAME / 2, 0.0625)),
    ),
    _Story(cause=Cause.OTHER, odds=0.10, mean=(0.0, 0.0), covariance=((0.04, 0), (0, 0.04))),
)
# Factor on the odds of an event noted at a change: a likely cause, not a proof.
_EVENT_ODDS = 4.0
_SUGGESTS: Mapping[EventKind, Cause] = {
    EventKind.CLEAN: Cause.COOLER,
    EventKind.COOLER: Cause.COOLER,
    EventKind.FAN: Cause.FAN,
    EventKind.OIL: Cause.OTHER,
    EventKind.PROBE: Cause.OTHER,
    EventKind.DRIVE: Cause.DRIVE,
}
# Share of K that the fan adds when it hardly blows: about a fifth.
_FAN_GONE, _FAN_GONE_SD = 0.2, 0.2


def attribute(
    change: ArrayLike,
    covariance: ArrayLike,
    *,
    outings: float = 1e3,
    fan: FanStep | None = None,
    events: Sequence[EventKind] = (),
    hotter_k: float = 0.0,
) -> tuple[Likely, ...]:
    """Give each cause its probability.

    Parameters
    ----------
    change : array_like, shape (2,)
        Change of ln K and of ln heat.
    covariance : array_like, shape (2, 2)
        Of that change.
    outings : float
        Number behind the covariance; few make the tails heavier. Above 0.
    fan : FanStep, optional
        How much of K came with the fan, before and after.
    events : sequence of EventKind
        Events noted at the change.
    hotter_k : float
        How much hotter the oil is since, over its air [K], which changes a drive's heat.

    Returns
    -------
    tuple of Likely
        Most probable first; the probabilities sum to 1.

    Raises
    ------
    RangeError
        A change or covariance of another shape, or not finite.
    """
    d, v = np.asarray(change, dtype=np.float64), np.asarray(covariance, dtype=np.float64)
    if d.shape != (2,) or v.shape != (2, 2) or not (np.isfinite(d).all() and np.isfinite(v).all()):
        raise out_of_range(
            "a change of ln K and ln heat with its covariance", (d, v), "attribution"
        )
    if not outings > 0.0:
        raise out_of_range("outings above 0", outings, "attribution")
    weight = dict.fromkeys(Cause, 0.0)
    suggested = {_SUGGESTS[event] for event in events}
    for story in _STORIES:
        spread = v + np.asarray(story.covariance)
        if story.cause in (Cause.COOLER, Cause.FAN):
            spread[1, 1] += (U_OIL_HEAT_PER_K * hotter_k) ** 2
        density = stats.multivariate_t.pdf(
            d, loc=story.mean, shape=spread, df=max(round(outings), 3)
        )
        odds = story.odds * (_EVENT_ODDS if story.cause in suggested else 1.0)
        weight[story.cause] += odds * float(density) * _of_fan(story.cause, fan)
    total = sum(weight.values())
    ranked = sorted(weight.items(), key=lambda item: -item[1])
    return tuple(Likely(cause=cause, probability=w / total) for cause, w in ranked)


def more_outings(
    change: ArrayLike,
    one_outing: ArrayLike,
    before: int,
    after: int,
    *,
    outings: float,
    fan: FanStep | None = None,
    events: Sequence[EventKind] = (),
    hotter_k: float = 0.0,
) -> int | None:
    """How many further outings like those so far would settle the cause.

    Parameters
    ----------
    change, outings, fan, events, hotter_k
        As for `attribute`.
    one_outing : array_like, shape (2, 2)
        Covariance of ln K and ln heat of one outing.
    before, after : int
        Outings on either side so far.

    Returns
    -------
    int or None
        0 when settled; None if no sensible number is enough and another test is needed.
    """
    v = np.asarray(one_outing, dtype=np.float64)
    for further in range(MOST_FURTHER + 1):
        spread = v * (1.0 / before + 1.0 / (after + further))
        first = attribute(
            change, spread, outings=outings + further, fan=fan, events=events, hotter_k=hotter_k
        )[0]
        if first.probability >= SURE:
            return further
    return None


def _of_fan(cause: Cause, fan: FanStep | None) -> float:
    """How well the fan steps before and after fit a cause."""
    if fan is None:
        return 1.0
    if cause is Cause.FAN:
        spread = float(np.hypot(_FAN_GONE_SD, fan.u_after))
        return float(stats.norm.pdf(fan.after, _FAN_GONE, spread))
    spread = float(np.hypot(fan.u_before, fan.u_after))
    return float(stats.norm.pdf(fan.after, fan.before, spread))
