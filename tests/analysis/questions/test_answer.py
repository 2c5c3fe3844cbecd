"""Answers as text and as data, and typed quantities with intervals."""

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refusal import refused
from wattsump_analysis.questions.answer import (
    ESTIMATE,
    Answer,
    Figure,
    Row,
    Section,
    Table,
    shown,
    temperature,
)
from wattsump_analysis.questions.asked import RatingAsked
from wattsump_analysis.questions.typed import quantity, typed_fields
from wattsump_analysis.questions.writing import as_json, screen
from wattsump_logger.errors import UnitError, UsageError
from wattsump_logger.remark import Remark


def power(value: float, low: float | None = None, high: float | None = None) -> Figure:
    return Figure(value=value, kind="power", low=low, high=high)


def small_answer(figure: Figure, flag: Remark | None = None) -> Answer:
    row = Row(key="heat_w", label="heat", figure=figure, flag=flag)
    table = Table(key="t", heads=("name", "heat"), rows=(("one", figure),))
    return Answer(
        question="rating",
        headline=(Remark(code="rejects", text=("It rejects ", figure, ".")),),
        sections=(Section(title="Heat", rows=(row,), table=table),),
        cautions=(Remark(code="hot", text="Hot oil burns."),),
    )


def test_a_figure_alone_is_shown_in_both_systems_where_the_trade_mixes_them() -> None:
    # NIST SP 811: 1 Btu_IT/h is 0.2930711 W, so 6 kW are 20 473 Btu/h; three digits.
    assert shown(power(6000.0), both=True) == "6.00 kW = 20,500 BTU/h"
    assert shown(power(6000.0), "us", both=True) == "20,500 BTU/h = 6.00 kW"


def test_an_interval_is_in_the_unit_of_its_value() -> None:
    assert shown(power(1200.0, 900.0, 1500.0)) == "1.20 kW (0.90 to 1.50)"
    hot = Figure(value=100.0, kind="temperature", low=90.0, high=110.0)
    assert shown(hot, "us") == "212 °F (194 to 230)"


def test_a_time_that_may_never_come_says_so() -> None:
    never = Figure(value=math.inf, kind="duration")
    assert shown(never) == "never"
    perhaps = Figure(value=math.inf, kind="duration", low=1800.0, high=math.inf)
    assert shown(perhaps) == "never, or in 30 min at the earliest"
    late = Figure(value=3600.0, kind="duration", low=1800.0, high=math.inf)
    assert shown(late) == "60 min (30 min to never)"
    assert shown(Figure(value=math.nan, kind="duration")) == "unknown"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.5, "0.5 s"), (45.0, "45 s"), (90.0, "1.5 min"), (3600.0, "60 min"), (9000.0, "2.5 h")],
)
def test_times_are_in_the_units_of_a_watch(seconds: float, text: str) -> None:
    assert shown(Figure(value=seconds, kind="duration")) == text


def test_a_probability_is_never_shown_as_certain() -> None:
    said = [shown(Figure(value=p, kind="probability")) for p in (0.0, 0.3, 1.0)]
    assert said == ["under 1 %", "30 %", "over 99 %"]


def test_cautions_come_first_and_a_flag_is_loud() -> None:
    lines = screen(small_answer(power(6000.0), flag=ESTIMATE)).splitlines()
    assert lines[:2] == ["CAUTION", "! Hot oil burns."]
    assert any("ESTIMATE" in line for line in lines)


def test_where_no_hand_is_at_work_the_answer_comes_first_and_one_caution_next() -> None:
    answer = replace(
        small_answer(power(6000.0)),
        is_hands_on=False,
        cautions=(Remark(code="hot", text="Hot oil burns."), Remark(code="ask", text="Ask first.")),
    )
    lines = screen(answer).splitlines()
    at = lines.index("CAUTION")
    assert at > 0
    assert lines[at + 1 : at + 3] == ["! Hot oil burns.", ""]
    assert lines[-1] == "! Ask first."


def test_a_range_whose_ends_round_to_one_number_is_left_out() -> None:
    assert shown(Figure(value=3.0, low=2.999, high=3.001, kind="number")) == "3"
    assert shown(Figure(value=3.0, low=2.9, high=3.1, kind="number")) == "3 (2.9 to 3.1)"


@pytest.mark.parametrize(("low", "high"), [(-6.1, 5.2), (-0.3, 0.2)])
def test_what_rounds_to_nothing_has_no_sign_with_a_range_either(low: float, high: float) -> None:
    for kind in ("temperature_difference", "conductance"):
        assert not shown(Figure(value=-0.001, kind=kind, low=low, high=high)).startswith("-0")


def test_minutes_have_no_seconds_in_their_range() -> None:
    text = shown(Figure(value=144.0, low=0.7, high=294.0, kind="duration"))
    assert text == "2.4 min (under 1 min to 4.9 min)"


def test_an_unknown_system_of_units_is_refused() -> None:
    with refused(UsageError, "system of units"):
        screen(small_answer(power(6000.0)), "imperial")


def test_json_keeps_inside_units_and_has_null_for_never() -> None:
    said = as_json(small_answer(power(6000.0, 5000.0, 7000.0)))
    values = said["values"]
    assert isinstance(values, dict)
    assert values["heat_w"]["value"] == 6000.0
    assert (values["heat_w"]["unit"], values["heat_w"]["low"]) == ("W", 5000.0)
    endless = as_json(small_answer(power(math.inf)))
    text = json.dumps(endless, allow_nan=False)
    assert '"bound": "none"' in text


