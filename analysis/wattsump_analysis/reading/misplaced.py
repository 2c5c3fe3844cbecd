"""Finds an oil probe that sits in another's place, or was moved during the outing.

A fit of such readings is narrow and wrong, so each remark is a reason to give no watts.
Thresholds are common practice, no source; offsets of unmatched probes stay below them.
"""

from collections.abc import Sequence

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.reading.record import Record
from wattsump_analysis.reading.suspects import tank_and_air_swapped, undisturbed
from wattsump_logger.arrays import BoolArray
from wattsump_logger.remark import Remark
from wattsump_logger.units.measure import degrees, kelvins

__all__ = ("misplaced_in", "misplaced_reason")

WARM_K = 10.0  # oil over air from which the order of the probes is clear
BACKWARDS_K = 4.0
LEAST_BINS = 12
JUMP_K = 3.0
HOTTEST_AIR_C = 58.0  # a little above the hottest ever measured; from memory
HOTTEST_OIL_C = 150.0  # mineral oil smokes; common practice, no source
FOLLOWED_K = 1.0  # of another probe at the same time: then the oil itself changed
SLOPE_BINS = 5


def misplaced_in(records: Sequence[Record]) -> Remark | None:
    """Why the probes of the last stretch are not where their names say; None if they are.

    The last stretch counts, because probes may have been put right before it. Temperatures that
    no oil has count in every stretch, because properties of oil end below them.
    """
    hot = (tank_and_air_swapped(record) or _too_hot(record) for record in records)
    return next(filter(None, hot), None) or (misplaced_reason(records[-1]) if records else None)


def misplaced_reason(record: Record) -> Remark | None:
    """Why the oil probes are not where their names say; None if they are."""
    return (
        tank_and_air_swapped(record)
        or _too_hot(record)
        or _backwards(record)
        or _tank_jumped(record)
    )


def _too_hot(record: Record) -> Remark | None:
    """Whether air or oil is too hot for a machine at work, as readings in °F are."""
    air_c = float(np.median(record.ambient_c))
    oils_c = np.concatenate(list(record.oils_c.values()))
    oil_c = float(np.max(oils_c[np.isfinite(oils_c)]))
    if air_c <= HOTTEST_AIR_C and oil_c <= HOTTEST_OIL_C:
        return None
    return Remark(
        code="readings-too-hot",
        text=(
            "air of ",
            degrees(air_c),
            " and oil of up to ",
            degrees(oil_c),
            " are too hot for a machine at work: readings in °F, or a broken probe",
        ),
    )


def _backwards(record: Record) -> Remark | None:
    """Whether heat seems to flow the wrong way while warm oil is pumped."""
    oils = record.oils_c
    if "cooler_in" not in oils:
        return None
    inlet = oils["cooler_in"]
    warm = (record.engine > 0.99) & (inlet - record.ambient_c > WARM_K)
    if "cooler_out" in oils and _clearly_below(
        inlet - oils["cooler_out"], warm & (record.fan > 0.9)
    ):
        return Remark(
            code="cooler-probes-swapped",
            text="oil seems to leave the cooler warmer than it enters while the fan blows: the "
            "two probes are swapped",
        )
    if _clearly_below(inlet - oils["tank"], warm & (record.heater_w < 1.0)):
        return Remark(
            code="tank-and-cooler-swapped",
            text="the oil going into the cooler seems colder than the tank it comes from while "
            "the drive warms it: the probes of tank and cooler are swapped",
        )
    return None


def _clearly_below(apart_k: FloatArray, where: BoolArray) -> bool:
    seen = apart_k[where & np.isfinite(apart_k)]
    return seen.size >= LEAST_BINS and float(np.median(seen)) < -BACKWARDS_K


def _tank_jumped(record: Record) -> Remark | None:
    """Whether the tank jumped and stayed there while the cooler's probes did not.

    A full tank cannot change by degrees between two bins unless other oil is let in, and then
    the oil drawn from it changes too.
    """
    others = [record.oils_c[name] for name in ("cooler_in", "cooler_out") if name in record.oils_c]
    if not others:
        return None
    jumps = _jumps(record.oils_c["tank"])
    followed = np.max([np.abs(_jumps(other)) for other in others], axis=0)
    # More work warms the loop first, and the tank later.
    quiet = undisturbed(record, SLOPE_BINS, (record.fan, record.engine))
    alone = (np.abs(jumps) > JUMP_K) & (followed < FOLLOWED_K) & quiet
    if not alone.any():
        return None
    at = int(np.argmax(np.where(alone, np.abs(jumps), 0.0)))
    return Remark(
        code="tank-probe-moved",
        text=(
            "the tank jumped by ",
            kelvins(jumps[at], "+.1f"),
            f" at {record.elapsed_s[at] / 60:.0f} min and the oil drawn from it did not: its probe "
            "was moved or knocked",
        ),
    )


def _jumps(values: FloatArray) -> FloatArray:
    """Lasting change over the two steps about each bin, less the slope beside it, shape (n,)."""
    n, half = values.size, SLOPE_BINS
    jumps = np.zeros(n)
    if n < 2 * half + 3:
        return jumps
    windows = np.lib.stride_tricks.sliding_window_view(values, half)
    slope = (windows[:, -1] - windows[:, 0]) / (half - 1)
    before, after = slice(0, n - 2 * half), slice(half + 1, n - half + 1)
    level = windows[after][:, 0] - windows[before][:, -1]
    step = level - (slope[before] + slope[after])
    # No jump is claimed near a missing reading.
    jumps[half : n - half] = np.nan_to_num(step, nan=0.0)
    return jumps
