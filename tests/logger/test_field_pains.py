"""Each trouble of docs/field-pains.md names a test that is there."""

import re
from pathlib import Path

import pytest

_ROOT = Path(__file__).parents[2]
_PAGE = (_ROOT / "docs" / "field-pains.md").read_text(encoding="utf-8")
_NAMED = sorted(set(re.findall(r"`(tests/\S+?\.py)::(test_\w+)`", _PAGE)))


def test_all_twenty_five_troubles_are_there_with_a_test_each() -> None:
    rows = re.findall(r"^\| (\d+) \|.*\| `tests/\S+::test_\w+` \|$", _PAGE, re.MULTILINE)
    assert [int(number) for number in rows] == list(range(1, 26))


@pytest.mark.parametrize(("path", "name"), _NAMED, ids=[name for _, name in _NAMED])
def test_a_test_named_on_the_page_exists(path: str, name: str) -> None:
    assert f"def {name}(" in (_ROOT / path).read_text(encoding="utf-8")
