"""The heat of each bin: into the oil, out by the cooler and the shell, stored."""

from dataclasses import fields, replace
from typing import Any

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.model.fit import Fitted
from wattsump_analysis.reading.record import Record
from wattsump_analysis.results import Interval, Ledger
from wattsump_analysis.statistics.intervals import span_of
from wattsump_logger.arrays import BoolArray

__all__ = ("join_ledgers", "make_ledger")

J_PER_KWH = 3.6e6
PEAK_S = 60.0  # a shorter load warms the oil too little to measure


def make_ledger(record: Record, fitted: Fitted) -> Ledger:
    """Heat ledger of one fitted record, n bins.

    Parameters
    ----------
    record : Record
        What was fitted.
    fitted : Fitted
        Its posterior; every one of its `paths` closes, so their totals do too.

    Returns
    -------
    Ledger
        heat in = cooler + shell + stored + unexplained at every bin, which defines the last; the
        smoother keeps it small, and its sum over the outing near zero.

    References
    ----------
    First law for the oil and the metal that warms with it.
    """
    smooth, bin_s = fitted.smooth, record.bin_s
    heat_in = smooth.heat_w + smooth.heater_w
    stored = _rate(smooth.stored_j, bin_s)
    into = np.stack([path.heat_w + path.heater_w for path in fitted.paths])
    cooler = np.stack([path.cooler_w for path in fitted.paths])
    shell = np.stack([path.shell_w for path in fitted.paths])
    taken_j = np.array([path.stored_j[-1] - path.stored_j[0] for path in fitted.paths])
    low, high = np.quantile(into, (0.025, 0.975), axis=0, method="weibull")
    sums = np.array([rows.sum(axis=1) * bin_s for rows in (into, cooler, shell)])
    left_j = sums[0] - sums[1] - sums[2] - taken_j
    working = (record.work == record.work.max()) & (record.engine > 0.5)
    p50, p90 = np.quantile(heat_in[working], (0.5, 0.9)) if working.any() else (0.0, 0.0)
    return Ledger(
        elapsed_s=record.elapsed_s,
        heat_in_w=heat_in,
        heat_in_low_w=np.minimum(low, heat_in),
        heat_in_high_w=np.maximum(high, heat_in),
        cooler_w=smooth.cooler_w,
        shell_w=smooth.shell_w,
        stored_w=stored,
        unexplained_w=heat_in - smooth.cooler_w - smooth.shell_w - stored,
        heat_in_kwh=span_of(sums[0] / J_PER_KWH),
        cooler_kwh=span_of(sums[1] / J_PER_KWH),
        shell_kwh=span_of(sums[2] / J_PER_KWH),
        stored_kwh=span_of(taken_j / J_PER_KWH),
        unexplained_kwh=span_of(left_j / J_PER_KWH),
        working_p50_w=float(p50),
        working_p90_w=float(p90),
        working_p50_range_w=_quantile_of(into, working, 0.5),
        working_p90_range_w=_quantile_of(into, working, 0.9),
        working_peak_w=_peak_of(into, working, bin_s),
    )


def _quantile_of(paths_w: FloatArray, working: BoolArray, share: float) -> Interval | None:
    """A quantile of the working load over time, with the spread it has over the paths."""
    if not working.any():
        return None
    return span_of(np.quantile(paths_w[:, working], share, axis=1))


def _peak_of(paths_w: FloatArray, working: BoolArray, bin_s: float) -> Interval | None:
    """Greatest mean over `PEAK_S` of the working load."""
    bins = max(round(PEAK_S / bin_s), 1)
    if np.count_nonzero(working) < bins:
        return None
    load = np.where(working, paths_w, 0.0)
    sums = np.cumsum(np.pad(load, ((0, 0), (1, 0))), axis=1)
    return span_of((sums[:, bins:] - sums[:, :-bins]).max(axis=1) / bins)


def join_ledgers(parts: tuple[Ledger, ...]) -> Ledger | None:
    """One ledger of several stretches; None if there is none.

    Ranges add linearly, because all stretches share one capacity. The sustained load is that of
    the longest stretch.
    """
    if not parts:
        return None
    longest = max(parts, key=lambda part: part.elapsed_s.size)
    joined: dict[str, Any] = {}
    for spot in fields(Ledger):
        values = [getattr(part, spot.name) for part in parts]
        if isinstance(values[0], np.ndarray):
            joined[spot.name] = np.concatenate(values)
        elif spot.name.endswith("_kwh"):
            joined[spot.name] = _sum(values)
    return replace(longest, **joined)


def _rate(stored_j: FloatArray, bin_s: float) -> FloatArray:
    """Rate of change whose sum over the bins is the whole change, exactly."""
    edges = np.concatenate([stored_j[:1], 0.5 * (stored_j[1:] + stored_j[:-1]), stored_j[-1:]])
    return np.asarray(np.diff(edges) / bin_s)


def _sum(parts: list[Interval]) -> Interval:
    return Interval(
        value=sum(p.value for p in parts),
        low=sum(p.low for p in parts),
        high=sum(p.high for p in parts),
    )
