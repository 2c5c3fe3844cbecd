"""What must not stand in the project's files, and where the numbers in tests come from."""

import ast
import re
import shutil
import subprocess
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TESTS = sorted((ROOT / "tests").rglob("test_*.py"))
NOT_OURS = {".git", ".venv", "build", "dist", "outings", "__pycache__"}
BINARY = {".png", ".jpg", ".gz", ".parquet", ".wire", ".ico", ".woff2", ".zip", ".npz"}

# Each with one letter in brackets, so that this file does not contain what it looks for.
FORBIDDEN = {
    "a package registry's host": r"pyp[i]\.org|pythonhoste[d]|npmj[s]|deb\.debia[n]",
    "a path of one machine": r"(?<![\w.])/(wor[k]|hom[e]/\w+|User[s]/\w+)/|C:\\User[s]",
    "an issue number": r"(?i)\bissue[ ]#?\d|\bticke[t] #?\d|(?<=\()#\d+\b",
    "work left undone": r"\bTOD[O]\b|\bFIXM[E]\b|\bXX[X]\b",
}

TAG = re.compile(r"#.*\b(published|certified|independent|pinned|practice)\b")
# What nobody printed is not published: the trade's rules, and calculations of ours.
CONTRADICTED = re.compile(
    r"# published:.*(common practice|(?<!redone )by hand|by division|our own)"
)
# Position of the expected value in each way of comparing floats.
COMPARISONS = {"approx": 0, "assert_allclose": 1, "assert_almost_equal": 1, "assert_array_equal": 1}
# Limits and identities, which need no source: nothing, the whole, and signs.
NEEDS_NO_SOURCE = {0, 1}


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def project_files() -> list[Path]:
    """Files under version control, or, in a plain copy, those that look like ours."""
    if shutil.which("git") and (ROOT / ".git").exists():
        listed = subprocess.run(
            ["git", "-c", "safe.directory=*", "ls-files", "-z"],
            cwd=ROOT,
            capture_output=True,
            check=True,
            text=True,
        ).stdout
        return [path for name in listed.split("\0") if name and (path := ROOT / name).is_file()]
    return [
        path
        for path in ROOT.rglob("*")
        if path.is_file()
        and not {part for part in path.relative_to(ROOT).parts if part.startswith(".")} - {".ci"}
        and not NOT_OURS & set(path.parts)
    ]


def forbidden_in(text: str) -> Iterator[str]:
    for number, line in enumerate(text.splitlines(), 1):
        for what, pattern in FORBIDDEN.items():
            if found := re.search(pattern, line):
                yield f"line {number}: {what}: {found[0]!r}"


def needs_source(node: ast.expr) -> bool:
    """True for a number typed in as the answer; one worked out from the test's own names is not."""
    if isinstance(node, ast.List | ast.Tuple):
        return any(needs_source(element) for element in node.elts)
    if isinstance(node, ast.Call):
        return any(needs_source(argument) for argument in node.args)
    parts = list(ast.walk(node))
    return not any(isinstance(part, ast.Name) for part in parts) and any(
        isinstance(part, ast.Constant)
        and isinstance(part.value, int | float)
        and not isinstance(part.value, bool)
        and part.value not in NEEDS_NO_SOURCE
        for part in parts
    )


