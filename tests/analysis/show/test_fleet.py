"""A fleet on a screen, as a page and as data."""

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from jsonschema import (  # type: ignore[import-untyped] # its stubs are a package more
    Draft202012Validator,
)

from analysis.few_outings import row_of_outings
from analysis.season.test_fleet import gathered
from analysis.show.outline import outline
from wattsump_analysis.season.fleet import Member, fleet_of
from wattsump_analysis.season.trend import LeftOut
from wattsump_analysis.show.fleet_screen import fleet_data, fleet_screen, word_of
from wattsump_analysis.show.report.fleet_page import render_fleet
from wattsump_analysis.show.season_screen import WIDTH
from wattsump_logger.remark import Remark
from wattsump_logger.units.measure import kelvins

DOCS = Path(__file__).parents[3] / "docs"
LEFT_OUT = (LeftOut(name="shopping", why=Remark(code="any", text="no session")),)


@pytest.fixture(scope="module")
def members() -> tuple[Member, ...]:
    return fleet_of(
        gathered(
            {
                "Bracken, a tracked log carrier": row_of_outings([], n=12, seed=2),
                "Alder": row_of_outings([(8, 0.6, 1.0)], n=16),
                "Rowan": row_of_outings([], n=2),
            }
        )
    )


@pytest.mark.parametrize("units", ["si", "us"])
def test_the_screen_has_a_row_for_each_machine_and_no_line_too_wide(
    members: tuple[Member, ...], units: str
) -> None:
    lines = fleet_screen(members, LEFT_OUT, units).splitlines()
    assert max(map(len, lines)) <= WIDTH
    rows = [line for line in lines[1:] if line[0:1].isupper()]
    assert [row.split()[0].rstrip(",") for row in rows] == ["Alder", "Rowan", "Bracken"]
    assert all("  " in row or "BTU" in row for row in rows)
    assert "1 file counts for no machine, such as shopping (no session)." in lines


def test_the_page_links_a_season_page_that_lies_in_the_machines_folder(tmp_path: Path) -> None:
    found = gathered({"Alder": row_of_outings([(8, 0.6, 1.0)], n=16)})
    here = replace(found, paths={key: tmp_path / path for key, path in found.paths.items()})
    members = fleet_of(here)
    page = tmp_path / "fleet" / "page.html"
    assert "<a href" not in render_fleet(members, page=page)
    (tmp_path / "fleet" / "Alder").mkdir(parents=True)
    (tmp_path / "fleet" / "Alder" / "season.html").touch()
    assert '<a href="Alder/season.html">Alder</a>' in render_fleet(members, page=page)


def test_the_page_says_how_many_to_look_at_the_worst_and_what_to_do(
    members: tuple[Member, ...],
) -> None:
    page = render_fleet(members, LEFT_OUT)
    assert ">1 of 3 to look at</h1>" in page
    assert '<p class="lead">Alder: K down' in page
    assert "Do this next</h2><p>Alder: " in page
    assert "shopping: no session" in page
    found = outline(page)
    assert found.headings == [1, 2, 2, 2]
    assert render_fleet(members, LEFT_OUT) == page


def test_outings_that_tell_nothing_are_not_counted_among_those_a_trend_needs() -> None:
    told = row_of_outings([], n=2)
    idle = [replace(outing, k_w_k=None) for outing in row_of_outings([], n=6)[2:]]
    (member,) = fleet_of(gathered({"Rowan": [*told, *idle]}))
    # independent: two of six have K, and a trend needs four
    assert re.findall(r"\d", word_of(member)) == ["2", "4", "4"]


def test_a_fleet_with_nothing_amiss_says_so() -> None:
    members = fleet_of(gathered({"Birch": row_of_outings([], n=12, seed=2)}))
    assert ">Nothing to look at</h1>" in render_fleet(members)


def test_a_machines_name_is_text_and_never_markup() -> None:
    nasty = "<img src=x onerror=alert(1)>"
    members = fleet_of(gathered({nasty: row_of_outings([], n=4)}))
    assert "img" not in outline(render_fleet(members)).tags


def test_data_for_programs_follow_the_published_schema(members: tuple[Member, ...]) -> None:
    schema = json.loads((DOCS / "wattsump-fleet-1.schema.json").read_text(encoding="utf-8"))
    data = json.loads(json.dumps(fleet_data(members, LEFT_OUT), allow_nan=False))
    Draft202012Validator(schema).validate(data)
    assert [machine["standing"] for machine in data["machines"]] == ["worse", "few", "same"]


def test_why_a_file_counts_for_no_machine_is_in_the_units_of_display(
    members: tuple[Member, ...],
) -> None:
    why = Remark(code="any", text=("the tank jumped by ", kelvins(5.0)))
    left = (LeftOut(name="odd", why=why),)
    assert "9.0 °F" in fleet_screen(members, left, "us")
    assert "5.0 K" not in render_fleet(members, left, units="us")
