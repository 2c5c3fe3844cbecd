"""Unlogged speeds of pump and fan show in the share of its warmth that oil leaves in the cooler."""

from dataclasses import replace

import numpy as np

from wattsump_analysis.reading.cooler_share import fan_followed, pump_varied
from wattsump_analysis.reading.record import Record
from wattsump_logger.arrays import FloatArray

BINS = 120
# Held for two minutes each: full speed, and down to 0.6 of it.
SPEED = np.repeat(np.random.default_rng(2).uniform(0.6, 1.0, BINS // 6), 6)


def worked(share: FloatArray, noise_k: float = 0.05) -> Record:
    """Forty minutes of work at 50 K over the air, the fan on."""
    rng = np.random.default_rng(5)
    inlet = 70.0 + rng.normal(size=BINS)
    drop = share * (inlet - 20.0)
    ones = np.ones(BINS)
    return Record(
        bin_s=20.0,
        elapsed_s=np.linspace(0.0, 20.0 * (BINS - 1), BINS),
        oils_c={
            "tank": inlet - drop,
            "cooler_in": inlet + noise_k * rng.normal(size=BINS),
            "cooler_out": inlet - drop + noise_k * rng.normal(size=BINS),
        },
        ambient_c=20.0 * ones,
        fan=ones,
        engine=ones,
        moving=ones,
        heater_w=0.0 * ones,
        work=np.ones(BINS, dtype=np.int64),
    )


STEADY = worked(np.full(BINS, 0.1))
# independent: K goes with speed to the 0.3 and flow with speed, so the share with speed to the -0.7
VARIED = worked(0.1 * SPEED**-0.7)


def test_a_throttle_that_is_moved_is_seen() -> None:
    assert pump_varied(VARIED)


def test_probes_that_warm_and_oil_that_thins_do_not_pass_for_a_throttle() -> None:
    assert not pump_varied(STEADY)
    assert not pump_varied(worked(0.1 + 0.02 * np.linspace(0.0, 1.0, BINS)))


def test_coarse_probes_at_a_small_fall_do_not_pass_for_a_throttle() -> None:
    assert not pump_varied(worked(np.full(BINS, 0.02), noise_k=0.08))


def test_what_was_logged_needs_no_guess() -> None:
    assert not pump_varied(replace(VARIED, engine_rpm=2400.0 * SPEED))
    assert not pump_varied(replace(VARIED, flow_w_k=600.0 * SPEED))


def test_a_record_without_both_probes_at_the_cooler_tells_nothing() -> None:
    assert not pump_varied(replace(VARIED, oils_c={"tank": VARIED.oils_c["tank"]}))


def test_switchings_of_the_fan_are_no_throttle() -> None:
    fan = (np.arange(BINS) // 20 % 2 == 0).astype(float)
    record = replace(worked(0.1 * fan + 0.01), fan=fan)
    assert not pump_varied(record)


def warmed(per_k: float, offset_k: float = 0.0) -> Record:
    """The oil warms by 20 K, the cooler takes `per_k` more of its excess with every kelvin."""
    rise = np.linspace(0.0, 20.0, BINS)
    record = worked(np.full(BINS, 0.1))
    inlet = 50.0 + rise
    drop = 0.1 * (1.0 + per_k * (rise - 10.0)) * (inlet - 20.0)
    oils = {"tank": inlet - drop, "cooler_in": inlet + offset_k, "cooler_out": inlet - drop}
    return replace(record, oils_c=oils)


def test_a_fan_that_speeds_up_with_the_oil_is_seen() -> None:
    assert fan_followed(warmed(0.025), 0.08)


def test_oil_that_thins_does_not_pass_for_a_fan() -> None:
    assert not fan_followed(warmed(0.008), 0.08)


def test_probes_that_nobody_matched_do_not_pass_for_a_fan() -> None:
    # independent: 1.5 K too little of a fall of 4 K makes the share grow by 1.3 % a kelvin
    assert fan_followed(warmed(0.0, offset_k=-1.5), 0.08)
    assert not fan_followed(warmed(0.0, offset_k=-1.5), 1.3)


def test_a_throttle_that_was_logged_is_no_fan() -> None:
    slow = np.linspace(0.0, 1.0, BINS) < 0.5
    rpm = np.where(slow, 1500.0, 2400.0)
    record = warmed(0.0)
    inlet, air = record.oils_c["cooler_in"], record.ambient_c
    drop = np.where(slow, 0.06, 0.1) * (inlet - air)
    oils = {"tank": inlet - drop, "cooler_in": inlet, "cooler_out": inlet - drop}
    assert fan_followed(replace(record, oils_c=oils), 0.08)
    assert not fan_followed(replace(record, oils_c=oils, engine_rpm=rpm), 0.08)
