"""Switch channels held against ten minutes of readings."""

from collections.abc import Iterator
from itertools import chain

import pytest

from checkout import BRACKEN
from wattsump_logger.watch.denials import Denials
from wattsump_logger.watch.look import Look

Values = dict[str, float]
STANDING = {"engine_on": 0.0, "drive_on": 0.0, "fan_on": 0.0, "heater_on": 0.0}
RUNNING = {"engine_on": 1.0, "drive_on": 1.0, "fan_on": 1.0, "heater_on": 0.0}
COLD = {"ambient_c": 15.0, "tank_c": 16.0, "cooler_in_c": 16.0, "cooler_out_c": 16.0}
WARMED = COLD | STANDING | {"tank_c": 19.0}
HOT = {"ambient_c": 15.0, "tank_c": 60.0, "cooler_in_c": 60.0, "cooler_out_c": 52.0}


def minutes(values: Values, tank_k_min: float = 0.0, n: int = 11) -> Iterator[Values]:
    for step in range(6 * n):
        yield values | {"tank_c": values["tank_c"] + tank_k_min * step / 6}


def unread_at(step: int, column: str, part: Iterator[Values]) -> Iterator[Values]:
    for at, values in enumerate(part):
        yield {name: c for name, c in values.items() if at != step or name != column}


def codes(*parts: Iterator[Values]) -> set[str]:
    denials = Denials(BRACKEN)
    seen: set[str] = set()
    for at, values in enumerate(value for part in parts for value in part):
        look = Look(now_s=10.0 * at, elapsed_s=10.0 * at, values=values, profile=BRACKEN)
        seen |= {remark.code for remark in denials.take(look)}
    return seen


@pytest.mark.parametrize(
    ("parts", "code"),
    [
        ([minutes(COLD | STANDING | {"heater_on": 1.0}, 0.05)], "no-heat-from-heater"),
        ([minutes(COLD | STANDING, 0.5)], "warms-with-engine-off"),
        ([minutes(HOT | STANDING, 0.09)], "warms-with-engine-off"),
        ([minutes(COLD | STANDING | {"drive_on": 1.0})], "drive-without-engine"),
        ([minutes(HOT | RUNNING | {"cooler_in_c": 50.0})], "cold-cooler-with-engine-on"),
        (
            [minutes(HOT | RUNNING), minutes(HOT | RUNNING | {"cooler_out_c": 59.8})],
            "uncooled-with-fan-on",
        ),
        (
            [minutes(HOT | RUNNING), minutes(HOT | RUNNING | {"fan_on": 0.0})],
            "cooled-with-fan-off",
        ),
        (
            [
                unread_at(30, "cooler_out_c", minutes(HOT | RUNNING, n=22)),
                minutes(HOT | RUNNING | {"cooler_out_c": 59.8}),
            ],
            "uncooled-with-fan-on",
        ),
    ],
)
def test_a_channel_that_the_oil_contradicts_is_named(
    parts: list[Iterator[Values]], code: str
) -> None:
    assert codes(*parts) == {code}


@pytest.mark.parametrize(
    "parts",
    [
        [minutes(COLD | STANDING | {"heater_on": 1.0}, 0.3)],
        [minutes(HOT | STANDING | {"heater_on": 1.0})],  # its thermostat may have opened
        [minutes(COLD | STANDING | {"heater_on": 1.0}, n=9)],
        [minutes({"tank_c": 16.0, "heater_on": 1.0, "engine_on": 0.0})],
        [minutes(HOT | STANDING, -0.3)],
        [unread_at(60, "tank_c", chain(minutes(COLD | STANDING, 0.5, n=6), minutes(WARMED, n=5)))],
        [minutes(HOT | RUNNING), minutes(HOT | RUNNING | {"fan_on": 0.0, "cooler_out_c": 59.0})],
    ],
)
def test_what_a_sound_machine_does_brings_no_warning(parts: list[Iterator[Values]]) -> None:
    assert codes(*parts) == set()
