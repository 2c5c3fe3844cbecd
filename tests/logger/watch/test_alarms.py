"""The alarm state machine: its table, and what holds for every sequence of readings."""

import itertools
from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattsump_logger.watch.alarms import (
    TABLE,
    Kind,
    Notice,
    Rule,
    Signal,
    Standing,
    State,
    acknowledge,
    advance,
    at_rest,
)
from wattsump_logger.watch.look import Look

# What still asks for someone's attention.
LOUD = (State.ALARM, State.PASSED)

HOT = Rule(
    name="tank above 82 degC",
    kind=Kind.ABOVE,
    column="tank_c",
    channel="tank",
    trip=82.0,
    clear=80.0,
    hold_off_s=3.0,
)
COLD = Rule(
    name="tank oil thicker than 1000 mm2/s",
    kind=Kind.BELOW,
    column="tank_c",
    trip=-6.0,
    clear=-4.0,
    running_only=True,
)
KEY = "key"
STEPS = st.lists(st.sampled_from([KEY, None, 79.0, 80.0, 81.0, 81.9, 82.0, 90.0]), max_size=60)


def look(second: float, tank_c: float | None, **values: float) -> Look:
    return Look(now_s=second, values={"tank_c": tank_c, **values})


def play(rule: Rule, steps: Sequence[float | str | None]) -> tuple[list[State], list[Notice]]:
    """One step a second; returns the states after each and all notices."""
    standings, states, notices = at_rest([rule]), list[State](), list[Notice]()
    for second, step in enumerate(steps):
        if isinstance(step, str):
            standings, said = acknowledge([rule], standings)
        else:
            standings, said = advance([rule], standings, look(second, step))
        states.append(standings[0].state)
        notices += said
    return states, notices


@pytest.mark.parametrize(("state", "signal"), list(itertools.product(State, Signal)))
def test_every_state_knows_what_every_signal_means(state: State, signal: Signal) -> None:
    assert TABLE[state][signal] in State


@pytest.mark.parametrize("state", State)
def test_no_reading_never_trips_and_never_ends_an_alarm(state: State) -> None:
    after = TABLE[state][Signal.UNKNOWN]
    assert after is (State.QUIET if state is State.RISING else state)


@pytest.mark.parametrize("state", State)
def test_the_key_never_makes_an_alarm_and_never_hides_one_to_come(state: State) -> None:
    assert TABLE[state][Signal.KEY] is not State.ALARM
    assert TABLE[State.RISING][Signal.KEY] is State.RISING


def test_an_alarm_comes_after_the_hold_off_and_not_before() -> None:
    states, notices = play(HOT, [83.0, 83.0, 83.0, 83.0])
    assert states == [State.RISING] * 3 + [State.ALARM]
    assert [notice.event for notice in notices] == ["raised"]


def test_one_spike_shorter_than_the_hold_off_is_no_alarm() -> None:
    states, notices = play(HOT, [83.0, 83.0, 81.9, 83.0, 83.0])
    assert State.ALARM not in states
    assert notices == []


def test_a_value_that_hovers_about_its_limit_gives_one_alarm() -> None:
    _, notices = play(HOT, [83.0] * 4 + [81.0, 83.0] * 50)
    assert [notice.event for notice in notices] == ["raised"]


def test_an_alarm_that_is_over_before_it_was_seen_stays_until_the_key() -> None:
    states, notices = play(HOT, [*[83.0] * 4, 70.0, 70.0, KEY])
    assert states[-3:] == [State.PASSED, State.PASSED, State.QUIET]
    assert [notice.event for notice in notices] == ["raised", "over", "seen"]


def test_an_alarm_that_is_over_names_the_value_that_set_it_off() -> None:
    standings = at_rest((HOT,))
    for second, tank_c in enumerate([*[83.0] * 4, 84.0, 70.0, 32.6]):
        look = Look(now_s=float(second), values={"tank_c": tank_c})
        standings, _ = advance((HOT,), standings, look)
    (standing,) = standings
    assert (standing.state, standing.value) == (State.PASSED, 32.6)
    assert standing.named == 83.0
    assert replace(standing, state=State.ALARM).named == 32.6


def test_an_acknowledged_alarm_is_silent_until_it_comes_again() -> None:
    states, notices = play(HOT, [*[83.0] * 4, KEY, 83.0, 70.0, *[83.0] * 4])
    assert states[4:7] == [State.SEEN, State.SEEN, State.QUIET]
    assert states[-1] is State.ALARM
    assert [notice.event for notice in notices] == ["raised", "seen", "over", "raised"]


