"""Tests assert codes and typed facts; few look at how a sentence is worded.

What a sentence says may be improved at any time. `docs/remarks.md` pins the remarks, and each
room of screens has a test of its own words.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

TESTS = Path(__file__).parents[1]
# How many such asserts there are: lower it with them, and do not raise it for a new one.
MOST = 280
_MARK = "stage "  # begins the marks of a guided run, which are data of a session
_WORDS = re.compile(r"[A-Za-z']{2,}[,;:]? [A-Za-z']{2,}")


def is_worded(node: ast.expr | None) -> bool:
    return (
        isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and bool(_WORDS.search(node.value))
        and not node.value.startswith(_MARK)
    )


def worded(source: str) -> Iterator[int]:
    """Yield the lines at which a test compares a text of two words or more."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and any(
            word.arg == "match" and is_worded(word.value) for word in node.keywords
        ):
            yield node.lineno
        if isinstance(node, ast.Assert):
            parts = [part for part in ast.walk(node.test) if isinstance(part, ast.expr)]
            yield from (part.lineno for part in parts if _compares_words(part))


def _compares_words(node: ast.expr) -> bool:
    if isinstance(node, ast.Compare):
        sides = [
            node.left,
            *([] if isinstance(node.ops[0], ast.In | ast.NotIn) else node.comparators),
        ]
        return any(map(is_worded, sides))
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        return node.func.attr in {"startswith", "endswith", "count"} and is_worded(
            next(iter(node.args), None)
        )
    return False


def test_no_more_tests_than_today_look_at_the_wording_of_a_sentence() -> None:
    files = sorted(TESTS.rglob("test_*.py"))
    places = [f"{path}:{line}" for path in files for line in worded(path.read_text("utf-8"))]
    assert len(places) <= MOST, "assert a code, or what the error is about (refusal.refused)"


def test_what_looks_at_words_is_counted_and_what_looks_at_codes_is_not() -> None:
    source = (
        "def test_a():\n"
        "    with pytest.raises(ValueError, match='give another name'):\n"
        "        do()\n"
        "    assert 'was not used' in text\n"
        "    assert text == 'it was not used'\n"
        "    assert text.startswith('It was')\n"
        "    assert note.code == 'not-used'\n"
        "    assert text in ('was not', 'used here')\n"
    )
    assert sorted(worded(source)) == [2, 4, 5, 6]
