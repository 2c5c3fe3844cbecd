"""Where the heat went, bin by bin: into the oil, out by the cooler and the shell, stored."""

import numpy as np

from wattsump_analysis._known_heat import span_of
from wattsump_analysis._shapes import FloatArray
from wattsump_analysis.fit import Fitted
from wattsump_analysis.record import Record
from wattsump_analysis.results import Interval, Ledger

__all__ = ("join_ledgers", "make_ledger")

J_PER_KWH = 3.6e6


def make_ledger(record: Record, fitted: Fitted) -> Ledger:
    """Heat ledger of one fitted record, n bins.

    Parameters
    ----------
    record : Record
        What was fitted.
    fitted : Fitted
        Its posterior; `heat_paths_w` gives the band.

    Returns
    -------
    Ledger
        heat in = cooler + shell + stored + unexplained at every bin, by construction of
        the last; the smoother keeps that small and the sum over the outing near zero.

    References
    ----------
    First law for the oil and the metal that warms with it.
    """
    smooth = fitted.smooth
    heat_in = smooth.heat_w + record.heater_w
    paths = fitted.heat_paths_w + record.heater_w
    low, high = np.quantile(paths, (0.025, 0.975), axis=0)
    stored = _rate(smooth.stored_j, record.bin_s)
    energy = paths.sum(axis=1) * record.bin_s / J_PER_KWH
    cooler_kwh = float(smooth.cooler_w.sum()) * record.bin_s / J_PER_KWH
    k = fitted.k_w_k
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
        heat_in_kwh=span_of(energy),
        cooler_kwh=Interval(
            value=cooler_kwh, low=cooler_kwh * k.low / k.value, high=cooler_kwh * k.high / k.value
        ),
        working_p50_w=float(p50),
        working_p90_w=float(p90),
    )


def join_ledgers(parts: tuple[Ledger, ...]) -> Ledger | None:
    """One ledger of several stretches; None if there is none.

    Bands are added end to end, because the capacity behind them is one and the same. The
    sustained load is that of the longest stretch.
    """
    if not parts:
        return None
    longest = max(parts, key=lambda part: part.elapsed_s.size)

    def row(name: str) -> FloatArray:
        return np.concatenate([getattr(part, name) for part in parts])

    return Ledger(
        elapsed_s=row("elapsed_s"),
        heat_in_w=row("heat_in_w"),
        heat_in_low_w=row("heat_in_low_w"),
        heat_in_high_w=row("heat_in_high_w"),
        cooler_w=row("cooler_w"),
        shell_w=row("shell_w"),
        stored_w=row("stored_w"),
        unexplained_w=row("unexplained_w"),
        heat_in_kwh=_sum([part.heat_in_kwh for part in parts]),
        cooler_kwh=_sum([part.cooler_kwh for part in parts]),
        working_p50_w=longest.working_p50_w,
        working_p90_w=longest.working_p90_w,
    )


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
