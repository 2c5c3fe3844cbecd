"""Tolerance classes against IEC 60584-1 and ASTM E230."""

import math

import pytest

from refusal import refused
from wattsump_logger.errors import UsageError
from wattsump_logger.machine.sensor_class import (
    BOARD_HALF_WIDTH_K,
    NO_SENSOR,
    SensorClass,
)


def class_half_width_k(sensor: str, temp_c: float) -> float:
    """The class's own part of the standard uncertainty, as the half-width of its tolerance."""
    return math.sqrt(3.0 * SensorClass(text=sensor).u_c(temp_c) ** 2 - BOARD_HALF_WIDTH_K**2)


@pytest.mark.parametrize(
    ("sensor", "temp_c", "half_width_k"),
    [
        ("K class 2", 71, 2.5), ("K class 2", 400, 3.0), ("K class 1", 500, 2.0),
        ("N class 1", 71, 1.5), ("N class 3", -200, 3.0), ("J class 1", 71, 1.5),
        ("J class 2", 750, 5.625), ("T class 1", 100, 0.5), ("T class 1", 200, 0.8),
        ("T class 2", 71, 1.0), ("T class 2", 200, 1.5), ("T class 3", -100, 1.5),
        ("E class 1", 800, 3.2), ("E class 2", 900, 6.75), ("E class 3", -40, 2.5),
        ("K standard", 71, 2.2), ("K standard", 400, 3.0), ("K special", 71, 1.1),
        ("K special", 400, 1.6), ("K standard", -150, 3.0), ("T standard", -100, 1.5),
        ("T special", 71, 0.5), ("E standard", 71, 1.7), ("E special", 500, 2.0),
        ("J standard", 71, 2.2), ("J special", 71, 1.1), ("N standard", 71, 2.2),
        ("N special", 71, 1.1), ("E standard", -200, 2.0),
    ],
)  # fmt: skip
def test_half_widths_are_those_of_the_standards(
    sensor: str, temp_c: float, half_width_k: float
) -> None:
    # published: IEC 60584-2:1982+A1 (now 60584-1) and ASTM E230 table 1, exact products.
    assert class_half_width_k(sensor, temp_c) == pytest.approx(half_width_k, rel=1e-9)


@pytest.mark.parametrize(
    ("sensor", "change_c"),
    [
        ("K class 1", 375.0),
        ("K class 2", 333.333),
        ("T class 1", 125.0),
        ("T class 2", 133.333),
        ("K class 3", -166.667),
        ("T class 3", -66.667),
    ],
)
def test_the_relative_term_takes_over_where_the_standard_says(sensor: str, change_c: float) -> None:
    floor = class_half_width_k(sensor, 0.0)
    away = math.copysign(1.0, change_c)
    assert class_half_width_k(sensor, change_c - away) == pytest.approx(floor, rel=1e-9)
    assert class_half_width_k(sensor, change_c + away) > floor * (1 + 1e-6)


@pytest.mark.parametrize("sensor", ["J class 3", "K class 4", "B class 1", "", "K", "K Class 2"])
def test_a_class_that_does_not_exist_is_refused(sensor: str) -> None:
    with pytest.raises(UsageError, match="K class 2"):
        SensorClass(text=sensor)


def test_a_tolerance_of_two_and_a_half_is_a_standard_uncertainty_of_1_443() -> None:
    u = SensorClass(text="K class 2").u_c(71.0)
    wire = math.sqrt(u**2 - BOARD_HALF_WIDTH_K**2 / 3)
    # published: JCGM 100:2008, 4.3.7, 2.5/sqrt(3) = 1.443 to three decimals.
    assert wire == pytest.approx(1.443, abs=5e-4)


def test_a_class_carries_on_beyond_its_end_in_a_budget() -> None:
    warm = SensorClass(text="K special")
    assert warm.u_c(-20.0) == warm.u_c(0.0)
    assert warm.u_c(1300.0) > warm.u_c(1260.0)
    assert SensorClass(text="K class 3").u_c(71.0) == SensorClass(text="K class 2").u_c(71.0)


def test_a_plain_half_width_covers_the_whole_chain() -> None:
    # published: JCGM 100:2008, 4.3.7, half-width over sqrt 3; exact.
    assert SensorClass(text="±0.5 K").u_c(71.0) == pytest.approx(0.5 / math.sqrt(3), rel=1e-9)
    # published: as above, with 5/9 K a degree Fahrenheit.
    assert SensorClass(text="+/-0.9 degF").u_c(71.0) == pytest.approx(0.5 / math.sqrt(3))


def test_the_letter_is_told_where_the_class_has_one() -> None:
    assert SensorClass(text="T class 1").letter == "T"
    assert SensorClass(text="±0.5 K").letter is None
    assert SensorClass(text="not stated").letter is None


def test_a_sensor_not_stated_is_judged_as_the_widest_of_the_usual() -> None:
    assert SensorClass(text="not stated").u_c(71.0) == SensorClass(text="K class 2").u_c(71.0)


def test_a_channel_without_a_temperature_has_no_uncertainty_of_one() -> None:
    with refused(UsageError, "sensor uncertainty"):
        NO_SENSOR.u_c(71.0)
