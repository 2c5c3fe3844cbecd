"""Rates from counted edges, without a chip."""

import pytest

from firmware.harness import Harness

WRAP = 2**32


def meter(harness: Harness, tenths: int) -> None:
    harness.order(f"pulse {tenths}")


def read(harness: Harness, tenths: int, edges: int, last_us: int, now_us: int) -> str:
    return harness.order(f"pulse {tenths} {edges} {last_us % WRAP} {now_us % WRAP}")


def test_standstill_is_zero_and_the_first_edges_are_no_reading(harness: Harness) -> None:
    meter(harness, 4500)
    assert read(harness, 4500, 0, 0, 1_000_000) == "0"
    assert read(harness, 4500, 3, 1_900_000, 2_000_000) == "-"


# independent: rate = edges / span x 60 / (pulses per unit), worked by hand; exact but for the
# cut to hundredths
@pytest.mark.parametrize(
    ("tenths", "edges", "span_us", "hundredths"),
    [
        (4500, 225, 1_000_000, 3000),  # 225 Hz at 450 pulses a litre: 30.00 l/min
        (4500, 1, 400_000, 33),  # 2.5 Hz: 0.333 l/min
        (155, 465, 1_000_000, 180_000),  # 465 Hz at 15.5 a turn: 1800.00 rpm
        (1, 2_000, 1_000_000, 120_000_000),  # 2 kHz at the finest scale
        (65535, 2_000, 1_000_000, 1831),
        (10, 120_000, 60_000_000, 12_000_000),  # a minute of 2 kHz
    ],
)
def test_the_rate_is_by_the_time_between_edges_across_the_wrap(
    harness: Harness, tenths: int, edges: int, span_us: int, hundredths: int
) -> None:
    meter(harness, tenths)
    start_us = WRAP - 200_000
    assert read(harness, tenths, WRAP - 7, start_us, start_us + 5) == "-"
    answer = read(
        harness, tenths, (WRAP - 7 + edges) % WRAP, start_us + span_us, start_us + span_us + 9
    )
    assert answer == str(hundredths)


def test_a_rate_fades_while_no_edge_comes_and_is_zero_after_two_seconds(harness: Harness) -> None:
    meter(harness, 10)
    assert read(harness, 10, 1, 0, 1) == "-"
    assert read(harness, 10, 11, 1_000_000, 1_000_001) == "60000"
    assert read(harness, 10, 11, 1_000_000, 1_050_000) == "60000"
    # independent: at most one edge in the half second since the last: 2 Hz, 120 a minute; exact
    assert read(harness, 10, 11, 1_000_000, 1_500_000) == "12000"
    assert read(harness, 10, 11, 1_000_000, 3_000_000) == "0"
    assert read(harness, 10, 12, 9_000_000, 9_000_001) == "-"
