"""Seasons of outings drawn with known changes, and how soon and how rightly they are named.

    python tests/validation/seasons.py SCORES.jsonl [--often 100] [--others 25] [--seed 20]
        [--minutes N] [--only KIND]

Each season is drawn as outing summaries. One line a season is appended to SCORES.jsonl; those
that are there already are not read again. `tests/validation/seasons_page.py SCORES.jsonl` makes
docs/validation-seasons.md of them.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


import argparse
import json
import math
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import product
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wattsump_analysis.season.causes import PATTERNS, Cause
from wattsump_analysis.season.events import Event, EventKind
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.trend import FEWEST_OUTINGS, causes_of, divide

__all__ = (
    "AS_THEY_COME",
    "KINDS",
    "LATER",
    "MANNERS",
    "NEAR",
    "OFTEN",
    "OUTINGS",
    "SOON",
    "Case",
    "Manner",
    "SeasonScore",
    "Truth",
    "cases",
    "draw_season",
    "kept",
    "score_case",
    "score_season",
)

FloatArray = NDArray[np.float64]

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
    "oil changed",
    "probe repaired",
    "chaff and wear at once",
    "fouls, cleaned, wears",
    "changes as they come",
)
# Its changes come as often as the method supposes, at any outing: what it says of odds is counted
# here. In the kinds above a change is certain, and early.
AS_THEY_COME = KINDS[-1]
CHANGE_RATE = 1.0 / 25.0
APART = 3  # outings between two changes at least, and before the end
# Of these the goals speak: drawn more often than the others.
OFTEN = (*KINDS[:3], AS_THEY_COME)


@dataclass(frozen=True, slots=True, kw_only=True)
class Manner:
    """How untidy seasons are: each figure is drawn evenly between two ends.

    `correlation` is that of neighbouring outings, `swing` what the year does to ln K and, by two
    thirds of it, to ln heat; `answers` by how much the drive's heat answers a kelvin of oil, up
    or down; `weather` whether air and oil are those of the season; `missing` the share of
    outings without K for want of a probe, and, as often again, without the oil's warmth;
    `profile` whether the stated heat capacity is changed once, and K and heat by up to a tenth
    with it.
    """

    correlation: tuple[float, float] = (0.0, 0.0)
    swing: tuple[float, float] = (0.0, 0.0)
    answers: tuple[float, float] = (0.0, 0.0)
    weather: bool = False
    missing: float = 0.0
    profile: bool = False


MANNERS = {
    "tidy": Manner(),
    "neighbours alike, 0.3": Manner(correlation=(0.3, 0.3)),
    "neighbours alike, 0.5": Manner(correlation=(0.5, 0.5)),
    "a year's swing of 6 %": Manner(swing=(0.06, 0.06)),
    "weather and warm oil": Manner(weather=True, answers=(0.0, 0.008)),
    "probes missing": Manner(missing=0.2),
    "a changed profile": Manner(profile=True),
    "all of these": Manner(
        correlation=(0.0, 0.5),
        swing=(0.0, 0.06),
        answers=(0.0, 0.008),
        weather=True,
        missing=0.1,
        profile=True,
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
    that was stated each time and whether it was right; `chances` the same of every step told,
    whether there was a change.
    """

    kind: str
    outings: int
    false_alarms: int
    delays: tuple[int | None, ...]
    right: tuple[bool, ...]
    right_later: tuple[bool, ...]
    odds: tuple[tuple[float, bool], ...]
    chances: tuple[tuple[float, bool], ...]


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
    rise_k = np.minimum(heat / k, 90.0)
    fan_share = np.clip(0.9 + rng.normal(0, 0.1, n), 0, 1.2)
    seen_fan = rng.random(n) < 0.5
    rests_on = ["one profile"] * n
    if manner.profile:
        since = int(rng.integers(4, n - 4))
        rests_on[since:] = ["another profile"] * (n - since)
        scale = np.exp(rng.uniform(-0.1, 0.1))
        k[since:] *= scale
        heat[since:] *= scale
    for truth in truths:
        if truth.cause is Cause.FAN:
            fan_share[truth.at :] = np.abs(rng.normal(0.1, 0.12, n - truth.at))
    warmth_known = rng.random(n) >= manner.missing
    outings = [
        _outing(
            i,
            float(k[i]),
            float(heat[i]),
            float(fan_share[i]) if seen_fan[i] else None,
            events.get(i, ()),
            air_c=float(air_c[i]),
            rise_k=float(rise_k[i]) if warmth_known[i] else None,
            rests_on=rests_on[i],
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
    if kind == AS_THEY_COME:
        return _as_they_come(rng, n)
    at = int(rng.integers(7, 12))
    fouled = float(np.log(1.0 - rng.uniform(0.2, 0.5)))
    worn = float(np.log(rng.uniform(1.2, 1.4)))
    fan = float(np.log(rng.uniform(0.1, 0.5)))
    oil, probe = rng.choice([-1.0, 1.0], 2) * rng.uniform((0.25, 0.2), 0.4)
    follows, marked = rng.uniform(0.4, 1.0), rng.random() < 0.5
    # Where, what is behind it, and the changes of ln K and ln heat.
    loss = (at, Cause.COOLER, fouled, 0.0)
    washed = (at + 7, Cause.COOLER, -fouled, 0.0)
    changes: Sequence[tuple[int, Cause, float, float]] = {
        "control": (),
        "cooler loses 20 %": ((at, Cause.COOLER, float(np.log(0.8)), 0.0),),
        "cooler loses 10 %": ((at, Cause.COOLER, float(np.log(0.9)), 0.0),),
        "cooler fouls 20 to 50 %, then cleaned": (loss, washed),
        "drive wears 20 to 40 %": ((at, Cause.DRIVE, 0.0, worn),),
        "fan fails": ((at, Cause.FAN, fan, 0.0),),
        "oil changed": ((at, Cause.OTHER, oil, oil * follows),),
        "probe repaired": ((at, Cause.OTHER, probe, probe),),
        "chaff and wear at once": ((at, Cause.BOTH, fouled, worn),),
        "fouls, cleaned, wears": (loss, washed, (at + 13, Cause.DRIVE, 0.0, worn)),
    }[kind]
    where, event = (at, _MARKS[kind]) if kind in _MARKS else (at + 7, _MARKS["washed"])
    noted = marked and bool(changes) and where in {change[0] for change in changes}
    shift = np.zeros((n, 2))
    for begins, _, k, heat in changes:
        shift[begins:] += (k, heat)
    truths = [Truth(at=begins, cause=cause) for begins, cause, _, _ in changes]
    return shift, truths, {where: (event,)} if noted else {}


def _as_they_come(
    rng: np.random.Generator, n: int
) -> tuple[FloatArray, list[Truth], dict[int, tuple[Event, ...]]]:
    """As `_changes`: changes at any outing, causes and sizes those of the table of causes."""
    shift, truths, marks = np.zeros((n, 2)), list[Truth](), dict[int, tuple[Event, ...]]()
    odds = np.array([pattern.odds for pattern in PATTERNS])
    free = 0
    for at in range(APART, n - APART + 1):
        if at < free or rng.random() >= CHANGE_RATE:
            continue
        pattern = PATTERNS[rng.choice(len(PATTERNS), p=odds / odds.sum())]
        change = rng.multivariate_normal(pattern.mean, pattern.covariance)
        shift[at:] += change
        truths.append(Truth(at=at, cause=pattern.cause))
        done = "oil changed" if pattern.cause is Cause.OTHER else "washed"
        suggests = pattern.cause is Cause.OTHER or (pattern.cause is Cause.COOLER and change[0] > 0)
        if suggests and rng.random() < 0.5:
            marks[at] = (_MARKS[done],)
        free = at + APART
    return shift, truths, marks


_MARKS = {
    "washed": Event(kind=EventKind.CLEAN, text="washed the core"),
    "oil changed": Event(kind=EventKind.OIL, text="new oil"),
    "probe repaired": Event(kind=EventKind.PROBE, text="new probe"),
}


def _outing(
    number: int,
    k_w_k: float,
    heat_w: float,
    fan_share: float | None,
    events: tuple[Event, ...],
    *,
    air_c: float,
    rise_k: float | None,
    rests_on: str,
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
        reference_oil_c=None if rise_k is None else air_c + rise_k,
        fan_step_w_k=None if fan_share is None else fan_share * k_w_k,
        rise_k=rise_k,
        ambient_c=air_c,
        peak_oil_c=None if rise_k is None else air_c + rise_k,
        rests_on=rests_on,
        events=events,
    )


def score_season(kind: str, outings: Sequence[Outing], truths: Sequence[Truth]) -> SeasonScore:
    """Read a season as its owner would: again after every outing."""
    known: list[int] = []
    false_alarms, drift_told = 0, False
    first: dict[int, tuple[int, bool]] = {}
    later: dict[int, bool] = {}
    odds: list[tuple[float, bool]] = []
    chances: list[tuple[float, bool]] = []
    ends = [truth.at for truth in truths[1:]] + [len(outings)]
    for n in range(FEWEST_OUTINGS, len(outings) + 1):
        seen = divide(outings[:n])
        for number, at in enumerate(seen.starts[1:], 1):
            index = _belongs(at, truths)
            if index is not None and n <= truths[index].at:
                index = None  # told before anything had changed
            chances.append((seen.chances[number - 1], index is not None))
            if index is not None and n <= ends[index]:
                cause = causes_of(outings[:n], seen, number)[0]
                right = cause.cause is truths[index].cause
                first.setdefault(index, (n - truths[index].at, right))
                later[index] = right
                odds.append((cause.probability, right))
            elif index is None and not any(abs(at - old) <= NEAR for old in known):
                false_alarms += 1
        known += seen.starts[1:]
        # A drift told while nothing changed is an alarm too, once while it lasts.
        drifting = any(seen.drifting) and not any(t.at >= n - 8 and t.at < n for t in truths)
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
        chances=tuple(chances),
    )


def _belongs(at: int, truths: Sequence[Truth]) -> int | None:
    near = [(abs(at - truth.at), i) for i, truth in enumerate(truths)]
    return min(near)[1] if near and min(near)[0] <= NEAR else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One season to draw: its manner, its kind, and which one of that sort."""

    manner: str
    kind: str
    number: int
    seed: int


def cases(often: int, others: int, seed: int) -> list[Case]:
    """So many seasons of the kinds the goals speak of, and of the others, in every manner."""
    return [
        Case(manner=manner, kind=kind, number=number, seed=seed)
        for number in range(max(often, others))
        for manner, kind in product(MANNERS, KINDS)
        if number < (often if kind in OFTEN else others)
    ]


def score_case(case: Case) -> SeasonScore:
    """Draw a season and read it."""
    places = (list(MANNERS).index(case.manner), KINDS.index(case.kind), case.number)
    rng = np.random.default_rng((case.seed, *places))
    return score_season(case.kind, *draw_season(case.kind, rng, MANNERS[case.manner]))


def kept(path: Path) -> dict[Case, SeasonScore]:
    """Scores of a file of lines; none where there is no file yet."""
    lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    scores = {}
    for line in lines:
        raw = json.loads(line)
        score = raw["score"]
        scores[Case(**raw["case"])] = SeasonScore(
            kind=score["kind"],
            outings=score["outings"],
            false_alarms=score["false_alarms"],
            delays=tuple(score["delays"]),
            right=tuple(score["right"]),
            right_later=tuple(score["right_later"]),
            odds=tuple((stated, right) for stated, right in score["odds"]),
            chances=tuple((stated, right) for stated, right in score["chances"]),
        )
    return scores


def main() -> None:
    """Draw and read what is missing of the seasons asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("scores", type=Path)
    parser.add_argument("--often", type=int, default=100)
    parser.add_argument("--others", type=int, default=25)
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--minutes", type=float, default=math.inf)
    parser.add_argument("--only", action="append", choices=KINDS, metavar="KIND")
    asked = parser.parse_args()
    done = kept(asked.scores)
    wanted = cases(asked.often, asked.others, asked.seed)
    missing = [c for c in wanted if c not in done and c.kind in (asked.only or KINDS)]
    until = time.monotonic() + 60.0 * asked.minutes
    with asked.scores.open("a", encoding="utf-8") as file:
        for number, case in enumerate(missing):
            if time.monotonic() > until:
                print(f"{len(missing) - number} seasons are still to be read")
                break
            score = score_case(case)
            file.write(json.dumps({"case": asdict(case), "score": asdict(score)}) + "\n")
            file.flush()


if __name__ == "__main__":
    main()
