"""Finds changes of a pump's speed that was not logged.

With the fan on and warm oil a cooler takes a constant share of the oil's excess over the air,
unless the oil's flow changes. Moving the throttle changes that share by a tenth within minutes;
load, weather and wear do not.
"""

import numpy as np

from wattsump_analysis.reading.record import Record

__all__ = ("pump_varied",)

WARM_K = 15.0  # oil into the cooler over air
NEAR_K = 5.0  # of the warm half: viscosity is the same there
SETTLED_BINS = 4  # after a switching
LEAST_BINS = 15
SMOOTH_BINS = 3
# Drawn machines that kept their speed: up to 3.5 % where the oil fell by 2 K or more; a throttle
# between 55 and 100 %: 5 to 13 % (tests/validation, protocols without engine speed).
STEADY_REL = 0.045
STEADY_K = 0.1  # error of probes in steps of a quarter of a kelvin


def pump_varied(record: Record) -> bool:
    """Whether the oil's flow changed at work while neither speed nor flow was logged."""
    oils = record.oils_c
    if record.engine_rpm is not None or record.flow_w_k is not None:
        return False
    if not {"cooler_in", "cooler_out"} <= set(oils):
        return False
    inlet = oils["cooler_in"]
    excess, drop = inlet - record.ambient_c, inlet - oils["cooler_out"]
    with np.errstate(invalid="ignore"):
        usable = (
            (record.fan > 0.95) & (record.engine > 0.99) & (record.work > 0) & (excess > WARM_K)
        )
    usable &= np.isfinite(drop)
    for state in (record.fan, record.engine, record.moving):
        changed = np.abs(np.diff(state, prepend=state[0])) > 0.05
        usable &= np.convolve(changed, np.ones(2 * SETTLED_BINS + 1), "same") == 0
    if np.count_nonzero(usable) < LEAST_BINS:
        return False
    usable &= inlet > np.median(inlet[usable]) - NEAR_K
    share = drop[usable] / excess[usable]
    # Thinner oil and a warming probe change it slowly.
    trend = np.stack([np.ones(share.size), inlet[usable], record.elapsed_s[usable]], axis=1)
    level, *_ = np.linalg.lstsq(trend, share, rcond=None)
    rest = np.convolve(share - trend @ level, np.ones(SMOOTH_BINS) / SMOOTH_BINS, "valid")
    usual_k = float(np.median(excess[usable]))
    fall_k = abs(float(np.median(share))) * usual_k
    return bool(np.std(rest) * usual_k > max(STEADY_K, STEADY_REL * fall_k))
