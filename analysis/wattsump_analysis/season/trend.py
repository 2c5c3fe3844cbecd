"""Changes of K or heat over outings: when, by how much, and their likely cause.

`trend_of` is a pure function of outings. It looks for steps first, since a step makes every
trend test fire, and then for a slope between them. A change must be larger than this machine
repeats; without one, `Trend.would_have_seen` is the size of a change that would have shown.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.results import Interval
from wattsump_analysis.season.causes import Cause, FanStep, Likely, likely, more_outings
from wattsump_analysis.season.conditions import given_of, log_rows
from wattsump_analysis.season.events import Event
from wattsump_analysis.season.levels import (
    Scatter,
    Stretches,
    find_stretches,
    smallest_seen,
    usual_scatter,
)
from wattsump_analysis.season.outing import Outing, start_of
from wattsump_analysis.season.splitting import splitting
from wattsump_analysis.statistics.change import Shape, change_in
from wattsump_analysis.statistics.intervals import NORMAL_95
from wattsump_analysis.statistics.trends import EwmaChart, ewma, theil_sen
from wattsump_logger.errors import UsageError
from wattsump_logger.notebook import card
from wattsump_logger.remark import Remark

__all__ = (
    "FEWEST_OUTINGS",
    "Chart",
    "LeftOut",
    "Step",
    "Trend",
    "causes_of",
    "divide",
    "fan_steps",
    "in_order",
    "own_u",
    "relative_change",
    "trend_of",
)

# A step needs two outings on either side.
FEWEST_OUTINGS = 4
# An event belongs to a step up to this many outings away: notes are made before or after.
EVENT_REACH = 1
# A fan step is read off slopes over minutes; single readings scatter so much (share of K).
FAN_STEP_SCATTER = 0.15
# First outings of a stretch, whose mean is the level of its chart.
CHART_LEARNS = 4
CHART_LEARNS_MOST = 10
CHART_WIDTH = 3.0
_WITHOUT_K = Remark(code="outing-without-k", text="could not tell K, and wattsump prove says why")
_WITHOUT_HEAT = Remark(
    code="outing-without-heat",
    text="told K by the oil flow alone; the heat takes a tank probe and a longer outing as well",
)
# Outings after a change within which it should be seen.
SOON = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """An outing that the trend does not count, and why."""

    name: str
    why: Remark


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A change between two outings.

    `at` is the position of the first outing after it. Changes are shares of the value
    before, with 95 % intervals. `chance` is the probability that anything changed there at all,
    `causes` what is behind it if so. `shape` says whether a slow drift would fit as well.
    `further` is how many more outings would settle the cause: 0 it is settled, None they
    would not. `cannot_split` says which causes stay open, `test` what would tell them apart.
    """

    at: int
    name: str
    start_utc: str | None
    k: Interval
    heat: Interval
    chance: float
    causes: tuple[Likely, ...]
    events: tuple[Event, ...]
    shape: Shape
    before: int
    after: int
    further: int | None
    cannot_split: Remark | None
    test: Remark | None

    @property
    def cause(self) -> Cause:
        """The most probable cause."""
        return self.causes[0].cause


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """EWMA of one quantity within one stretch, in its unit; arrays over `positions`."""

    positions: NDArray[np.int64]
    level: float
    average: EwmaChart


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Trend:
    """The trend over a machine's outings.

    `slope_k` and `slope_heat` are in shares per outing of what the steps leave, None under
    three outings; `would_have_seen` the smallest changes of (K, heat), as shares, that would
    have been seen within `SOON` outings; `odd` and `Step.at` are positions in `outings`.
    `referred` are ln K and ln heat of each outing under like conditions, (n, 2).
    """

    machine: str
    outings: tuple[Outing, ...]
    left_out: tuple[LeftOut, ...]
    scatter: Scatter
    stretches: Stretches
    steps: tuple[Step, ...]
    odd: tuple[int, ...]
    newest_is_odd: bool
    slope_k: Interval | None
    slope_heat: Interval | None
    charts_k: tuple[Chart, ...]
    charts_heat: tuple[Chart, ...]
    would_have_seen: tuple[float, float]
    referred: FloatArray

    def __repr__(self) -> str:
        counts = f"{len(self.outings)} outings, {len(self.steps)} steps"
        return f"<Trend {self.machine!r}: {counts}, {len(self.left_out)} left out>"

    def _repr_html_(self) -> str:
        """Return a card for a notebook: each outing with its K and heat."""
        rows = [("outing", "K, W/K", "heat, W", "verdict")]
        for outing in self.outings:
            k, heat = (
                "-" if value is None else f"{value:.0f}" for value in (outing.k_w_k, outing.heat_w)
            )
            rows.append((outing.name, k, heat, outing.verdict))
        return card(repr(self).strip("<>"), (), rows)

    @property
    def drifting(self) -> tuple[bool, bool]:
        """Whether (K, heat) goes steadily one way."""
        return self.stretches.drifting

    @property
    def changed(self) -> bool:
        """Whether anything at all lies beyond repeatability."""
        return bool(self.steps) or any(self.drifting)


