"""What `ModelForm` has to be: the spread that the network itself must be given.

    python tests/validation/form.py [machines] [protocol ...]

`machines` drawn with each of seeds 101 and 202 are fitted with no model form at all. Printed is
the least standard deviation of a logarithm that, added in quadrature to both sides of each
interval, makes 95 of 100 hold the truth. docs/validation.md is of another seed.
"""

import os
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from run import QUANTITIES
from score import PROTOCOLS, Score, fit_one, rehearse

from wattsump_analysis.model.fit import ModelForm

SEEDS = (101, 202)
NONE = ModelForm(k=0.0, capacity=0.0, heat=0.0)
GRID = np.arange(0.0, 0.4, 0.001)
REACH = 1.96  # standard deviations of a 95 % interval


def needed(scores: list[Score], quantity: str) -> float:
    """Least of `GRID` with which 95 of 100 intervals hold; nan where none does."""
    table = np.array([score.found[quantity] for score in scores if score.found])
    truth, value, low, high = np.log(table).T
    side = np.where(truth > value, high - value, value - low)
    held = np.hypot(side, REACH * GRID[:, np.newaxis]) >= np.abs(truth - value)
    enough = held.mean(axis=1) >= 0.95
    return float(GRID[np.argmax(enough)]) if enough.any() else float("nan")


def main() -> None:
    words = sys.argv[1:]
    machines = int(words[0]) if words else 100
    with ProcessPoolExecutor() as pool:
        for name in words[1:] or PROTOCOLS:
            scores: list[Score] = []
            for seed in SEEDS:
                work = partial(fit_one, rehearse(PROTOCOLS[name], machines, seed), form=NONE)
                scores += pool.map(work, range(machines), chunksize=4)
            found = ", ".join(f"{one} {needed(scores, one):.3f}" for one in QUANTITIES)
            print(f"{name}, {len(scores)} machines: {found}", flush=True)


if __name__ == "__main__":
    main()
