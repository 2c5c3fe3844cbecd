"""The machine to practise on does what its keys say, and nothing by itself."""

import pytest

from wattsump_analysis.emulation.bracken import demo_profile
from wattsump_analysis.emulation.practice import CHANNELS, KEYS, PracticeMachine
from wattsump_logger.bench.controller import EmulatedController


@pytest.fixture
def machine() -> PracticeMachine:
    return PracticeMachine(demo_profile())


def test_a_machine_at_rest_stays_at_one_temperature(machine: PracticeMachine) -> None:
    machine.values(1800.0)
    # independent: nothing heats it, so it stays where it began
    assert machine.tank_c == pytest.approx(19.0, abs=0.01)


def test_working_without_a_fan_warms_the_oil_and_the_fan_cools_it(machine: PracticeMachine) -> None:
    for char in "ed":
        machine.press(char)
    machine.values(1500.0)
    warm_c = machine.tank_c
    machine.press("f")
    machine.values(1800.0)
    assert warm_c > 50.0
    assert machine.tank_c < warm_c


def test_a_blocked_core_leaves_the_oil_hotter(machine: PracticeMachine) -> None:
    other = PracticeMachine(demo_profile())
    for each, chars in ((machine, "edf"), (other, "edfb")):
        for char in chars:
            each.press(char)
        each.values(3600.0)
    assert other.tank_c > machine.tank_c + 5.0


@pytest.mark.parametrize("char", list(KEYS))
def test_each_key_turns_its_switch_and_back(machine: PracticeMachine, char: str) -> None:
    assert [machine.press(char), machine.press(char.upper())] == [KEYS[char].on, KEYS[char].off]


def test_a_stopped_engine_stops_the_drive(machine: PracticeMachine) -> None:
    for char in "edee":
        machine.press(char)
    assert machine.values(1.0)["drive"] == 0.0


def test_a_broken_probe_is_a_fault_on_the_wire_and_never_a_number(
    machine: PracticeMachine,
) -> None:
    machine.press("p")
    controller = EmulatedController(machine.values, CHANNELS)
    assert machine.values(0.0)["tank"] == "fault:open"
    assert controller.step().count(b"\r\n") == 3


def test_a_key_without_a_switch_says_nothing(machine: PracticeMachine) -> None:
    assert machine.press("z") == ""


def test_oil_that_stands_at_the_cooler_cools_there_and_tells_nothing_else(
    machine: PracticeMachine,
) -> None:
    machine.press("e")
    machine.press("d")
    machine.values(2400.0)
    machine.press("f")
    machine.press("e")
    machine.values(3300.0)
    later = machine.values(3301.0)
    inlet, outlet = (float(later[name] or 0.0) for name in ("cooler_in", "cooler_out"))
    assert outlet < inlet < machine.tank_c - 1.0
