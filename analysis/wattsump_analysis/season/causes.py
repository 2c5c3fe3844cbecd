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

from wattsump_analysis.arrays import FloatArray, out_of_range
from wattsump_analysis.season.events import EventKind
from wattsump_analysis.season.evidence import log_sum, shift_evidence

__all__ = (
    "PATTERNS",
    "Cause",
    "FanStep",
    "Likely",
    "Pattern",
    "attribute",
    "likely",
    "more_outings",
    "noted_odds",
    "pattern_odds",
)

SURE = 0.9
# With more further outings than this, another kind of test is quicker.
MOST_FURTHER = 12


class Cause(StrEnum):
    """The cause of a change."""

    COOLER = "the cooler"
    FAN = "the fan"
    DRIVE = "the drive"
    BOTH = "the cooler and the drive"
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
class Pattern:
    """What a cause brings: mean (2,) and covariance (2, 2) of the change, and its odds."""

    cause: Cause
    odds: float
    mean: tuple[float, float]
    covariance: tuple[tuple[float, float], tuple[float, float]]


# "The same" is never exact.
_SAME = 0.02**2
# Sizes are common practice, no source: cores lose a tenth to a half before somebody washes
# them, worn drives add as much; a dead fan leaves a tenth of K. Neither gets better unless
# something was done. A wrong capacity or a moved tank probe scales both alike; thinner oil
# passes the core better and leaks more, so an oil change moves both one way, the heat less.
PATTERNS = (
    Pattern(cause=Cause.COOLER, odds=0.18, mean=(-0.12, 0), covariance=((0.06**2, 0), (0, _SAME))),
    Pattern(cause=Cause.COOLER, odds=0.20, mean=(-0.4, 0), covariance=((0.25**2, 0), (0, _SAME))),
    Pattern(cause=Cause.COOLER, odds=0.06, mean=(0.3, 0), covariance=((0.25**2, 0), (0, _SAME))),
    Pattern(cause=Cause.FAN, odds=0.08, mean=(-1.4, 0), covariance=((0.8**2, 0), (0, _SAME))),
    Pattern(cause=Cause.DRIVE, odds=0.12, mean=(0, 0.12), covariance=((_SAME, 0), (0, 0.06**2))),
    Pattern(cause=Cause.DRIVE, odds=0.15, mean=(0, 0.3), covariance=((_SAME, 0), (0, 0.15**2))),
    Pattern(cause=Cause.DRIVE, odds=0.02, mean=(0, -0.3), covariance=((_SAME, 0), (0, 0.2**2))),
    Pattern(
        cause=Cause.BOTH,
        odds=0.07,
        mean=(-0.35, 0.25),
        covariance=((0.2**2, 0), (0, 0.12**2)),
    ),
    Pattern(
        cause=Cause.OTHER,
        odds=0.07,
        mean=(0, 0),
        covariance=((0.0625, 0.0625 - _SAME / 2), (0.0625 - _SAME / 2, 0.0625)),
    ),
    Pattern(
        cause=Cause.OTHER,
        odds=0.05,
        mean=(0, 0),
        covariance=((0.0625, 0.04), (0.04, 0.03)),
    ),
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


def pattern_odds(a: FloatArray, b: FloatArray, log_weights: FloatArray) -> FloatArray:
    """Logarithm of each pattern's odds against no change, before what was noted.

    Parameters
    ----------
    a, b : ndarray, shapes (j, v, g, ..., 2, 2) and (j, v, g, ..., 2)
        As of `Evidence.along`: the likelihood of a change d is exp(b'd - d'a d / 2).
    log_weights : ndarray, shape (j, v, g)
        As of `Evidence`.

    Returns
    -------
    ndarray, shape (..., number of patterns)
    """
    weights = log_weights.reshape(*log_weights.shape, *[1] * (b.ndim - 4))
    factors = [shift_evidence(a, b, pattern.mean, pattern.covariance) for pattern in PATTERNS]
    odds = np.log([pattern.odds for pattern in PATTERNS])
    return log_sum(weights + np.stack(factors), axis=(1, 2, 3)).T + odds


def noted_odds(events: Sequence[EventKind]) -> FloatArray:
    """What was noted adds so much to the logarithm of each pattern's odds."""
    suggested = {_SUGGESTS[event] for event in events}
    return np.log([_EVENT_ODDS if pattern.cause in suggested else 1.0 for pattern in PATTERNS])


def likely(log_odds: FloatArray, fan: FanStep | None = None) -> tuple[Likely, ...]:
    """Causes with their probabilities, most probable first, from the odds of the patterns.

    Parameters
    ----------
    log_odds : ndarray, shape (number of patterns,)
        As of `pattern_odds`.
    fan : FanStep, optional
        How much of K came with the fan, before and after.

    Returns
    -------
    tuple of Likely
        The probabilities sum to 1.
    """
    share = np.exp(log_odds - log_odds.max())
    weight = dict.fromkeys(Cause, 0.0)
    for pattern, part in zip(PATTERNS, share, strict=True):
        weight[pattern.cause] += float(part) * _of_fan(pattern.cause, fan)
    total = sum(weight.values())
    ranked = sorted(weight.items(), key=lambda item: -item[1])
    return tuple(Likely(cause=cause, probability=w / total) for cause, w in ranked)


def attribute(
    change: ArrayLike,
    covariance: ArrayLike,
    *,
    fan: FanStep | None = None,
    events: Sequence[EventKind] = (),
) -> tuple[Likely, ...]:
    """Give each cause its probability, for a change whose covariance is known.

    Parameters
    ----------
    change : array_like, shape (2,)
        Change of ln K and of ln heat.
    covariance : array_like, shape (2, 2)
        Of that change.
    fan : FanStep, optional
        How much of K came with the fan, before and after.
    events : sequence of EventKind
        What was noted at the change.

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
    a: FloatArray = np.linalg.inv(v).astype(np.float64)
    b = (a @ d).reshape(1, 1, 1, 2)
    odds = pattern_odds(a.reshape(1, 1, 1, 2, 2), b, np.zeros((1, 1, 1)))
    return likely(odds + noted_odds(events), fan)


def more_outings(
    change: ArrayLike,
    one_outing: ArrayLike,
    before: int,
    after: int,
    *,
    fan: FanStep | None = None,
    events: Sequence[EventKind] = (),
) -> int | None:
    """How many further outings like those so far would settle the cause.

    Parameters
    ----------
    change, fan, events
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
        if attribute(change, spread, fan=fan, events=events)[0].probability >= SURE:
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
