"""Air against the standard atmosphere and a handbook table."""

import numpy as np
import pytest

from refusal import refused
from wattsump_analysis.physics import air
from wattsump_logger.errors import RangeError


def test_pressure_follows_the_standard_atmosphere() -> None:
    altitude = np.array([-500.0, 0, 250, 500, 1000, 1500, 1609.344, 2000, 2500, 3000, 4000, 5000])
    # published: ISO 2533 tables (geopotential metres), one decimal of a pascal; computed again
    # from the standard's constants.
    expected = (
        107477.5, 101325.0, 98357.5, 95460.8, 89874.6, 84556.0, 83427.6, 79495.2, 74682.5,
        70108.5, 61640.2, 54019.9,
    )  # fmt: skip
    np.testing.assert_allclose(air.pressure_pa(altitude), expected, atol=0.06)


def test_density_at_sea_level_and_in_a_mile_high_town_is_the_standard_one() -> None:
    # published: ISO 2533, 1.225 kg/m³ at 15 °C and sea level, four digits.
    assert air.density_kg_m3(15.0) == pytest.approx(1.2250, abs=5e-5)
    # published: ISO 2533, 0.0065 K/m from 15 °C: 277.689 K at 1609 m.
    at_mile = air.density_kg_m3(277.689 - 273.15, air.pressure_pa(1609.344))
    # published: ISO 2533 at 1609 m, 1.0467 against 1.2250 kg/m³, a ratio of 0.854.
    assert at_mile == pytest.approx(1.0467, abs=1e-4)
    # published: as above.
    assert at_mile / 1.2250 == pytest.approx(0.854, abs=5e-4)


def test_heat_capacity_matches_the_rows_of_the_air_table() -> None:
    kelvin = np.array([250.0, 300.0, 350.0])
    # published: Bergman & Lavine, Table A.4, from memory, four digits.
    expected = (1006.0, 1007.0, 1009.0)
    np.testing.assert_allclose(air.specific_heat_j_kgk(kelvin - 273.15), expected, atol=0.01)


def test_a_cubic_metre_per_second_carries_about_twelve_hundred_watts_per_kelvin() -> None:
    # practice: 1.19 kW/K per m³/s and 0.56 W/K per cubic foot per minute, common practice, no
    # source; the second digit of the latter, and an unstated air temperature, allow 2 %.
    assert air.capacity_rate_w_k(1.0, 23.0) == pytest.approx(1190.0, rel=0.02)
    # practice: as above.
    assert air.capacity_rate_w_k(0.3048**3 / 60.0, 23.0) == pytest.approx(0.56, rel=0.02)


@pytest.mark.parametrize("altitude", [-2001.0, 11_001.0])
def test_an_altitude_outside_the_lowest_layer_is_refused(altitude: float) -> None:
    with refused(RangeError, "altitude"):
        air.pressure_pa(altitude)


def test_a_pressure_in_the_wrong_unit_is_refused() -> None:
    with refused(RangeError, "air pressure"):
        air.density_kg_m3(20.0, 1013.25)
    with refused(RangeError, "air temperature"):
        air.specific_heat_j_kgk(293.0)
    with refused(RangeError, "air flow"):
        air.capacity_rate_w_k(0.0, 20.0)


def test_a_missing_reading_stays_missing() -> None:
    assert np.isnan(air.density_kg_m3(np.array([np.nan]))[0])
