"""The answer on a terminal: what it says, how wide it is, and that colour carries nothing."""

import io
import json
import pickle
from collections.abc import Callable
from dataclasses import replace

import pytest
from rich.console import Console

from analysis import proof_fixture
from wattsump_analysis.physics.label import word_of
from wattsump_analysis.proof.proof_json import proof_text
from wattsump_analysis.proof.verdict import what_decides
from wattsump_analysis.results import Interval, Proof, Verdict
from wattsump_analysis.show.screen import WIDTH, proof_screen
from wattsump_analysis.show.words import chance, figure, sentence, span
from wattsump_logger.remark import Remark, Worded, shown_in
from wattsump_logger.units.measure import Measure, kelvins

MAKERS = (proof_fixture.falls_short, proof_fixture.without_etd, proof_fixture.cannot_tell)


def shown(proof: Proof, units: str = "si", *, colour: bool = False) -> str:
    held = io.StringIO()
    console = Console(
        file=held,
        width=WIDTH,
        soft_wrap=True,
        highlight=False,
        emoji=False,
        force_terminal=colour,
        color_system="standard" if colour else None,
    )
    console.print(proof_screen(proof, units))
    return held.getvalue()


@pytest.mark.parametrize("make", MAKERS)
@pytest.mark.parametrize("units", ["si", "us"])
def test_no_line_is_wider_than_the_screen(make: Callable[[], Proof], units: str) -> None:
    assert max(len(line) for line in shown(make(), units).splitlines()) <= WIDTH


def test_the_first_lines_give_verdict_and_heat_with_its_range_against_the_label() -> None:
    text = shown(proof_fixture.falls_short())
    top = text[: text.index("Per degree")]
    assert "FALLS SHORT OF ITS LABEL" in top
    for words in ("5.20 kW", "4.88 to 5.53 kW (95 %)", "6.00 kW", "oil 55.0 K over air"):
        assert words in top


def test_the_rest_says_on_what_the_watts_rest_what_was_hottest_and_what_to_do() -> None:
    text = " ".join(shown(proof_fixture.falls_short()).split())
    assert "The watts rest on 18 L of oil and 62 kg of metal as stated" in text
    assert "above the oil warning and the oil limit" in text
    assert "Next Clean the core and its air side, then repeat the same run." in text
    assert "Caution The air probe warmed" in text


def test_the_hottest_oil_is_one_with_oil_around_it_and_is_held_against_its_own_limit() -> None:
    peaks = {"metal": (120.0, 60.0), "air_off": (95.0, 60.0), "case_drain": (88.0, 90.0)}
    proof = replace(
        proof_fixture.falls_short(),
        peaks_c=peaks | {"tank": (80.0, 90.0)},
        limits_c={"oil_warn": 66.0, "oil_max": 82.0, "case_drain": 90.0},
    )
    text = " ".join(shown(proof).split())
    assert "Hottest oil 88.0 °C case drain" in text
    # 88 is over the oil's limits and not over its own.
    assert "above" not in text[text.index("Hottest oil") : text.index("Why")]


def test_us_units_stand_beside_si() -> None:
    text = shown(proof_fixture.falls_short(), "us")
    assert "17,800 BTU/h (5.20 kW)" in text
    # A difference: 55 K is 99.0 degF, and never 131.
    assert "99 °F (55.0 K)" in text


def test_a_proof_of_nothing_says_why_and_what_to_do_and_no_figure() -> None:
    text = shown(proof_fixture.cannot_tell())
    assert "CANNOT TELL" in text
    assert text.count("no cool-down") == 1  # the headline has the first reason
    assert "The engine was never stopped." in text
    assert "Next     Let the machine stand" in text
    assert "W/K" not in text
    assert "None" not in text
    assert "nan" not in text


def test_colour_adds_nothing_to_the_words() -> None:
    plain = shown(proof_fixture.falls_short())
    coloured = shown(proof_fixture.falls_short(), colour=True)
    assert "\x1b[" not in plain
    assert "\x1b[" in coloured
    assert Console().render_str(proof_screen(proof_fixture.falls_short())).plain.split() == (
        plain.split()
    )


@pytest.mark.parametrize("text", ["[red]hot[/red].", "[link=x].", "A [b] c.", "[/].", "50 [%]."])
def test_what_a_driver_typed_is_never_taken_for_colour(text: str) -> None:
    proof = replace(proof_fixture.falls_short(), cautions=(Remark(code="any", text=text),))
    assert f"Caution  {text}" in shown(proof)


