"""How many losses of K any test can find: one that knows all but when the loss happens.

The oracle knows this machine's scatter and serial correlation, and the size and the sign of the
change; only its date and the level before are open. It sums the likelihood ratios over all
dates (A. N. Shiryaev, Theory of Probability and its Applications 8 (1963) 22), which no test with
as many false alarms betters. Its limit is set on seasons without a change.
"""

from collections.abc import Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

__all__ = ("bound_lines", "found_by_oracle", "likelihood_ratios")

FloatArray = NDArray[np.float64]

OUTINGS, FIRST_READ, NEAR = 30, 4, 2
CORRELATIONS = (0.0, 0.3, 0.5)
LIMITS = np.arange(0.0, 8.0, 0.25)
ALARMS = 1.0  # in fifty outings


def likelihood_ratios(
    rows: FloatArray, covariance: FloatArray, rho: float, change: FloatArray
) -> FloatArray:
    """Logarithms of the ratios for a change before each outing but the first, (n - 1,).

    The level is not known: the likelihoods are those of contrasts between outings.
    """
    n = len(rows)
    serial = np.linalg.inv(rho ** np.abs(np.subtract.outer(np.arange(n), np.arange(n))))
    ones = serial.sum(axis=0)
    contrasts = serial - np.outer(ones, ones) / ones.sum()
    along = np.linalg.solve(covariance, change)
    steps = (np.arange(n)[:, None] >= np.arange(1, n)).astype(np.float64)
    projected = contrasts @ steps
    square = (change @ along) * np.sum(steps * projected, axis=0)
    return np.asarray((rows @ along) @ projected - 0.5 * square)


def _season(
    rng: np.random.Generator, rho: float, change: FloatArray, at: int
) -> list[tuple[int, float, int]]:
    """Per reading: outings so far, logarithm of the odds, and the likeliest date."""
    # As tests/validation/seasons.py draws them, without odd outings.
    sd = np.array([rng.uniform(0.055, 0.08), rng.uniform(0.05, 0.075)])
    r, work = rng.uniform(0.6, 0.9), rng.uniform(0.03, 0.10)
    covariance = np.outer(sd, sd) * [[1.0, r], [r, 1.0]] + np.diag([0.0, work**2])
    rows = rng.multivariate_normal([0.0, 0.0], covariance, OUTINGS)
    for i in range(1, OUTINGS):
        rows[i] = rho * rows[i - 1] + np.sqrt(1.0 - rho**2) * rows[i]
    rows[at:] += change
    read = []
    for n in range(FIRST_READ, OUTINGS + 1):
        ratios = likelihood_ratios(rows[:n], covariance, rho, change)
        read.append((n, float(np.logaddexp.reduce(ratios)), int(np.argmax(ratios)) + 1))
    return read


def _alarms(read: Sequence[tuple[int, float, int]], limit: float) -> int:
    """False alarms of a season without change: places told that are not near an old one."""
    places: list[int] = []
    count = 0
    for _, odds, at in read:
        if odds > limit:
            count += all(abs(at - old) > NEAR for old in places)
            places.append(at)
    return count


def found_by_oracle(loss: float, within: int, rho: float, seasons: int, seed: int) -> float:
    """Share of losses of K the oracle finds in time, at no more false alarms than allowed."""
    rng = np.random.default_rng(seed)
    change = np.array([np.log(1.0 - loss), 0.0])
    controls = [_season(rng, rho, change, OUTINGS) for _ in range(seasons)]
    rate = [50.0 * np.mean([_alarms(read, c) for read in controls]) / OUTINGS for c in LIMITS]
    limit = LIMITS[int(np.argmax(np.array(rate) <= ALARMS))]
    found = 0
    for _ in range(seasons):
        at = int(rng.integers(7, 12))
        found += any(
            odds > limit and abs(place - at) <= NEAR and 0 < n - at <= within
            for n, odds, place in _season(rng, rho, change, at)
        )
    return found / seasons


def bound_lines(seasons: int, seed: int) -> list[str]:
    """Table rows in Markdown: what the oracle finds."""
    lines = [
        "| neighbours' correlation | 20 % loss within 3 outings | 10 % loss within 8 |",
        "| --- | --- | --- |",
    ]
    goals = ((0.2, 3), (0.1, 8))
    shares = {
        (rho, goal): found_by_oracle(*goal, rho, seasons, seed)
        for rho, goal in product(CORRELATIONS, goals)
    }
    for rho in CORRELATIONS:
        cells = [f"{100 * shares[rho, goal]:.0f} %" for goal in goals]
        lines.append(f"| {rho} | {' | '.join(cells)} |")
    return lines
