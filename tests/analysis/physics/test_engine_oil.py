"""Engine-oil names against the limits of SAE J300 and what data sheets print."""

import pytest

from wattsump_analysis.physics import oil
from wattsump_analysis.physics.engine_oil import (
    HOT_MM2_S,
    TYPICAL_40_MM2_S,
    WINTER,
    engine_oil,
    names_engine_oil,
)
from wattsump_logger.errors import UsageError
from wattsump_logger.machine.oil_label import viscosity_index


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        # published: SAE J300 (2015-01), kinematic viscosity at 100 °C, as reprinted by three
        # lubricant makers; exact.
        ("10W-30", 9.3, 12.5), ("SAE 15W-40", 12.5, 16.3), ("sae 20w-50", 16.3, 21.9),
        ("5W-20", 6.9, 9.3), ("SAE 30", 9.3, 12.5),
    ],
)  # fmt: skip
def test_a_name_has_the_standards_limits_at_a_hundred_degrees(
    text: str, low: float, high: float
) -> None:
    result = engine_oil(text)
    assert (result.low_100_mm2_s, result.high_100_mm2_s) == (low, high)
    assert low < oil.viscosity_mm2_s(100.0, result.line) < high
    assert oil.viscosity_mm2_s(40.0, result.line) == pytest.approx(result.typical_40_mm2_s)


@pytest.mark.parametrize(
    ("winter", "cranks", "pumps"), [(0, -35, -40), (10, -25, -30), (15, -20, -25), (25, -10, -15)]
)
def test_a_winter_grade_cranks_and_pumps_as_cold_as_the_standard_tests_it(
    winter: int, cranks: float, pumps: float
) -> None:
    # published: SAE J300 (2015-01), temperatures of the cranking and the pumping test; exact.
    assert (WINTER[winter].cranks_c, WINTER[winter].pumps_c) == (cranks, pumps)


def test_hot_grades_follow_each_other_without_a_gap_from_twenty_up() -> None:
    rows = [HOT_MM2_S[grade] for grade in (20, 30, 40, 50, 60)]
    # published: SAE J300, "less than" the next grade's least.
    assert [high for _, high in rows[:-1]] == [low for low, _ in rows[1:]]


@pytest.mark.parametrize("key", TYPICAL_40_MM2_S)
def test_every_typical_value_makes_an_oil_that_exists(key: tuple[int | None, int | None]) -> None:
    winter, hot = key
    name = f"SAE {hot}" if winter is None else f"{winter}W" + ("" if hot is None else f"-{hot}")
    result = engine_oil(name)
    index = viscosity_index(result.typical_40_mm2_s, oil.viscosity_mm2_s(100.0, result.line))
    # Monogrades of mineral oil have an index about 100, multigrades 120 to 190: common practice,
    # no source.
    assert (80 < index < 125) if winter is None or hot is None else (115 < index < 200)
    assert result.name == name


def test_a_ten_thirty_is_about_a_sixty_eight_warm_and_thinner_cold() -> None:
    result = engine_oil("10W-30")
    plain = oil.walther_from_grade("VG 68")
    # practice: a trade rule pairs SAE 10W-30 with ISO VG 68 at 40 °C; common practice, no source.
    assert result.typical_40_mm2_s == pytest.approx(68.0, rel=0.1)
    assert oil.viscosity_mm2_s(-10.0, result.line) < oil.viscosity_mm2_s(-10.0, plain)


@pytest.mark.parametrize("text", ["VG 46", "46", "30", "thick", "HV 46", "10W-30-40"])
def test_other_names_are_not_taken_for_engine_oils(text: str) -> None:
    assert not names_engine_oil(text)


@pytest.mark.parametrize("text", ["15W-90", "SAE 31", "75W"])
def test_a_name_without_a_typical_value_is_refused_with_the_way_out(text: str) -> None:
    assert names_engine_oil(text)
    with pytest.raises(UsageError, match="--viscosity-40"):
        engine_oil(text)
