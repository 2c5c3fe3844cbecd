"""Boiling water and the standard atmosphere against IAPWS and ISO 2533."""

import pytest

from refusal import refused
from wattsump_logger.calibration.fixed_points import altitude_pressure_pa, boiling_point_c
from wattsump_logger.errors import RangeError


@pytest.mark.parametrize(
    ("pressure_mpa", "kelvin"),
    [(0.1, 372.755919), (1.0, 453.035632), (10.0, 584.149488)],
)
def test_boiling_point_is_that_of_the_formulations_own_check_table(
    pressure_mpa: float, kelvin: float
) -> None:
    # published: IAPWS R7-97(2012), table 36, nine digits.
    assert boiling_point_c(pressure_mpa * 1e6) + 273.15 == pytest.approx(kelvin, abs=6e-7)


@pytest.mark.parametrize(
    ("kpa", "celsius"),
    [
        (60, 85.9260), (65, 87.9933), (70, 89.9317), (75, 91.7580), (80, 93.4855),
        (85, 95.1255), (90, 96.6871), (95, 98.1784), (98, 99.0422), (100, 99.6059),
        (101.325, 99.9743), (102, 100.1604), (103, 100.4343), (104, 100.7060), (105, 100.9755),
    ],
)  # fmt: skip
def test_boiling_point_agrees_with_the_scientific_formulation(kpa: float, celsius: float) -> None:
    # independent: CoolProp 8.0 (IAPWS-95); the two formulations differ by 0.0003 K here.
    assert boiling_point_c(kpa * 1e3) == pytest.approx(celsius, abs=4e-4)


@pytest.mark.parametrize(
    ("altitude_m", "pressure_pa", "celsius"),
    [
        (-500, 107477.5, 101.634), (0, 101325.0, 99.974), (250, 98357.5, 99.144),
        (500, 95460.8, 98.313), (750, 92633.6, 97.481), (1000, 89874.6, 96.649),
        (1500, 84556.0, 94.983), (1609.344, 83427.6, 94.619), (2000, 79495.2, 93.315),
        (2500, 74682.5, 91.645), (3000, 70108.5, 89.973), (4000, 61640.2, 86.620),
        (5000, 54019.9, 83.255),
    ],
)  # fmt: skip
def test_pressure_by_altitude_is_the_standard_atmospheres(
    altitude_m: float, pressure_pa: float, celsius: float
) -> None:
    # published: ISO 2533:1975 table 1, geopotential, to 0.1 Pa.
    assert altitude_pressure_pa(altitude_m) == pytest.approx(pressure_pa, abs=0.06)
    # independent: CoolProp 8.0 (IAPWS-95) at that pressure, three decimals.
    assert boiling_point_c(altitude_pressure_pa(altitude_m)) == pytest.approx(celsius, abs=8e-4)


@pytest.mark.parametrize("pressure_pa", [611.0, 22.1e6, -1.0, float("nan")])
def test_a_pressure_off_the_saturation_line_is_refused(pressure_pa: float) -> None:
    with refused(RangeError, "boiling point"):
        boiling_point_c(pressure_pa)


def test_the_saturation_line_is_taken_to_both_its_ends() -> None:
    # published: IAPWS R7-97(2012): 611.213 Pa belongs to 273.15 K, 22.064 MPa to 647.096 K.
    assert boiling_point_c(611.213) == pytest.approx(0.0, abs=1e-4)
    # published: as above; the line meets the critical point to a few millikelvins.
    assert boiling_point_c(22.064e6) == pytest.approx(373.946, abs=5e-3)


@pytest.mark.parametrize("altitude_m", [-2000.1, 11000.1, float("nan")])
def test_an_altitude_outside_the_layer_is_refused(altitude_m: float) -> None:
    with refused(RangeError, "standard atmosphere"):
        altitude_pressure_pa(altitude_m)


def test_both_ends_of_the_layer_are_inside() -> None:
    # published: ISO 2533:1975 table 1, -2000 m and 11 000 m, five digits (from memory).
    assert altitude_pressure_pa(-2000.0) == pytest.approx(127774, rel=1e-5)
    # published: as above.
    assert altitude_pressure_pa(11000.0) == pytest.approx(22632, rel=1e-5)