def in_order(outings: Sequence[Outing]) -> tuple[tuple[Outing, ...], tuple[LeftOut, ...]]:
    """Sort outings by when they began and leave out what cannot be counted.

    An outing without a clock is placed by its name. The same content, or the same start, is one
    outing.
    """
    kept: list[Outing] = []
    out: list[LeftOut] = []
    first: dict[str, str] = {}
    for outing in sorted(outings, key=_when):
        signs = [sign for sign in (outing.key, outing.start_utc) if sign is not None]
        twin = next((first[sign] for sign in signs if sign in first), None)
        if twin is not None:
            why = Remark(code="same-outing", text=f"the same outing as {twin}")
            out.append(LeftOut(name=outing.name, why=why))
        elif outing.k_w_k is None:
            out.append(LeftOut(name=outing.name, why=_WITHOUT_K))
        elif outing.heat_w is None:
            out.append(LeftOut(name=outing.name, why=_WITHOUT_HEAT))
        else:
            kept.append(outing)
            first |= dict.fromkeys(signs, outing.name)
    return tuple(kept), tuple(out)


def trend_of(outings: Sequence[Outing], left_out: Sequence[LeftOut] = ()) -> Trend:
    """Look for changes over the outings of one machine.

    Parameters
    ----------
    outings : sequence of Outing
        In any order; at least `FEWEST_OUTINGS` with both K and heat.
    left_out : sequence of LeftOut
        Files that were no outings, to be listed with those left out here.

    Returns
    -------
    Trend

    Raises
    ------
    UsageError
        Too few outings, or outings of several machines.
    """
    machines = sorted({outing.machine for outing in outings})
    if len(machines) > 1:
        raise UsageError(
            expected="outings of one machine",
            found=", ".join(repr(machine) for machine in machines),
            where="trend",
            do=f"name one with --of, as in --of {machines[0]!r}",
        )
    used, uncounted = in_order(outings)
    left_out = (*left_out, *uncounted)
    if len(used) < FEWEST_OUTINGS:
        lacking = [left.name for left in uncounted if left.why in (_WITHOUT_K, _WITHOUT_HEAT)]
        more = f"record {FEWEST_OUTINGS - len(used)} more, or compare the present ones"
        mend = f"mend what they lack first, for more like {', '.join(lacking[:3])} will not help"
        raise UsageError(
            expected=f"at least {FEWEST_OUTINGS} outings that tell K and the heat",
            found=f"{len(used)}" + "".join(f"; {o.name}: {o.why}" for o in left_out[:3]),
            where="trend",
            do=mend if lacking else more,
        )
    stretches = divide(used)
    rows, referred = log_rows(used), stretches.levels.referred
    steps = tuple(
        _step(used, rows, stretches, number) for number in range(1, len(stretches.starts))
    )
    levels = _levels(referred, stretches)
    newest = len(stretches.members(len(stretches.starts) - 1, len(used)))
    correlation = stretches.levels.correlation
    seen = smallest_seen(stretches.scatter, newest, SOON, correlation=correlation)
    return Trend(
        machine=machines[0],
        outings=used,
        left_out=tuple(left_out),
        scatter=stretches.scatter,
        stretches=stretches,
        steps=steps,
        odd=stretches.odd,
        newest_is_odd=stretches.newest_is_odd,
        slope_k=_slope(referred[:, 0] - levels[:, 0], correlation),
        slope_heat=_slope(referred[:, 1] - levels[:, 1], correlation),
        charts_k=_charts(referred[:, 0], stretches, float(stretches.scatter.sd[0])),
        charts_heat=_charts(referred[:, 1], stretches, float(stretches.scatter.sd[1])),
        referred=referred,
        # K is lost and heat is gained; each is given in its own direction.
        would_have_seen=(1.0 - float(np.exp(-seen[0])), float(np.exp(seen[1])) - 1.0),
    )


def divide(outings: Sequence[Outing]) -> Stretches:
    """Stretches of outings that are in order and tell both K and heat."""
    near = [_events_near(outings, at) for at in range(len(outings))]
    return find_stretches(
        given_of(outings),
        usual=usual_scatter(own_u(outings)),
        events=[tuple(event.kind for event in events) for events in near],
    )


def causes_of(outings: Sequence[Outing], stretches: Stretches, number: int) -> tuple[Likely, ...]:
    """What is behind the step that begins stretch `number`, from 1."""
    fan = _fan_steps(outings, stretches, number)
    return likely(stretches.patterns[number - 1], fan)


def _fan_steps(outings: Sequence[Outing], stretches: Stretches, number: int) -> FanStep | None:
    old, new = (
        [outings[i] for i in stretches.members(side, len(outings))] for side in (number - 1, number)
    )
    return fan_steps(old, new)