def comparisons(tree: ast.AST) -> Iterator[tuple[ast.Call, ast.expr]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            name = ast.unparse(node.func).rsplit(".", 1)[-1]
            at = COMPARISONS.get(name)
            if at is not None and len(node.args) > at:
                yield node, node.args[at]


def untagged(source: str) -> Iterator[str]:
    """Compared floats whose literal has no tag between the top of its function and itself."""
    lines, tree = source.splitlines(), ast.parse(source)
    for top in tree.body:
        first = min([top.lineno, *(mark.lineno for mark in getattr(top, "decorator_list", []))])
        while first > 1 and lines[first - 2].startswith("#"):
            first -= 1
        for call, expected in comparisons(top):
            above = lines[first - 1 : call.end_lineno]
            if needs_source(expected) and not any(TAG.search(line) for line in above):
                yield f"line {call.lineno}: {ast.unparse(expected)}"


def sleeps(source: str) -> bool:
    return any(
        isinstance(node, ast.Call) and ast.unparse(node.func) in {"time.sleep", "sleep"}
        for node in ast.walk(ast.parse(source))
    )


def test_no_file_names_a_registry_a_machine_an_issue_or_work_left_undone() -> None:
    found = []
    for path in project_files():
        if path.suffix in BINARY:
            continue
        # Bytes that are no text, as in tests/data/fuzz, may still hold a name.
        text = path.read_text(encoding="utf-8", errors="replace")
        found += [f"{path.relative_to(ROOT)}: {what}" for what in forbidden_in(text)]
    assert found == []


@pytest.mark.parametrize(
    "planted",
    [
        "pip install --index-url https://py" + "pi.org/simple",
        "see /wo" + "rk/main for it",
        "read /ho" + "me/jo/log.csv",
        "as asked in iss" + "ue 12",
        "TO" + "DO: later",
    ],
)
def test_a_planted_word_is_noticed(planted: str) -> None:
    assert list(forbidden_in(f"fine\n{planted}\n"))


def test_ordinary_words_pass() -> None:
    text = "a short stop; hydraulic work/rest; /dev/ttyUSB0; an issue of heat"
    assert list(forbidden_in(text)) == []


def test_the_list_of_exact_releases_names_no_place_and_pins_everything() -> None:
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pins = [line for line in lines if line and not line.startswith("#")]
    assert all(re.fullmatch(r"[a-z0-9-]+==[0-9][0-9a-z.]*", pin) for pin in pins)
    assert len({pin.split("==")[0] for pin in pins}) == len(pins)


def test_each_dependency_of_ours_has_its_exact_release_listed() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    extras = project["project"].get("optional-dependencies", {})
    wanted = [*project["project"]["dependencies"], *project["build-system"]["requires"]]
    wanted += [line for name in ("test", "lint") for line in extras[name]]
    pinned = {
        line.split("==")[0] for line in (ROOT / "constraints.txt").read_text().splitlines() if line
    }
    names = {re.split(r"[^\w.-]", line)[0].lower().replace("_", "-") for line in wanted}
    assert names - pinned == set()


def test_compared_numbers_say_where_they_come_from() -> None:
    bare = {name_of(path): list(untagged(path.read_text(encoding="utf-8"))) for path in TESTS}
    assert {name: lines for name, lines in bare.items() if lines} == {}


def contradicted(source: str) -> list[str]:
    """Comments tagged published that say in the same breath that nobody printed it."""
    joined = re.sub(r"\n\s*#(?! *\w+:)", "", source)
    return [found.group() for found in CONTRADICTED.finditer(joined)]


def test_no_number_is_called_published_that_nobody_printed() -> None:
    found = {name_of(path): contradicted(path.read_text(encoding="utf-8")) for path in TESTS}
    found.pop(name_of(Path(__file__)))
    assert {name: lines for name, lines in found.items() if lines} == {}
    planted = "    # published: half per 10 K, common\n    # practice, no source\n"
    assert len(contradicted(planted)) == 1
    assert contradicted("# published: table 1\n# practice: common practice\n") == []


def test_a_number_without_a_source_is_noticed() -> None:
    bare = "def test_a():\n    x = f()\n    assert x == pytest.approx(3.14, abs=1e-9)\n"
    tagged = bare.replace("    assert", "    # published: somewhere, table 1\n    assert")
    assert list(untagged(bare)) == ["line 3: 3.14"]
    assert list(untagged(tagged)) == []
    # The tag of another function does not count.
    assert len(list(untagged(tagged + bare))) == 1
    assert list(untagged(bare.replace("3.14", "0.0"))) == []
    assert list(untagged(bare.replace("3.14", "rise_k * 3.14"))) == []
    assert len(list(untagged(bare.replace("3.14", "np.array([rise_k, -3.14 * 2])")))) == 1
    numpy_way = "def test_b():\n    np.testing.assert_allclose(f(), [7.0, 8.0])\n"
    assert len(list(untagged(numpy_way))) == 1


def test_no_test_sleeps() -> None:
    assert [name_of(path) for path in TESTS if sleeps(path.read_text(encoding="utf-8"))] == []


def test_a_sleeping_test_is_noticed() -> None:
    assert sleeps("import time\ntime.sleep(1)\n")


def test_test_folders_are_no_packages() -> None:
    assert list((ROOT / "tests").rglob("__init__.py")) == []
