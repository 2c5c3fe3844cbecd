"""What everything costs, in one page: all benchmarks, each as a ratio to something beside it.

    python tests/benchmarks/run.py [--repeats N] [--write]

Each figure is the median of its repeats. Without --write they are held against those in
`costs.json`: one that is more than 20 % worse is named, and the exit code is 1. With --write
that file and docs/costs.md are written anew.
"""

import argparse
import importlib
import json
import platform
import statistics
import sys
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from wattsump_analysis import threads

__all__ = ("BASELINE", "PAGE", "compared", "gathered", "main", "page_of")

HERE = Path(__file__).parent
BASELINE = HERE / "costs.json"
PAGE = HERE.parents[1] / "docs" / "costs.md"
BENCHMARKS = (
    "help",
    "parser",
    "converter_words",
    "load_session",
    "capture_rate",
    "phone_clients",
    "prove",
    "store",
)
WORSE = 0.20  # beyond this share a ratio is worse, not noise
REPEATS = 3
_PAGE = """\
# What it costs

Written by `python tests/benchmarks/run.py --write`. Each figure is a ratio to something run
beside it on the same computer, so that it holds elsewhere too: what the program does, in units
of the least that could stand in its place. Without `--write` the command holds new figures
against these and fails for one that is more than {worse} worse.

Medians of several runs, {where}.

| what, and in what it is counted | ratio |
|---|---|
{rows}
Each script in `tests/benchmarks` can be run by itself and then tells seconds and memory as well.

## A proof

Most of it is computing slopes of the likelihood: some 5000 of up to 33 parameters, eight at a time.
Their cost grows with the bins (at most 480), not with the samples, which only loading and binning
see. `python tests/benchmarks/prove.py 1.667 4` tells these, in seconds of processor:

| outing at 10 Hz | 100 min | 4 h |
|---|---|---|
| loading | 0.21 | 0.30 |
| modes of the layouts | 0.15 | 0.20 |
| draws | 0.30 | 0.46 |
| paths and ledger | 0.02 | 0.03 |
| influence of phases | 0.05 | 0.06 |
| innovations and single exponentials | 0.03 | 0.05 |
| bins, units, and the rest | 0.19 | 0.31 |
| proving, the sum without loading | 0.74 | 1.10 |
| most memory over that of the imports | 166 MB | 190 MB |

Beside it the program before its network was data (commit ecd9406) took 3.2 and 4.6 s, four times as
long. On a quarter of one core (a quota of the system, `taskset -c 0`) the whole command took 10.6 s
for the outing of 4 h, and 2.5 s on a whole core. The running estimate while logging rests 19 times
as long as it works.

`python tests/benchmarks/season.py --outings 1000` works out a season of outings of 4 h, a row a
second, on two processors: 1.08 s of processor for each of the first 250 and 1.10 s for each of the
other 750 (ratio 1.01, so the work grows with the outings), beside other work 0.8 s by the clock.
Interrupted on the way it ends quietly and goes on from there. With nothing new only the search for
changes is made again, which grows with the outings too (`python tests/benchmarks/trend_search.py`):
12 to 13 ms of processor for each of 400 and of 1000 drawn outings with a change in 20, 3.4 ms for
each of 100, which are searched at once.

By `python tests/validation/effective.py 200`, 96 of 100 drawn machines have at least 200 effective
draws; the median is 378, the 5 % quantile 216, the least 142.

## What compiles the pass

By hand, once, in seconds of processor; lines are those of `kernel`, `passes`, `trace` and
`native` in `model`.

| means | import | first use | disk | lines of ours |
|---|---|---|---|---|
| LLVM, the pass recorded by ourselves | 0.03 s | 0.5 s for each kind of record | 173 MB | 1013 |
| numba, before | 0.16 s | 30 s | 208 MB | 694, one trial at a time |
| Cython or C in the wheel (not tried) | none | none | 1 MB | as numba, a wheel for each system |
| jax (from memory) | 1 s | some seconds | 300 MB | fewer, slopes included |

llvmlite, numba and jaxlib have wheels for 64-bit Arm under Linux (from memory). Code is kept,
some 120 kB for each kind of record, in the user's cache; where nothing can be written it is
compiled at each start, and nothing is written beside the installed files.

What the firmware costs its chip is in [firmware-figures.md](firmware-figures.md).
"""


def gathered(names: Iterable[str], repeats: int) -> dict[str, float]:
    """Return the median of each benchmark's ratios, by what it is counted in."""
    found: dict[str, list[float]] = {}
    for name in names:
        module = importlib.import_module(f"benchmarks.{name}")
        for _ in range(repeats):
            for what, ratio in module.ratios().items():
                found.setdefault(what, []).append(ratio)
    return {what: statistics.median(ratios) for what, ratios in found.items()}


def compared(measured: Mapping[str, float], committed: Mapping[str, float]) -> list[str]:
    """Return a line for each ratio that is more than a fifth worse, gone, or not known yet."""
    lines = []
    for what, before in committed.items():
        now = measured.get(what)
        if now is None:
            lines.append(f"{what}: not measured any more, was {before:.2f}")
        elif now > before * (1.0 + WORSE):
            lines.append(f"{what}: {now:.2f}, was {before:.2f} ({now / before - 1:+.0%})")
    new = measured.keys() - committed.keys()
    return lines + [f"{what}: {measured[what]:.2f}, not known yet" for what in sorted(new)]


def page_of(measured: Mapping[str, float], where: str) -> str:
    """Return docs/costs.md."""
    rows = "".join(f"| {what} | {ratio:.3g} |\n" for what, ratio in measured.items())
    return _PAGE.format(worse=f"{WORSE:.0%}".replace("%", " %"), where=where, rows=rows)


def main(words: Sequence[str] | None = None) -> int:
    """Measure, and compare or write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=REPEATS)
    parser.add_argument("--write", action="store_true", help="keep these as the figures")
    asked = parser.parse_args(words)
    sys.path[:0] = [str(HERE.parent)]
    measured = gathered(BENCHMARKS, asked.repeats)
    for what, ratio in measured.items():
        print(f"{ratio:8.2f}  {what}")
    if asked.write:
        where = f"Python {platform.python_version()} on {platform.system()} {platform.machine()}"
        kept = {what: round(ratio, 3) for what, ratio in measured.items()}
        BASELINE.write_text(json.dumps(kept, indent=2) + "\n", encoding="utf-8")
        PAGE.write_text(page_of(kept, where), encoding="utf-8")
        return 0
    worse = compared(measured, json.loads(BASELINE.read_text(encoding="utf-8")))
    for line in worse:
        print(f"worse: {line}", file=sys.stderr)
    return 1 if worse else 0


if __name__ == "__main__":
    threads.one_by_default()  # as the program does
    sys.exit(main())
