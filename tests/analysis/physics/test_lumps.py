"""Closed-form step responses against textbook examples and an independent ODE solution."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from refusal import refused
from wattsump_analysis.physics.lumps import (
    OneNode,
    TwoNode,
    one_node_countdown,
    two_node_countdown,
    two_node_temps_c,
)
from wattsump_logger.errors import RangeError

# A thermocouple bead as a lump of unit area: C = rho c Lc, G = h.
INCROPERA_BEAD = OneNode(capacity_j_k=8500.0 * 400.0 * 7.0588e-4 / 6.0, loss_w_k=400.0)
LIENHARD_BEAD = OneNode(capacity_j_k=9300.0 * 180.0 * 1e-3 / 6.0, loss_w_k=250.0)
LUMP = OneNode(capacity_j_k=100e3, loss_w_k=50.0)
PAIR = TwoNode(capacities_j_k=(34e3, 28e3), losses_w_k=(80.0, 15.0), coupling_w_k=400.0)


def temp_c(
    elapsed_s: float, node: OneNode, *, start_c: float, ambient_c: float, power_w: float
) -> float:
    """Bergman and Lavine, section 5.3: T0 + (P - G (T0 - Ta))/C tau (1 - exp(-t/tau))."""
    rate_k_s = (power_w - node.loss_w_k * (start_c - ambient_c)) / node.capacity_j_k
    tau_s = node.time_constant_s
    grown_s = elapsed_s if math.isinf(tau_s) else -tau_s * math.expm1(-elapsed_s / tau_s)
    return start_c + rate_k_s * grown_s


def test_the_textbook_thermocouple_bead_reaches_its_gas_in_the_printed_time() -> None:
    # published: Incropera Example 5.1, time constant 1 s and 25 to 199 °C in 200 °C gas in 5.2 s.
    assert INCROPERA_BEAD.time_constant_s == pytest.approx(1.0, abs=5e-4)
    result = one_node_countdown(
        INCROPERA_BEAD, start_c=25.0, ambient_c=200.0, power_w=0.0, target_c=199.0
    )
    # published: as above; 5.16 s before rounding.
    assert result.seconds == pytest.approx(5.16, abs=0.01)


def test_a_third_textbook_bead_reads_99_percent_after_ten_seconds() -> None:
    bead = OneNode(capacity_j_k=8500.0 * 320.0 * 1e-3 / 6.0, loss_w_k=210.0)
    # published: Cengel Example 4-1, 10 s for 99 %; the book rounds Lc and 1/tau (0.462), hence
    # 1 % on the latter.
    assert 1.0 / bead.time_constant_s == pytest.approx(0.462, rel=0.01)
    result = one_node_countdown(bead, start_c=0.0, ambient_c=100.0, power_w=0.0, target_c=99.0)
    # published: as above.
    assert result.seconds == pytest.approx(10.0, abs=0.1)


def test_a_second_textbook_bead_has_the_printed_time_constant() -> None:
    # published: Lienhard, A Heat Transfer Textbook, Example 1.4, 1.116 s.
    assert LIENHARD_BEAD.time_constant_s == pytest.approx(1.116, abs=5e-4)


def test_the_textbook_cooling_body_reaches_25_degrees_after_12_hours() -> None:
    radius, length = 0.15, 1.7
    volume = math.pi * radius**2 * length
    area = 2 * math.pi * radius * length + 2 * math.pi * radius**2
    body = OneNode(capacity_j_k=996.0 * 4178.0 * volume, loss_w_k=8.0 * area)
    result = one_node_countdown(body, start_c=37.0, ambient_c=20.0, power_w=0.0, target_c=25.0)
    # published: Cengel Example 4-2, 12.2 h.
    assert result.seconds / 3600.0 == pytest.approx(12.2, abs=0.05)


def test_constant_power_warm_up_follows_the_first_order_answer() -> None:
    # independent: first-order closed form by a second computation, six digits: 43.7372 °C after
    # half an hour, heading for 60 °C with 2000 s.
    assert temp_c(1800.0, LUMP, start_c=20.0, ambient_c=20.0, power_w=2000.0) == pytest.approx(
        43.7372, abs=1e-4
    )
    result = one_node_countdown(LUMP, start_c=20.0, ambient_c=20.0, power_w=2e3, target_c=43.7372)
    # independent: as above.
    assert (result.seconds, result.final_c) == pytest.approx((1800.0, 60.0), abs=0.02)
    cooler_on = OneNode(capacity_j_k=100e3, loss_w_k=150.0)
    # independent: as above with 150 W/K from 60 °C: 44.1752 °C after ten minutes.
    assert temp_c(600.0, cooler_on, start_c=60.0, ambient_c=20.0, power_w=2e3) == pytest.approx(
        44.1752, abs=1e-4
    )


def test_the_two_point_log_method_gives_the_time_constant() -> None:
    # independent: ln 2 by hand, 60 to 40 °C towards 20 °C in 600 s, tau 865.617 s.
    lump = OneNode(capacity_j_k=865.617, loss_w_k=1.0)
    result = one_node_countdown(lump, start_c=60.0, ambient_c=20.0, power_w=0.0, target_c=40.0)
    # independent: as above, six digits.
    assert result.seconds == pytest.approx(600.0, abs=1e-3)


@pytest.mark.parametrize(
    ("power_w", "target_c", "seconds"),
    [(2000.0, 60.5, math.inf), (2000.0, 19.0, math.inf), (0.0, 20.0, 0.0), (0.0, 21.0, math.inf)],
)
def test_a_temperature_beyond_the_final_one_is_never_reached(
    power_w: float, target_c: float, seconds: float
) -> None:
    result = one_node_countdown(
        LUMP, start_c=20.0, ambient_c=20.0, power_w=power_w, target_c=target_c
    )
    assert result.seconds == seconds


def test_a_lump_without_loss_rises_in_a_straight_line() -> None:
    lagged = OneNode(capacity_j_k=1000.0, loss_w_k=0.0)
    assert temp_c(60.0, lagged, start_c=0.0, ambient_c=-9.0, power_w=100.0) == 6.0
    up = one_node_countdown(lagged, start_c=0.0, ambient_c=-9.0, power_w=100.0, target_c=6.0)
    assert (up.seconds, up.final_c) == (60.0, math.inf)
    still = one_node_countdown(lagged, start_c=3.0, ambient_c=-9.0, power_w=0.0, target_c=6.0)
    assert (still.seconds, still.final_c) == (math.inf, 3.0)


@settings(deadline=None)
@given(
    st.floats(1e3, 1e6), st.floats(0.1, 500.0), st.floats(-30.0, 40.0), st.floats(-40.0, 40.0),
    st.floats(0.0, 2e4), st.floats(0.01, 0.99),
)  # fmt: skip
def test_a_countdown_and_the_curve_agree(
    c: float, g: float, start: float, air: float, power: float, share: float
) -> None:
    lump = OneNode(capacity_j_k=c, loss_w_k=g)
    final = air + power / g
    target = start + share * (final - start)
    result = one_node_countdown(lump, start_c=start, ambient_c=air, power_w=power, target_c=target)
    if abs(final - start) < 1e-3:
        return
    back = temp_c(result.seconds, lump, start_c=start, ambient_c=air, power_w=power)
    assert math.isclose(back, target, rel_tol=1e-6, abs_tol=1e-6)


@pytest.mark.parametrize("losses", [(80.0, 15.0), (5.0, 0.0), (0.0, 0.0)])
@pytest.mark.parametrize("powers", [(4000.0, 0.0), (0.0, 400.0)])
def test_two_nodes_match_an_independent_ode_solution(
    losses: tuple[float, float], powers: tuple[float, float]
) -> None:
    nodes = TwoNode(capacities_j_k=(34e3, 28e3), losses_w_k=losses, coupling_w_k=40.0)
    times = np.linspace(0.0, 3600.0, 13)

    def slope(_: float, temps: np.ndarray[tuple[int], np.dtype[np.float64]]) -> list[float]:
        oil, metal = temps
        across = 40.0 * (oil - metal)
        return [
            (powers[0] - across - losses[0] * (oil + 5.0)) / 34e3,
            (powers[1] + across - losses[1] * (metal + 5.0)) / 28e3,
        ]

    solved = solve_ivp(slope, (0, 3600), (10.0, -5.0), t_eval=times, rtol=1e-10, atol=1e-10)
    got = two_node_temps_c(times, nodes, start_c=(10.0, -5.0), ambient_c=-5.0, powers_w=powers)
    # independent: scipy solve_ivp (RK45) at 1e-10.
    np.testing.assert_allclose(got, solved.y, atol=1e-6)


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize("losses", [(80.0, 15.0), (0.0, 0.0)])
def test_two_nodes_cross_the_target_at_the_counted_time(
    which: int, losses: tuple[float, float]
) -> None:
    nodes = TwoNode(capacities_j_k=(34e3, 28e3), losses_w_k=losses, coupling_w_k=400.0)
    result = two_node_countdown(
        nodes,
        which=which,
        start_c=(10.0, 10.0),
        ambient_c=10.0,
        powers_w=(4000.0, 0.0),
        target_c=40.0,
    )
    temps = two_node_temps_c(
        np.array([result.seconds]), nodes, start_c=(10.0, 10.0), ambient_c=10.0, powers_w=(4e3, 0.0)
    )
    assert abs(temps[which, 0] - 40.0) < 1e-6


def test_the_first_crossing_is_found_on_a_curve_that_turns() -> None:
    # Hot metal warms the oil, then both cool: the oil passes 40 °C on the way up.
    result = two_node_countdown(
        PAIR, which=0, start_c=(20.0, 80.0), ambient_c=10.0, powers_w=(0.0, 0.0), target_c=40.0
    )
    times = np.linspace(0.0, 600.0, 60_001)
    oil = two_node_temps_c(times, PAIR, start_c=(20.0, 80.0), ambient_c=10.0, powers_w=(0.0, 0.0))[
        0
    ]
    first = times[np.flatnonzero(oil >= 40.0)[0]]
    assert oil[-1] < 40.0
    assert abs(result.seconds - first) < 0.011


def test_energy_is_conserved_by_two_nodes_without_loss() -> None:
    nodes = TwoNode(capacities_j_k=(34e3, 28e3), losses_w_k=(0.0, 0.0), coupling_w_k=400.0)
    times = np.array([0.0, 30.0, 600.0, 7200.0])
    temps = two_node_temps_c(times, nodes, start_c=(5.0, 60.0), ambient_c=0.0, powers_w=(900.0, 0))
    stored = 34e3 * (temps[0] - 5.0) + 28e3 * (temps[1] - 60.0)
    np.testing.assert_allclose(stored, 900.0 * times, atol=1e-3, rtol=1e-9)


def test_lossless_nodes_left_alone_settle_at_the_mixing_temperature() -> None:
    nodes = TwoNode(capacities_j_k=(34e3, 28e3), losses_w_k=(0.0, 0.0), coupling_w_k=400.0)
    result = two_node_countdown(
        nodes, which=0, start_c=(0.0, 62.0), ambient_c=5.0, powers_w=(0.0, 0.0), target_c=50.0
    )
    assert result.seconds == math.inf
    assert math.isclose(result.final_c, 28.0, rel_tol=1e-9)


def test_two_nodes_report_a_target_that_is_never_reached_and_the_final_temperature() -> None:
    result = two_node_countdown(
        PAIR, which=0, start_c=(10.0, 10.0), ambient_c=10.0, powers_w=(4000.0, 0.0), target_c=80.0
    )
    metal_loss = 1.0 / (1.0 / 400.0 + 1.0 / 15.0)
    assert result.seconds == math.inf
    assert math.isclose(result.final_c, 10.0 + 4000.0 / (80.0 + metal_loss), rel_tol=1e-9)


def test_a_target_already_met_takes_no_time() -> None:
    result = two_node_countdown(
        PAIR, which=1, start_c=(10.0, 20.0), ambient_c=10.0, powers_w=(4000.0, 0.0), target_c=20.0
    )
    assert result.seconds < 1e-6


def test_impossible_lumps_and_times_are_refused() -> None:
    with refused(RangeError, "capacity"):
        OneNode(capacity_j_k=0.0, loss_w_k=5.0)
    with refused(RangeError, "loss"):
        TwoNode(capacities_j_k=(1.0, 1.0), losses_w_k=(-1.0, 0.0), coupling_w_k=1.0)
    with refused(RangeError, "coupling"):
        TwoNode(capacities_j_k=(1.0, 1.0), losses_w_k=(0.0, 0.0), coupling_w_k=0.0)
