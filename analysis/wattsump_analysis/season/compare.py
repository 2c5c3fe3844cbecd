"""Compares one machine before and after: what differs, by how much, and what else changed.

One outing on each side is enough; the range of the answer then comes from how such machines
usually repeat, and with several outings from how this one does. If two things were changed at
once, their effects are not divided by a guess: `Comparison.cannot_split` says why and
`Comparison.test` names a test that separates them.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from wattsump_analysis.results import Interval
from wattsump_analysis.season.causes import Likely, likely, noted_odds
from wattsump_analysis.season.conditions import given_of
from wattsump_analysis.season.events import Event, EventKind
from wattsump_analysis.season.evidence import covariance_of
from wattsump_analysis.season.levels import Scatter, levels_at, usual_scatter
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.splitting import splitting
from wattsump_analysis.season.trend import fan_steps, in_order, own_u, relative_change
from wattsump_analysis.statistics.intervals import NORMAL_95
from wattsump_logger.errors import UsageError
from wattsump_logger.remark import Remark
from wattsump_logger.units.measure import kelvins

__all__ = ("Comparison", "Line", "compare")

# A larger difference of the air between the sides gives a remark, because the oil's viscosity
# differs too (common practice, no source).
AIR_APART_K = 5.0
# The part of the machine that a section of its profile describes.
_SECTIONS: Mapping[str, EventKind] = MappingProxyType(
    {
        "oil": EventKind.OIL,
        "cooler": EventKind.COOLER,
        "channels": EventKind.PROBE,
        "drive": EventKind.DRIVE,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One quantity before and after, as means; `change` is after less before.

    `kind` is a kind of `wattsump_logger.units.quantities`, or "minutes". `change` is a plain
    difference without interval (low and high are NaN) where one outing a side does not show how
    much the value varies by itself.
    """

    name: str
    kind: str
    before: float
    after: float
    change: Interval

    @property
    def beyond(self) -> bool:
        """Whether the interval of the change excludes zero."""
        return self.change.low > 0.0 or self.change.high < 0.0


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Comparison:
    """Before and after, side by side.

    `k` and `heat` are changes as shares of the value before, with 95 % intervals; `heat` is None
    where no outing of a side has both, `k` where none has K. `like_rise` is tank over air at the
    heat of the side before. `also` lists what else differed.
    """

    machine: str
    before: tuple[Outing, ...]
    after: tuple[Outing, ...]
    scatter: Scatter
    k: Interval | None
    heat: Interval | None
    like_rise: Line | None
    lines: tuple[Line, ...]
    causes: tuple[Likely, ...]
    also: tuple[Remark, ...]
    cannot_split: Remark | None
    test: Remark | None
    smallest_k: float

    def __repr__(self) -> str:
        sides = f"{len(self.before)} outings before, {len(self.after)} after"
        return f"<Comparison {self.machine!r}: {sides}>"


def compare(before: Sequence[Outing], after: Sequence[Outing]) -> Comparison:
    """Compare outings before with outings after.

    Parameters
    ----------
    before, after : sequence of Outing
        At least one each, of one machine.

    Returns
    -------
    Comparison

    Raises
    ------
    UsageError
        A side without outings, outings of several machines, or one outing on both sides.
    """
    _check(before, after)
    old, new = in_order(before)[0], in_order(after)[0]
    outings = [*old, *new]
    events = tuple(event for outing in after for event in outing.events)
    changed = _changed_facts(before[-1].facts, after[0].facts)
    kinds = _kinds(events, changed)
    usual = usual_scatter(own_u(outings))
    causes: tuple[Likely, ...] = ()
    scatter = Scatter(covariance=covariance_of(usual), own_outings=0.0)
    shares: list[Interval | None] = [None, None]
    # Without a side that tells both, a change would be known as badly as two usual outings.
    u_change = np.sqrt(2.0) * scatter.sd
    if old and new:
        levels, patterns = levels_at(given_of(outings), len(old), usual)
        scatter = levels.scatter
        causes = likely(patterns + noted_odds(tuple(kinds)), fan_steps(old, new))
        u_change = np.sqrt(np.diag(levels.covariance[0]))
        shares = [
            relative_change(float(change), float(u**2))
            for change, u in zip(levels.steps[0], u_change, strict=True)
        ]
    else:
        shares[0] = _change_of_k(before, after, float(scatter.sd[0]))
    why, test = splitting(shares, causes, tuple(kinds))
    return Comparison(
        machine=before[0].machine,
        before=tuple(before),
        after=tuple(after),
        scatter=scatter,
        k=shares[0],
        heat=shares[1],
        like_rise=_like_rise(old, new, float(u_change[1])),
        lines=_lines(before, after),
        causes=causes,
        also=_also(before, after, changed, events),
        cannot_split=why,
        test=test,
        # A loss whose interval would leave out zero four times in five.
        smallest_k=1.0 - float(np.exp(-(NORMAL_95 + 0.8416) * u_change[0])),
    )


def _change_of_k(before: Sequence[Outing], after: Sequence[Outing], sd: float) -> Interval | None:
    """Change of K by itself, of sides whose heat is not known; None where a side has no K."""
    logs = [[np.log(o.k_w_k) for o in side if o.k_w_k is not None] for side in (before, after)]
    if not logs[0] or not logs[1]:
        return None
    change = float(np.mean(logs[1]) - np.mean(logs[0]))
    return relative_change(change, sd**2 * (1.0 / len(logs[0]) + 1.0 / len(logs[1])))


