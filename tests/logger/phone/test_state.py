"""A screen as plain data, and the hour of curves: bounded, and with no character that hides."""

import json
import math

import pytest

from wattsump_logger.phone.hour import MOST_CURVES, Hour
from wattsump_logger.phone.state import line_of
from wattsump_logger.watch.alarms import State
from wattsump_logger.watch.guide import Advice
from wattsump_logger.watch.moment import Forecast, Gauge, Screen, Sounding


def test_a_screen_is_one_line_with_all_that_a_page_shows_and_nothing_of_the_terminal() -> None:
    screen = Screen(
        machine="Bracken",
        elapsed_s=12.0,
        gauges=(Gauge(name="tank", value_c=61.25, limit_c=82.0),),
        forecast=Forecast(heading_c=90.0, minutes_to_limit=7.5, limit_c=82.0),
        alarms=(Sounding(name="tank", urgent=True, state=State.ALARM, text="alarm: tank"),),
        advice=Advice(stage="soak", do="Wait."),
        note="half typed",
        poster=True,
    )
    line = line_of(screen)
    assert "\n" not in line
    found = json.loads(line)
    assert found["gauges"][0] == {
        "name": "tank",
        "value_c": 61.25,
        "rate_k_min": None,
        "limit_c": 82.0,
        "fault": "",
        "loud": False,
    }
    assert found["alarms"][0]["state"] == "alarm"
    assert found["forecast"]["minutes_to_limit"] == 7.5
    assert found["advice"]["do"] == "Wait."
    assert not {"note", "poster", "bell", "now_s"} & found.keys()


def test_sentences_are_in_the_screens_units_and_numbers_in_si() -> None:
    found = json.loads(
        line_of(
            Screen(
                units="us",
                machine="a 15 kW carrier",
                gauges=(Gauge(name="tank", value_c=50.0),),
                alarms=(
                    Sounding(name="a", urgent=True, state=State.ALARM, text="tank above 66 degC"),
                ),
                advice=Advice(stage="soak", do="Wait.", until="until 15 K warmer"),
                known="K 81 W/K to +/- 9 %",
            )
        )
    )
    assert found["alarms"][0]["text"] == "tank above 151 °F"
    assert found["advice"]["until"] == "until 27 °F warmer"
    assert "BTU/(h °F)" in found["known"]
    assert found["machine"] == "a 15 kW carrier"
    assert found["gauges"][0]["value_c"] == 50.0


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_null(number: float) -> None:
    ahead = Forecast(heading_c=number, minutes_to_limit=None, limit_c=82.0)
    assert json.loads(line_of(Screen(forecast=ahead)))["forecast"]["heading_c"] is None


def test_characters_that_hide_or_turn_the_writing_do_not_reach_a_phone() -> None:
    found = json.loads(line_of(Screen(machine="mud\x1b[2J\u202e on", faults=("a\u200bb",))))
    assert found["machine"] == "mud?[2J? on"
    assert found["faults"] == ["a?b"]


def state(elapsed_s: float | None, **temps_c: float | None) -> dict[str, object]:
    gauges = [{"name": name, "value_c": value} for name, value in temps_c.items()]
    return {"elapsed_s": elapsed_s, "gauges": gauges}


def test_the_hour_keeps_the_highest_of_each_ten_seconds() -> None:
    hour = Hour()
    for elapsed_s, tank in ((1.0, 50.0), (5.0, 93.0), (9.0, 51.0), (11.0, 52.0), (12.0, None)):
        hour.take(state(elapsed_s, tank=tank))
    hour.take(state(None, tank=70.0))
    assert hour.curves() == [[0.0, {"tank": 93.0}], [10.0, {"tank": 52.0}]]


def test_the_hour_is_an_hour_and_no_more_however_long_and_wide_the_outing() -> None:
    hour = Hour()
    for second in range(0, 9000, 10):
        hour.take(state(float(second), **{f"t{i}": 20.0 for i in range(40)}))
    curves = hour.curves()
    assert (curves[0][0], curves[-1][0]) == (5400.0, 8990.0)
    assert len(curves) == 360
    assert all(len(highest) <= MOST_CURVES for _, highest in curves)


def test_another_outing_begins_its_own_hour() -> None:
    hour = Hour()
    hour.take(state(500.0, tank=60.0))
    hour.take(state(3.0, tank=20.0))
    assert hour.curves() == [[0.0, {"tank": 20.0}]]


def test_a_mark_of_the_program_is_in_the_screens_units_and_a_note_as_it_was_typed() -> None:
    marks = ((60.0, "alarm: tank above 82 degC (83.0 degC)"), (90.0, "tank 82 degC by hand"))
    shown = json.loads(line_of(Screen(now_s=100.0, units="us", marks=marks)))
    assert [text for _, text in shown["marks"]] == [
        "alarm: tank above 180 °F (181.4 °F)",
        "tank 82 degC by hand",
    ]