def test_a_passed_alarm_that_comes_again_is_told_again() -> None:
    _, notices = play(HOT, [83.0] * 4 + [70.0] + [83.0] * 4)
    assert [notice.event for notice in notices] == ["raised", "over", "raised"]


@settings(deadline=None)
@given(steps=STEPS)
def test_no_alarm_without_the_condition_for_the_whole_hold_off(
    steps: list[float | str | None],
) -> None:
    standings = at_rest([HOT])
    over_since: int | None = None
    for second, step in enumerate(steps):
        if isinstance(step, str):
            standings, _ = acknowledge([HOT], standings)
            continue
        over = step is not None and step >= HOT.trip
        over_since = (second if over_since is None else over_since) if over else None
        standings, notices = advance([HOT], standings, look(second, step))
        if any(notice.event == "raised" for notice in notices):
            assert over_since is not None
            assert second - over_since >= HOT.hold_off_s


@settings(deadline=None)
@given(steps=STEPS)
def test_between_two_alarms_the_value_was_on_the_safe_side(steps: list[float | str | None]) -> None:
    standings, safe_since = at_rest([HOT]), True
    for second, step in enumerate(steps):
        if isinstance(step, str):
            standings, _ = acknowledge([HOT], standings)
            continue
        safe_since = safe_since or (step is not None and step <= HOT.clear)
        standings, notices = advance([HOT], standings, look(second, step))
        if any(notice.event == "raised" for notice in notices):
            assert safe_since
            safe_since = False


@settings(deadline=None)
@given(steps=STEPS)
def test_a_loud_alarm_is_silenced_by_the_key_alone(steps: list[float | str | None]) -> None:
    states, _ = play(HOT, steps)
    for before, after, step in zip(states, states[1:], steps[1:], strict=False):
        if before in LOUD and after not in LOUD:
            assert step == KEY


@settings(deadline=None)
@given(steps=STEPS)
def test_every_raise_is_told_once_and_ended_by_a_key_or_by_the_value(
    steps: list[float | str | None],
) -> None:
    _, notices = play(HOT, steps)
    events = [notice.event for notice in notices]
    for before, after in itertools.pairwise(events):
        assert not (before == after == "raised")
    assert not events or events[0] == "raised"


def test_a_hot_limit_held_from_below_is_that_of_the_cold_one_from_above() -> None:
    running = {"engine_rpm": 900.0}
    standings, notices = advance([COLD], at_rest([COLD]), look(0, -10.0, **running))
    assert [notice.event for notice in notices] == ["raised"]
    standings, notices = advance([COLD], standings, look(1, -5.0, **running))
    assert standings[0].state is State.ALARM
    standings, notices = advance([COLD], standings, look(2, -4.0, **running))
    assert [notice.event for notice in notices] == ["over"]


def test_thick_oil_harms_nobody_while_the_engine_stands() -> None:
    standings, notices = advance([COLD], at_rest([COLD]), look(0, -20.0, engine_rpm=0.0))
    assert (standings[0].state, notices) == (State.QUIET, ())
    standings, _ = advance([COLD], standings, look(1, -20.0, engine_rpm=900.0))
    assert standings[0].state is State.ALARM
    standings, _ = advance([COLD], standings, look(2, -20.0, engine_rpm=0.0))
    assert standings[0].state is State.PASSED


@pytest.mark.parametrize(
    ("rule", "seen", "text"),
    [
        (HOT, look(9, 83.26), "alarm: tank above 82 degC (83.3 degC)"),
        (
            Rule(name="tank rises", kind=Kind.RATE, column="tank_c", trip=9, clear=6, urgent=False),
            Look(now_s=9, rates_k_min={"tank_c": 11.04}),
            "warning: tank rises (+11.0 K/min)",
        ),
        (
            Rule(name="tank silent", kind=Kind.FAULT, channel="tank", trip=0.25, clear=0.05),
            Look(now_s=9, fault_share={"tank": 0.5}),
            "alarm: tank silent (50% of readings)",
        ),
        (
            Rule(name="nothing comes", kind=Kind.STALLED, trip=10, clear=1),
            Look(now_s=9, silent_s=12.0),
            "alarm: nothing comes (12 s)",
        ),
    ],
)
def test_a_notice_says_the_level_the_name_and_the_figure(rule: Rule, seen: Look, text: str) -> None:
    standings = (Standing(state=State.RISING, over_since_s=0.0),)
    _, notices = advance([rule], standings, seen)
    assert [notice.text for notice in notices] == [text]
