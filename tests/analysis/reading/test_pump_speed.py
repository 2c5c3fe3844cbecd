"""A throttle that nobody logged shows in the share of its warmth that oil leaves in the cooler."""

from dataclasses import replace

import numpy as np

from wattsump_analysis.reading.pump_speed import pump_varied
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
        flow_w_k=None,
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
