"""What the model form has to be, and how it does on a family that it was not estimated from.

The model form is the standard deviation of ln K that stands for a machine unlike the network.
It is taken out of every interval and put back in quadrature at a size that lets 95 of 100
intervals of the *other* families hold the truth; what the family left out then gets is its figure.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from score import Score

__all__ = ("left_out", "needed")

FloatArray = NDArray[np.float64]

GRID = np.arange(0.0, 0.6, 0.005)
REACH = 1.959964  # standard deviations of a 95 % interval
WANTED = 0.95


def _held(scores: Sequence[Score], forms: FloatArray) -> NDArray[np.bool_]:
    """Whether each interval of K holds with each model form, shape (forms, scores)."""
    table = np.array([score.found["K"] for score in scores if score.found]).reshape(-1, 4)
    own = np.array([score.form for score in scores if score.found])
    # A lower end below nothing is as far away as any.
    truth, value, low, high = np.log(np.maximum(table, 1e-3)).T
    side = np.where(truth > value, high - value, value - low)
    bare = np.maximum(side**2 - (REACH * own) ** 2, 0.0)
    reach = np.sqrt(bare + (REACH * forms[:, np.newaxis]) ** 2)
    return np.asarray(reach >= np.abs(truth - value))


def needed(scores: Sequence[Score]) -> float:
    """Least model form of `GRID` with which 95 of 100 intervals of K hold; nan if none does."""
    held = _held(scores, GRID)
    enough = held.mean(axis=1) >= WANTED if held.size else np.zeros(0, dtype=bool)
    return float(GRID[np.argmax(enough)]) if enough.any() else float("nan")


def left_out(scores: Sequence[Score]) -> dict[str, tuple[float, int, int]]:
    """Family -> model form estimated from the others, K held with it, and of how many."""
    found = {}
    for family in dict.fromkeys(score.case.family for score in scores):
        own = [score for score in scores if score.case.family == family]
        form = needed([score for score in scores if score.case.family != family])
        held = _held(own, np.array([form]))
        found[family] = (form, int(held.sum()), int(held.size))
    return found