def test_a_figure_in_a_remark_follows_the_wanted_units() -> None:
    remark = Remark(code="settles", text=("settles at ", temperature(100.0), "\x1b!"))
    assert remark.text == remark.in_units("si") == "settles at 100.0 °C?!"
    assert remark.in_units("us") == "settles at 212 °F?!"
    assert remark.as_json() == {"code": "settles", "text": "settles at 100.0 °C?!"}


@given(st.floats(-1e7, 1e7), st.sampled_from(["si", "us"]))
def test_any_finite_power_has_a_text_that_fits(value: float, system: str) -> None:
    rows = screen(small_answer(power(value)), system).splitlines()
    assert max(map(len, rows)) <= 80


def test_a_missing_key_is_an_error_rather_than_nothing() -> None:
    answer = small_answer(power(1.0))
    assert answer.row("heat_w").figure.value == 1.0
    with pytest.raises(KeyError):
        answer.row("other")
    with pytest.raises(KeyError):
        answer.table("other")


def test_a_typed_range_has_its_geometric_middle() -> None:
    result = quantity("95 to 115 W/K", "conductance", "--measured")
    # independent: geometric mean, worked in the line.
    assert result.value == pytest.approx(math.sqrt(95.0 * 115.0))
    assert (result.low, result.high) == (95.0, 115.0)


def test_a_typed_range_of_temperatures_has_its_plain_middle() -> None:
    result = quantity("-10 to 20 degC", "temperature", "--measured-ambient")
    assert (result.value, result.low, result.high) == (5.0, -10.0, 20.0)
    # NIST SP 811: 50 °F are 10 °C and 68 °F are 20 °C.
    warm = quantity("50 degF to 68 degF", "temperature", "--measured-ambient")
    # published: as above.
    assert [warm.low, warm.high] == pytest.approx([10.0, 20.0])


def test_a_typed_spread_is_a_relative_half_width() -> None:
    for text in ("100 W/K +- 10 %", "100 W/K ± 10 %", "100 W/K +/- 10 %"):
        result = quantity(text, "conductance", "--measured")
        # independent: 10 % on top of 100, worked in the line.
        assert result.high == pytest.approx(100.0 * 1.1)
        # JCGM 100, 4.3.4: a 95 % half-width over 1.96 is the standard uncertainty.
        assert result.u_log == pytest.approx(math.log(1.1) / 1.959964)


@pytest.mark.parametrize("text", ["95-115 W/K", "95 - 115 W/K", "95 \N{EN DASH} 115 W/K"])
def test_a_range_may_be_written_with_a_dash(text: str) -> None:
    assert quantity(text, "conductance", "--measured") == quantity(
        "95 to 115 W/K", "conductance", "--measured"
    )


def test_a_half_width_may_have_the_values_unit() -> None:
    for text in ("105 +- 10 W/K", "105 W/K ± 10 W/K"):
        result = quantity(text, "conductance", "--measured")
        assert (result.value, result.low, result.high) == (105.0, 95.0, 115.0)
    # published: NIST SP 811, a difference of 9 °F is 5 K, and 68 °F are 20 °C.
    air = quantity("68 +- 9 degF", "temperature", "--measured-ambient")
    assert (air.value, air.low, air.high) == pytest.approx((20.0, 15.0, 25.0))
    assert quantity("-10 degC", "temperature", "--soak").low is None


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("10 +- 20 W/K", "conductance"),
        ("20 degC +- 5 %", "temperature"),
        ("115 to 95 W/K", "conductance"),
        ("105", "conductance"),
        ("105 kg", "conductance"),
        ("two", "number"),
        ("nan", "number"),
    ],
)
def test_what_is_no_quantity_is_refused_with_the_option_named(text: str, kind: str) -> None:
    with refused(UnitError, "--thing"):
        quantity(text, kind, "--thing")


def test_a_value_without_an_interval_has_no_uncertainty() -> None:
    assert power(6000.0).u_log == 0.0


def test_a_difference_in_fahrenheit_is_never_minus_32() -> None:
    asked = typed_fields(RatingAsked, {"label_etd": "100 degF", "label_heat": None})
    # published: NIST SP 811, a degree Fahrenheit is 1/1.8 K as a difference.
    assert asked.label_heat is None
    assert asked.label_etd is not None
    assert asked.label_etd.value == pytest.approx(100.0 / 1.8)


@pytest.mark.parametrize(
    ("figure", "text"),
    [
        (Figure(value=80.8, kind="conductance", low=70.5, high=92.3), "81 W/K (70 to 92)"),
        (Figure(value=4440.0, kind="power", low=3880.0, high=5080.0), "4.44 kW (3.88 to 5.08)"),
        (Figure(value=58.5, kind="temperature", low=55.5, high=61.9), "58.5 °C (55.5 to 61.9)"),
        (Figure(value=58.7, kind="temperature", low=35.5, high=91.9), "59 °C (36 to 92)"),
        (Figure(value=0.2, kind="temperature", low=-30.0, high=40.0), "0 °C (-30 to 40)"),
        (Figure(value=3.0, kind="conductance", low=2.999, high=3.001), "3.00 W/K"),
    ],
)
def test_a_value_has_no_digit_that_its_range_does_not_leave_it(figure: Figure, text: str) -> None:
    assert shown(figure) == text


def test_what_a_heater_takes_is_in_watts_for_everybody() -> None:
    heater = Figure(value=500.0, kind="power", in_watts=True)
    assert shown(heater, "us", both=True) == "500 W"
