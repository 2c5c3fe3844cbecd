"""Drive losses against worked rows in ISO 4391 symbols and the trade's arithmetic."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wattsump_analysis import drive
from wattsump_logger.errors import RangeError

HP = 745.69987158227022  # NIST SP 811, W
BTU_H = 0.2930710701722  # NIST SP 811, W
LPM = 1e-3 / 60.0
PSI = 6894.757293168
US_GPM = 6.30901964e-5
PUMP = drive.pump_point(
    displacement_m3_rev=50e-6, speed_rev_s=30.0, pressure_pa=200e5, eta_v=0.95, eta_hm=0.92
)
MOTOR = drive.motor_point(
    displacement_m3_rev=50e-6,
    flow_m3_s=PUMP.flow_m3_s,
    pressure_pa=200e5,
    eta_v=0.95,
    eta_hm=0.92,
)


def test_two_machines_of_eighty_percent_lose_thirty_six() -> None:
    # independent: hand arithmetic 1 - 0.8 x 0.8, exact.
    assert drive.loss_share(0.80, 0.80) == pytest.approx(0.36)
    loss = drive.drive_loss_w(27.0 * HP, 0.80, 0.80)
    # independent: hand arithmetic, three digits: 9.72 hp, 7.25 kW, 24.7 thousand Btu/h.
    assert (loss / HP, loss / 1e3, loss / BTU_H / 1e3) == pytest.approx(
        (9.72, 7.25, 24.7), rel=0.002
    )


def test_the_selection_page_row_for_a_hundred_horsepower_is_reproduced() -> None:
    heat = 100.0 * HP * 0.33
    # published: a cooler data sheet's selection page, 33 hp x 42.41 = 1399.5 Btu/min, with 42.41
    # rounded from 42.40723; 24.61 kW, four digits.
    assert heat / BTU_H / 60.0 == pytest.approx(1399.5, abs=0.1)
    # published: as above.
    assert heat / 1e3 == pytest.approx(24.61, abs=0.005)


def test_the_worked_pump_gives_flow_torque_power_and_heat() -> None:
    # independent: second computation of 50 cm³/rev at 1800 rpm and 200 bar with 0.95 and 0.92.
    assert PUMP.theoretical_flow_m3_s / LPM == pytest.approx(90.0, abs=1e-9)
    # independent: as above, printed digits.
    assert PUMP.flow_m3_s / LPM == pytest.approx(85.5, abs=1e-9)
    # independent: as above.
    assert PUMP.hydraulic_power_w == pytest.approx(28_500.0, abs=0.5)
    # independent: as above.
    assert (PUMP.torque_nm, PUMP.ideal_torque_nm) == pytest.approx((172.99, 159.15), abs=0.006)
    # independent: as above.
    assert (PUMP.shaft_power_w, PUMP.loss_w) == pytest.approx((32_608.7, 4_108.7), abs=0.06)
    # independent: as above.
    assert PUMP.efficiency == pytest.approx(0.874, abs=5e-4)


def test_the_motor_fed_by_that_pump_gives_speed_power_and_the_drives_heat() -> None:
    # independent: second computation, printed digits: 1624.5 rpm, 146.42 N m, 24.909 kW.
    assert MOTOR.speed_rev_s * 60.0 == pytest.approx(1624.5, abs=0.05)
    # independent: as above.
    assert MOTOR.torque_nm == pytest.approx(146.42, abs=0.006)
    # independent: as above.
    assert MOTOR.shaft_power_w == pytest.approx(24_909.0, abs=0.6)
    # independent: as above, overall 0.763876 and 7.6997 kW of heat.
    assert MOTOR.shaft_power_w / PUMP.shaft_power_w == pytest.approx(0.763876, abs=1e-6)
    # independent: as above.
    assert PUMP.loss_w + MOTOR.loss_w == pytest.approx(7_699.7, abs=0.06)


def test_displacement_in_inches_gives_the_flow_in_both_units() -> None:
    pump = drive.pump_point(
        displacement_m3_rev=2.5 * 16.387064e-6,
        speed_rev_s=50.0,
        pressure_pa=1e7,
        eta_v=1.0,
        eta_hm=1.0,
    )
    # independent: 2.5 in³ at 3000 rpm is 32.4675 US gal/min or 122.903 L/min, printed digits.
    assert pump.flow_m3_s / US_GPM == pytest.approx(32.4675, abs=1e-4)
    # independent: as above.
    assert pump.flow_m3_s / LPM == pytest.approx(122.903, abs=1e-3)


def test_hydraulic_power_matches_the_rules_of_both_unit_systems() -> None:
    # published: hp = psi gpm/1714, kW = bar L/min/600; 1714.286 exactly, so four digits.
    assert drive.hydraulic_power_w(10 * US_GPM, 1714.0 * PSI) / HP == pytest.approx(10.0, rel=2e-4)
    # published: as above, exact.
    assert drive.hydraulic_power_w(60 * LPM, 100e5) == pytest.approx(10_000.0)


def test_oil_over_a_relief_valve_warms_by_its_pressure() -> None:
    # independent: p/(rho cp) at 1.75 MJ/(m³ K), three digits: 5.71 K and 3.94 K (7.09 °F).
    assert drive.relief_rise_k(100e5) == pytest.approx(5.71, abs=0.005)
    # independent: as above.
    assert drive.relief_rise_k(1000.0 * PSI) == pytest.approx(3.94, abs=0.005)
    # independent: as above.
    assert drive.relief_rise_k(1000.0 * PSI) * 1.8 == pytest.approx(7.09, abs=0.006)


def test_the_tank_method_gives_the_heat_of_a_timed_rise() -> None:
    # independent: 200 L, 860 kg/m³, 1950 J/(kg K), 50 K in half an hour: 9.317 kW.
    assert drive.heat_from_rise_w(0.2 * 860 * 1950, 50.0, 1800.0) == pytest.approx(9317.0, abs=0.5)


@given(st.floats(0.05, 1.0), st.floats(0.05, 1.0))
def test_energy_closes_over_pump_and_motor(eta_v: float, eta_hm: float) -> None:
    pump = drive.pump_point(
        displacement_m3_rev=28e-6, speed_rev_s=40.0, pressure_pa=1.5e7, eta_v=eta_v, eta_hm=eta_hm
    )
    assert pump.loss_w >= -1e-6
    assert math.isclose(pump.hydraulic_power_w / pump.shaft_power_w, pump.efficiency)


def test_rules_of_thumb_are_ordered_and_named() -> None:
    for share in drive.HEAT_SHARES:
        assert 0.0 < share.low < share.high <= 0.5
        assert share.rule


def test_impossible_inputs_are_refused_by_name() -> None:
    with pytest.raises(RangeError, match=r"80 % is 0\.80"):
        drive.loss_share(80.0, 0.8)
    with pytest.raises(RangeError, match="drive power"):
        drive.drive_loss_w(-1.0, 0.8, 0.8)
    with pytest.raises(RangeError, match="displacement"):
        drive.motor_point(
            displacement_m3_rev=50.0, flow_m3_s=1e-3, pressure_pa=1e7, eta_v=1.0, eta_hm=1.0
        )
    with pytest.raises(RangeError, match="oil heat"):
        drive.relief_rise_k(1e7, 0.0)
    with pytest.raises(RangeError, match="time of the rise"):
        drive.heat_from_rise_w(1e5, 5.0, 0.0)
