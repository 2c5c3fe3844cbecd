"""What the search for changes costs in seasons of many outings.

    python tests/benchmarks/trend_search.py [outings ...]

Outings are drawn as results, without readings, with changes as they come
(tests/validation/seasons.py). Printed are milliseconds of processor for an outing, and their ratio
to the first season's.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the program does, before numpy is loaded

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "validation"))

import numpy as np
import seasons

from wattsump_analysis.season.trend import trend_of

SEED = 3


def searched_s(outings: int) -> tuple[float, int, int]:
    """Seconds of processor, and how many changes were drawn and told."""
    seasons.OUTINGS = outings
    drawn, truths = seasons.draw_season(seasons.AS_THEY_COME, np.random.default_rng(SEED))
    began = time.process_time()
    trend = trend_of(drawn)
    return time.process_time() - began, len(truths), len(trend.steps)


def main() -> None:
    searched_s(20)  # loads, outside the count
    first_ms = 0.0
    for outings in [int(word) for word in sys.argv[1:]] or [100, 400, 1000]:
        took_s, drawn, told = searched_s(outings)
        each_ms = 1000.0 * took_s / outings
        first_ms = first_ms or each_ms
        print(
            f"{outings} outings: {took_s:.2f} s, {each_ms:.1f} ms each ({each_ms / first_ms:.2f} x "
            f"the first), {told} changes told of {drawn} drawn",
            flush=True,
        )


if __name__ == "__main__":
    main()
