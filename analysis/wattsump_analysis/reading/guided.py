"""When the drive turned, by the marks of a guided proving run."""

import re
from collections.abc import Sequence

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_logger.session.reader import Mark
from wattsump_logger.watch.proving_run import proving_steps

__all__ = ("drive_by_steps",)

_STEP = re.compile(r"stage (?P<name>.+?)(?P<over> ends: .*)?")
_WORKING = frozenset(
    step.name for step in proving_steps() if any(need.what == "working" for need in step.needs)
)
MOST_UNTOLD = 0.08  # of the engine's running: a way out and home of some minutes; a choice


def drive_by_steps(
    marks: Sequence[Mark], elapsed_s: FloatArray, engine: FloatArray
) -> FloatArray | None:
    """Flag of the drive, 0 or 1, by the steps that ask for it; None if they tell too little.

    The guide asks for the drive by name, so a step is as good as a typed time. From one working
    step to the next the drive goes on, unless the oil was too hot: the guide then asks for an idle.

    Parameters
    ----------
    marks : sequence of Mark
        Of the session.
    elapsed_s : ndarray, shape (n,)
        Times of the rows [s].
    engine : ndarray, shape (n,)
        Whether the engine runs, 0 or 1.
    """
    steps = [(mark.elapsed_s, found) for mark in marks if (found := _STEP.fullmatch(mark.text))]
    steps = [(at_s, found) for at_s, found in steps if not found["name"].endswith(" left out")]
    if not any(found["name"] in _WORKING for _, found in steps):
        return None
    told = np.full(elapsed_s.size, np.nan)
    for (at_s, found), (_, after) in zip(steps, [*steps[1:], steps[-1]], strict=True):
        works = found["name"] in _WORKING
        over = found["over"] or ""
        goes_on = works and not over.endswith(" hot") and not after["over"]
        goes_on = goes_on and after["name"] in _WORKING
        told[elapsed_s >= at_s] = (1.0 if goes_on else np.nan) if over else works
    untold = np.isnan(told)
    running_s = np.gradient(elapsed_s) * engine
    if np.sum(running_s[untold]) > MOST_UNTOLD * np.sum(running_s):
        return None
    return np.asarray(np.where(untold, 0.0, told) * engine)
