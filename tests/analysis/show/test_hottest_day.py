"""The air outside up to which the oil stays cool enough, where one line has to say it."""

from dataclasses import replace

import pytest

from analysis import proof_fixture
from wattsump_analysis.emulation import bracken
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
