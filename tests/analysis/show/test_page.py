"""The report: whole in itself, the same each time, safe, and readable by machine and man."""

import base64
import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from analysis import proof_fixture
from analysis.show.outline import outline
from refusal import refused
from wattsump_analysis.results import Influence, Interval, Proof, Verdict
from wattsump_analysis.show.plots.outing import INKS
from wattsump_analysis.show.report.glance import glance_at
from wattsump_analysis.show.report.page import render, write_report
from wattsump_analysis.show.report.tables import diagnostic_checks, ledger_rows
from wattsump_analysis.show.words import limits_for
from wattsump_logger.errors import UsageError
from wattsump_logger.remark import Remark

MAKERS = (proof_fixture.falls_short, proof_fixture.without_etd, proof_fixture.cannot_tell)


@cache
def page_of(make: Callable[[], Proof], units: str = "si") -> str:
    """Return the page of a hand-made proof, drawn once."""
    return render(make(), units)


@pytest.mark.parametrize("make", MAKERS)
@pytest.mark.parametrize("units", ["si", "us"])
def test_the_page_asks_nothing_of_the_network_and_its_policy_lets_one_script_run(
    make: Callable[[], Proof], units: str
) -> None:
    page = page_of(make, units)
    found = outline(page)
    assert all(address.startswith("#") for address in found.addresses)
    assert not {"link", "iframe", "img", "object"} & set(found.tags)
    run = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    assert len(run) == 1
    digest = base64.b64encode(hashlib.sha256(run[0].encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-{digest}'"
    assert f'content="{policy}"' in page
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
    pictures = [drawing for drawing in found.drawings if drawing.get("role") == "img"]
    assert len(pictures) == 1 + 8  # the beam, and four pictures in two sizes
    assert all(len(drawing["aria-label"] or "") > 40 for drawing in pictures)
    assert all(head.get("scope") in ("col", "row") for head in found.heads)


def test_the_first_screen_gives_verdict_as_a_figure_next_step_hottest_day_and_caution() -> None:
    page = page_of(proof_fixture.falls_short)
    top = page[page.index("<main>") : page.index('id="outing"')]
    wanted = (
        "Bracken",
        "4 May 2026",
        "87 % of label",
        "Falls short: 5.2 of 6.0 kW, 4.9 to 5.5 (95 %), with the oil 55 K over the air.",
        "Clean the core and its air side",
        "Hottest day:",
        "shade it",
        "Hot oil and hot metal burn",
        "oil under pressure goes through skin",
        "4.88 to 5.53 kW (95 %)",
    )
    places = [top.index(words) for words in wanted]
    assert places == sorted(places)


@pytest.mark.parametrize("make", MAKERS)
def test_before_anything_is_opened_nothing_is_bold_that_is_not_trusted(
    make: Callable[[], Proof],
) -> None:
    closed = re.sub(r"<details.*?</summary>", "", page_of(make), flags=re.DOTALL)
    bold = re.findall(r"<(?:b|strong)>(.*?)</(?:b|strong)>", closed)
    assert not [text for text in bold if "trusted" in text or "stretched" in text]


def test_the_beam_shows_range_measured_and_label_where_they_belong() -> None:
    beam = glance_at(proof_fixture.falls_short(), (), "si").beam
    assert beam is not None
    assert beam.low < beam.value < beam.high < beam.label <= 100.0
    # independent: two lengths on one scale are as their heats, 94.6 * 55 W and 6000 W
    assert beam.value / beam.label == pytest.approx(94.6 * 55 / 6000, rel=1e-9)


def test_a_verdict_that_is_open_says_the_span_and_no_share() -> None:
    label = proof_fixture.falls_short().label
    assert label is not None
    wide = proof_fixture.near(0.95, 0.1)
    proof = replace(
        proof_fixture.falls_short(),
        verdict=Verdict.CANNOT_TELL,
        label=replace(label, share_of_label=wide, heat_at_etd_w=proof_fixture.near(5700.0, 0.1)),
    )
    found = glance_at(proof, (), "si")
    assert found.title == "Cannot tell"
    assert found.lead.startswith("86 to 104 % of label: 5.7 of 6.0 kW, 5.1 to 6.3 (95 %)")


def test_a_probe_with_a_limit_of_its_own_is_held_against_that_alone() -> None:
    proof = replace(
        proof_fixture.falls_short(),
        peaks_c={"case_drain": (82.6, 60.0), "tank": (70.0, 60.0)},
        limits_c={"oil_warn": 66.0, "oil_max": 82.0, "case_drain": 90.0},
    )
    page = render(proof)
    assert "Passed: the oil warning of 66.0 °C by tank." in page
    assert limits_for("case_drain", proof) == ("case_drain",)


def test_values_for_a_finger_are_the_readings_and_end_where_the_picture_ends() -> None:
    page = page_of(proof_fixture.falls_short)
    blocks = re.findall(r'<script type="application/json">(.*?)</script>', page)
    outing, ledger = (json.loads(block) for block in blocks)
    proof = proof_fixture.falls_short()
    assert outing["times_s"][-1] == round(float(proof.series_s[-1]))
    lines = {name: values for name, _, _, values in outing["lines"]}
    assert lines["tank"] == [round(float(v), 1) for v in proof.series_c["tank"]]
    assert [line[0] for line in ledger["lines"]] == ["into the oil", "cooler", "shell", "stored"]
    assert outing["marks"][1] == [2820, "work loop"]


def test_each_diagnostic_passes_or_fails_and_says_what_that_means() -> None:
    proof = proof_fixture.falls_short()
    assert proof.diagnostics is not None
    assert all(check.passed for check in diagnostic_checks(proof, "si"))
    bad = replace(
        proof,
        diagnostics=replace(
            proof.diagnostics,
            innovation_lag1=0.4,
            innovation_durbin_watson=1.2,
            window_tau=0.4,
            effective_draws=40.0,
            at_bounds=("lag_tank",),
            influence=(Influence(phase=proof.phases[1], k_change_rel=-0.2),),
        ),
    )
    failed = {
        check.name: check.meaning for check in diagnostic_checks(bad, "si") if not check.passed
    }
    assert len(failed) == 6
    assert all(meaning and meaning != "the range stands" for meaning in failed.values())


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


def test_what_it_was_made_with_stands_beside_what_it_comes_from() -> None:
    page = render(proof_fixture.cannot_tell(), made_with={"SHA-256 of a.csv": "0f" * 32})
    assert "0f" * 32 in page


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
    assert "<script>alert" not in page
    assert page.count("<script") == 3  # the page's own, and the values of two pictures
    assert "&lt;script&gt;" in page


def test_the_same_proof_gives_the_same_page() -> None:
    proof = proof_fixture.falls_short()
    assert render(proof) == render(proof)


def test_us_units_reach_every_number() -> None:
    page = page_of(proof_fixture.falls_short, "us")
    assert "temperature, °F" in page
    assert "17,800 BTU/h (5.20 kW)" in page


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
    with refused(UsageError, "report.html"):
        write_report(proof_fixture.cannot_tell(), tmp_path / "no" / "report.html")


def test_a_heat_that_rounds_to_nothing_has_no_sign() -> None:
    ledger = proof_fixture.falls_short().ledger
    assert ledger is not None
    rest = Interval(value=0.01, low=-0.001, high=0.02)
    rows = ledger_rows(replace(ledger, unexplained_kwh=rest), "si")
    assert ("not accounted for", "0.01 kWh", "0.00 to 0.02 kWh") in rows
