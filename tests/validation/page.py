"""Make docs/validation.md and docs/validation.svg of the scores that run.py kept.

python tests/validation/page.py SCORES.jsonl
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import numpy as np
from budgets import budget_rows
from families import FAMILIES
from form import left_out
from outings import PROTOCOLS
from run import kept
from score import QUANTITIES, SHARES, Score

__all__ = ("Cell", "cell_of", "draw_figure", "page")

DOCS = Path(__file__).resolve().parents[2] / "docs"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """Counts and medians over some machines; `held` is quantity -> (held, answered)."""

    machines: int
    held: dict[str, tuple[int, int]]
    error: float
    bias: float
    half_width: float
    decided: tuple[float, ...]
    wrong: int

    @property
    def refused(self) -> float:
        return 1.0 - self.held["K"][1] / self.machines

    @property
    def wrong_rate(self) -> float:
        """Confident wrong verdicts per verdict asked for."""
        return self.wrong / (self.machines * len(SHARES))


def cell_of(scores: Sequence[Score]) -> Cell:
    """Figures of some scores; NaN where no K was given."""
    k = np.array([score.found["K"] for score in scores if score.found]).reshape(-1, 4)
    truth, value, low, high = k.T
    held = {}
    for name in QUANTITIES:
        table = [score.found[name] for score in scores if name in score.found]
        held[name] = (sum(a <= t <= b for t, _, a, b in table), len(table))
    words = np.array([score.words for score in scores])
    false = np.array(["meets" if share < 1.0 else "falls short" for share in SHARES])
    some = k.size > 0
    return Cell(
        machines=len(scores),
        held=held,
        error=float(np.median(np.abs(value / truth - 1))) if some else np.nan,
        bias=float(np.median(value / truth - 1)) if some else np.nan,
        half_width=float(np.median((high - low) / 2 / value)) if some else np.nan,
        decided=tuple(float(x) for x in (words != "cannot tell").mean(axis=0)),
        wrong=int((words == false).sum()),
    )


def _share(pair: tuple[int, int]) -> str:
    held, of = pair
    return f"{100 * held / of:.0f} % of {of}" if of else "-"


def _percent(value: float, form: str = ".0f") -> str:
    return "-" if np.isnan(value) else f"{100 * value:{form}} %"


def _worst(cells: dict[str, Cell], quantity: str) -> str:
    some = {name: c.held[quantity] for name, c in cells.items() if c.held[quantity][1]}
    if not some:
        return "-"
    name = min(some, key=lambda n: some[n][0] / some[n][1])
    held, of = some[name]
    return f"{held} of {of} ({name})"


def _by_family(scores: Sequence[Score], protocol: str) -> dict[str, list[Score]]:
    return {
        family: own
        for family in FAMILIES
        if (own := [s for s in scores if s.case.protocol == protocol and s.case.family == family])
    }


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    return "\n".join("| " + " | ".join(row) + " |" for row in (head, ["---"] * len(head), *rows))


def page(scores: Sequence[Score]) -> str:
    """The page in Markdown."""
    held, verdicts, kept_out = [], [], []
    for protocol in PROTOCOLS:
        by_family = _by_family(scores, protocol)
        if not by_family:
            continue
        cells = {family: cell_of(own) for family, own in by_family.items()}
        mine = [score for own in by_family.values() for score in own]
        all_ = cell_of(mine)
        held.append(
            [
                protocol,
                _worst(cells, "K"),
                *(_share(all_.held[name]) for name in QUANTITIES),
                _percent(all_.error),
                _percent(all_.bias, "+.0f"),
                f"±{_percent(all_.half_width)}",
                _percent(all_.refused),
                str(all_.machines),
            ]
        )
        wrongest = max(cells, key=lambda name: cells[name].wrong_rate)
        verdicts.append(
            [
                protocol,
                f"{100 * cells[wrongest].wrong_rate:.0f} ({wrongest})"
                if cells[wrongest].wrong
                else "none",
                f"{100 * all_.wrong_rate:.1f}",
                *(_percent(share) for share in all_.decided),
            ]
        )
        out = left_out(mine)
        some = {name: (h, n) for name, (_, h, n) in out.items() if n}
        least = min(some, key=lambda name: some[name][0] / some[name][1])
        kept_out.append(
            [
                protocol,
                f"{_used(mine):.3f}",
                f"{min(f for f, _, _ in out.values()):.3f} to "
                f"{max(f for f, _, _ in out.values()):.3f}",
                _share((sum(h for h, _ in some.values()), sum(n for _, n in some.values()))),
                f"{some[least][0]} of {some[least][1]} ({least})",
            ]
        )
    shares = [f"decided at {share:.0%}" for share in SHARES]
    seeds = sorted({score.case.seed for score in scores})
    return TEXT.format(
        seeds=", ".join(map(str, seeds)),
        families=_table(
            ("family", "what is unlike"), [(name, DESCRIBED[name]) for name in FAMILIES]
        ),
        held=_table(
            (
                *("protocol", "K held in the worst family", "K held", "Q held", "heat held"),
                *("median error of K", "bias", "half-width", "no K", "machines"),
            ),
            held,
        ),
        verdicts=_table(
            ("protocol", "wrong per 100, worst family", "wrong per 100", *shares), verdicts
        ),
        left_out=_table(
            (
                *("protocol", "model form in use", "form from the other families"),
                *("K held, form from the others", "worst family left out"),
            ),
            kept_out,
        ),
        cells=_cells(scores),
        budgets=_table(
            ("protocol", "what K rests on, standard uncertainty", "budget, 95 %", "reached"),
            [
                (
                    b.protocol,
                    b.words,
                    _allowed(b.half_width),
                    _reached(scores, b.protocol),
                )
                for b in budget_rows()
            ],
        ),
    )


def _used(scores: Sequence[Score]) -> float:
    return float(np.median([score.form for score in scores if score.found] or [0.0]))


def _allowed(half_width: float) -> str:
    return f"±{100 * half_width:.0f} %" if np.isfinite(half_width) else "none"


def _reached(scores: Sequence[Score], protocol: str) -> str:
    own = [score for score in scores if score.case.protocol == protocol]
    return f"±{_percent(cell_of(own).half_width)}" if own else "-"


def _cells(scores: Sequence[Score]) -> str:
    """K held, of those with a K, and its median error, cell by cell."""
    columns = [p for p in PROTOCOLS if any(s.case.protocol == p for s in scores)]
    rows = []
    for protocol in columns:
        by_family = {name: cell_of(own) for name, own in _by_family(scores, protocol).items()}
        for family, cell in by_family.items():
            rows.append(
                (
                    *(protocol, family),
                    *(f"{cell.held[q][0]} of {cell.held[q][1]}" for q in QUANTITIES),
                    *(_percent(cell.error), _percent(cell.bias, "+.0f")),
                    f"±{_percent(cell.half_width)}",
                    str(cell.wrong),
                )
            )
    head = (
        *("protocol", "family", "K held", "Q held", "heat held"),
        *("error", "bias", "half-width", "wrong"),
    )
    return _table(head, rows)


def draw_figure(scores: Sequence[Score], path: Path) -> None:
    """Coverage of K by family and protocol, its share and its counts in each field."""
    import matplotlib as mpl

    mpl.use("Agg")
    mpl.rcParams["svg.hashsalt"] = "coverage"
    mpl.rcParams["svg.fonttype"] = "none"
    from matplotlib import pyplot as plt

    protocols = [p for p in PROTOCOLS if any(s.case.protocol == p for s in scores)]
    share = np.full((len(protocols), len(FAMILIES)), np.nan)
    figure, axes = plt.subplots(figsize=(10.0, 1.8 + 0.42 * len(protocols)))
    for (i, protocol), (j, family) in product(enumerate(protocols), enumerate(FAMILIES)):
        own = _by_family(scores, protocol).get(family, [])
        held, of = cell_of(own).held["K"] if own else (0, 0)
        if of:
            share[i, j] = held / of
        axes.text(j, i, f"{held}/{of}" if of else "–", ha="center", va="center", fontsize=8)
    picture = axes.imshow(share, vmin=0.5, vmax=1.0, cmap="cividis", alpha=0.55, aspect="auto")
    axes.set_xticks(range(len(FAMILIES)), list(FAMILIES), rotation=40, ha="right", fontsize=8)
    axes.set_yticks(range(len(protocols)), protocols, fontsize=8)
    axes.set_title("95 % ranges of K that hold the truth, by protocol and family", fontsize=10)
    bar = figure.colorbar(picture, ax=axes, fraction=0.025, pad=0.01)
    bar.set_label("share held", fontsize=8)
    bar.ax.tick_params(labelsize=8)
    figure.tight_layout()
    figure.savefig(path, metadata={"Date": None, "Creator": None})
    plt.close(figure)


DESCRIBED = {
    "heat in the lines": "over half of the heat enters the oil between drive and cooler",
    "heat in the metal": "over half of it enters the drive's metal first",
    "heat in the tank": "a third to two thirds of it enters the tank, as over a relief valve",
    "part misses the cooler": "20 to 50 % of the pumped oil goes home without the cooler",
    "two coolers": "one a side, 42 to 58 % of the flow each, probes at one of them; K is of both",
    "cooler in the case drain": "it gets 35 to 70 % of the flow, and the warmest of it",
    "varied engine speed": "a hand on the throttle between 55 to 80 % and full speed",
    "fan on the belt": "the air follows engine speed too; throttle varied, pauses at idle",
    "fan on a thermostat": "the fan goes on and off by the tank's temperature, logged",
    "bursts and pauses": "1 to 5 min of work, 0.5 to 2.5 min of nothing, mostly at idle",
    "out of a warm shed": "4 to 15 K warmer than outdoors when the engine starts",
    "a night still cooling": "two to four hours after work: oil over air, and both falling",
    "air probe in the sun": "1 to 4 K too warm",
    "air probe near the core": "it feels 5 to 20 % of the warmth of the air behind the core",
    "dead corner in the tank": "a fifth to half of its oil exchanges 15 to 150 W/K with the rest",
    "baffle in the tank": "the oil comes back into a fifth to half of the tank, and from there",
    "tank beside the engine": "2 to 7 W/K from an engine of 85 °C, for hours after a stop too",
    "leakage through the cooler": "what it gets follows load and the root of the oil's thinness",
    "three times the size": "of oil, metal, flow, heat and every conductance",
    "a third of the size": "the same, smaller",
}

TEXT = """# Validation on drawn machines

