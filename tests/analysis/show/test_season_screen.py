"""What is said of a season and of a comparison: true, short, and no wider than 80 columns."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from jsonschema import (  # type: ignore[import-untyped] # its stubs are a package more
    Draft202012Validator,
    ValidationError,
)

from analysis.codes import codes
from analysis.few_outings import full_season, outing, row_of_outings
from wattsump_analysis.season.compare import compare
from wattsump_analysis.season.events import EventKind
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.state import state_of
from wattsump_analysis.season.trend import LeftOut, Trend, trend_of
from wattsump_analysis.show.plots.season import plot_trend
from wattsump_analysis.show.season_json import compare_data, trend_data
from wattsump_analysis.show.season_screen import (
    WIDTH,
    compare_screen,
    compare_sentence,
    next_steps,
    split_text,
    trend_screen,
    trend_sentence,
)
from wattsump_analysis.show.words import figure
from wattsump_logger.remark import Remark
from wattsump_logger.units.measure import kelvins

DOCS = Path(__file__).parents[3] / "docs"


@pytest.fixture(scope="module")
def season() -> Trend:
    return full_season()


def test_one_sentence_names_the_newest_change_its_size_and_its_cause(season: Trend) -> None:
    assert trend_sentence(season).code == "season-changed"
    sentence = trend_sentence(season).text
    assert sentence.startswith("From 2026-04-21 on")
    heat = season.steps[-1].heat
    assert f"the heat into the oil up {100 * heat.value:.0f} % ({100 * heat.low:.0f} to" in sentence
    assert "the drive" in sentence


def test_the_screen_lists_every_change_with_what_was_noted_and_what_to_do(season: Trend) -> None:
    screen = trend_screen(season)
    assert "2026-04-09    K down" in screen
    assert 'noted: "cleaned here"' in screen
    assert "shopping (no session)" in screen
    assert "Next " in screen
    assert codes(next_steps(season)) == ["measure-case-drain"]
    assert "Repeats to" in screen


def test_why_an_outing_does_not_count_is_told_in_the_units_of_display(season: Trend) -> None:
    why = Remark(code="any", text=("the tank jumped by ", kelvins(5.0)))
    left = LeftOut(name="odd", why=why)
    screen = trend_screen(replace(season, left_out=(left,)), "us")
    assert "9.0 °F)" in screen


def test_nothing_has_changed_is_a_result_and_says_what_would_have_shown() -> None:
    trend = trend_of(row_of_outings([], n=24, seed=2))
    k, heat = trend.would_have_seen
    assert trend_sentence(trend).code == "season-unchanged"
    sentence = trend_sentence(trend).text
    assert f"a loss of {100 * k:.0f} % of K or {100 * heat:.0f} % more heat" in sentence


def test_an_open_cause_is_told_with_the_outings_still_needed() -> None:
    trend = trend_of(row_of_outings([(10, 0.45, 1.0)], n=13, seed=4))
    screen = trend_screen(trend)
    assert "not settled" in screen
    (step,) = next_steps(trend)
    assert step.code in ("log-more-outings", "wash-the-core")
    assert " ".join(step.text.split()) in " ".join(screen.split())


def test_a_newest_outing_that_lies_apart_is_told_before_it_is_a_change() -> None:
    row = row_of_outings([], n=12, seed=2)
    row.append(outing(12, 0.6 * 95.0, 3400.0))
    trend = trend_of(row)
    assert trend.steps == ()
    assert codes(next_steps(trend)) == ["newest-lies-apart"]
    screen = trend_screen(trend)
    assert "Next " in screen
    row_of_k = next(line for line in screen.splitlines() if line.startswith("K of the cooler"))
    assert row_of_k.endswith(" 57.0 W/K")  # the newest outing's own K, as given above


def test_k_and_heat_now_are_the_one_level_that_page_and_fleet_give() -> None:
    # Hot air for half of the outings: their plain mean is another number than at like air.
    row = row_of_outings([], n=16, seed=3)
    row[8:] = [replace(o, ambient_c=35.0, k_w_k=0.97 * (o.k_w_k or 0.0)) for o in row[8:]]
    trend = trend_of(row)
    now = figure(state_of(trend).k_w_k.value, "conductance", "si", both=False)
    line = next(x for x in trend_screen(trend).splitlines() if x.startswith("K of the cooler"))
    assert now in line


def test_oil_over_its_limit_is_what_to_do_about_first_where_no_change_explains_it() -> None:
    def hot(row: list[Outing]) -> Trend:
        return trend_of([*row[:-1], replace(row[-1], minutes_above_max=9.0)])

    assert codes(next_steps(hot(row_of_outings([], n=24, seed=2)))) == ["keep-below-the-limit"]
    washed = hot(row_of_outings([(8, 1.5, 1.0)], n=24))
    assert codes(next_steps(washed))[0] == "keep-below-the-limit"
    fouled = hot(row_of_outings([(8, 0.5, 1.0)], n=24))
    assert "keep-below-the-limit" not in codes(next_steps(fouled))


def test_a_change_whose_causes_cannot_be_split_says_so_with_the_test() -> None:
    row = row_of_outings([(8, 0.5, 1.2)], n=16, noted={8: EventKind.OIL, 9: EventKind.COOLER})
    (step,) = trend_of(row).steps
    assert step.cannot_split is not None
    assert step.test is not None
    assert codes([step.cannot_split, step.test]) == ["several-changes", "test-by-oil-side"]
    assert split_text(step) in " ".join(trend_screen(trend_of(row)).split())


@pytest.mark.parametrize("units", ["si", "us"])
def test_no_line_is_wider_than_the_screen(season: Trend, units: str) -> None:
    row = row_of_outings([(8, 0.5, 1.2)], n=16, noted={8: EventKind.OIL, 9: EventKind.COOLER})
    screens = (trend_screen(season, units), compare_screen(compare(row[:8], row[8:]), units))
    for screen in screens:
        assert max(map(len, screen.splitlines())) <= WIDTH


def test_differences_in_us_units_have_no_32_in_them() -> None:
    found = compare([outing(0, 60.0, 3000.0)], [outing(1, 120.0, 3000.0)])
    assert found.like_rise is not None
    fahrenheit = -1.8 * found.like_rise.change.value
    assert f"About {fahrenheit:.0f} °F cooler" in compare_sentence(found, "us").text


def test_what_else_differed_follows_the_units() -> None:
    found = compare(
        [outing(0, 95.0, 3400.0, ambient_c=5.0)], [outing(1, 95.0, 3400.0, ambient_c=20.0)]
    )
    # independent, by hand: 15 K x 1.8, exact
    assert "Also          air +27 °F" in compare_screen(found, "us")


def test_values_in_us_units_stand_apart() -> None:
    screen = trend_screen(trend_of(row_of_outings([], n=8)), "us")
    row = next(line for line in screen.splitlines() if line.startswith("K of the cooler"))
    assert re.fullmatch(r"K of the cooler( +\d+ BTU/\(h °F\)){2}", row)


def test_a_comparison_that_cannot_be_split_names_the_test() -> None:
    row = row_of_outings([(4, 1.6, 1.0)], n=8, noted={4: EventKind.COOLER, 5: EventKind.OIL})
    screen = compare_screen(compare(row[:4], row[4:]))
    assert screen.lower().count("cannot") == 1
    assert "Next          measure oil flow" in screen
    assert compare_sentence(compare(row[:4], row[4:])).code == "cause-split"


def test_a_change_that_few_outings_cannot_show_is_not_called_none() -> None:
    found = compare([outing(0, 100.0, 3000.0)], [outing(1, 90.0, 3000.0)])
    assert compare_sentence(found).code == "no-change-yet"


@pytest.mark.parametrize("kind", ["trend", "compare"])
def test_the_data_for_programs_follow_their_published_schema(season: Trend, kind: str) -> None:
    row = row_of_outings([(4, 1.6, 1.0)], n=8)
    data = trend_data(season) if kind == "trend" else compare_data(compare(row[:1], row[4:]))
    schema = json.loads((DOCS / f"wattsump-{kind}-2.schema.json").read_text(encoding="utf-8"))
    rules = Draft202012Validator(schema)
    plain = json.loads(json.dumps(data, allow_nan=False))
    rules.validate(plain)
    del plain["sentence"]
    with pytest.raises(ValidationError):
        rules.validate(plain)


def test_the_picture_shows_each_step_with_its_cause_and_each_event(season: Trend) -> None:
    figure = plot_trend(season)
    upper, lower = figure.axes
    said = [text.get_text() for text in (*upper.texts, *lower.texts)]
    for step in season.steps:
        assert any(text and step.cause.startswith(f"the {text}") for text in said)
    assert "cleaned" in said
    dotted = [line for line in upper.lines if line.get_linestyle() == ":"]
    places = [float(np.asarray(line.get_xdata())[0]) for line in dotted]
    assert places == [step.at - 0.5 for step in season.steps]
    assert "W/K" in upper.get_ylabel()
    assert "BTU" in plot_trend(season, units="us").axes[1].get_ylabel()