def _check(before: Sequence[Outing], after: Sequence[Outing]) -> None:
    def wrong(expected: str, found: str, do: str) -> UsageError:
        return UsageError(expected=expected, found=found, where="compare", do=do)

    if not before or not after:
        side = "before" if not before else "after"
        raise wrong("outings on both sides", f"none {side}", "name at least one")
    machines = sorted({outing.machine for outing in (*before, *after)})
    if len(machines) > 1:
        raise wrong("outings of one machine", ", ".join(map(repr, machines)), "choose others")
    both = {outing.key for outing in before} & {outing.key for outing in after}
    if both:
        names = sorted({o.name for o in before if o.key in both})
        raise wrong("different outings", f"{', '.join(names)} on both sides", "name it once")


def _changed_facts(old: Mapping[str, str], new: Mapping[str, str]) -> dict[str, str]:
    """Changed entries of the profile: key -> "old -> new"."""
    return {
        name: f"{old.get(name, 'nothing')} -> {new.get(name, 'nothing')}"
        for name in sorted(set(old) | set(new))
        if old.get(name) != new.get(name)
    }


def _kinds(events: Sequence[Event], changed: Mapping[str, str]) -> dict[EventKind, None]:
    """Kinds of events, by mark or by profile, in order and once each."""
    by_mark = dict.fromkeys(event.kind for event in events)
    sections = (name.split(".")[0].split(" ")[0] for name in changed)
    return by_mark | dict.fromkeys(_SECTIONS[s] for s in sections if s in _SECTIONS)


def _like_rise(old: Sequence[Outing], new: Sequence[Outing], u_heat: float) -> Line | None:
    """Rise over air at the same heat: at steady work rise goes with heat."""
    outings = [[o for o in side if o.rise_k is not None and o.rise_k > 0.0] for side in (old, new)]
    if not outings[0] or not outings[1]:
        return None
    heat_w = float(np.mean([o.heat_w for o in outings[0]]))
    logs = [
        np.array([np.log(o.rise_k * heat_w / o.heat_w) for o in side])  # type: ignore[operator]
        for side in outings
    ]
    before, after = (float(np.exp(values.mean())) for values in logs)
    # Rise is read almost exactly; what scatters is the heat it is brought to.
    ratio = relative_change(float(logs[1].mean() - logs[0].mean()), u_heat**2)
    return Line(
        name="oil over air, same air and work",
        kind="temperature_difference",
        before=before,
        after=after,
        change=Interval(
            value=before * ratio.value, low=before * ratio.low, high=before * ratio.high
        ),
    )


def _lines(before: Sequence[Outing], after: Sequence[Outing]) -> tuple[Line, ...]:
    def per_hour(outing: Outing) -> float:
        return outing.minutes_above_warn / max(outing.hours, 1e-9)

    wanted: tuple[tuple[str, str, Callable[[Outing], float | None]], ...] = (
        ("oil over air, as run", "temperature_difference", lambda o: o.rise_k),
        ("hottest oil", "temperature", lambda o: o.peak_oil_c),
        ("air", "temperature", lambda o: o.ambient_c),
        ("too warm, minutes an hour", "minutes", per_hour),
        ("preheat, minutes", "minutes", lambda o: o.preheat_min),
    )
    lines = (_line(name, kind, get, before, after) for name, kind, get in wanted)
    return tuple(line for line in lines if line is not None)


def _line(
    name: str,
    kind: str,
    get: Callable[[Outing], float | None],
    before: Sequence[Outing],
    after: Sequence[Outing],
) -> Line | None:
    old, new = ([v for o in side if (v := get(o)) is not None] for side in (before, after))
    if not old or not new:
        return None
    if min(len(old), len(new)) >= 2:
        from wattsump_analysis.statistics.change import welch

        change = welch(old, new)
    else:
        nan = float("nan")
        change = Interval(value=float(np.mean(new) - np.mean(old)), low=nan, high=nan)
    return Line(
        name=name,
        kind=kind,
        before=float(np.mean(old)),
        after=float(np.mean(new)),
        change=change,
    )


def _also(
    before: Sequence[Outing],
    after: Sequence[Outing],
    changed: Mapping[str, str],
    events: Sequence[Event],
) -> tuple[Remark, ...]:
    """What else differed."""
    also = [Remark(code="noted", text=f'noted: "{event.text}" ({event.kind})') for event in events]
    also += [
        Remark(code="profile-differs", text=f"profile, {name}: {what}")
        for name, what in changed.items()
    ]
    if any(name.startswith(("metal", "oil.volume")) for name in changed):
        text = "the stated heat capacity differs, and K and heat both rest on it"
        also.append(Remark(code="capacity-differs", text=text))
    air = [[o.ambient_c for o in side if o.ambient_c is not None] for side in (before, after)]
    if air[0] and air[1] and abs(np.mean(air[1]) - np.mean(air[0])) > AIR_APART_K:
        apart_k = float(np.mean(air[1]) - np.mean(air[0]))
        also.append(Remark(code="air-differs", text=("air ", kelvins(apart_k, "+.0f"))))
    least = min(o.completeness for o in (*before, *after))
    if least < 0.9:
        text = f"an outing with only {100 * least:.0f} % of its readings"
        also.append(Remark(code="readings-missing", text=text))
    return tuple(also)
