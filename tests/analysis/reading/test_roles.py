"""Columns without a role and channels without a column are told, never passed over."""

import pytest

from wattsump_analysis.reading import roles
from wattsump_logger.machine.profile import Profile, profile_from_dict


def roles_amiss(columns: tuple[str, ...], profile: Profile | None) -> list[str]:
    return [remark.text for remark in roles.roles_amiss(columns, profile)]


def machine(**channels: dict[str, str]) -> Profile:
    return profile_from_dict(
        {"name": "Bracken", "oil": {"grade": "VG 46", "volume": "18 L"}, "channels": channels}
    )


def test_an_oil_column_beside_the_cooler_s_inlet_is_told_to_be_unused() -> None:
    columns = ("tank_c", "cooler_in_c", "oil_in_c", "ambient_c")
    assert roles_amiss(columns, None) == [
        "oil_in_c plays no role and was not used: the role cooler_in is played by cooler_in_c"
    ]


def test_a_column_whose_name_tells_a_free_role_gets_the_role_named() -> None:
    (line,) = roles_amiss(("tank_c", "reservoir_air_in_c", "fan_on"), None)
    assert "is it ambient?" in line


@pytest.mark.parametrize("column", ["gearbox_c", "x_v"])
def test_a_column_of_no_telling_name_is_told_without_advice(column: str) -> None:
    assert roles_amiss(("tank_c", column), None) == [f"{column} plays no role and was not used"]


def test_the_columns_of_time_and_number_need_no_role() -> None:
    assert roles_amiss(("elapsed_s", "seq", "tank_c"), None) == []


def test_channels_that_the_profile_has_and_the_session_lacks_are_named_in_one_remark() -> None:
    profile = machine(hose={"role": "cooler_in"}, tank={}, ambient={})
    (line,) = roles_amiss(("tank_c",), profile)
    assert line.endswith("the session lacks: hose_c (cooler_in), ambient_c")


def test_a_session_as_its_profile_says_gives_nothing_to_say() -> None:
    profile = machine(hose={"role": "cooler_in"}, bolt={"role": "metal"}, tank={})
    assert not roles_amiss(("tank_c", "hose_c", "bolt_c", "fan_on", "other_c"), profile)
