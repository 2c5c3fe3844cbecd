"""The owner's questions in the report: the commands' own answers, or why there is none."""

from dataclasses import replace
from pathlib import Path

import pytest

from analysis import few_outings, proof_fixture
from wattsump_analysis.emulation import bracken
from wattsump_analysis.questions.answer import Figure
from wattsump_analysis.questions.asked import ForecastAsked
from wattsump_analysis.questions.forecast import foresee
from wattsump_analysis.questions.givens import Givens, givens_of
from wattsump_analysis.season.folder import Job, Summary, gather
from wattsump_analysis.season.store import Entry
from wattsump_analysis.show.report.page import render
from wattsump_analysis.show.report.replies import Days, Reply, replies_to
from wattsump_analysis.show.report.season import season_beside

QUESTIONS = ["rating", "forecast", "preheat", "oil", "cab", "lines", "limits"]


def givens() -> Givens:
    return givens_of(proof_fixture.falls_short(), profile=bracken.demo_profile())


def by_key(replies: tuple[Reply, ...]) -> dict[str, Reply]:
    return {reply.key: reply for reply in replies}


def celsius(value: float) -> Figure:
    return Figure(value=value, kind="temperature")


def test_every_question_is_answered_where_everything_is_known() -> None:
    replies = replies_to(givens())
    assert [reply.key for reply in replies] == QUESTIONS
    assert [reply.key for reply in replies if reply.answer is None] == []


def test_what_is_missing_is_named_with_where_to_give_it() -> None:
    replies = by_key(replies_to(givens_of(proof_fixture.cannot_tell())))
    assert replies["forecast"].answer is None
    assert "watts per degree" in replies["forecast"].give[0]
    assert any("[heater]" in what for what in replies["preheat"].give)
    assert any("[oil]" in what for what in replies["oil"].give)
    silent = [
        reply.key
        for reply in replies.values()
        if reply.answer is None and not (reply.give or reply.why_not)
    ]
    assert silent == []


def test_the_answer_is_the_commands_own_and_nothing_worked_out_again() -> None:
    mine = by_key(replies_to(givens(), Days(hottest=celsius(28.0))))["forecast"].answer
    asked = ForecastAsked(ambient=celsius(28.0), hottest=celsius(28.0))
    assert mine == foresee(asked, givens())


def test_the_owners_own_days_and_heater_are_asked_for() -> None:
    days = Days(coldest=celsius(-25.0), heater=Figure(value=1000.0, kind="power"))
    answer = by_key(replies_to(givens(), days))["preheat"].answer
    assert answer is not None
    assert Figure(value=1000.0, kind="power", in_watts=True) in answer.headline[0].pieces
    assert celsius(-25.0) in answer.headline[0].pieces


def test_a_day_too_hot_for_one_question_is_said_there_and_costs_no_other_answer() -> None:
    replies = by_key(replies_to(givens(), Days(hottest=celsius(90.0))))
    assert replies["rating"].answer is None
    assert "wanted peak: expected above 90" in replies["rating"].why_not
    assert [key for key, reply in replies.items() if reply.answer is None] == ["rating"]


def test_what_the_peak_does_is_said_once_in_its_own_part() -> None:
    replies = by_key(replies_to(givens()))
    oil, limits = replies["oil"].answer, replies["limits"].answer
    assert oil is not None
    assert limits is not None
    assert limits.row("oil_life")
    with pytest.raises(KeyError):
        oil.row("oil_life")


def test_the_page_shows_every_answer_its_cautions_and_what_it_assumed() -> None:
    page = render(proof_fixture.falls_short(), givens=givens())
    for words in (
        "The next cooler",
        "The hottest day",
        "The coldest start",
        "residual-current device",
        "Grades at the same temperatures",
        "Heat for a cab",
        "Velocity in a return line",
        "What the heat does",
        "Assumed",
        "another day, load or altitude: wattsump forecast".capitalize(),
    ):
        assert words in page
    assert "nut hexagon" not in page  # a bench table, for `wattsump lines`


def test_hostile_words_in_a_profile_stay_text_in_the_answers() -> None:
    profile = bracken.demo_profile()
    nasty = replace(profile, oil=replace(profile.oil, grade="<b onload=x>"))
    page = render(
        proof_fixture.falls_short(),
        givens=givens_of(proof_fixture.falls_short(), profile=nasty),
    )
    assert "<b onload" not in page
    assert "&lt;b onload=x&gt;" in page


def written(folder: Path, count: int) -> list[Path]:
    paths = [folder / f"day-{number:03d}.csv" for number in range(count)]
    for path in paths:
        path.write_text(path.stem, encoding="utf-8")
    return paths


def from_name(job: Job) -> Summary:
    number = int(job.path.stem.removeprefix("day-"))
    outing = few_outings.outing(number, 95.0 if number < 4 else 60.0, 3400.0, key=job.key)
    return Summary(job=job, entry=Entry(outing=outing), lasting=True)


def test_a_session_that_lies_alone_has_no_season(tmp_path: Path) -> None:
    (path,) = written(tmp_path, 1)
    assert season_beside(path, "Bracken") is None


def test_sessions_nobody_worked_out_are_counted_and_nothing_is_written_beside_them(
    tmp_path: Path,
) -> None:
    paths = written(tmp_path, 3)
    season = season_beside(paths[0], "Bracken")
    assert season is not None
    assert (season.outings, season.trend, season.unread) == ((), None, 3)
    assert sorted(tmp_path.iterdir()) == paths


def test_outings_that_trend_kept_make_the_season_of_their_machine(tmp_path: Path) -> None:
    paths = written(tmp_path, 9)
    gather(tmp_path, run=lambda function, jobs: map(from_name, jobs))
    (tmp_path / "day-009.csv").write_text("new", encoding="utf-8")
    season = season_beside(paths[-1], "Bracken")
    assert season is not None
    assert season.trend is not None
    assert season.unread == 1
    page = render(proof_fixture.falls_short(), season=season)
    assert "The season so far" in page
    assert "9 April 2026 (this one)" in page
    assert "1 session lies in the folder and is not worked out yet" in page
    assert "<a href" not in page
    (tmp_path / "season.html").touch()
    season = season_beside(paths[-1], "Bracken", tmp_path / "day-008.html")
    assert '<a href="season.html">' in render(proof_fixture.falls_short(), season=season)
    other = season_beside(paths[-1], "another machine")
    assert other is not None
    assert other.outings == ()


def test_too_few_outings_are_listed_without_a_trend(tmp_path: Path) -> None:
    paths = written(tmp_path, 3)
    gather(tmp_path, run=lambda function, jobs: map(from_name, jobs))
    season = season_beside(paths[0], "Bracken")
    assert season is not None
    assert season.trend is None
    page = render(proof_fixture.falls_short(), season=season)
    assert "A trend needs 4 outings" in page
    assert page.count("95.0 W/K") >= 3
