"""Viscosity grade and index against ISO 3448 and ASTM D2270."""

import pytest

from wattsump_logger.errors import RangeError, UsageError
from wattsump_logger.machine import oil_label as og


@pytest.mark.parametrize(
    ("grade", "viscosity"),
    [("VG 46", 46.0), ("ISO VG 32", 32.0), ("vg68", 68.0), ("VG 2", 2.2), ("VG 7", 6.8)],
)
def test_a_grade_is_its_mid_point_at_40_degrees(grade: str, viscosity: float) -> None:
    assert og.grade_viscosity_40(grade) == viscosity


@pytest.mark.parametrize("grade", ["VG 47", "10W-30", "46", "", "SAE 30"])
def test_what_is_no_iso_grade_has_no_viscosity(grade: str) -> None:
    assert og.grade_viscosity_40(grade) is None


@pytest.mark.parametrize(("at_40", "at_100", "index"), [(73.30, 8.86, 92), (22.83, 5.05, 156)])
def test_the_standards_worked_examples_come_out(at_40: float, at_100: float, index: int) -> None:
    # published: ASTM D2270, worked examples of procedures A and B, whole numbers.
    assert og.viscosity_index(at_40, at_100) == pytest.approx(index, abs=0.5)


@pytest.mark.parametrize(
    ("at_100", "low", "high"),
    [(2.0, 7.994, 6.394), (5.0, 40.23, 28.49), (10.0, 147.7, 82.87), (20.0, 493.2, 229.5)],
)
def test_index_0_and_100_lie_on_the_tabulated_lines(at_100: float, low: float, high: float) -> None:
    # published: ASTM D2270 table 1, L and H at four printed digits; the quadratics fit the
    # table to 0.1 %, and the index moves by 100 over L - H.
    slack = 100 * 0.001 * low / (low - high)
    assert og.viscosity_index(low, at_100) == pytest.approx(0.0, abs=slack)
    # published: as above.
    assert og.viscosity_index(high, at_100) == pytest.approx(100.0, abs=slack)


@pytest.mark.parametrize("index", [0.0, 95.0, 100.0, 150.0, 250.0])
@pytest.mark.parametrize("at_40", [15.0, 46.0, 220.0])
def test_solving_for_100_degrees_undoes_the_index(at_40: float, index: float) -> None:
    assert og.viscosity_index(at_40, og.viscosity_100(at_40, index)) - index == pytest.approx(
        0.0, abs=1e-6
    )


def test_outside_the_standard_is_refused() -> None:
    with pytest.raises(RangeError, match="2 to 500"):
        og.viscosity_index(46.0, 1.9)
    with pytest.raises(RangeError, match="more at 40"):
        og.viscosity_index(6.0, 6.5)
    with pytest.raises(RangeError, match="data sheet"):
        og.viscosity_100(2.2, 0.0)
    with pytest.raises(UsageError, match="0 to 400"):
        og.viscosity_100(46.0, 500.0)
