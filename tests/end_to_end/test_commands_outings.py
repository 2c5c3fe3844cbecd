"""`trend` and `compare` as people type them."""

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.few_outings import row_of_outings
from end_to_end.ended import Ended
from wattsump_analysis.season import folder as season_folder
from wattsump_analysis.season.causes import Cause
from wattsump_analysis.season.folder import Job, Summary
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.store import Entry

RIG = Path(__file__).parents[2] / "sample-data" / "rig" / "rig.csv"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A season whose fits are replaced by made outings, one for each file."""
    season = row_of_outings([(8, 0.6, 1.0)], n=14)
    given(monkeypatch, {outing.name: outing for outing in season})
    for outing in season:
        (tmp_path / f"{outing.name}.csv").write_text(outing.name, encoding="utf-8")
    return tmp_path


def given(monkeypatch: pytest.MonkeyPatch, outings: dict[str, Outing]) -> None:
    def made(function: object, jobs: Sequence[Job]) -> list[Summary]:
        return [
            Summary(
                job=job,
                entry=Entry(outing=replace(outings[job.path.stem], key=job.key)),
                lasting=True,
            )
            for job in jobs
        ]

    monkeypatch.setattr(season_folder, "in_processes", made)


def test_trend_prints_a_screen_and_draws_a_picture(
    run: Callable[..., Ended], folder: Path, tmp_path: Path
) -> None:
    ended = run("trend", folder, "--plot", tmp_path / "season.svg")
    assert ended.code == 0
    assert ended.err == ""
    assert "2026-04-09" in ended.out
    assert (tmp_path / "season.svg").read_text(encoding="utf-8").lstrip().startswith("<?xml")


def test_trend_prints_data_for_programs_and_nothing_else(
    run: Callable[..., Ended], folder: Path
) -> None:
    data = json.loads(run("trend", folder, "--json").out)
    assert data["format"] == "wattsump-trend-2"
    assert data["sentence"]["code"] == "season-changed"
    assert [step["outing"] for step in data["steps"]] == ["day-008"]


def test_compare_takes_sessions_with_commas_and_folders(
    run: Callable[..., Ended], folder: Path
) -> None:
    before = ",".join(str(folder / f"day-00{i}.csv") for i in range(4))
    after = ",".join(str(folder / f"day-0{i}.csv") for i in (9, 10, 11) if i > 9)
    ended = run("compare", before, after, "--units", "us")
    assert ended.code == 0
    assert "°F" in ended.out
    data = json.loads(run("compare", before, after, "--json").out)
    assert data["before"] == [f"day-00{i}" for i in range(4)]


def test_both_write_their_page_and_link_the_reports_beside_the_sessions(
    run: Callable[..., Ended], folder: Path, tmp_path: Path
) -> None:
    (folder / "day-013.html").touch()
    assert run("trend", folder, "--report", tmp_path / "season.html").code == 0
    page = (tmp_path / "season.html").read_text(encoding="utf-8")
    assert page.startswith("<!doctype html>")
    assert '<a href="day-013.html">' in page
    sides = folder / "day-002.csv", folder / "day-013.csv"
    assert run("compare", *sides, "--report", tmp_path / "both.html").code == 0
    assert '<a href="day-013.html">' in (tmp_path / "both.html").read_text(encoding="utf-8")


def test_a_fleet_is_told_worst_first_and_its_folders_serve_a_trend(
    run: Callable[..., Ended], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = {"alder": row_of_outings([(8, 0.6, 1.0)], n=14), "birch": row_of_outings([], n=6)}
    given(
        monkeypatch,
        {f"{name}-{o.name}": replace(o, machine=name) for name, row in rows.items() for o in row},
    )
    for name, row in rows.items():
        (tmp_path / name).mkdir()
        for o in row:
            (tmp_path / name / f"{name}-{o.name}.csv").write_text(o.name + name, encoding="utf-8")
    (tmp_path / "alder" / "season.html").touch()
    ended = run("fleet", tmp_path, "--report", tmp_path / "fleet.html")
    assert ended.code == 0
    names = [line.split()[0] for line in ended.out.splitlines() if line[:1].isalpha()]
    assert names == ["machine", "alder", "birch"]
    assert '<a href="alder/season.html">' in (tmp_path / "fleet.html").read_text(encoding="utf-8")
    monkeypatch.setattr(season_folder, "in_processes", lambda function, jobs: list(jobs))
    assert "K is down" in run("trend", tmp_path / "alder").out
    data = json.loads(run("fleet", tmp_path, "--json").out)
    assert data["format"] == "wattsump-fleet-1"


def test_a_page_is_never_written_over_a_session_and_the_answer_is_there_all_the_same(
    run: Callable[..., Ended], folder: Path
) -> None:
    session = folder / "day-003.csv"
    before = session.read_bytes()
    ended = run("trend", folder, "--report", session)
    assert ended.code == 2
    assert "expected a new name, or that of an older file of the same kind" in ended.err
    assert "From 2026-04-09 on" in ended.out
    assert session.read_bytes() == before


def test_compare_takes_a_session_apart_at_its_swap(run: Callable[..., Ended]) -> None:
    data = json.loads(run("compare", f"{RIG}#1", f"{RIG}#2", "--json").out)
    assert data["sentence"]["code"] == "cause-known"
    assert data["causes"][0]["cause"] == Cause.COOLER


def test_one_of_several_machines_is_chosen_by_a_part_of_its_name(
    run: Callable[..., Ended], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    season = row_of_outings([], n=10)
    mixed = {
        o.name: replace(o, machine="Bracken" if i % 2 else "Alder") for i, o in enumerate(season)
    }
    given(monkeypatch, mixed)
    for name in mixed:
        (tmp_path / f"{name}.csv").write_text(name, encoding="utf-8")
    both = run("trend", tmp_path)
    assert both.code == 2
    assert "'Alder', 'Bracken'" in both.err
    data = json.loads(run("trend", tmp_path, "--of", "alder", "--json").out)
    assert (data["sentence"]["code"], len(data["outings"])) == ("season-unchanged", 5)
    unknown = run("trend", tmp_path, "--of", "birch")
    assert unknown.code == 2
    assert "'birch'" in unknown.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("trend", "nowhere"), "expected a folder of sessions, found none"),
        (("compare", "nowhere.csv", "nothing.csv"), "expected a session or a folder of sessions"),
        (("compare", f"{RIG}#7", f"{RIG}#2"), "expected a stretch from 1 to 2, found '7'"),
    ],
)
def test_what_cannot_be_done_is_one_line_and_code_2(
    run: Callable[..., Ended], words: tuple[str, ...], said: str
) -> None:
    ended = run(*words)
    assert ended.code == 2
    assert said in ended.err
    assert ended.err.count("\n") == 1
    assert ended.out == ""


def test_ctrl_c_says_how_far_it_came_and_the_next_run_goes_on(
    run: Callable[..., Ended], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = season_folder.in_processes

    def stopped(function: object, jobs: Sequence[Job]) -> object:
        yield from list(whole(function, jobs))[:5]  # type: ignore[arg-type]
        raise KeyboardInterrupt

    monkeypatch.setattr(season_folder, "in_processes", stopped)
    ended = run("trend", folder)
    assert ended.code == 130
    assert "5 of 14" in ended.err
    asked: list[int] = []

    def rest(function: object, jobs: Sequence[Job]) -> object:
        asked.append(len(jobs))
        return whole(function, jobs)  # type: ignore[arg-type]

    monkeypatch.setattr(season_folder, "in_processes", rest)
    assert run("trend", folder).code == 0
    assert asked == [9]
