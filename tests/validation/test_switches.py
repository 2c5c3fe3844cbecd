"""Drawn machines whose switches are wrong are noticed, those whose switches are right are not."""

from functools import cache

import pytest
from families import FAMILIES
from outings import PROTOCOLS, Happened, outing
from switches import SEED, said_with

_MACHINES = 2


@cache
def happened(family: str, protocol: str) -> Happened:
    return outing(FAMILIES[family], PROTOCOLS[protocol], _MACHINES, SEED)


@pytest.mark.parametrize("family", ["heat in the lines", "fan on a thermostat"])
@pytest.mark.parametrize("protocol", ["guided", "ordinary work"])
def test_right_switches_are_not_accused(family: str, protocol: str) -> None:
    assert said_with(happened(family, protocol), "none", _MACHINES) == [()] * _MACHINES


@pytest.mark.parametrize(
    ("fault", "channel"),
    [
        ("fan inverted", "fan"),
        ("fan stuck on", "fan"),
        ("fan stuck off", "fan"),
        ("fan loose", "fan"),
        ("engine inverted", "engine"),
        ("engine stuck off", "engine"),
        ("engine loose", "engine"),
        ("drive inverted", "drive"),
        ("drive stuck on", "drive"),
    ],
)
def test_a_wrong_switch_is_named_with_its_minutes(fault: str, channel: str) -> None:
    for said in said_with(happened("heat in the lines", "guided"), fault, _MACHINES):
        texts = [remark.text for remark in said]
        assert any(f"{channel} channel" in text and "min" in text for text in texts), texts


@pytest.mark.parametrize("fault", ["heater inverted", "heater stuck on"])
def test_a_heater_that_warms_nothing_is_named(fault: str) -> None:
    drawn = happened("heat in the lines", "guided, circulated heater")
    for said in said_with(drawn, fault, _MACHINES):
        assert any("heater channel" in remark.text for remark in said), said
