"""Drive losses against worked rows in ISO 4391 symbols and the trade's arithmetic."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refusal import refused
from wattsump_analysis.physics import drive
from wattsump_logger.errors import RangeError

HP = 745.69987158227022  # NIST SP 811, W
BTU_H = 0.2930710701722  # NIST SP 811, W


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


def test_the_worked_pump_and_motor_lose_what_their_efficiencies_say() -> None:
    # independent: second computation of a 50 cm³ pump and motor at 200 bar, each 0.95 x 0.92: of
    # 32 608.7 W at the shaft 7 699.7 W are lost, printed digits.
    overall = 0.95 * 0.92
    assert drive.drive_loss_w(32_608.7, overall, overall) == pytest.approx(7_699.7, abs=0.1)


@given(st.floats(0.05, 1.0), st.floats(0.05, 1.0))
def test_what_is_lost_and_what_is_passed_on_make_the_whole(pump: float, motor: float) -> None:
    assert math.isclose(drive.loss_share(pump, motor) + pump * motor, 1.0)


def test_rules_of_thumb_are_ordered_and_named() -> None:
    for share in drive.HEAT_SHARES:
        assert 0.0 < share.low < share.high <= 0.5
        assert share.rule


def test_impossible_inputs_are_refused_by_name() -> None:
    with pytest.raises(RangeError, match=r"80 % is 0\.80"):
        drive.loss_share(80.0, 0.8)
    with refused(RangeError, "drive power"):
        drive.drive_loss_w(-1.0, 0.8, 0.8)
