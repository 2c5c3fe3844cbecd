"""What is known at a moment: rates, fault shares, and what the machine does."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattsump_logger.machine.profile import profile_from_dict
from wattsump_logger.watch.look import (
    FAULT_WINDOW_S,
    History,
    Look,
    channel_of,
    phase_of,
    rate_k_min,
)


@settings(deadline=None)
@given(
    rate=st.floats(-30, 30), start_c=st.floats(-40, 150), n=st.integers(4, 60), step=st.floats(5, 9)
)
def test_the_rate_of_a_straight_line_is_its_slope(
    rate: float, start_c: float, n: int, step: float
) -> None:
    times = [i * step for i in range(n)]
    found = rate_k_min(times, [start_c + rate * t / 60 for t in times])
    assert found == pytest.approx(rate, abs=1e-9)


def test_a_window_of_seconds_gives_no_rate() -> None:
    assert rate_k_min([0.0, 1.0, 2.0], [20.0, 30.0, 40.0]) is None
    assert rate_k_min([], []) is None


def take(history: History, second: float, cell: str, faulty: tuple[str, ...] = ()) -> Look:
    return history.take(
        now_s=second,
        elapsed_s=second,
        silent_s=0.0,
        cells={"tank_c": cell, "engine_rpm": "1800"},
        faulty=faulty,
    )


def test_only_the_last_minute_counts_for_the_rate() -> None:
    history = History()
    for second in range(120):
        look = take(history, second, f"{20 + second * 0.1:.3f}")
    for second in range(120, 190):
        look = take(history, second, "32.000")
    assert look.rates_k_min == {"tank_c": pytest.approx(0.0, abs=1e-12)}


def test_an_outing_that_begins_anew_forgets_the_last_ones_temperatures() -> None:
    history = History()
    for second in range(60):
        take(history, 1000 + second, "80.000")
    assert take(history, 0, "20.000").rates_k_min["tank_c"] is None


def test_a_channel_that_flickers_has_its_share_of_faults() -> None:
    history = History()
    for second in range(int(FAULT_WINDOW_S)):
        faulty = ("tank",) if second % 2 else ()
        look = take(history, second, "20.000", faulty)
    assert look.fault_share["tank"] * 2 == 1
    assert look.fault_share["engine"] == 0


def test_an_empty_cell_counts_as_a_fault_and_is_no_number() -> None:
    look = take(History(), 0, "")
    assert look.values["tank_c"] is None
    assert look.fault_share["tank"] == 1


@pytest.mark.parametrize("cell", ["nan", "inf", "-inf", "1e999", "=1+1"])
def test_a_cell_that_is_no_finite_number_is_no_reading(cell: str) -> None:
    assert take(History(), 0, cell).values["tank_c"] is None


def test_memory_stays_bounded_at_a_thousand_samples_a_second() -> None:
    history = History()
    for i in range(5_000):
        take(history, i / 1000, "20.000")
    assert len(history._temps["tank_c"]) < 15
    assert len(history._faulty) <= 1000


@pytest.mark.parametrize(
    ("values", "rate", "phase"),
    [
        ({"engine_rpm": 0.0}, None, "stopped"),
        ({"engine_rpm": 0.0, "heater_w": 480.0}, 0.4, "preheating"),
        ({"engine_rpm": 1800.0, "drive_on": 1.0}, 2.0, "working, warming"),
        ({"engine_on": 1.0, "drive_on": 0.0}, -2.0, "idling, cooling"),
        ({}, 0.01, "steady"),
        ({}, None, "not known yet"),
    ],
)
def test_the_phase_follows_the_flags_and_the_oil(
    values: dict[str, float | None], rate: float | None, phase: str
) -> None:
    look = Look(now_s=0, values={**values, "tank_c": 60.0}, rates_k_min={"tank_c": rate})
    assert phase_of(look) == phase


def test_a_channel_of_another_name_plays_its_role_and_a_fan_s_temperature_does_not() -> None:
    profile = profile_from_dict(
        {"name": "x", "oil": {"grade": "VG 46", "volume": "18 L"},
         "channels": {"blower": {"role": "fan"}, "sump": {"role": "tank"}}}
    )  # fmt: skip
    values = {"sump_c": 60.0, "blower_on": 1.0, "engine_c": 90.0, "engine_rpm": 0.0}
    look = Look(now_s=0, values=values, profile=profile)
    assert (look.is_on("fan"), look.is_on("engine"), look.read("tank")) == (True, False, 60.0)
    assert Look(now_s=0, values={"fan_c": 60.0}).is_on("fan") is None


def test_a_column_without_a_unit_is_its_own_channel() -> None:
    assert channel_of("tank") == "tank"
    assert channel_of("case_drain_c") == "case_drain"