def own_u(outings: Sequence[Outing]) -> FloatArray:
    """Each outing's own repeatability in K and heat, (n, 2), NaN if unknown."""
    return np.array([[outing.own_u_k, outing.own_u_heat] for outing in outings], dtype=np.float64)


def _when(outing: Outing) -> tuple[bool, float, str]:
    start = start_of(outing)
    return (start is None, 0.0 if start is None else start.timestamp(), outing.name)


def _events_near(outings: Sequence[Outing], at: int) -> tuple[Event, ...]:
    near = range(max(at - EVENT_REACH, 0), min(at + EVENT_REACH, len(outings) - 1) + 1)
    return tuple(event for i in near for event in outings[i].events)


def _levels(rows: FloatArray, stretches: Stretches) -> FloatArray:
    levels = np.empty_like(rows)
    for number, start in enumerate(stretches.starts):
        levels[start:] = rows[stretches.members(number, len(rows))].mean(axis=0)
    return levels


def _slope(rest: FloatArray, correlation: float) -> Interval | None:
    return theil_sen(rest, correlation=correlation) if len(rest) >= 3 else None


def _step(outings: Sequence[Outing], rows: FloatArray, stretches: Stretches, number: int) -> Step:
    n = len(rows)
    old, new = stretches.members(number - 1, n), stretches.members(number, n)
    at = stretches.starts[number]
    change, spread = stretches.levels.steps[number - 1], stretches.levels.covariance[number - 1]
    events = _events_near(outings, at)
    kinds = tuple(event.kind for event in events)
    main = int(np.argmax(np.abs(change) / np.sqrt(np.diag(spread))))
    window = np.concatenate([old, new])
    k, heat = (relative_change(float(change[i]), float(spread[i, i])) for i in range(2))
    causes = causes_of(outings, stretches, number)
    why, test = splitting((k, heat), causes, tuple(dict.fromkeys(kinds)))
    return Step(
        at=at,
        name=outings[at].name,
        start_utc=outings[at].start_utc,
        k=k,
        heat=heat,
        chance=stretches.chances[number - 1],
        causes=causes,
        events=events,
        shape=change_in(rows[window, main]),
        before=len(old),
        after=len(new),
        further=more_outings(
            change,
            stretches.scatter.covariance,
            len(old),
            len(new),
            fan=_fan_steps(outings, stretches, number),
            events=kinds,
        ),
        cannot_split=why,
        test=test,
    )


def relative_change(change: float, variance: float) -> Interval:
    """Change of a logarithm as a share of the value before, with its 95 % interval."""
    reach = NORMAL_95 * float(np.sqrt(variance))
    value, low, high = np.expm1([change, change - reach, change + reach])
    return Interval(value=float(value), low=float(low), high=float(high))


def fan_steps(old: Sequence[Outing], new: Sequence[Outing]) -> FanStep | None:
    """Share of K that the fan adds, before and after; None unless both sides switched it."""
    before, after = (
        [
            outing.fan_step_w_k / outing.k_w_k
            for outing in side
            if outing.fan_step_w_k is not None and outing.k_w_k is not None
        ]
        for side in (old, new)
    )
    if not before or not after:
        return None
    return FanStep(
        before=float(np.median(before)),
        after=float(np.median(after)),
        u_before=FAN_STEP_SCATTER / float(np.sqrt(len(before))),
        u_after=FAN_STEP_SCATTER / float(np.sqrt(len(after))),
    )


def _charts(values: FloatArray, stretches: Stretches, sigma: float) -> tuple[Chart, ...]:
    """Chart each stretch against the level of its first outings.

    The limits allow for the uncertainty of that level.
    """
    charts = []
    for number in range(len(stretches.starts)):
        inside = stretches.members(number, len(values))
        learn = min(max(CHART_LEARNS, len(inside) // 2), CHART_LEARNS_MOST)
        if len(inside) <= learn:
            continue
        level = float(values[inside[:learn]].mean())
        judged = inside[learn:]
        plain = ewma(values[judged], target=level, sigma=sigma, width=CHART_WIDTH)
        rho = stretches.levels.correlation
        # An average of correlated outings scatters more (Box and Jenkins, sec. 3.2).
        carried = np.sqrt((1.0 + 0.7 * rho) / (1.0 - 0.7 * rho))
        level_reach = CHART_WIDTH * sigma * np.sqrt((1.0 + rho) / (1.0 - rho) / learn)
        reach = np.hypot((plain.upper - level) * carried, level_reach)
        charts.append(
            Chart(
                positions=judged,
                level=float(np.exp(level)),
                average=EwmaChart(
                    value=np.exp(plain.value),
                    lower=np.exp(level - reach),
                    upper=np.exp(level + reach),
                ),
            )
        )
    return tuple(charts)
