"""Speeds that nobody logged, seen in the share of its excess that oil gives off in the cooler.

With the fan on and warm oil that share is steady, unless the oil's flow or the air's changes. A
hand on the throttle moves it by a tenth within minutes; a fan that speeds up with the oil lets it
grow with temperature. Load, weather and wear do neither.
"""

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.reading.record import Record
from wattsump_logger.arrays import BoolArray

__all__ = ("fan_followed", "pump_varied")

WARM_K = 15.0  # oil into the cooler over air
NEAR_K = 5.0  # of the warm half: viscosity is the same there
SETTLED_BINS = 4  # after a switching
LEAST_BINS = 15
SMOOTH_BINS = 3
# Drawn machines that kept their speed: up to 3.5 % where the oil fell by 2 K or more; a throttle
# between 55 and 100 %: 5 to 13 % (tests/validation, protocols without engine speed).
STEADY_REL = 0.045
STEADY_K = 0.1  # error of probes in steps of a quarter of a kelvin
# Of the share, per kelvin of oil: thinner oil and a night's air make up to 0.9 % in drawn machines
# whose probes were matched; fans that speed up from 45 to 80 °C make 1.6 to 5 %.
FOLLOWS_PER_K = 0.012
LEAST_RANGE_K = 6.0
GOVERNED_REL = 0.05
HARDLY_K = 0.4


def _settled(record: Record) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Bins of warm oil with the fan on, away from switchings; oil over air, fall in the cooler."""
    if not record.reads_both_pipes:
        nothing = np.full(record.bins, np.nan)
        return np.zeros(record.bins, dtype=bool), nothing, nothing
    excess_k, drop_k = record.excess_k, record.drop_k
    with np.errstate(invalid="ignore"):
        usable = (record.fan > 0.95) & (record.engine > 0.99) & (excess_k > WARM_K)
    usable &= np.isfinite(drop_k)
    for state in (record.fan, record.engine, record.moving):
        changed = np.abs(np.diff(state, prepend=state[0])) > 0.05
        usable &= np.convolve(changed, np.ones(2 * SETTLED_BINS + 1), "same") == 0
    return usable, excess_k, drop_k


def pump_varied(record: Record) -> bool:
    """Whether the oil's flow changed at work while neither speed nor flow was logged."""
    if record.engine_rpm is not None or record.flow_w_k is not None:
        return False
    usable, excess_k, drop_k = _settled(record)
    usable &= record.work > 0
    if np.count_nonzero(usable) < LEAST_BINS:
        return False
    inlet = record.oils_c["cooler_in"]
    usable &= inlet > np.median(inlet[usable]) - NEAR_K
    share = drop_k[usable] / excess_k[usable]
    # Thinner oil and a warming probe change it slowly.
    trend = np.stack([np.ones(share.size), inlet[usable], record.elapsed_s[usable]], axis=1)
    level, *_ = np.linalg.lstsq(trend, share, rcond=None)
    rest = np.convolve(share - trend @ level, np.ones(SMOOTH_BINS) / SMOOTH_BINS, "valid")
    usual_k = float(np.median(excess_k[usable]))
    fall_k = abs(float(np.median(share))) * usual_k
    return bool(np.std(rest) * usual_k > max(STEADY_K, STEADY_REL * fall_k))


def fan_followed(record: Record, u_match_k: float) -> bool:
    """Whether the air's flow grew with the oil's temperature while the fan was logged as on.

    `u_match_k` is the standard uncertainty of the difference of the cooler's probes: an error of
    theirs is a larger part of a small fall than of a large one.
    """
    usable, excess_k, drop_k = _settled(record)
    if record.engine_rpm is not None and usable.any():
        usual_rpm = float(np.median(record.engine_rpm[usable]))
        usable &= np.abs(record.engine_rpm - usual_rpm) < GOVERNED_REL * usual_rpm
    if np.count_nonzero(usable) < LEAST_BINS:
        return False
    inlet_c, share = record.oils_c["cooler_in"][usable], drop_k[usable] / excess_k[usable]
    low_c, high_c = np.quantile(inlet_c, (0.05, 0.95))
    usual = float(np.median(share))
    if high_c - low_c < LEAST_RANGE_K or usual <= 0.0:
        return False
    per_k = float(np.polyfit(inlet_c, share, 1)[0]) / usual
    at_no_excess_k = float(np.polyfit(excess_k[usable], drop_k[usable], 1)[1])
    return per_k > FOLLOWS_PER_K and at_no_excess_k < -(2.0 * u_match_k + HARDLY_K)
