"""The shape every module keeps: its size, what it exports, how its values are made."""

import ast
import importlib
import pkgutil
import types
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import wattsump_analysis
import wattsump_logger

ROOT = Path(__file__).parents[2]
FOLDERS = {
    "wattsump_logger": ROOT / "logger" / "wattsump_logger",
    "wattsump_analysis": ROOT / "analysis" / "wattsump_analysis",
}
PACKAGES = (wattsump_logger, wattsump_analysis)
FILES = sorted(path for folder in FOLDERS.values() for path in folder.rglob("*.py"))
MODULES = sorted(
    info.name
    for package in PACKAGES
    for info in pkgutil.walk_packages(package.__path__, package.__name__ + ".")
)

MOST_LINES = 600
USUAL_LINES = 400
MOST_BODY_LINES = 60
USUAL_BODY_LINES = 30
WANTED_OF_DATACLASSES = {"frozen", "slots", "kw_only"}


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def size_problem(source: str) -> str | None:
    lines = len(source.splitlines())
    return f"{lines} lines, at most {MOST_LINES}" if lines > MOST_LINES else None


def export_problem(module: types.ModuleType) -> str | None:
    exported = getattr(module, "__all__", None)
    if not isinstance(exported, tuple):
        return f"__all__ is {type(exported).__name__}, not a tuple"
    absent = [name for name in exported if not hasattr(module, name)]
    if absent:
        return f"__all__ names {absent}, which it does not have"
    return "__all__ names something twice" if len(set(exported)) < len(exported) else None


def loose_dataclasses(source: str) -> Iterator[str]:
    """Dataclasses that are not frozen, slotted and keyword-only, without a comment saying why."""
    lines = source.splitlines()
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.ClassDef):
            continue
        for mark in node.decorator_list:
            call = mark.func if isinstance(mark, ast.Call) else mark
            if not ast.unparse(call).endswith("dataclass"):
                continue
            given = {
                word.arg
                for word in (mark.keywords if isinstance(mark, ast.Call) else [])
                if isinstance(word.value, ast.Constant) and word.value.value is True
            }
            near = "".join(lines[max(0, mark.lineno - 2) : node.lineno])
            if not given >= WANTED_OF_DATACLASSES and "#" not in near:
                yield node.name


def body_lines(source: str) -> Iterator[tuple[str, int]]:
    """Each function with the number of lines of its body, docstring left out."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            body = node.body
            if ast.get_docstring(node, clean=False) is not None:
                body = body[1:]
            if body:
                yield node.name, (node.end_lineno or 0) - body[0].lineno + 1


def names_logger(source: str) -> bool:
    """True if anything is bound to the name that would hide our own folder's."""
    return any(
        isinstance(node, ast.Name) and node.id == "logger" and isinstance(node.ctx, ast.Store)
        for node in ast.walk(ast.parse(source))
    )


def offenders(problem: Callable[[str], object]) -> dict[str, object]:
    """Each of our files with what is wrong with it."""
    wrong = {name_of(path): problem(path.read_text(encoding="utf-8")) for path in FILES}
    return {name: what for name, what in wrong.items() if what}


def test_no_module_is_too_long_to_read() -> None:
    assert offenders(size_problem) == {}


def test_nine_modules_in_ten_stay_under_the_usual_length() -> None:
    long = [name_of(p) for p in FILES if len(p.read_text().splitlines()) > USUAL_LINES]
    assert len(long) <= len(FILES) / 10, long


def test_a_module_too_long_to_read_is_noticed() -> None:
    assert size_problem("x = 1\n" * 601) == "601 lines, at most 600"


def long_functions(source: str) -> list[tuple[str, int]]:
    return [(name, n) for name, n in body_lines(source) if n > MOST_BODY_LINES]


def test_no_function_is_too_long_to_read() -> None:
    assert offenders(long_functions) == {}


def test_a_long_function_is_noticed_beside_a_short_one_of_the_same_name() -> None:
    long = "def f():\n" + "    a = 1\n" * 61
    short = "def f():\n    a = 1\n"
    assert long_functions(long + short) == long_functions(short + long) == [("f", 61)]


def test_nine_functions_in_ten_stay_under_the_usual_length() -> None:
    lengths = [n for path in FILES for _, n in body_lines(path.read_text(encoding="utf-8"))]
    assert sum(n > USUAL_BODY_LINES for n in lengths) <= len(lengths) / 10


def test_a_docstring_does_not_count_as_body() -> None:
    source = 'def f():\n    """One.\n\n    Two.\n    """\n    a = 1\n\n    return a\n'
    assert dict(body_lines(source)) == {"f": 3}


def test_each_module_says_what_it_exports() -> None:
    wrong = {name: export_problem(importlib.import_module(name)) for name in MODULES}
    assert {name: what for name, what in wrong.items() if what} == {}


def test_a_module_that_exports_what_it_lacks_is_noticed() -> None:
    module = types.ModuleType("planted")
    assert export_problem(module) == "__all__ is NoneType, not a tuple"
    vars(module)["__all__"] = ["listed"]
    assert export_problem(module) == "__all__ is list, not a tuple"
    vars(module)["__all__"] = ("gone",)
    assert export_problem(module) == "__all__ names ['gone'], which it does not have"
    vars(module)["__all__"] = ("__name__", "__name__")
    assert export_problem(module) == "__all__ names something twice"


@pytest.mark.parametrize("package", PACKAGES, ids=lambda package: package.__name__)
def test_the_package_itself_exports_exactly_what_it_lists(package: types.ModuleType) -> None:
    # A name is fetched when it is asked for, so those that nobody asked for are not there yet.
    for name in package.__all__:
        getattr(package, name)
    public = {
        name
        for name, value in vars(package).items()
        if not name.startswith("_") and not isinstance(value, types.ModuleType)
    }
    assert public == set(package.__all__)


def test_value_types_are_frozen_unless_a_comment_says_why_not() -> None:
    assert offenders(lambda source: list(loose_dataclasses(source))) == {}


def test_a_loose_value_type_is_noticed() -> None:
    whole = "@dataclass(frozen=True, slots=True, kw_only=True)\nclass A: ...\n"
    loose = "@dataclass(frozen=True)\nclass B: ...\n@dataclasses.dataclass\nclass C: ...\n"
    excused = "# mutable: it counts\n@dataclass\nclass D: ...\n"
    assert list(loose_dataclasses(whole + loose + excused)) == ["B", "C"]


def test_the_diagnostics_object_never_hides_the_folder_logger() -> None:
    assert offenders(names_logger) == {}


def test_the_usual_idiom_for_the_diagnostics_object_is_noticed() -> None:
    assert names_logger("logger = logging.getLogger(__name__)")
    assert not names_logger("log = logging.getLogger('logger')")


@pytest.mark.parametrize("package", sorted(FOLDERS))
def test_both_packages_tell_type_checkers_that_they_are_typed(package: str) -> None:
    assert (FOLDERS[package] / "py.typed").is_file()
