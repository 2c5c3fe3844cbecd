"""The report: whole in itself, the same each time, safe, and readable by machine and man."""

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from analysis import proof_fixture
from wattsump_analysis.results import Proof
from wattsump_analysis.show.plots.outing import INKS
from wattsump_analysis.show.report.page import render, write_report
from wattsump_logger.errors import UsageError
from wattsump_logger.remark import Remark

MAKERS = (proof_fixture.falls_short, proof_fixture.without_etd, proof_fixture.cannot_tell)
EMPTY = {"meta", "br", "path", "use", "input", "link", "img", "hr"}


@cache
def page_of(make: Callable[[], Proof], units: str = "si") -> str:
    """Return the page of a hand-made proof, drawn once."""
    return render(make(), units)


class Outline(HTMLParser):
    """Collects headings, ids, references and table heads, and checks that tags close."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.headings: list[int] = []
        self.ids: list[str] = []
        self.addresses: list[str] = []
        self.tags: list[str] = []
        self.heads: list[dict[str, str | None]] = []
        self.drawings: list[dict[str, str | None]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        got = dict(attrs)
        self.tags.append(tag)
        if re.fullmatch(r"h\d", tag):
            self.headings.append(int(tag[1]))
        if tag == "th":
            self.heads.append(got)
        if tag == "svg":
            self.drawings.append(got)
        self.ids += [value for name, value in attrs if name == "id" and value]
        self.addresses += [
            value or "" for name, value in attrs if name in ("src", "href", "xlink:href", "data")
        ]
        if tag not in EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in EMPTY:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if tag not in EMPTY:
            assert self.open.pop() == tag


def outline(page: str) -> Outline:
    found = Outline()
    found.feed(page)
    assert found.open == []
    return found


@pytest.mark.parametrize("make", MAKERS)
@pytest.mark.parametrize("units", ["si", "us"])
def test_the_page_asks_nothing_of_the_network_and_runs_no_script(
    make: Callable[[], Proof], units: str
) -> None:
    page = page_of(make, units)
    found = outline(page)
    assert all(address.startswith("#") for address in found.addresses)
    assert not {"script", "link", "iframe", "img", "object"} & set(found.tags)
    assert "@import" not in page
    outside = set(re.findall(r"url\((?!#)[^)]*\)", page))
    assert outside == set()


@pytest.mark.parametrize("make", MAKERS)
def test_headings_go_down_one_step_at_a_time_and_ids_are_unique(make: Callable[[], Proof]) -> None:
    found = outline(page_of(make))
    assert found.headings[0] == 1
    assert found.headings.count(1) == 1
    assert all(b - a <= 1 for a, b in zip(found.headings, found.headings[1:], strict=False))
    assert len(found.ids) == len(set(found.ids))
    assert all(address[1:] in found.ids for address in found.addresses)


def test_each_drawing_has_words_and_each_table_head_a_scope() -> None:
    found = outline(page_of(proof_fixture.falls_short))
    assert len(found.drawings) == 8  # four pictures in two sizes
    assert all(len(drawing["aria-label"] or "") > 40 for drawing in found.drawings)
    assert all(head.get("scope") in ("col", "row") for head in found.heads)


def test_the_first_page_gives_verdict_next_step_heat_label_and_cautions_first() -> None:
    page = page_of(proof_fixture.falls_short)
    top = page[page.index("<main>") : page.index('id="outing"')]
    wanted = (
        "Falls short of its label",
        "5.20 kW",
        "Clean the core and its air side",
        "4.88 to 5.53 kW (95 %)",
        "both at oil 55.0 K over air",
        "shade it",
        "Hot oil and hot metal burn",
        "oil under pressure goes through skin",
    )
    places = [top.index(words) for words in wanted]
    assert places == sorted(places)


def test_every_later_section_is_there() -> None:
    page = page_of(proof_fixture.falls_short)
    for words in (
        "Where the heat went",
        "18 L of oil and 62 kg of metal as stated",
        "not trusted: watched for a fifth of its time constant only",
        "Durbin-Watson",
        "20260504-bracken.csv",
        "work loop",
        "3 spikes were left out.",
    ):
        assert words in page


def test_what_a_driver_or_a_file_wrote_is_text_and_never_markup() -> None:
    nasty = '<script>alert(1)</script>"&'
    remark = Remark(code="any", text=nasty)
    proof = replace(
        proof_fixture.falls_short(),
        headline=nasty,
        marks=((5.0, nasty),),
        notes=(remark,),
        cautions=(remark,),
        provenance={nasty: nasty, "machine": nasty},
        series_c={nasty: proof_fixture.falls_short().series_s * 0 + 20},
        peaks_c={nasty: (20.0, 5.0)},
        model_c=None,
    )
    page = render(proof)
    assert "<script" not in page
    assert "&lt;script&gt;" in page


def test_the_same_proof_gives_the_same_page() -> None:
    proof = proof_fixture.falls_short()
    assert render(proof) == render(proof)


def test_us_units_reach_every_number() -> None:
    page = page_of(proof_fixture.falls_short, "us")
    assert "temperature, °F" in page
    assert "17 800 BTU/h (5.20 kW)" in page


def test_a_proof_of_little_says_so_and_shows_no_empty_table() -> None:
    page = page_of(proof_fixture.cannot_tell)
    body = page[page.index("<main>") :]
    assert "so there is no ledger" in body
    assert "On nothing yet" in body
    assert "<tbody></tbody>" not in body
    assert not re.search(r">\s*(None|nan)\s*<", body)


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (WCAG 2.2, definition of relative luminance)."""
    parts = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_measure_of_contrast_is_the_published_one() -> None:
    # published: WCAG 2.2, contrast ratio, 21 for black on white, both ends exact; and 4.54
    # for #767676 on white, the lightest grey that passes (W3C technique G18, from memory)
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0, abs=1e-9)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


def test_text_and_lines_stand_out_from_light_and_dark_paper_and_from_phase_bands() -> None:
    page = page_of(proof_fixture.cannot_tell)
    dark = dict(
        re.findall(
            r"--([\w-]+): (#\w{6});",
            page[page.index("color-scheme: dark") : page.index("@media print")],
        )
    )
    light = {f"ink-{name}": colour for name, colour in INKS.items()} | {"paper": "#ffffff"}
    for theme in (light, dark):
        for paper in (theme["paper"], theme["ink-band"]):
            inks = {name: ink for name, ink in theme.items() if name.startswith("ink-")}
            for name in inks.keys() - {"ink-band", "ink-grid"}:
                # WCAG 2.2, success criterion 1.4.3: at least 4.5 for text
                assert contrast(inks[name], paper) >= 4.5, name


def test_a_report_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="choose another folder or name"):
        write_report(proof_fixture.cannot_tell(), tmp_path / "no" / "report.html")
