"""Pages of seasons and comparisons: what they say, where they link, and what they never become."""

import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest

from analysis.few_outings import full_season, outing, row_of_outings
from analysis.show.outline import outline
from wattsump_analysis.season.compare import compare
from wattsump_analysis.season.events import EventKind
from wattsump_analysis.season.trend import Trend, trend_of
from wattsump_analysis.show.report.links import Links
from wattsump_analysis.show.report.season_page import render_comparison, render_season
from wattsump_analysis.show.season_screen import split_text

NASTY = "<img src=x onerror=alert(1)>"


@pytest.fixture(scope="module")
def season() -> Trend:
    return full_season()


def text_of(page: str) -> str:
    body = re.sub(r"<(style|script|svg)\b.*?</\1>", "", page, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", body).split())


def test_the_first_screen_of_a_season_says_machine_dates_change_range_cause_and_next_step(
    season: Trend,
) -> None:
    page = text_of(render_season(season))
    page = page[page.index("Bracken · ") :]
    heat = season.steps[-1].heat
    wanted = (
        "Bracken · 1 April to 26 April 2026, 26 outings",
        f"Heat up {100 * heat.value:.0f} %",
        f"{100 * heat.low:.0f} to {100 * heat.high:.0f} % (95 %) from 21 April 2026 on",
        "The drive",
        "Do this next",
        "easure the case-drain flow",
        "Now: K",
        "Take care:",
    )
    places = [page.index(words) for words in wanted]
    assert places == sorted(places)


def test_every_change_is_a_sentence_with_its_day_odds_and_what_was_noted(season: Trend) -> None:
    page = text_of(render_season(season))
    changes = page[page.index("What has changed") : page.index("The outings")]
    for day in ("21 April 2026:", "15 April 2026:", "9 April 2026:"):
        assert day in changes
    for change in changes.split("2026:")[1:]:
        assert re.search(
            r"K (up|down|the same) .*heat (up|down|the same|not known) .* in 100", change
        )
    assert "Noted: &#34;cleaned here&#34;" in changes


def test_as_run_and_under_like_conditions_stand_side_by_side(season: Trend) -> None:
    page = render_season(season)
    newest = season.outings[-1]
    assert newest.k_w_k is not None
    row = re.search(r"26 Apr[^/]*</span></th>(.*?)</tr>", page)
    assert row is not None
    cells = re.findall(r"<td>([^<]*)</td>", row[1])
    assert cells[0] == f"{newest.k_w_k:.1f}"
    assert len(cells) == 5
    assert "14 earlier outings" in page
    assert "shopping: no session" in page


def test_nothing_has_changed_is_a_title_with_what_would_have_been_seen() -> None:
    page = text_of(render_season(trend_of(row_of_outings([], n=24, seed=2))))
    assert "No change Over 24 outings. A loss of" in page
    assert "Do this next Go on:" in page


def test_a_change_that_cannot_be_split_and_may_be_chance_says_both_with_the_test() -> None:
    row = row_of_outings([(8, 0.5, 1.2)], n=16, noted={8: EventKind.OIL, 9: EventKind.COOLER})
    trend = trend_of(row)
    step = replace(trend.steps[0], chance=0.4)
    page = unescape(text_of(render_season(replace(trend, steps=(step,)))))
    assert "40 in 100" in page
    assert split_text(step) in page
    sure = render_season(replace(trend, steps=(replace(step, chance=0.95),)))
    assert "95 in 100" not in text_of(sure)


def test_oil_over_its_limit_is_not_titled_no_change() -> None:
    outings = row_of_outings([], n=24, seed=2)
    outings[-1] = replace(outings[-1], minutes_above_max=12.0)
    page = render_season(trend_of(outings))
    assert "tone-bad" in page
    assert "No change" not in text_of(page)


def test_units_reach_every_number_of_a_season(season: Trend) -> None:
    page = render_season(season, "us")
    assert "K, BTU/(h °F)" in text_of(page)
    assert "hottest oil, °F" in page
    assert not re.search(r"\d W/K|\d kW", text_of(page))


def test_units_reach_what_was_not_comparable() -> None:
    row = row_of_outings([], n=8)
    warm = [replace(o, ambient_c=30.0) for o in row[4:]]
    page = text_of(render_comparison(compare(row[:4], warm), "us"))
    assert "Air +27 °F." in page  # independent: 15 K are 27 degF
    assert not re.search(r"\d W/K|\d kW|[+-]\d+ K\b", page)


def test_numbers_of_a_column_keep_their_last_zero() -> None:
    row = row_of_outings([], n=12)
    row[-1] = replace(row[-1], k_w_k=90.0, heat_w=3500.0)
    page = render_season(trend_of(row))
    assert "<td>90.0</td>" in page
    assert "<td>3.50</td>" in page


def test_a_report_beside_its_session_is_linked_by_a_path_from_the_page(
    season: Trend, tmp_path: Path
) -> None:
    folder = tmp_path / "sea son"
    folder.mkdir()
    session = folder / "day: #1 100%.csv"
    links = Links(page=tmp_path / "season.html", sessions={season.outings[-1].key: session})
    assert "<a href" not in render_season(season, links=links)
    session.with_suffix(".html").touch()
    page = render_season(season, links=links)
    assert re.findall(r'<a href="([^"]*)"', page) == ["sea%20son/day%3A%20%231%20100%25.html"]


def test_no_name_of_a_file_becomes_an_address_of_another_kind(
    season: Trend, tmp_path: Path
) -> None:
    session = tmp_path / "javascript:alert(1).csv"
    session.with_suffix(".html").touch()
    links = Links(page=tmp_path / "season.html", sessions={season.outings[-1].key: session})
    assert links.of(season.outings[-1]) == "javascript%3Aalert%281%29.html"


def test_a_comparison_says_its_difference_range_cause_and_what_was_not_comparable() -> None:
    row = row_of_outings([(6, 1.5, 1.0)], n=12, noted={6: EventKind.CLEAN})
    row[-1] = replace(row[-1], k_w_k=None)
    found = compare(row[:6], row[6:])
    assert found.k is not None
    page = text_of(render_comparison(found))
    assert f"K up {100 * found.k.value:.0f} %" in page
    assert f"{100 * found.k.low:.0f} to {100 * found.k.high:.0f} % (95 %)" in page
    apart = page[page.index("What else differed") : page.index("Before:")]
    assert "cleaned here" in apart
    assert row[-1].name in apart


def test_a_comparison_that_cannot_be_split_names_the_test_as_the_next_step() -> None:
    row = row_of_outings([(4, 1.6, 1.0)], n=8, noted={4: EventKind.COOLER, 5: EventKind.OIL})
    page = text_of(render_comparison(compare(row[:4], row[4:])))
    assert "Do this next Measure oil flow" in page
    assert page.count("Cannot be split") == 1


def test_sides_that_tell_nothing_make_a_page_without_a_picture() -> None:
    page = render_comparison(compare([outing(0, None, None)], [outing(1, None, None)]))
    assert "Cannot tell" in page
    assert "<figure" not in page


def test_both_pages_are_whole_ask_for_nothing_and_take_names_as_text(season: Trend) -> None:
    named = replace(season, machine=NASTY)
    both = compare(
        [replace(o, machine=NASTY, name=NASTY) for o in season.outings[:4]],
        [replace(o, machine=NASTY, marks=(NASTY,)) for o in season.outings[8:12]],
    )
    for page in (render_season(named), render_comparison(both)):
        found = outline(page)
        assert found.headings[0] == 1
        assert all(b - a <= 1 for a, b in zip(found.headings, found.headings[1:], strict=False))
        assert len(found.ids) == len(set(found.ids))
        assert all(address[1:] in found.ids for address in found.addresses)
        assert "img" not in found.tags
        assert all(head.get("scope") for head in found.heads)
        assert page.count("default-src 'none'") == 1


def test_the_same_season_gives_the_same_page(season: Trend) -> None:
    assert render_season(season) == render_season(season)
