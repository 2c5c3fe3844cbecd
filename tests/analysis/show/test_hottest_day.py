"""The air outside up to which the oil stays cool enough, where one line has to say it."""

from dataclasses import replace

import pytest

from analysis import proof_fixture
from wattsump_analysis.emulation import bracken
from wattsump_analysis.questions.answer import Figure
from wattsump_analysis.questions.givens import Givens, givens_of
from wattsump_analysis.show.hottest_day import hottest_line, on_hottest_day
from wattsump_analysis.show.report.page import render
from wattsump_analysis.show.screen import proof_screen
from wattsump_logger.units.quantities import to_shown


def givens() -> Givens:
    return givens_of(proof_fixture.falls_short(), profile=bracken.demo_profile())


@pytest.mark.parametrize(
    ("units", "limit", "sign"), [("si", "66 °C", "°C"), ("us", "151 °F", "°F")]
)
def test_one_line_says_up_to_what_air_the_oil_stays_below_the_advised_limit(
    units: str, limit: str, sign: str
) -> None:
    row = on_hottest_day(givens()).row("limiting_oil_advised_p50_c")
    (line,) = hottest_line(givens(), units)
    ends = (row.figure.value, row.figure.low, row.figure.high)
    value, low, high = (f"{to_shown(end or 0.0, 'temperature', units):.0f} {sign}" for end in ends)
    assert line.value == f"about {value} outside"
    assert f"{low} to {high} (95 %)" in line.beside
    assert f"at this work the oil then settles at {limit} (advised)" in line.beside
    assert row.flag is not None
    assert row.flag.text in line.beside


def test_terminal_and_page_say_the_same_line() -> None:
    (line,) = hottest_line(givens())
    text = " ".join(proof_screen(proof_fixture.falls_short(), more=(line,)).split())
    assert line.value in text
    assert line.beside in text
    page = render(proof_fixture.falls_short(), givens=givens())
    assert f"<b>{line.name}:</b> {line.value}, {line.beside}." in page


def test_air_far_from_that_of_the_outing_is_said_on_the_terminal_too() -> None:
    cold = replace(givens(), ambients_c=(-20.0, -18.0))
    (line,) = hottest_line(cold)
    assert "far from the air of this outing" in line.beside


def test_no_air_is_promised_where_nothing_was_measured() -> None:
    nothing = givens_of(proof_fixture.cannot_tell())
    assert hottest_line(nothing) == ()
    assert "Hottest day" not in render(proof_fixture.cannot_tell())


def test_an_estimate_of_the_heat_is_named_on_the_first_screen() -> None:
    unmeasured = replace(givens(), heat_w=None, heat_p90_w=None)
    (line,) = hottest_line(unmeasured)
    assert line.beside.startswith("an ESTIMATE, the heat of pump and motor not measured; ")
    assert "ESTIMATE" not in hottest_line(givens())[0].beside


@pytest.mark.parametrize(
    ("heat_w", "why"),
    [
        ((5000.0, 1500.0, 15000.0), "reaches beyond air of -40 °C to 60 °C"),
        ((4000.0, 2000.0, 8000.0), "is wider than 40 K, too wide to plan by"),
    ],
)
def test_a_range_of_air_that_helps_nobody_is_not_told_and_says_why(
    heat_w: tuple[float, float, float], why: str
) -> None:
    value, low, high = heat_w
    heat = Figure(value=value, kind="power", low=low, high=high)
    (line,) = hottest_line(replace(givens(), heat_w=heat))
    assert line.value == "not told"
    assert line.beside.endswith(why)
    assert "settles" not in line.beside


def test_no_degree_below_nothing_is_minus_nothing() -> None:
    assert all("-0 °" not in line.beside + line.value for line in hottest_line(givens()))
    warm = replace(givens(), limits_c={"oil, advised": 39.0})
    heat = Figure(value=3690.0, kind="power")
    for heat_w in (heat.value * (1 + step / 1000) for step in range(-10, 11)):
        (line,) = hottest_line(replace(warm, heat_w=replace(heat, value=heat_w)))
        assert "-0 °" not in line.value + line.beside
