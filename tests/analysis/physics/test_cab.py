"""Cab heat by the energy balance of the air, and the duct's price."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refusal import refused
from wattsump_analysis.physics import air, cab
from wattsump_logger.errors import RangeError


def test_air_behind_the_cooler_carries_its_heat() -> None:
    rate = air.capacity_rate_w_k(0.30, 0.0)
    result = cab.behind_cooler(heat_w=5000.0, air_rate_w_k=rate, ambient_c=0.0, cab_c=10.0)
    # By hand: 0.30 m³/s x 1.2923 kg/m³ x 1006.5 J/(kg K) = 390.2 W/K, so 12.8 K of rise.
    # independent: CoolProp dry air at 0 °C, 1.2931 kg/m³ and 1005.7 J/(kg K): 390.1 W/K; the
    # ideal gas and the table's rounding allow 0.3 %.
    assert result.air_off_c == pytest.approx(5000.0 / (0.30 * 1.2931 * 1005.7), rel=3e-3)
    assert math.isclose(result.to_cab_w, rate * (result.air_off_c - 10.0))
    assert result.from_outside_w == 5000.0


def test_air_cooler_than_the_cab_gives_it_nothing() -> None:
    result = cab.behind_cooler(heat_w=2000.0, air_rate_w_k=400.0, ambient_c=-10.0, cab_c=20.0)
    assert (result.air_off_c, result.to_cab_w) == (-5.0, 0.0)


@given(st.floats(0.0, 1.0))
def test_a_duct_takes_its_share(share: float) -> None:
    whole = cab.behind_cooler(heat_w=6e3, air_rate_w_k=300.0, ambient_c=5.0, cab_c=15.0)
    part = cab.behind_cooler(
        heat_w=6e3, air_rate_w_k=300.0, ambient_c=5.0, cab_c=15.0, ducted_share=share
    )
    assert math.isclose(part.to_cab_w, share * whole.to_cab_w)


@settings(deadline=None, max_examples=30)
@given(st.floats(0.1, 1.0))
def test_a_duct_never_gives_the_cooler_anything_and_costs_less_than_all(left: float) -> None:
    cost = cab.ducting_cost_w_k(110.0, air_rate_w_k=300.0, oil_rate_w_k=500.0, air_left=left)
    assert -1e-6 <= cost.low <= cost.likely <= cost.high < 110.0


def test_the_oil_runs_hotter_for_what_the_duct_costs() -> None:
    plain = cab.oil_temp_with_duct_c(
        heat_w=4000.0, ambient_c=20.0, shell_w_k=20.0, measured_w_k=100.0, cost_w_k=0.0
    )
    ducted = cab.oil_temp_with_duct_c(
        heat_w=4000.0, ambient_c=20.0, shell_w_k=20.0, measured_w_k=100.0, cost_w_k=40.0
    )
    assert math.isclose(plain, 20.0 + 4000.0 / 120.0)
    assert math.isclose(ducted, 70.0)


def test_impossible_inputs_are_refused_by_name() -> None:
    with refused(RangeError, "cooler heat"):
        cab.behind_cooler(heat_w=-1.0, air_rate_w_k=300.0, ambient_c=5.0)
    with refused(RangeError, "air capacity rate"):
        cab.behind_cooler(heat_w=1.0, air_rate_w_k=0.0, ambient_c=5.0)
    with refused(RangeError, "ducted share"):
        cab.behind_cooler(heat_w=1.0, air_rate_w_k=300.0, ambient_c=5.0, ducted_share=1.1)
    with refused(RangeError, "air left by the duct"):
        cab.ducting_cost_w_k(110.0, air_rate_w_k=300.0, oil_rate_w_k=500.0, air_left=1.2)
    with refused(RangeError, "conductance left"):
        cab.oil_temp_with_duct_c(
            heat_w=1.0, ambient_c=0.0, shell_w_k=0.0, measured_w_k=10.0, cost_w_k=10.0
        )
