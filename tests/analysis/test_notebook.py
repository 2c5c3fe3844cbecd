"""In a notebook: short texts, cards that are whole and escaped HTML, figures that show."""

from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

import wattsump_analysis
from analysis import proof_fixture
from wattsump_analysis.questions.asked import QUESTIONS
from wattsump_analysis.show.plots.outing import plot_outing
from wattsump_logger.notebook import card
from wattsump_logger.session.reader import load_session
from wattsump_logger.session.writer import write_session


class Tags(HTMLParser):
    """Checks that every tag that opens is closed; keeps the texts."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.open: list[str] = []
        self.feed(page)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        if tag != "br":
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def test_a_card_holds_nothing_that_acts_on_a_page() -> None:
    evil = "<script>alert(1)</script>&"
    page = card(evil, [evil], [(evil,), (evil,)])
    assert "<script" not in page
    assert Tags(page).texts == [evil] * 4


def test_a_sessions_card_has_each_column_with_its_ends(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    columns = {"tank_c": [20.0, np.nan, 31.5], "dead_c": [np.nan] * 3}
    write_session(path, [0.0, 1.0, 2.0], columns)
    texts = Tags(load_session(path)._repr_html_()).texts
    at = texts.index("tank_c")
    assert texts[at : at + 4] == ["tank_c", "20", "31.5", "2"]
    assert texts[texts.index("dead_c") + 1] == "-"


def test_a_proofs_text_is_one_line_and_its_card_says_what_to_do() -> None:
    proof = proof_fixture.falls_short()
    assert "\n" not in repr(proof)
    assert len(repr(proof)) < 120
    assert str(proof.verdict) in repr(proof)
    texts = Tags(proof._repr_html_()).texts
    assert {proof.verdict.heading, proof.headline, proof.next_step.text} <= set(texts)
    assert proof.k_w_k is not None
    assert f"{proof.k_w_k.value:.0f}" in texts


def test_an_answers_card_has_every_figure_and_what_was_assumed() -> None:
    answer = wattsump_analysis.ask_rating(label_heat="6 kW", label_etd="55 K", power="6 hp")
    texts = Tags(answer._repr_html_()).texts
    labels = [row.label.strip() for section in answer.sections for row in section.rows]
    assert set(labels) <= set(texts)
    assert texts[0] == answer.headline[0].text


def test_a_figure_shows_itself_as_a_picture() -> None:
    figure = plot_outing(proof_fixture.falls_short()).figure
    assert figure._repr_png_().startswith(b"\x89PNG\r\n")  # type: ignore[union-attr]


@pytest.mark.parametrize("name", wattsump_analysis.__all__)
def test_help_lists_every_public_name(name: str) -> None:
    import pydoc

    assert pydoc.getdoc(getattr(wattsump_analysis, name))
    assert name in dir(wattsump_analysis)


def test_every_question_is_a_public_function() -> None:
    assert {f"ask_{name}" for name in QUESTIONS} <= set(wattsump_analysis.__all__)
