"""The air outside up to which the oil stays cool enough, where one line has to say it."""

from dataclasses import replace

import pytest

from analysis import proof_fixture
from wattsump_analysis.emulation import bracken
from wattsump_analysis.questions.known import Known, known_of
from wattsump_analysis.show.hottest_day import hottest_days, hottest_line, on_hottest_day
from wattsump_analysis.show.report.page import render
from wattsump_analysis.show.screen import proof_screen


def known() -> Known:
    return known_of(proof_fixture.falls_short(), profile=bracken.demo_profile())


@pytest.mark.parametrize(
    ("which", "word", "limit", "limit_us"),
    [(0, "advised", "66 °C", "151 °F"), (1, "highest", "82 °C", "180 °F")],
)
def test_the_first_page_says_up_to_what_air_the_oil_stays_below_each_limit_the_lower_first(
    which: int, word: str, limit: str, limit_us: str
) -> None:
    answer = on_hottest_day(known())
    fact = hottest_days(answer, known())[which]
    row = answer.row(f"limiting_oil_{word}_p50_c")
    air = row.figure
    assert air.low is not None
    assert air.high is not None
    assert fact.name == f"Hottest day, oil below {limit} ({word})"
    assert f"about {air.value:.0f} °C outside, at this work" in fact.value
    assert f"{air.low:.0f} °C to {air.high:.0f} °C (95 %)" in fact.beside
    assert row.flag in fact.beside
    us = hottest_days(answer, known(), "us")[which]
    assert f"below {limit_us}" in us.name


def test_the_terminal_says_the_air_of_the_lower_limit_alone() -> None:
    (line,) = hottest_line(known())
    page = hottest_days(on_hottest_day(known()), known())[0]
    assert line.value in page.value
    assert "at this work the oil then settles at 66 °C (advised)" in line.beside
    text = " ".join(proof_screen(proof_fixture.falls_short(), more=(line,)).split())
    assert f"{line.value}" in text
    assert line.beside in text


def test_air_far_from_that_of_the_outing_is_said_on_the_terminal_too() -> None:
    cold = replace(known(), ambients_c=(-20.0, -18.0))
    (line,) = hottest_line(cold)
    assert "far from the air of this outing" in line.beside


def test_no_air_is_promised_where_nothing_was_measured() -> None:
    nothing = known_of(proof_fixture.cannot_tell())
    assert hottest_days(None, nothing) == hottest_line(nothing) == ()
    assert "Hottest day" not in render(proof_fixture.cannot_tell())