def test_the_bar_has_the_measured_point_left_of_the_label_when_the_cooler_falls_short() -> None:
    lines = shown(proof_fixture.falls_short()).splitlines()
    bar = next(line for line in lines if "=o=" in line)
    pointer = lines[lines.index(bar) + 1]
    assert bar.index("o") < pointer.index("^")
    assert len(bar) - 1 < pointer.index("^"), "the whole range lies below the label"


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (4880.0, 5530.0, "4.88 to 5.53 kW"),
        (960.0, 1240.0, "0.96 to 1.24 kW"),
        (88.74, 100.46, "89 to 100 W"),
        (float("nan"), 3.0, "no usable range"),
    ],
)
def test_both_ends_of_a_range_have_one_unit_and_one_last_digit(
    low: float, high: float, words: str
) -> None:
    assert span(Interval(value=low, low=low, high=high), "power") == words


def test_a_chance_is_never_certain() -> None:
    assert chance(0.0) == "under 1 in 100"
    assert chance(1.0) == "over 99 in 100"
    assert chance(0.42) == "about 42 in 100"


@pytest.mark.parametrize("verdict", Verdict)
def test_each_verdict_heads_the_screen_with_its_own_words(verdict: Verdict) -> None:
    assert verdict.heading.upper() in shown(replace(proof_fixture.falls_short(), verdict=verdict))


@pytest.mark.parametrize("met", [0.004, 0.0299, 0.05, 0.0501, 0.3, 0.9499, 0.95, 0.981])
def test_the_odds_beside_a_verdict_never_pass_the_rule_that_the_verdict_did_not(
    met: float,
) -> None:
    label = proof_fixture.falls_short().label
    assert label is not None
    share = Interval(value=0.87, low=0.74, high=1.02)
    label = replace(label, probability_met=met, share_of_label=share)
    word = word_of(met, share.half_width_rel)
    # independent: JCGM 106:2012, 7.2, decides by one tail of 5 in 100; whole chances must agree.
    assert label.met_in_100 is not None
    whole = max(label.met_in_100, 100 - label.met_in_100)
    assert (whole >= 95) == (word is not Verdict.CANNOT_TELL)
    assert str(whole) in what_decides(label, word)
    assert "95" in what_decides(label, word)


def test_a_range_that_leaves_the_label_out_needs_no_word_on_what_decides() -> None:
    label = proof_fixture.falls_short().label
    assert label is not None
    assert not what_decides(label, Verdict.FALLS_SHORT)


def test_the_reason_is_rounded_once_in_the_units_it_is_shown_in() -> None:
    k = Measure(value=93.5, kind="conductance", spec=".0f", low=82.7, high=104.4)
    reason = Remark(code="any", text=("The cooler rejects ", k))
    assert sentence(reason) == "The cooler rejects 94 W/K (83 to 104)."
    # independent: by 3600/1055.05585262/1.8 (NIST SP 811), 177.2, 156.8 and 197.9; 94 gives 178.
    assert "177 BTU/(h °F) (157 to 198)" in sentence(reason, "us")


def test_the_headline_and_the_figure_below_it_are_rounded_alike_in_either_system() -> None:
    proof = proof_fixture.falls_short()
    assert proof.label is not None
    assert proof.label.heat_at_etd_w is not None
    heat = Measure(value=proof.label.heat_at_etd_w.value, kind="power")
    told = replace(proof, headline=Worded("So ", heat, " leave the oil."))
    for units in ("si", "us"):
        text = " ".join(shown(told, units).split())
        assert f"So {figure(heat.value, 'power', units, both=False)} leave" in text
    assert json.loads(proof_text(told))["headline"] == told.headline
    assert shown_in(pickle.loads(pickle.dumps(told.headline)), "us") == shown_in(
        told.headline, "us"
    )


@pytest.mark.parametrize("units", ["si", "us"])
def test_a_remark_inside_a_remark_follows_the_units_of_display(units: str) -> None:
    inner = Remark(code="inner", text=("the probes stood ", kelvins(2.0), " apart"))
    outer = Remark(code="outer", text=("not matched: ", inner))
    assert sentence(outer, units) == f"Not matched: {inner.in_units(units)}."
    assert ("K" in sentence(outer, units)) is (units == "si")


def test_an_end_of_a_range_that_rounds_to_nothing_has_no_sign() -> None:
    assert span(Interval(value=1e4, low=-10.0, high=7.2e4), "power") == "0.0 to 72.0 kW"


def test_a_value_that_is_the_same_in_both_systems_stands_once() -> None:
    assert figure(2730.0, "duration", "us") == "45.5 min"
