"""Hot-day temperature and time to a limit, against SAE terms, closed forms and hand arithmetic."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refusal import refused
from wattsump_analysis.physics import forecast
from wattsump_analysis.physics.lumps import OneNode
from wattsump_logger.errors import RangeError

LUMP = OneNode(capacity_j_k=100e3, loss_w_k=50.0)


def test_limiting_ambient_follows_the_test_codes_definition() -> None:
    # published: SAE J1393 limiting ambient temperature: limit 80 °C, oil 60 °C in 25 °C air: 45 °C.
    assert forecast.limiting_ambient_from_reading_c(80.0, 60.0, 25.0) == pytest.approx(45.0)
    got = forecast.limiting_ambient_from_reading_c(
        80.0, np.array([60.0, 85.0]), np.array([25.0, 30.0])
    )
    # published: as above, by its formula.
    np.testing.assert_allclose(got, (45.0, 25.0))


@settings(deadline=None)
@given(st.floats(100.0, 2e4), st.floats(5.0, 1000.0), st.floats(40.0, 110.0))
def test_at_the_limiting_ambient_the_machine_settles_at_its_limit(
    heat: float, g: float, limit: float
) -> None:
    ambient = forecast.limiting_ambient_c(limit, heat, g)
    assert math.isclose(forecast.steady_temp_c(ambient, heat, g), limit, abs_tol=1e-9)


def test_a_sample_of_heat_and_conductance_gives_a_sample_of_temperatures() -> None:
    heat, g = np.array([3000.0, 4000.0]), np.array([100.0, 160.0])
    # independent: heat over conductance by hand, 30 and 25 K over ambient, exact.
    np.testing.assert_array_equal(forecast.steady_temp_c(20.0, heat, g), [50.0, 45.0])
    # independent: the same rises below the limit, exact.
    np.testing.assert_array_equal(forecast.limiting_ambient_c(80.0, heat, g), [50.0, 55.0])


def test_time_to_limit_is_the_first_order_answer() -> None:
    result = forecast.time_to_limit(LUMP, start_c=20.0, ambient_c=20.0, heat_w=2e3, limit_c=43.7372)
    # independent: first-order closed form by a second computation, 43.7372 °C at 1800 s.
    assert result.seconds == pytest.approx(1800.0, abs=0.02)
    assert result.final_c == 60.0


def test_a_machine_over_its_limit_has_no_time_left_and_one_that_settles_below_has_all() -> None:
    over = forecast.time_to_limit(LUMP, start_c=85.0, ambient_c=20.0, heat_w=2e3, limit_c=82.0)
    below = forecast.time_to_limit(LUMP, start_c=20.0, ambient_c=20.0, heat_w=2e3, limit_c=82.0)
    assert (over.seconds, below.seconds) == (0.0, math.inf)


def test_a_stopped_fan_gives_the_minutes_the_energy_balance_says() -> None:
    result = forecast.fan_failure(
        capacity_j_k=62e3,
        shell_w_k=25.0,
        still_cooler_w_k=5.0,
        start_c=60.0,
        ambient_c=25.0,
        heat_w=4000.0,
        limit_c=82.0,
    )
    # By hand: heads for 25 + 4000/30 = 158.33 °C with 2066.7 s; ln(98.33/76.33) of that.
    assert math.isclose(result.final_c, 25.0 + 4000.0 / 30.0)
    assert math.isclose(
        result.seconds, 62e3 / 30.0 * math.log(98.0 + 1 / 3) - 62e3 / 30.0 * math.log(76.0 + 1 / 3)
    )
    with refused(RangeError, "cooler without its fan"):
        forecast.fan_failure(
            capacity_j_k=1.0, shell_w_k=1.0, still_cooler_w_k=-1.0, start_c=0.0, ambient_c=0.0,
            heat_w=1.0, limit_c=1.0,
        )  # fmt: skip


@pytest.mark.parametrize(("altitude", "loss"), [(1000.0, 0.06), (2000.0, 0.11)])
def test_altitude_costs_what_the_trades_rule_says(altitude: float, loss: float) -> None:
    low, likely, high = forecast.conductance_at_altitude_w_k(
        100.0, measured_altitude_m=0.0, altitude_m=altitude, measured_temp_c=15.0,
        temp_c=15.0 - 0.0065 * altitude,
    )  # fmt: skip
    # practice: cooling x (1 - altitude/17 500 m): -6 % and -11 %, common practice, no source;
    # whole per cent.
    assert 1.0 - likely / 100.0 == pytest.approx(loss, abs=0.006)
    assert low < likely < high < 100.0


def test_a_mile_up_the_mass_flow_bounds_the_loss() -> None:
    low, _, _ = forecast.conductance_at_altitude_w_k(
        100.0, measured_altitude_m=0.0, altitude_m=1609.344, measured_temp_c=15.0, temp_c=4.539
    )
    # published: ISO 2533 densities 1.0467 and 1.2250 kg/m³ at 1609 m and sea level: 0.854 at best
    # for a fan of fixed volume flow; three digits.
    assert low == pytest.approx(85.4, abs=0.06)


@pytest.mark.parametrize(
    ("ambient", "standing", "gap"),
    [
        (20.0, "trusted", 0),
        (35.0, "trusted", 10),
        (36.0, "stretched", 11),
        (-6.0, "not trusted", 21),
    ],
)
def test_ambients_far_from_those_measured_are_flagged(
    ambient: float, standing: str, gap: float
) -> None:
    result = forecast.ambient_trust(ambient, np.array([15.0, np.nan, 25.0]))
    assert (result.standing, result.gap_k) == (standing, gap)
    assert "15 to 25 °C" in result.reason


def test_forecasts_without_a_conductance_or_an_ambient_are_refused() -> None:
    with refused(RangeError, "conductance"):
        forecast.steady_temp_c(20.0, 1000.0, 0.0)
    with refused(RangeError, "conductance"):
        forecast.limiting_ambient_c(80.0, 1000.0, 0.0)
    with refused(RangeError, "ambient_trust"):
        forecast.ambient_trust(20.0, np.array([np.nan]))
