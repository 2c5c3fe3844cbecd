"""No character of Unicode that acts instead of showing itself reaches a terminal or a page."""

import sys
import unicodedata

import pytest

from wattsump_logger.errors import UsageError
from wattsump_logger.printable import as_typed, in_ascii, printable
from wattsump_logger.remark import Remark

ALL = "".join(map(chr, range(sys.maxunicode + 1)))


def test_of_all_of_unicode_what_acts_is_a_question_mark_and_letters_stay() -> None:
    shown = printable(ALL)
    assert len(shown) == len(ALL)
    acting = {"Cc", "Cf", "Cs", "Zl", "Zp"}
    assert not any(unicodedata.category(char) in acting for char in shown)
    kept = {"L", "N", "S", "P"}
    for before, after in zip(ALL, shown, strict=True):
        if unicodedata.category(before)[0] in kept:
            assert after == before


def test_remarks_and_errors_carry_nothing_that_acts() -> None:
    evil = "a\x1b[2J\u202eb\n"
    assert Remark(code="x", text=evil).text == "a?[2J?b?"
    error = UsageError(expected="x", found=evil, where=evil, do="y")
    assert str(error).isprintable()


def test_every_sign_of_our_own_screens_has_an_ascii_spelling() -> None:
    spelled = in_ascii("°±×·−–—≤≥≈→…’µτΔ█▀▄²³½")
    assert spelled.isascii()
    assert "?" not in spelled


def test_letters_keep_what_ascii_has_of_them() -> None:
    assert in_ascii("Öl, Gehäuse, draußen") == "Ol, Gehause, draussen"


@pytest.mark.parametrize(
    ("path", "system", "typed"),
    [
        ("an export.csv", "posix", "'an export.csv'"),
        ("out/a.csv", "posix", "out/a.csv"),
        ("an export.csv", "nt", '"an export.csv"'),
        ("C:\\out\\a-2.csv", "nt", "C:\\out\\a-2.csv"),
    ],
)
def test_a_path_is_in_quotes_only_where_its_shell_needs_them(
    path: str, system: str, typed: str
) -> None:
    assert as_typed(path, system) == typed
