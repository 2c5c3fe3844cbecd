"""What a machine was doing in each bin: its engine, its kind of work, and how long it stood."""

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.reading.record import Record
from wattsump_logger.arrays import BoolArray

__all__ = (
    "HEATING_W",
    "engine_over_k",
    "idle_of",
    "kinds_of",
    "speed_of",
    "standing_of",
    "stood_ks",
    "usual_rpm",
)

HEATING_W = 10.0
WORKING_QUANTILE = 0.9  # quantile of a running engine's speeds
SLOW = 0.8  # of the working speed: an engine below it that drives nothing idles
LONGEST_PAUSE_S = 240.0  # standing for longer at working speed is a trial
# Of a small liquid-cooled engine: what its thermostat holds, and how fast it warms and cools.
# Common practice, no source.
ENGINE_C, ENGINE_WARMS_S, ENGINE_COOLS_S = 85.0, 400.0, 6000.0
LEAST_SHARE = 0.05  # a kind of work needs this share of a bin for a separate heat


def usual_rpm(record: Record, over_rpm: float) -> float:
    """Working speed of the engine over a stated one; 1 where no speed was logged."""
    usual = _working_rpm(record)
    return 1.0 if usual is None else usual / over_rpm


def speed_of(record: Record) -> FloatArray:
    """Engine speed over the working speed; 1 where the engine stands or nothing is known."""
    usual = _working_rpm(record)
    if record.engine_rpm is None or usual is None:
        return np.ones(record.bins)
    running = record.engine > 0.5
    return np.where(running, np.clip(record.engine_rpm / usual, 0.2, 1.5), 1.0)


def kinds_of(record: Record) -> tuple[FloatArray, BoolArray]:
    """Share of each kind of work in each bin, shape (n, kinds), and which kinds only circulate.

    The kinds are driving, standing, idling, and standing with the heater on; each has a heat.
    """
    driving, idle = driving_of(record), idle_of(record)
    heated = (record.heater_w > max(HEATING_W, 0.5 * float(record.heater_w.max()))) & (
        driving < 0.5
    )
    still = 1.0 - driving
    shares = np.stack(
        [driving, still * ~heated * (1.0 - idle), still * ~heated * idle, still * heated], axis=1
    )
    shares *= (record.engine > 0.0)[:, np.newaxis]
    there = shares.max(axis=0) > LEAST_SHARE
    return shares[:, there], np.array([False, False, False, True])[there]


def driving_of(record: Record) -> FloatArray:
    """Share of each bin that the drive turned."""
    return record.moving if record.moving.any() else (record.work > 0).astype(float)


def idle_of(record: Record) -> FloatArray:
    """1 where the engine turned without work: at a slow idle, or in a pause between drives.

    Without a logged speed all standing after the first drive counts as idling, and standing before
    it as a trial at working speed.
    """
    driving = driving_of(record) > 0.5
    standing = ~driving & (record.engine > 0.5)
    if record.engine_rpm is None:
        return (standing & np.maximum.accumulate(driving)).astype(float)
    starts = np.flatnonzero(np.diff(standing, prepend=~standing[0]))
    bins = np.diff(np.append(starts, record.bins))
    pause = np.repeat(bins, bins) * record.bin_s < LONGEST_PAUSE_S
    return (standing & (pause | (speed_of(record) < SLOW))).astype(float)


def standing_of(record: Record) -> FloatArray:
    """`idle_of` where no engine speed was logged, so that the speed may have changed."""
    return idle_of(record) if record.engine_rpm is None else np.zeros(record.bins)


def stood_ks(record: Record, oil_c: FloatArray) -> FloatArray:
    """Excess over the air [K], summed over the seconds of the stand that ends in a bin; else 0."""
    runs = record.engine > 0.5
    excess_k = np.nan_to_num(np.abs(oil_c - record.ambient_c))
    summed = np.cumsum(np.where(runs, 0.0, excess_k * record.bin_s))
    starts = np.flatnonzero(runs & ~np.roll(runs, 1))
    starts = starts[starts > 0]
    stood = np.zeros(record.bins)
    stood[starts] = np.diff(summed[starts], prepend=0.0)
    return stood


def engine_over_k(record: Record, oil_c: FloatArray) -> FloatArray:
    """How far an engine that runs warm by its coolant is above the tank [K], shape (n,)."""
    warm, warmth = 0.0, np.empty(record.bins)
    for k, runs in enumerate(record.engine):
        after_s = ENGINE_WARMS_S if runs > 0.5 else ENGINE_COOLS_S
        warm += (float(runs > 0.5) - warm) * -np.expm1(-record.bin_s / after_s)
        warmth[k] = warm
    return warmth * (ENGINE_C - oil_c)


def _working_rpm(record: Record) -> float | None:
    """The governed speed, at which K is stated: idles and part throttle are below it.

    None where no speed above 0 was logged.
    """
    if record.engine_rpm is None or not (turning := record.engine_rpm > 0.0).any():
        return None
    running = turning & (record.engine > 0.9)
    seen = record.engine_rpm[running if running.any() else turning]
    return float(np.quantile(seen, WORKING_QUANTILE))
