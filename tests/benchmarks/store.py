"""A thousand outings already worked out: how long until their trend is on the screen.

`python tests/benchmarks/store.py [--outings N]` prints seconds of CPU, and the ratio to the least
that any such run must do: look at each file's size and time, and parse each kept result.
"""

import argparse
import json
import os
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from analysis.few_outings import outing
from wattsump_analysis.season.folder import Job, Summary, gather
from wattsump_analysis.season.outing import outing_to_dict
from wattsump_analysis.season.store import Entry, sessions_in
from wattsump_analysis.season.trend import trend_of
from wattsump_analysis.show.season_screen import trend_screen

_REPEATS = 5


def timed(work: Callable[[], object]) -> float:
    began_s = time.process_time()
    work()
    return time.process_time() - began_s


def made(function: object, jobs: Sequence[Job]) -> list[Summary]:
    """Stand in for the fits: their results, at once."""
    rng = np.random.default_rng(0)
    return [
        Summary(
            job=job,
            entry=Entry(
                outing=outing(
                    int(job.path.stem),
                    95.0 * float(np.exp(rng.normal(0, 0.06))),
                    3300.0 * float(np.exp(rng.normal(0, 0.07))),
                    key=job.key,
                )
            ),
            lasting=True,
        )
        for job in jobs
    ]


def measured(count: int) -> dict[str, float]:
    """Return the seconds of each step over so many outings."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        for number in range(count):
            path = folder / f"{number:05d}.csv"
            path.write_text(f"outing {number}", encoding="utf-8")
            # Old enough to be trusted by size and time.
            os.utime(path, (1_700_000_000, 1_700_000_000))
        first_s = timed(lambda: gather(folder, run=made))
        later_s = min(timed(lambda: gather(folder, run=made)) for _ in range(_REPEATS))
        outings = gather(folder, run=made).outings
        screen_s = timed(lambda: trend_screen(trend_of(outings)))
        texts = [json.dumps(outing_to_dict(outing)) for outing in outings]
        least_s = min(timed(lambda: [json.loads(t) for t in texts]) for _ in range(_REPEATS))
        least_s += min(
            timed(lambda: [path.stat() for path in sessions_in(folder)]) for _ in range(_REPEATS)
        )
    return {"first": first_s, "later": later_s, "screen": screen_s, "least": least_s}


def ratios() -> dict[str, float]:
    """Return what finding kept outings costs, in the least that any such run must do."""
    took_s = measured(300)
    return {"finding kept outings, in looks and parses": took_s["later"] / took_s["least"]}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--outings", type=int, default=1000)
    count = parser.parse_args().outings
    took_s = measured(count)
    ratio = took_s["later"] / took_s["least"]
    print(f"{count} outings, fits left out")
    print(f"first run: keeping them  {took_s['first']:.2f} s")
    print(f"later runs: finding them {took_s['later']:.2f} s, {ratio:.1f} times the least")
    print(f"their trend and screen   {took_s['screen']:.2f} s")


if __name__ == "__main__":
    main()
