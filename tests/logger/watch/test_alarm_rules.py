"""Which alarms follow from a profile, an oil and what was typed."""

import pytest

from checkout import BRACKEN
from refusal import refused
from wattsump_logger.errors import UnitError, UsageError
from wattsump_logger.machine.profile import Oil, profile_from_dict
from wattsump_logger.watch.alarm_rules import (
    Typed,
    limit_of,
    rules_for,
    temp_at_viscosity_c,
    typed_limits,
    without_unknown,
)
from wattsump_logger.watch.alarms import Kind

COLUMNS = ("tank_c", "cooler_in_c", "case_drain_c", "ambient_c", "fan_on", "engine_rpm")
VG46 = Oil(
    grade="VG 46",
    volume_m3=0.018,
    u_volume_rel=0.025,
    viscosity_40_mm2_s=46.0,
    viscosity_100_mm2_s=6.8,
    density_15_kg_m3=870.0,
)


@pytest.mark.parametrize(
    ("viscosity", "temp_c"),
    # independent: ASTM D341 inverted in a second implementation, two decimals.
    [(1600.0, -10.79), (1000.0, -6.07), (16.0, 67.61), (13.0, 74.42), (10.0, 83.91)],
)
def test_the_temperature_of_a_viscosity_is_that_of_the_two_point_line(
    viscosity: float, temp_c: float
) -> None:
    # independent: as above.
    assert temp_at_viscosity_c(VG46, viscosity) == pytest.approx(temp_c, abs=0.006)


@pytest.mark.parametrize(("temp_c", "viscosity"), [(40.0, 46.0), (100.0, 6.8)])
def test_the_line_goes_through_its_own_two_points(temp_c: float, viscosity: float) -> None:
    assert temp_at_viscosity_c(VG46, viscosity) == pytest.approx(temp_c, abs=1e-9)


def test_a_viscosity_no_oil_reaches_in_use_has_no_temperature() -> None:
    assert temp_at_viscosity_c(VG46, 1.0) is None
    assert temp_at_viscosity_c(VG46, 1e7) is None


def test_bracken_is_watched_for_heat_rate_viscosity_faults_and_silence() -> None:
    rules = rules_for(COLUMNS, BRACKEN, Typed())
    names = [rule.name for rule in rules]
    assert {rule.kind for rule in rules} == set(Kind)
    assert "tank above 82 degC" in names
    assert "tank above 66 degC" in names
    assert "case_drain above 90 degC" in names
    assert "tank oil thinner than 13 mm2/s" in names
    assert "tank oil thicker than 1000 mm2/s" in names
    assert not any(name.startswith("ambient above") for name in names)
    assert sum(rule.kind is Kind.FAULT for rule in rules) == len(COLUMNS)


def test_oil_out_of_the_cooler_is_held_against_the_oils_limit() -> None:
    names = [rule.name for rule in rules_for(("tank_c", "cooler_out_c"), BRACKEN, Typed())]
    assert f"cooler_out above {BRACKEN.limits.oil_max_c:g} degC" in names


def test_every_rule_clears_on_the_safe_side_of_where_it_trips() -> None:
    for rule in rules_for(COLUMNS, BRACKEN, Typed()):
        assert not rule.is_clear(rule.trip), rule.name
        assert not rule.is_over(rule.clear), rule.name
        assert rule.is_clear(rule.clear), rule.name


def test_a_typed_limit_comes_before_the_profiles() -> None:
    typed = Typed(limit_c=typed_limits(["tank=160 degF"]))
    # published: NIST SP 811, B.8: (160 - 32)/1.8 = 71.1
    assert limit_of("tank", BRACKEN, typed) == pytest.approx(71.1, abs=0.05)
    assert limit_of("case_drain", BRACKEN, typed) == BRACKEN.channels["case_drain"].limit_c
    assert limit_of("cooler_in", BRACKEN, typed) == BRACKEN.limits.oil_max_c
    assert limit_of("ambient", BRACKEN, typed) is None


def test_a_limit_may_be_typed_for_what_a_channel_is_as_well_as_for_its_name() -> None:
    machine = profile_from_dict(
        {
            "name": "x",
            "oil": {"grade": "VG 46", "volume": "18 L"},
            "channels": {"t1": {"role": "tank"}, "t2": {"role": "other"}, "t3": {"role": "other"}},
        }
    )
    columns = ("t1_c", "t2_c", "t3_c")
    by_role, by_name = Typed(limit_c={"tank": 70.0}), Typed(limit_c={"t1": 71.0, "tank": 70.0})
    assert limit_of("t1", machine, by_role) == by_role.limit_c["tank"]
    assert limit_of("t1", machine, by_name) == by_name.limit_c["t1"]
    assert "t1 above 70 degC" in [rule.name for rule in rules_for(columns, machine, by_role)]
    with refused(UsageError, "--limit"):
        rules_for(columns, machine, Typed(limit_c={"other": 70.0}))
    mixed = Typed(limit_c={"tank": 70.0, "sump": 75.0})
    assert without_unknown(mixed, columns, machine).limit_c == by_role.limit_c


def test_without_a_profile_only_typed_limits_faults_and_silence_are_watched() -> None:
    rules = rules_for(("tank_c", "fan_on"), None, Typed(limit_c={"tank": 75.0}))
    assert [rule.kind for rule in rules] == [Kind.ABOVE, Kind.FAULT, Kind.FAULT, Kind.STALLED]
    assert limit_of("tank", None, Typed()) is None


def test_a_limit_for_a_channel_that_is_not_there_is_refused() -> None:
    with refused(UsageError, "--limit"):
        rules_for(("tank_c", "fan_on"), None, Typed(limit_c={"sump": 75.0}))


@pytest.mark.parametrize("text", ["75 degC", "=75 degC", "tank"])
def test_a_limit_without_a_channel_is_refused(text: str) -> None:
    with refused(UsageError, "--limit"):
        typed_limits([text])


def test_a_limit_without_a_unit_is_refused() -> None:
    with pytest.raises(UnitError):
        typed_limits(["tank=75"])
