"""Seasons of outings drawn with known changes, and how soon and how rightly they are named.

`python tests/validation/seasons.py` scores 210 seasons drawn as outing summaries and writes
docs/validation-seasons.md; `--fits N` adds N seasons in which each outing is a run of the
emulated machine, read by poor probes and fitted in full.
"""

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray

from wattsump_analysis.emulation.bracken import demo_profile
from wattsump_analysis.emulation.season import CHANGES, Change, write_season
from wattsump_analysis.season.causes import Cause
from wattsump_analysis.season.events import Event, EventKind
from wattsump_analysis.season.folder import gather
from wattsump_analysis.season.levels import TYPICAL_WORTH, repeatability
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.trend import FEWEST_OUTINGS, Step, Trend, in_order, log_rows, trend_of

__all__ = ("KINDS", "SeasonScore", "Truth", "draw_season", "score_season", "summary_lines")

FloatArray = NDArray[np.float64]

PAGE = Path(__file__).parents[2] / "docs" / "validation-seasons.md"
OUTINGS = 30
NEAR = 2  # a step reported so close to the true place is that step
SOON = 3
LATER = 8
MACHINE = "drawn machine"
FIRST = datetime(2026, 3, 7, 8, tzinfo=UTC)

KINDS = (
    "control",
    "cooler loses 20 %",
    "cooler loses 10 %",
    "cooler fouls 20 to 50 %, then cleaned",
    "drive wears 20 to 40 %",
    "fan fails",
    "oil or probe",
    "fouls, cleaned, wears",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Manner:
    """How untidy seasons are: each figure is drawn evenly between two ends.

    `correlation` is that of neighbouring outings, `swing` what the year does to ln K and, by two
    thirds of it, to ln heat; `answers` by how much the drive's heat answers a kelvin of oil, up
    or down; `weather` whether air and oil are those of the season; `missing` the share of
    outings of which nothing is known.
    """

    correlation: tuple[float, float] = (0.0, 0.0)
    swing: tuple[float, float] = (0.0, 0.0)
    answers: tuple[float, float] = (0.0, 0.0)
    weather: bool = False
    missing: float = 0.0


MANNERS = {
    "tidy": Manner(),
    "neighbours alike, 0.3": Manner(correlation=(0.3, 0.3)),
    "neighbours alike, 0.5": Manner(correlation=(0.5, 0.5)),
    "a year's swing of 6 %": Manner(swing=(0.06, 0.06)),
    "weather and warm oil": Manner(weather=True, answers=(0.0, 0.008)),
    "outings missing": Manner(missing=0.2),
    "all of these": Manner(
        correlation=(0.0, 0.5), swing=(0.0, 0.06), answers=(0.0, 0.008), weather=True, missing=0.1
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """One true change: the first outing after it, and what is behind it."""

    at: int
    cause: Cause


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonScore:
    """How one season was read, outing by outing.

    `delays` has one entry per true change: outings until it was named, None if never before
    the next; `right` whether the cause named first was the true one, `right_later` the same
    with all outings up to the next change, both only for changes found; `odds` the probability
    that was stated each time and whether it was right.
    """

    kind: str
    outings: int
    false_alarms: int
    delays: tuple[int | None, ...]
    right: tuple[bool, ...]
    right_later: tuple[bool, ...]
    odds: tuple[tuple[float, bool], ...]


def draw_season(
    kind: str, rng: np.random.Generator, manner: Manner = MANNERS["tidy"]
) -> tuple[list[Outing], list[Truth]]:
    """Draw a season of outing summaries.

    The scatter of ln K and ln heat is drawn about that of the full fits at the foot of
    docs/validation-seasons.md: 5.5 to 8 % and 5 to 7.5 %, correlation 0.6 to 0.9, and on top
    the work itself differs from day to day by 3 to 10 %. One outing in fifty is odd (a probe
    fell off).
    """
    n = OUTINGS
    sd = np.array([rng.uniform(0.055, 0.08), rng.uniform(0.05, 0.075)])
    r = rng.uniform(0.6, 0.9)
    rho = rng.uniform(*manner.correlation)
    own = _following(rng.multivariate_normal([0, 0], np.outer(sd, sd) * [[1, r], [r, 1]], n), rho)
    own[:, 1] += _following(rng.normal(0.0, rng.uniform(0.03, 0.10), (n, 1)), rho)[:, 0]
    year = np.sin(2.0 * np.pi * (6.0 * np.arange(n) / 365.25 + rng.uniform(0.0, 1.0)))
    own += np.outer(rng.uniform(*manner.swing) * year, [1.0, 2.0 / 3.0])
    odd = rng.random(n) < 0.02
    own[odd] += rng.normal(0.0, 0.4, (int(odd.sum()), 2))
    shift, truths, events = _changes(kind, rng, n)
    k = 90.0 * np.exp(rng.normal(0, 0.3)) * np.exp(own[:, 0] + shift[:, 0])
    heat = 3500.0 * np.exp(rng.normal(0, 0.3)) * np.exp(own[:, 1] + shift[:, 1])
    air_c = np.full(n, 15.0)
    if manner.weather:
        air_c = 12.0 + 10.0 * np.sin(2.0 * np.pi * (6.0 * np.arange(n) - 30.0) / 365.25)
        air_c += rng.normal(0.0, 4.0, n)
        k *= (293.15 / (273.15 + air_c)) ** rng.uniform(0.4, 0.7)
    answers = float(rng.choice([-1.0, 1.0])) * rng.uniform(*manner.answers)
    rise_k = np.minimum(heat / k, 90.0)
    heat *= np.exp(answers * (rise_k - np.median(rise_k) + air_c - 15.0))
    oil_c = air_c + np.minimum(heat / k, 90.0)
    fan_share = np.clip(0.9 + rng.normal(0, 0.1, n), 0, 1.2)
    seen_fan = rng.random(n) < 0.5
    for truth in truths:
        if truth.cause is Cause.FAN:
            fan_share[truth.at :] = np.abs(rng.normal(0.1, 0.12, n - truth.at))
    outings = [
        _outing(
            i,
            float(k[i]),
            float(heat[i]),
            float(fan_share[i]) if seen_fan[i] else None,
            events.get(i, ()),
            air_c=float(air_c[i]),
            oil_c=float(oil_c[i]),
        )
        for i in range(n)
    ]
    return _without_some(outings, truths, rng.random(n) < manner.missing)


def _following(rows: FloatArray, rho: float) -> FloatArray:
    """An autoregression of first order of the same variance from independent rows."""
    out = rows.copy()
    for i in range(1, len(rows)):
        out[i] = rho * out[i - 1] + np.sqrt(1.0 - rho**2) * rows[i]
    return out


def _without_some(
    outings: list[Outing], truths: list[Truth], missing: NDArray[np.bool_]
) -> tuple[list[Outing], list[Truth]]:
    """The outings that are there, and the changes at their places among them."""
    places = np.concatenate([[0], np.cumsum(~missing)])
    kept = [outing for outing, gone in zip(outings, missing, strict=True) if not gone]
    return kept, [replace(truth, at=int(places[truth.at])) for truth in truths]


def _changes(
    kind: str, rng: np.random.Generator, n: int
) -> tuple[FloatArray, list[Truth], dict[int, tuple[Event, ...]]]:
    """Shifts of ln K and ln heat (n, 2), the true changes, and the marks an owner left."""
    shift = np.zeros((n, 2))
    truths: list[Truth] = []
    events: dict[int, tuple[Event, ...]] = {}

    def change(at: int, cause: Cause, k: float, heat: float) -> None:
        shift[at:] += (k, heat)
        truths.append(Truth(at=at, cause=cause))

    at = int(rng.integers(7, 12))
    fouled = float(np.log(1.0 - rng.uniform(0.2, 0.5)))
    if kind == "cooler loses 20 %":
        change(at, Cause.COOLER, float(np.log(0.8)), 0.0)
    elif kind == "cooler loses 10 %":
        change(at, Cause.COOLER, float(np.log(0.9)), 0.0)
    elif kind.startswith("cooler fouls") or kind.startswith("fouls"):
        change(at, Cause.COOLER, fouled, 0.0)
        change(at + 7, Cause.COOLER, -fouled, 0.0)
        if rng.random() < 0.5:
            events[at + 7] = (Event(kind=EventKind.CLEAN, text="washed the core"),)
    elif kind.startswith("drive wears"):
        change(at, Cause.DRIVE, 0.0, float(np.log(rng.uniform(1.2, 1.4))))
    elif kind == "fan fails":
        change(at, Cause.FAN, float(np.log(rng.uniform(0.1, 0.5))), 0.0)
    elif kind == "oil or probe":
        sign = float(rng.choice([-1.0, 1.0]))
        size = sign * rng.uniform(0.25, 0.4)
        change(at, Cause.OTHER, size, size * float(rng.choice([1.0, 0.7])))
        events[at] = (Event(kind=EventKind.OIL, text="new oil"),)
    if kind.startswith("fouls"):
        change(at + 13, Cause.DRIVE, 0.0, float(np.log(rng.uniform(1.2, 1.4))))
    return shift, truths, events


def _outing(
    number: int,
    k_w_k: float,
    heat_w: float,
    fan_share: float | None,
    events: tuple[Event, ...],
    *,
    air_c: float,
    oil_c: float,
) -> Outing:
    return Outing(
        name=f"{number:03d}",
        key=f"{number:064x}",
        machine=MACHINE,
        start_utc=(FIRST + timedelta(days=6 * number)).isoformat(),
        hours=3.0,
        completeness=1.0,
        k_w_k=k_w_k,
        u_k=0.1,
        own_u_k=None,
        heat_w=heat_w,
        u_heat=0.1,
        own_u_heat=None,
        reference_oil_c=oil_c,
        fan_step_w_k=None if fan_share is None else fan_share * k_w_k,
        rise_k=heat_w / k_w_k,
        ambient_c=air_c,
        peak_oil_c=air_c + heat_w / k_w_k,
        events=events,
    )


def score_season(kind: str, outings: Sequence[Outing], truths: Sequence[Truth]) -> SeasonScore:
    """Read a season as its owner would: again after every outing."""
    known: list[int] = []
    false_alarms, drift_told = 0, False
    first: dict[int, tuple[int, bool]] = {}
    later: dict[int, bool] = {}
    odds: list[tuple[float, bool]] = []
    ends = [truth.at for truth in truths[1:]] + [len(outings)]
    for n in range(FEWEST_OUTINGS, len(outings) + 1):
        trend = trend_of(outings[:n])
        places = _places(trend, outings)
        for at, step in places:
            index = _belongs(at, truths)
            if index is not None and n <= ends[index]:
                right = step.cause is truths[index].cause
                first.setdefault(index, (n - truths[index].at, right))
                later[index] = right
                odds.append((step.causes[0].probability, right))
            elif index is None and not any(abs(at - old) <= NEAR for old in known):
                false_alarms += 1
        known += [at for at, _ in places]
        # A drift told while nothing changed is an alarm too, once while it lasts.
        drifting = any(trend.drifting) and not any(t.at >= n - 8 and t.at < n for t in truths)
        false_alarms += int(drifting and not drift_told)
        drift_told = drifting
    return SeasonScore(
        kind=kind,
        outings=len(outings),
        false_alarms=false_alarms,
        delays=tuple(first[i][0] if i in first else None for i in range(len(truths))),
        right=tuple(first[i][1] for i in range(len(truths)) if i in first),
        right_later=tuple(later[i] for i in range(len(truths)) if i in later),
        odds=tuple(odds),
    )


def _places(trend: Trend, outings: Sequence[Outing]) -> list[tuple[int, Step]]:
    where = {outing.key: i for i, outing in enumerate(outings)}
    return [(where[trend.outings[step.at].key], step) for step in trend.steps]


def _belongs(at: int, truths: Sequence[Truth]) -> int | None:
    near = [(abs(at - truth.at), i) for i, truth in enumerate(truths)]
    return min(near)[1] if near and min(near)[0] <= NEAR else None


def summary_lines(scores: Sequence[SeasonScore]) -> list[str]:
    """Table rows in Markdown, one per kind of season, and one for all."""
    lines = [
        "| season | seasons | changes | found within 3 outings | found before the next "
        "| median delay, outings | cause right at once | cause right later | false alarms "
        "per 50 outings |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    kinds = dict.fromkeys(score.kind for score in scores)
    groups = [(kind, [s for s in scores if s.kind == kind]) for kind in kinds]
    for name, group in [*groups, ("all", list(scores))]:
        if group:
            lines.append(_row(name, group))
    return lines


def _row(name: str, group: Sequence[SeasonScore]) -> str:
    delays = [delay for score in group for delay in score.delays]
    found = [delay for delay in delays if delay is not None]
    right = [r for score in group for r in score.right]
    later = [r for score in group for r in score.right_later]
    outings = sum(score.outings for score in group)
    alarms = 50.0 * sum(score.false_alarms for score in group) / outings

    def share(part: int, whole: int) -> str:
        return f"{100 * part / whole:.0f} % ({part}/{whole})" if whole else "-"

    cells = (
        name,
        str(len(group)),
        str(len(delays)),
        share(sum(d <= SOON for d in found), len(delays)),
        share(len(found), len(delays)),
        f"{np.median(found):.0f}" if found else "-",
        share(sum(right), len(right)),
        share(sum(later), len(later)),
        f"{alarms:.2f}",
    )
    return f"| {' | '.join(cells)} |"


def scores_of(seasons: int, seed: int, manner: Manner = MANNERS["tidy"]) -> list[SeasonScore]:
    """Score `seasons` drawn seasons, the kinds in turn."""
    rng = np.random.default_rng(seed)
    scores = []
    for number in range(seasons):
        kind = KINDS[number % len(KINDS)]
        scores.append(score_season(kind, *draw_season(kind, rng, manner)))
    return scores


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """Seasons of full fits: their scores, and how K and heat repeated within stretches."""

    scores: tuple[SeasonScore, ...]
    scatter: tuple[tuple[float, float, float], ...]


def fitted_seasons(count: int, seed: int) -> Fitted:
    """Run, log, fit and read `count` seasons of Bracken, every other one without changes."""
    scores, scatter = [], []
    for number in range(count):
        changes = () if number % 2 else CHANGES
        with TemporaryDirectory() as folder:
            write_season(Path(folder), demo_profile(), changes=changes, seed=seed + number)
            gathered = gather(Path(folder))
        kept, _ = in_order(gathered.outings)
        places = {outing.name: i for i, outing in enumerate(kept)}
        names = sorted(
            [o.name for o in gathered.outings] + [left.name for left in gathered.left_out]
        )
        truths = [
            Truth(at=_first_kept(names, places, change.at), cause=_cause(change))
            for change in changes
            if change.at > 0
        ]
        kind = "control, full fits" if number % 2 else "Bracken's season, full fits"
        scores.append(score_season(kind, kept, truths))
        found = repeatability(
            log_rows(kept), (0, *(truth.at for truth in truths)), usual=np.zeros((2, 2))
        )
        own = found.covariance * (found.own_outings + TYPICAL_WORTH) / found.own_outings
        sd = np.sqrt(np.diag(own))
        scatter.append((float(sd[0]), float(sd[1]), float(own[0, 1] / (sd[0] * sd[1]))))
    return Fitted(scores=tuple(scores), scatter=tuple(scatter))


def _cause(change: Change) -> Cause:
    return Cause.DRIVE if change.heat != 1.0 else Cause.COOLER


def _first_kept(names: Sequence[str], places: dict[str, int], at: int) -> int:
    """Position among the outings kept of the first one after a change."""
    return next(places[name] for name in names[at:] if name in places)


def manner_lines(by_manner: Mapping[str, Sequence[SeasonScore]]) -> list[str]:
    """Table rows in Markdown, one per manner of season."""
    lines = [
        "| seasons | control: false alarms per 50 outings | all: the same | 20 % loss found "
        f"within {SOON} outings | 10 % loss within {LATER} | cause right later |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for name, scores in by_manner.items():
        control = [score for score in scores if score.kind == "control"]
        cells = (
            name,
            f"{_alarms(control):.2f}",
            f"{_alarms(scores):.2f}",
            _within(scores, "cooler loses 20 %", SOON),
            _within(scores, "cooler loses 10 %", LATER),
            _share([right for score in scores for right in score.right_later]),
        )
        lines.append(f"| {' | '.join(cells)} |")
    return lines


def odds_lines(by_manner: Mapping[str, Sequence[SeasonScore]]) -> list[str]:
    """Stated probabilities of the first cause beside how often it was right."""
    stated = np.array(
        [pair for scores in by_manner.values() for score in scores for pair in score.odds]
    ).reshape(-1, 2)
    lines = ["| stated | mean | right | times |", "| --- | --- | --- | --- |"]
    for low, high in pairwise((0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 1.01)):
        inside = stated[(stated[:, 0] >= low) & (stated[:, 0] < high)]
        if len(inside):
            mean, right = inside.mean(axis=0)
            ends = f"{100 * low:.0f} to {min(100 * high, 100):.0f} %"
            lines.append(f"| {ends} | {100 * mean:.0f} % | {100 * right:.0f} % | {len(inside)} |")
    return lines


def _alarms(scores: Sequence[SeasonScore]) -> float:
    return 50.0 * sum(s.false_alarms for s in scores) / max(sum(s.outings for s in scores), 1)


def _within(scores: Sequence[SeasonScore], kind: str, soon: int) -> str:
    delays = [delay for score in scores if score.kind == kind for delay in score.delays]
    return _share([delay is not None and delay <= soon for delay in delays])


def _share(hits: Sequence[bool]) -> str:
    return f"{100 * sum(hits) / len(hits):.0f} % ({sum(hits)}/{len(hits)})" if hits else "-"


_TOP = """\
# Seasons with and without faults: how soon and how rightly they are named

Written by `{command}`; run it again to check it.
Goals: a 20 % loss of K found within 3 outings in 90 % of seasons or more, and one of 10 %
within 8 in 80 %; at most 1 false alarm in 50 outings of any kind of season; the cause right
in 90 % of detections or more, and stated odds right within 5 points.

Each season is read as its owner would, again after every outing. A change counts as
found when a step within {near} outings of its place is reported. "Right at once" is the
cause named first when the step is first reported, often on two outings; "right later"
the cause named when the next change begins or the season ends. A step reported anywhere
else, and a drift told while nothing happens, is a false alarm, once each.

## Drawn outing summaries

{outings} outings a season. One outing of one machine scatters by 5.5 to 8 % in K and 5 to
7.5 % in heat, correlated by 0.6 to 0.9, about what full fits of an
emulated machine repeat to; the work differs by 3 to 10 % from day to day; one outing in fifty
is wrong by some 40 %; half of the outings hold a fan step.

{drawn}

## Untidy seasons

The same kinds of season, but neighbouring outings resemble each other, the year moves K by
6 % and the heat by 4 % either way, air and oil follow the weather and the drive's heat answers
its oil's warmth by up to 0.8 %/K, or a fifth of the outings is missing. {each} seasons a row.

{manners}

Probability that was stated for the first cause, each time one was named in these seasons,
beside how often it was right:

{odds}
"""
_FITS = """
## Full fits

Each outing is a run of the emulated machine, read by poor probes, logged, and proved as
any session. Every other season is without changes.

{fits}

Within stretches without change ln K scattered by {k} %, ln heat by {heat} % (5 % of it
the work itself), with a correlation of {r}.
"""


def page(
    by_manner: Mapping[str, Sequence[SeasonScore]], fitted: Fitted | None, command: str
) -> str:
    """Return the text of docs/validation-seasons.md."""
    tidy = by_manner["tidy"]
    text = _TOP.format(
        command=command,
        near=NEAR,
        outings=OUTINGS,
        drawn="\n".join(summary_lines(tidy)),
        each=len(tidy),
        manners="\n".join(manner_lines(by_manner)),
        odds="\n".join(odds_lines(by_manner)),
    )
    if fitted is None:
        return text
    k, heat, r = np.array(fitted.scatter).T
    return text + _FITS.format(
        fits="\n".join(summary_lines(fitted.scores)),
        k=f"{100 * k.min():.1f} to {100 * k.max():.1f}",
        heat=f"{100 * heat.min():.1f} to {100 * heat.max():.1f}",
        r=f"{r.min():.2f} to {r.max():.2f}",
    )


def main() -> None:
    """Score, print and write the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=210)
    parser.add_argument("--fits", type=int, default=0)
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--out", type=Path, default=PAGE)
    chosen = parser.parse_args()
    command = f"python tests/validation/seasons.py --seasons {chosen.seasons}"
    command += f" --fits {chosen.fits} --seed {chosen.seed}"
    fitted = fitted_seasons(chosen.fits, chosen.seed) if chosen.fits else None
    by_manner = {
        name: scores_of(chosen.seasons, chosen.seed, manner) for name, manner in MANNERS.items()
    }
    text = page(by_manner, fitted, command)
    chosen.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