How often the program's answers are right, on machines whose truth is known. They are composed of
declared parts (`tests/validation/parts.py`): stirred volumes of oil, metal, surfaces that lose heat
by radiation and convection, paths of the pumped oil, and coolers of two exchangers about a core.
Nothing of the fitted network is in them. What is scored is the whole program: a session and a
profile go into `prove`, a verdict comes out (`tests/validation/score.py`).

In every family the oil's flow follows engine speed, which droops under load; an idle is at 35 to
60 %; the charge pump's 10 to 25 bar (common practice, no source) become heat whenever it turns.
Machines, weather, work and probes are drawn: class 1 and 2, lag, offset, steps of 0.25 K, spikes,
missing readings. Probes are in their oil; in "probes on the pipes" and "on pipes" those at the
cooler sit outside, under foam: they miss 1 to 7 % of their oil's rise over the air, and the steel
follows the oil by 18 to 140 s (`_pipes` in `outings.py`).
Before the fit had that error as an unknown, one such outing in seven was refused (14 machines, by
hand, once). Owners state litres (4 %, standard uncertainty), kilograms (13 % a part) and the rest
with errors as large as they say; the oil's heat capacity differs by 3 % from the
correlation, in the tank as in the flow.

{families}

Made by `python tests/validation/run.py SCORES.jsonl --machines 4 --seed {seeds}` and then
`python tests/validation/page.py SCORES.jsonl`. The model forms in use were chosen on other
machines, of seeds 303 and 505, for a metered day's work without a fan step of 707 too, and for
probes on pipes of 909 and 910. Before, pipes had no walls here. Slow walls made the program accuse
a right fan channel in a sixth of such outings and refuse an eighth as slow probes (60 machines, by
hand, once).

