"""Divides a machine's outings into stretches that differ by more than it repeats.

K and heat of an outing are tested together, as logarithms, because their errors are correlated:
a heat capacity 5 % high raises both by 5 %. A change of one without the other is therefore much
stronger evidence than a change of both alike.

For every outing the odds of a change from there on are computed against no change there. Whatever
else may be there, a change elsewhere, an odd outing, a drift, may be there with the change or
without: both sums are made. The most likely of these joins the model, and the search is repeated.
At the end each step is judged beside the others, and those not worth telling are taken out.

References
----------
.. [1] A. N. Shiryaev, On optimum methods in quickest detection problems, Theory of Probability
   and its Applications 8 (1963) 22: a change at an unknown time is reported when its
   probability passes a limit.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wattsump_analysis.arrays import FloatArray, out_of_range
from wattsump_analysis.season.causes import PATTERNS, noted_odds, pattern_odds
from wattsump_analysis.season.conditions import plain_rows
from wattsump_analysis.season.events import EventKind
from wattsump_analysis.season.evidence import (
    FLAT,
    TYPICAL,
    Evidence,
    Given,
    Grid,
    covariance_of,
    log_sum,
    shift_evidence,
)

__all__ = (
    "WINDOW",
    "Levels",
    "Scatter",
    "Stretches",
    "find_stretches",
    "levels_at",
    "smallest_seen",
    "usual_scatter",
)

# How likely something changes between two outings, and that an outing is odd by itself: one
# or two changes a season, one outing in fifty. Common practice, no source.
CHANGE_ODDS, ODD_ODDS = 1.0 / 25.0, 1.0 / 50.0
ODD_SD = 0.4
# Odds from which a change is reported, times what it is worth: a loss of K is worth telling early,
# since heat goes with the work and a wash is soon done. Of a change that rests on the newest two or
# three outings the odds must be so many times higher, since another is soon there. Chosen on drawn
# seasons for false alarms under one in fifty outings; docs/validation-seasons.md has the rates in
# seasons that had no part in the choice.
REPORT = 0.15
LESS_WORTH = 0.1
WORTH = np.log([1.0 if pattern.mean[0] < 0.0 else LESS_WORTH for pattern in PATTERNS])
WAITS = {2: 3.0, 3: 1.5}
# What else may be there seldom raises the odds of a step by more, in a logarithm: steps further
# below the limit are not tried, which saves half of the work.
HOPELESS = 1.5
REPORT_DRIFT, REPORT_ODD = REPORT / LESS_WORTH, 3.0
# A drift is rare, of so much in ten outings, and tested from so many outings on.
DRIFT_ODDS, DRIFT_SD, FEWEST_FOR_DRIFT = 0.1, 0.08, 8
DRIFT_WIDTH = 2.0  # of its standard uncertainty, in the quantity that drifts
# A step in the model has any size.
STEP_SD = 1.0
FEWEST = 2
# The grid moves until its middle is off by less than so many standard deviations.
MOST_MOVES, CENTRED = 12, 0.6
# The odds of the patterns are summed over places so near to a step.
NEAR = 2
LONGEST_PAIR = 12  # outings between two changes that are looked for together; a choice
# The work grows with the cube of the outings, and a change is known from those about it: more are
# searched in windows that overlap by half.
WINDOW = 120
USUAL_CORRELATION = 0.15  # of neighbouring outings, where nothing else is known; a choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """How one machine repeats: covariance (2, 2) of ln K and ln heat, and its basis."""

    covariance: FloatArray
    own_outings: float

    @property
    def sd(self) -> FloatArray:
        """Standard deviations of ln K and ln heat of one outing, shape (2,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def correlation(self) -> float:
        """Correlation of the two within one outing."""
        sd = self.sd
        return float(self.covariance[0, 1] / (sd[0] * sd[1]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """What outings say with their steps where they are.

    `steps` are the changes of (ln K, ln heat) at each step, (m, 2), with covariances (m, 2, 2).
    `referred` are the rows under like conditions, (n, 2), and `u_referred` the standard
    uncertainty of bringing them there, beside the median outing. `now` is the level of the
    newest stretch, (2,), with standard uncertainties `u_now`. `correlation` is that of
    neighbouring outings. `drift` is a steady change from one outing to the next, (2,), beside
    the steps, 0 where none is needed; `u_drift` its standard uncertainty.
    """

    steps: FloatArray
    covariance: FloatArray
    referred: FloatArray
    u_referred: FloatArray
    now: FloatArray
    u_now: FloatArray
    correlation: float
    scatter: Scatter
    drift: FloatArray
    u_drift: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretches:
    """Stretches of like outings.

    `starts` are positions of each stretch's first outing, the first being 0; `patterns` the
    logarithms of the odds of what each step may be, as of `causes.pattern_odds`; `chances` the
    probability of each step that anything changed there at all. `odd` are
    positions of outings set aside; `newest_is_odd` says that the last outing alone differs.
    """

    starts: tuple[int, ...]
    patterns: tuple[FloatArray, ...]
    chances: tuple[float, ...]
    odd: tuple[int, ...]
    newest_is_odd: bool
    levels: Levels

    @property
    def drifting(self) -> tuple[bool, bool]:
        """Whether (K, heat) goes steadily one way."""
        k, heat = np.abs(self.levels.drift) > DRIFT_WIDTH * self.levels.u_drift
        return bool(k), bool(heat)

    @property
    def scatter(self) -> Scatter:
        """How the machine repeats."""
        return self.levels.scatter

    def members(self, stretch: int, n: int) -> NDArray[np.int64]:
        """Positions of the outings of a stretch, odd ones left out."""
        end = self.starts[stretch + 1] if stretch + 1 < len(self.starts) else n
        inside = np.arange(self.starts[stretch], end)
        return inside[~np.isin(inside, self.odd)]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Model:
    """Where steps begin, odd outings, and whether all drifts."""

    steps: tuple[int, ...] = ()
    odd: tuple[int, ...] = ()
    drifts: bool = False

    def given(self, given: Given) -> Given:
        """The outings with all of it, steps first."""
        n = len(given.rows)
        for at in self.steps:
            given = given.along(_after(n, np.array([at]))[:, 0], STEP_SD**2 * np.eye(2))
        for at in self.odd:
            given = given.along(np.eye(n)[at], ODD_SD**2 * np.eye(2))
        return given.along(_ramp(n), DRIFT_SD**2 * np.eye(2)) if self.drifts else given

    def stepping(self, *places: int) -> "_Model":
        """The model with further steps."""
        return replace(self, steps=tuple(sorted((*self.steps, *places))))

    def without_step(self, number: int) -> "_Model":
        """The model with one step less."""
        return replace(self, steps=self.steps[:number] + self.steps[number + 1 :])

    def places(self, n: int) -> NDArray[np.int64]:
        """Where a further step may begin."""
        free = np.arange(FEWEST, n - FEWEST + 1)
        distant = np.abs(np.subtract.outer(free, np.array(self.steps))) >= FEWEST
        return np.asarray(free[distant.all(axis=1)])


def _after(n: int, places: NDArray[np.int64]) -> FloatArray:
    return (np.arange(n)[:, None] >= places).astype(np.float64)


def _inside(n: int, stretches: Sequence[tuple[int, int]]) -> FloatArray:
    begin, end = np.array(stretches).T
    place = np.arange(n)[:, None]
    return np.asarray((place >= begin) & (place < end), dtype=np.float64)


def _ramp(n: int) -> FloatArray:
    """A steady change, by 1 in ten outings."""
    return np.asarray((np.arange(n) - 0.5 * (n - 1)) / 10.0, dtype=np.float64)


def usual_scatter(own_u: ArrayLike) -> FloatArray:
    """Scatter to begin with, from what the outings say of themselves.

    Parameters
    ----------
    own_u : array_like, shape (n, 2)
        Relative standard uncertainties of K and heat that each outing drew afresh; NaN where
        an outing has none.

    Returns
    -------
    ndarray, shape (3,)
        `TYPICAL`, widened by up to 2 where the median outing says it is worse. What it says
        never narrows it: a stated uncertainty is a claim, and repeating is the proof.
    """
    u = np.asarray(own_u, dtype=np.float64).reshape(-1, 2)
    typical_sd = np.sqrt(np.diag(covariance_of(TYPICAL)))
    factor = 1.0
    for column in range(2):
        stated = u[np.isfinite(u[:, column]), column]
        if stated.size:
            factor = max(factor, float(np.median(stated) / typical_sd[column]))
    return TYPICAL * min(factor, 2.0)


def find_stretches(
    outings: ArrayLike | Given,
    *,
    usual: FloatArray = TYPICAL,
    events: Sequence[Sequence[EventKind]] = (),
) -> Stretches:
    """Divide outings into stretches wherever they differ beyond repeatability.

    Parameters
    ----------
    outings : Given, or array_like of shape (n, 2)
        ln K and ln heat, one row per outing, in order.
    usual : ndarray, shape (3,)
        Scatter to lean on while the machine's own outings are few.
    events : sequence of sequences of EventKind
        What was noted near each outing; nothing unless given.

    Returns
    -------
    Stretches

    Raises
    ------
    RangeError
        Rows that are not two or more pairs of finite numbers.
    """
    given = outings if isinstance(outings, Given) else plain_rows(_pairs(outings))
    n = len(given.rows)
    noted = np.array([noted_odds(kinds) for kinds in events]) if events else np.zeros((n, 1))
    search = _Search(given, usual, noted)
    found = search.found() if n <= WINDOW else _by_windows(given, usual, noted)
    model = _Model(steps=tuple(step.at for step in found.steps), odd=found.odd, drifts=found.drifts)
    if n > WINDOW:
        model = replace(model, drifts=search.is_drifting(model))
    beside = search.beside(model)
    return Stretches(
        starts=(0, *model.steps),
        patterns=tuple(step.patterns for step in found.steps),
        chances=tuple(step.chance for step in found.steps),
        odd=tuple(sorted(model.odd)),
        # An odd newest outing may as well be the first of a change.
        newest_is_odd=bool(beside.odd[-1] + np.log(1.0 + CHANGE_ODDS / ODD_ODDS) > 0.0),
        levels=_levels(given, beside.evidence, model),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    """A step to be told: where, the odds of its patterns, and the chance that it is one."""

    at: int
    patterns: FloatArray
    chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """What a search ends with."""

    steps: tuple[_Step, ...]
    odd: tuple[int, ...]
    drifts: bool = False


def _by_windows(given: Given, usual: FloatArray, noted: FloatArray) -> _Found:
    """Search windows, and keep what each has in its middle half, or at the ends of all outings."""
    n, half = len(given.rows), WINDOW // 2
    steps: list[_Step] = []
    odd: set[int] = set()
    begins = range(0, n - half, half)
    for begin in begins:
        part = slice(begin, n if begin == begins[-1] else begin + WINDOW)
        found = _Search(given.part(part), usual, noted[part]).found()
        low = 0 if begin == 0 else begin + half // 2
        high = n if begin == begins[-1] else begin + half + half // 2
        odd |= {begin + at for at in found.odd if low <= begin + at < high}
        here = [replace(step, at=begin + step.at) for step in found.steps]
        # Near a border two windows may have one step at neighbouring places, or each beyond it.
        again = {
            min(near, key=lambda step: abs(step.at - other.at)).at
            for other in steps
            if (near := [step for step in here if abs(step.at - other.at) <= 2 * NEAR])
        }
        steps += [
            step for step in here if low - NEAR <= step.at < high + NEAR and step.at not in again
        ]
    return _Found(steps=tuple(sorted(steps, key=lambda step: step.at)), odd=tuple(sorted(odd)))


def levels_at(given: Given, at: int, usual: FloatArray) -> tuple[Levels, FloatArray]:
    """Levels with one step at a given place, and the odds of each pattern there."""
    n = len(given.rows)
    search = _Search(given, usual, np.zeros((n, 1)))
    odds = pattern_odds(*_along(search.evidence(_Model()), _after(n, np.array([at]))))
    model = _Model(steps=(at,))
    return _levels(given, search.evidence(model), model), odds[0]


def _along(evidence: Evidence, columns: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    return (*evidence.along(columns), evidence.log_weights)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Beside:
    """Logarithms of the odds of what a model does not have, and the evidence they come from.

    `steps` (places, patterns) are of a step at each of `places`; `odd` (n,) of an odd outing,
    `drift` of a drift.
    """

    evidence: Evidence
    places: NDArray[np.int64]
    steps: FloatArray
    odd: FloatArray
    drift: float

    def rest(self, at: int) -> float:
        """Of all that may be there besides, or nothing, except a step near a place."""
        elsewhere = self.steps[np.abs(self.places - at) > NEAR].ravel()
        return float(log_sum(np.array([self.no_step, self.drift, *elsewhere]), axis=0))

    @property
    def no_step(self) -> float:
        """Of nothing more, or an odd outing, wherever."""
        return float(log_sum(np.array([0.0, *self.odd]), axis=0))

    @property
    def stepless(self) -> float:
        """Of all but a drift: nothing more, odd outings, steps."""
        return float(np.logaddexp(self.no_step, log_sum(self.steps, axis=(0, 1))))

    def best(self, low: int, high: int) -> tuple[int, FloatArray]:
        """Place most worth telling of between two steps, and odds of each pattern near it.

        Nearer places count for more: of a change that may lie at several it is the middle.
        """
        between = (self.places > low) & (self.places < high)
        places, steps = self.places[between], self.steps[between]
        near = np.maximum(NEAR + 1 - np.abs(np.subtract.outer(places, places)), 0)
        worth = _worth(steps)
        at = int(places[np.argmax(near @ np.exp(worth - worth.max()))])
        return at, log_sum(steps[np.abs(places - at) <= NEAR], axis=0)


class _Search:
    """Odds of what models do not have, each computed once."""

    def __init__(self, given: Given, usual: FloatArray, noted: FloatArray) -> None:
        self._given, self._n, self._noted = given, len(given.rows), noted
        self._usual = self._centre = usual
        self._done: dict[_Model, _Beside] = {}

    def evidence(self, model: _Model) -> Evidence:
        """Evidence under a model; the grid moves to where the machine's scatter is."""
        given, centre = model.given(self._given), self._centre
        for _ in range(MOST_MOVES):
            evidence = Evidence(given, Grid.about(self._usual, centre, self._n))
            off = np.log(evidence.centre / centre)
            if np.max(np.abs(off)) < evidence.grid.sd * CENTRED:
                break
            centre = centre * np.exp(off)
        # Others differ little from the model without changes, and begin where that ended: what is
        # found does not depend on the order of the search.
        if model == _Model():
            self._centre = centre
        return evidence

    def beside(self, model: _Model) -> _Beside:
        """Odds of what a model does not have."""
        if model not in self._done:
            evidence, n, places = self.evidence(model), self._n, model.places(self._n)
            steps = pattern_odds(*_along(evidence, _after(n, places)))
            drift = -np.inf
            if n >= FEWEST_FOR_DRIFT and not model.drifts:
                drift = float(_factors(evidence, _ramp(n)[:, None], DRIFT_SD**2 * np.eye(2))[0])
            self._done[model] = _Beside(
                evidence=evidence,
                places=places,
                steps=np.asarray(steps + np.log(CHANGE_ODDS) + self._noted[places]),
                odd=_factors(evidence, np.eye(n), ODD_SD**2 * np.eye(2)) + np.log(ODD_ODDS),
                drift=drift + float(np.log(DRIFT_ODDS)),
            )
        return self._done[model]

    def further(self, model: _Model) -> _Model | None:
        """The model with the most likely addition; None where none passes its limit."""
        beside, n = self.beside(model), self._n
        if beside.places.size:
            at, patterns = beside.best(0, n)
            stepping = model.stepping(at)
            hopeful = _worth(patterns) > _limit(n - at) - HOPELESS
            if hopeful and self.is_told(at, self.odds(model, stepping, at, patterns)):
                return stepping
            without_pair = float(np.logaddexp(beside.stepless, beside.drift))
            if there_and_back := self.pair(beside, without_pair):
                return model.stepping(*there_and_back)
            if self.is_drifting(model):
                return replace(model, drifts=True)
        return self.odder(model)

    def is_drifting(self, model: _Model) -> bool:
        """Whether a drift is likelier than the odds of all steps that a model does not have."""
        beside = self.beside(model)
        return bool(beside.drift - beside.stepless > np.log(REPORT_DRIFT))

    def odder(self, model: _Model) -> _Model | None:
        """The model with the most likely odd outing; None where none passes its limit."""
        # Of the newest outing nobody can say yet whether it is odd or the first of a change.
        odd = self.beside(model).odd.copy()
        odd[[self._n - 1, *model.odd]] = -np.inf
        worst = int(np.argmax(odd))
        if odd[worst] < np.log(REPORT_ODD):
            return None
        return replace(model, odd=(*model.odd, worst))

    def odds(self, without: _Model, stepping: _Model, at: int, patterns: FloatArray) -> FloatArray:
        """Odds of each pattern of a step that `stepping` has, against no step there.

        Whatever else may be there, may be there with the step or without.
        """
        return patterns + self.beside(stepping).rest(at) - self.beside(without).rest(at)

    def pair(self, beside: _Beside, other: float) -> tuple[int, int] | None:
        """Begin and end of a stretch at another level, if likelier than the odds of all `other`.

        A level that is left and reached again makes either step by itself a poor explanation.
        """
        free = beside.places
        apart = np.subtract.outer(free, free)
        ends, begins = np.nonzero((apart >= FEWEST) & (apart <= LONGEST_PAIR))
        if not ends.size:
            return None
        stretches = [(int(free[b]), int(free[e])) for b, e in zip(begins, ends, strict=True)]
        factors = _factors(
            beside.evidence, _inside(self._n, stretches), STEP_SD**2 * np.eye(2)
        ) + 2.0 * np.log(CHANGE_ODDS)
        if log_sum(factors, axis=0) < other:
            return None
        return stretches[int(np.argmax(factors))]

    def is_told(self, at: int, odds: FloatArray) -> bool:
        """Whether a step at a place, with its patterns' odds beside all else, is to be reported."""
        return bool(_worth(odds) > _limit(self._n - at))

    def found(self) -> _Found:
        """The whole search."""
        model = _Model()
        while (more := self.further(model)) is not None:
            model = more
        return self.settled(model)

    def settled(self, model: _Model) -> _Found:
        """What a model has, with each step at its most likely place.

        A step that is not to be told beside the others is taken out, the least likely first.
        """
        steps: list[_Step] = []
        untold: dict[int, float] = {}
        for number in range(len(model.steps)):
            others = model.without_step(number)
            low, _, high = (0, *model.steps, self._n)[number : number + 3]
            at, odds_of_each = self.beside(others).best(low, high)
            model = others.stepping(at)
            odds = self.odds(others, model, at, odds_of_each)
            chance = float(1.0 / (1.0 + np.exp(-log_sum(odds, axis=0))))
            steps.append(_Step(at=at, patterns=odds_of_each, chance=chance))
            if not self.is_told(at, odds):
                untold[number] = float(_worth(odds))
        if untold:
            model = model.without_step(min(untold, key=lambda number: untold[number]))
            while (more := self.odder(model)) is not None:
                model = more
            return self.settled(model)
        return _Found(steps=tuple(steps), odd=model.odd, drifts=model.drifts)


def _limit(after: int) -> float:
    """Logarithm of what a step must be worth to be told on so many outings after it."""
    return float(np.log(REPORT * WAITS.get(after, 1.0)))


def _worth(odds: FloatArray) -> FloatArray:
    """Logarithm of the odds (..., patterns), each times what it is worth to be told."""
    return log_sum(odds + WORTH, axis=-1)


def _factors(evidence: Evidence, columns: FloatArray, covariance: FloatArray) -> FloatArray:
    """Logarithms of Bayes factors of a change without a cause along columns (n, h)."""
    a, b, weights = _along(evidence, columns)
    factors = shift_evidence(a, b, np.zeros(2), covariance)
    return log_sum(weights[..., None] + factors, axis=(0, 1, 2))


def _levels(given: Given, evidence: Evidence, model: _Model) -> Levels:
    n, m = len(given.rows), len(model.steps)
    mean, covariance = evidence.columns_mean
    inside = model.given(given).columns
    conditions = given.columns.shape[2]
    # The conditions as they are at each outing, beside the median one.
    of_conditions = given.columns - np.median(given.columns, axis=0)
    z, spread = mean[2 : 2 + conditions], covariance[2 : 2 + conditions, 2 : 2 + conditions]
    answer = evidence.answer_mean
    off = given.offsets + of_conditions @ z
    off[:, 1] += answer[0] * given.oil_k
    u = np.sqrt(np.einsum("iqp,ps,iqs->iq", of_conditions, spread, of_conditions))
    u[:, 1] = np.hypot(u[:, 1], answer[1] * given.oil_k)
    first = 2 + conditions
    steps = mean[first : first + 2 * m].reshape(m, 2)
    blocks = [slice(first + 2 * i, first + 2 * i + 2) for i in range(m)]
    newest = np.zeros((2, mean.size))
    newest[:, :2] = FLAT * np.eye(2)
    newest[:, 2 : 2 + conditions] = np.median(given.columns, axis=0)
    for block in blocks:
        newest[:, block] = STEP_SD * np.eye(2)
    drift = slice(2 + inside.shape[2] - 2, 2 + inside.shape[2])
    return Levels(
        steps=STEP_SD * steps,
        covariance=STEP_SD**2 * np.array([covariance[b, b] for b in blocks]).reshape(m, 2, 2),
        referred=given.rows - off,
        u_referred=u,
        now=np.median(given.rows - given.offsets, axis=0) + newest @ mean,
        u_now=np.sqrt(np.einsum("qp,ps,qs->q", newest, covariance, newest)),
        correlation=evidence.correlation_mean,
        scatter=Scatter(
            covariance=evidence.scatter_mean, own_outings=float(n - m - 1 - len(model.odd))
        ),
        drift=0.1 * DRIFT_SD * mean[drift] if model.drifts else np.zeros(2),
        u_drift=(
            0.1 * DRIFT_SD * np.sqrt(np.diag(covariance)[drift]) if model.drifts else np.zeros(2)
        ),
    )


def smallest_seen(
    scatter: Scatter, before: int, after: int, *, correlation: float = USUAL_CORRELATION
) -> FloatArray:
    """Smallest loss of ln K alone and gain of ln heat alone that would have been seen, (2,).

    Four times in five, with so many outings on either side. The other of the two staying put
    is itself evidence, so it is the scatter of one given the other that counts.
    """
    place = np.arange(before + after)
    serial = max(correlation, USUAL_CORRELATION) ** np.abs(np.subtract.outer(place, place))
    step = np.column_stack([np.ones(place.size), place >= before])
    width = np.linalg.inv(step.T @ np.linalg.solve(serial, step))[1, 1]
    precision = np.linalg.inv(scatter.covariance) / width
    size = np.geomspace(0.005, 2.0, 120)
    seen = np.empty(2)
    for quantity, sign in ((0, -1.0), (1, 1.0)):
        change = np.zeros((size.size, 2))
        change[:, quantity] = sign * size
        b = change @ precision
        a = np.broadcast_to(precision, (size.size, 2, 2))
        odds = pattern_odds(a[None, None, None], b[None, None, None], np.zeros((1, 1, 1)))
        reported = _worth(odds) + np.log(CHANGE_ODDS) > _limit(after)
        # 0.84 standard deviations of a normal leave a fifth below.
        seen[quantity] = size[np.argmax(reported)] + 0.8416 / np.sqrt(precision[quantity, quantity])
    return seen


def _pairs(rows: ArrayLike) -> FloatArray:
    y = np.asarray(rows, dtype=np.float64)
    if y.ndim != 2 or y.shape[1] != 2 or len(y) < FEWEST or not np.isfinite(y).all():
        raise out_of_range("two or more finite pairs of ln K and ln heat", y, "outings")
    return y
