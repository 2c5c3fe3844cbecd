"""Codes of remarks: literal, one meaning each, and documented with their wording.

The page is the one place that pins how a remark is worded; other tests assert codes.
"""

import re

from house import remarks


def test_the_page_of_remarks_is_the_programs_own() -> None:
    # Where this fails, `python tests/house/remarks.py --write` renews the page.
    assert remarks.PAGE.read_text(encoding="utf-8") == remarks.page()


def test_every_code_is_a_literal_of_plain_words() -> None:
    wrong = [m for m in remarks.remarks() if not re.fullmatch(r"[a-z]+(-[a-z]+)*", m.code)]
    assert wrong == []


def test_a_code_is_made_in_one_module_alone() -> None:
    made: dict[str, set[str]] = {}
    for remark in remarks.remarks():
        made.setdefault(remark.code, set()).add(remark.module)
    assert {code: modules for code, modules in made.items() if len(modules) > 1} == {}


def test_remarks_are_read_from_source_with_what_differs_left_out() -> None:
    source = (
        'text = f"{name} moved by {by:.1f} K"\n'
        'Remark(code="probe-moved", text=text)\n'
        'Remark(code=other.code, text="taken over")\n'
        'Remark(code=f"held-{name}", text="the " + where + " held")\n'
    )
    assert [(made.code, made.text) for made in remarks.made_in(source)] == [
        ("probe-moved", "… moved by … K"),
        ("", "the … held"),
    ]


def test_figures_of_the_analysis_are_pieces_that_know_their_units() -> None:
    fixed = re.compile(r"[…0-9] ?(K|°C|degC|kW|W/K|kJ/K)\b(?!')")  # what is to be typed is quoted
    ours = [made for made in remarks.remarks() if made.module.startswith("wattsump_analysis/")]
    assert [made.code for made in ours if fixed.search(made.text)] == []
