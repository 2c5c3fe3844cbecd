"""When oil has to be cooled: every channel by its own limit, the hottest named."""

import pytest

from checkout import BRACKEN
from wattsump_logger.machine.profile import Profile, profile_from_dict
from wattsump_logger.watch.alarm_rules import Typed
from wattsump_logger.watch.hot_oil import COOLED_K, HotOil, safe_limit_c, stops_c
from wattsump_logger.watch.look import Look

STOPS_C = {"tank": 70.0, "cooler_in": 79.0}


def machine(**channels: dict[str, str]) -> Profile:
    oil = {"grade": "VG 46", "volume": "18 L"}
    return profile_from_dict({"name": "m", "oil": oil, "channels": channels}, "m")


def take(hot: HotOil, since_s: int, seconds: int, **values: float) -> None:
    for second in range(since_s, since_s + seconds):
        hot.take(Look(now_s=float(second), values=values))


def test_a_channel_stops_below_its_own_limit_and_else_below_the_oils() -> None:
    stops = stops_c(BRACKEN)
    # independent: the profile's 90 and 82 degC, each less 3 K; the tank 6 K above the warning
    assert stops["case_drain"] == pytest.approx(87.0)
    assert stops["cooler_in"] == stops["cooler_out"] == stops["pump_inlet"] == pytest.approx(79.0)
    assert stops["tank"] == pytest.approx(72.0)


def test_a_tank_with_a_limit_of_its_own_is_warmed_less_far() -> None:
    profile = machine(tank={"limit": "60 degC"})
    # independent: 6 and 3 K below
    assert safe_limit_c(profile) == pytest.approx(54.0)
    assert stops_c(profile)["tank"] == pytest.approx(57.0)


@pytest.mark.parametrize("profile", [None, BRACKEN])
def test_a_limit_that_the_driver_typed_goes_before_the_profiles(profile: Profile | None) -> None:
    typed = Typed(limit_c={"tank": 58.0, "case_drain": 70.0})
    stops = stops_c(profile, typed)
    # independent: 6 and 3 K below what was typed
    assert safe_limit_c(profile, typed) == pytest.approx(52.0)
    assert stops["tank"] == pytest.approx(55.0)
    assert stops["case_drain"] == pytest.approx(67.0)


def test_a_channel_by_another_name_has_the_limit_of_what_it_is() -> None:
    profile = machine(t3={"role": "case_drain", "limit": "75 degC"})
    hot = HotOil(stops_c(profile))
    for second in range(5):
        hot.take(Look(now_s=float(second), values={"t3_c": 72.5}, profile=profile))
    assert hot.is_hot
    assert hot.nearest is not None
    # independent: 75 less 3
    assert hot.nearest.stop_c == pytest.approx(72.0)
    assert hot.nearest.where == "t3"


def test_a_machine_that_nobody_described_is_warmed_less_far() -> None:
    assert safe_limit_c(None) < safe_limit_c(BRACKEN)
    assert stops_c(None)["tank"] < stops_c(BRACKEN)["tank"]


def test_the_nearest_to_its_stop_is_named_and_not_the_warmest() -> None:
    hot = HotOil(STOPS_C)
    take(hot, 0, 5, tank_c=71.0, cooler_in_c=76.0)
    assert hot.is_hot
    assert hot.nearest is not None
    assert hot.nearest.where == "tank"


def test_hot_oil_stays_hot_until_every_channel_has_cooled() -> None:
    hot = HotOil(STOPS_C)
    take(hot, 0, 5, tank_c=60.0, cooler_in_c=80.0)
    assert hot.is_hot
    take(hot, 5, 5, tank_c=70.0 - COOLED_K, cooler_in_c=60.0)
    assert hot.is_hot
    take(hot, 10, 1, tank_c=69.9 - COOLED_K, cooler_in_c=60.0)
    assert not hot.is_hot


def test_hot_oil_that_is_no_longer_read_is_no_cool_oil() -> None:
    hot = HotOil(STOPS_C)
    take(hot, 0, 5, tank_c=71.0)
    take(hot, 5, 60)
    assert hot.is_hot
    assert hot.nearest is None