## How often the range holds the truth

![95 % ranges of K that hold the truth, by protocol and family](validation.svg)

The headline is the worst family. K is the cooler's conductance at working speed (of the tank's
excess where only the tank is seen), Q the mean heat into the oil while the engine runs, and heat
that of K at the label's temperature difference. "No K" counts outings whose K the program
withholds; the other columns are of the rest. Cells hold four machines: they say where to look, and
the rows how often.

{held}

When the program still took one oil flow for every engine speed, and had no unknowns for oil that
misses the cooler and heat that enters the tank, 14 of the families (two machines each, seed 303)
gave this; today's commands cannot give it again:

| protocol | K held | bias | half-width | wrong verdicts |
| --- | --- | --- | --- | --- |
| ordinary work | 15 of 28 | -18 % | ±25 % | 10 of 112 |
| ordinary work, one fan-off | 16 of 28 | -19 % | ±24 % | 7 of 112 |
| guided | 26 of 28 | +1 % | ±20 % | 0 of 112 |
| guided, flow by bucket | 24 of 28 | +7 % | ±18 % | 0 of 112 |
| guided, tank and ambient | 26 of 28 | +1 % | ±19 % | 0 of 112 |
| ordinary work, metered, pauses | 14 of 14 | -2 % | ±98 % | 0 of 56 |

## Verdicts

Each machine is held against labels of which it truly reaches 65, 80, 125 and 150 %. A confident
wrong verdict says "meets" of the first two or "falls short" of the others.

{verdicts}

## Left out

The model form, a standard deviation of ln K that stands for machines unlike the network, is
estimated for each family from all the others (`tests/validation/form.py`).

{left_out}

## What physics allows

The budget of each protocol by hand (JCGM 100:2008, eq. 10; `tests/validation/budgets.py`) for a
middling machine, beside the median half-width that is reached over all families.

{budgets}

## Cell by cell

{cells}
"""


def main() -> None:
    scores = kept(Path(sys.argv[1]))
    (DOCS / "validation.md").write_text(page(scores), encoding="utf-8")
    draw_figure(scores, DOCS / "validation.svg")


if __name__ == "__main__":
    main()
