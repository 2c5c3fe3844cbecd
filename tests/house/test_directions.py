"""Imports go one way, and the check that says so fails when they do not."""

import ast
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
LINTER = Path(sys.executable).with_name("lint-imports")
LOGGER = "logger/wattsump_logger"
ANALYSIS = "analysis/wattsump_analysis"

# Which of our rooms or modules may import a package.
ALLOWED = {
    "typer": ("commands",),
    "rich": ("commands", "watch.picture", "watch.view"),
    "serial": ("capture.ports",),
}
# The logger's runtime, and the rooms of the analysis that meet it.
RUNTIME = ("bench", "capture", "commands", "wire")
MEETS_RUNTIME = ("commands", "emulation", "live")
# Heavy packages that `--help` and `ports` must not pay for.
HEAVY = ("pandas", "scipy", "matplotlib", "pyarrow", "pint")


def users_of(room: Path) -> tuple[set[str], bool]:
    """Return which rooms of its package import a room, and whether the other package does."""
    package = room.parent
    of_room = re.compile(rf"^\s*(?:from|import) {package.name}\.{room.name}\b", re.MULTILINE)
    rooms, is_outside = set(), False
    for path in (*(ROOT / "logger").rglob("*.py"), *(ROOT / "analysis").rglob("*.py")):
        if room in path.parents or not of_room.search(path.read_text(encoding="utf-8")):
            continue
        is_outside = is_outside or package not in path.parents
        if package in path.parents and path.parent != package:
            rooms.add(path.relative_to(package).parts[0])
    return rooms, is_outside


def lint(folder: Path) -> tuple[int, str]:
    """Run the import linter over a tree, whatever is installed."""
    done = subprocess.run(
        [LINTER, "--no-logo", "--no-cache"],
        cwd=folder,
        env={
            **os.environ,
            "PYTHONPATH": os.pathsep.join((str(folder / "logger"), str(folder / "analysis"))),
        },
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    for folder in (LOGGER, ANALYSIS):
        shutil.copytree(
            ROOT / folder, tmp_path / folder, ignore=shutil.ignore_patterns("__pycache__")
        )
    return tmp_path


def plant(folder: Path, module: str, line: str) -> None:
    path = folder / module
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    path.write_text(f"{text}\n{line}\n", encoding="utf-8")


def imported(source: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield from (f"{node.module}.{name.name}" for name in node.names)


def trespasses(path: Path) -> list[str]:
    """Imports of one of our modules that belong to other modules only."""
    place = ".".join(path.with_suffix("").parts).rpartition("wattsump_")[2].partition(".")[2]
    found = []
    for name in imported(path.read_text(encoding="utf-8")):
        top, _, rest = name.partition(".")
        if top in ALLOWED and not place.startswith(ALLOWED[top]):
            found.append(name)
        runtime = top == "wattsump_logger" and rest.split(".")[0] in RUNTIME
        if runtime and "wattsump_analysis" in path.parts and not place.startswith(MEETS_RUNTIME):
            found.append(name)
    return found


def modules_of(folder: Path) -> list[Path]:
    return sorted(path for part in (LOGGER, ANALYSIS) for path in (folder / part).rglob("*.py"))


def test_imports_go_one_way() -> None:
    code, said = lint(ROOT)
    assert code == 0, said


@pytest.mark.parametrize(
    ("module", "line", "broken"),
    [
        ("units/quantities.py", "import scipy.stats", "The logger knows nothing"),
        ("session/reader.py", "import wattsump_analysis.results", "The logger knows nothing"),
        ("errors.py", "from wattsump_logger.session.reader import reader", "import downwards"),
        (
            "units/quantities.py",
            "from wattsump_logger.session.reader import rows",
            "import downwards",
        ),
        ("units/quantities.py", "from wattsump_logger.machine import profile", "round to itself"),
        ("physics/oil.py", "from wattsump_analysis.model import network", "import downwards"),
        (
            "planted.py",
            "from wattsump_analysis.commands import program",
            "import downwards",
        ),
    ],
)
def test_a_planted_wrong_import_breaks_the_check(
    copy: Path, module: str, line: str, broken: str
) -> None:
    in_logger = line.startswith(("import", "from wattsump_logger"))
    plant(copy, f"{LOGGER if in_logger else ANALYSIS}/{module}", line)
    code, said = lint(copy)
    assert code == 1
    assert any(broken in row and "BROKEN" in row for row in said.splitlines()), said


def test_each_outside_package_is_imported_only_where_it_belongs() -> None:
    found = {str(path): names for path in modules_of(ROOT) if (names := trespasses(path))}
    assert found == {}


@pytest.mark.parametrize(
    ("module", "line"),
    [
        (f"{ANALYSIS}/physics/oil.py", "import typer"),
        (f"{LOGGER}/wire/frames.py", "from serial import Serial"),
        (f"{LOGGER}/session/reader.py", "    \nfrom rich.table import Table"),
        (
            f"{ANALYSIS}/physics/oil.py",
            "def f() -> None:\n    from wattsump_logger.capture.ports import x",
        ),
        (f"{ANALYSIS}/physics/oil.py", "from wattsump_logger.capture import loop"),
    ],
)
def test_a_planted_trespass_is_noticed(copy: Path, module: str, line: str) -> None:
    assert trespasses(copy / module) == []
    plant(copy, module, line)
    assert len(trespasses(copy / module)) == 1


@pytest.mark.parametrize("package", ["wattsump_logger", "wattsump_analysis"])
def test_importing_a_package_loads_nothing_heavy(package: str) -> None:
    code = f"import sys, {package}; print([n for n in {HEAVY!r} if n in sys.modules])"
    said = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert said.stdout.strip() == "[]"


def test_each_room_says_who_uses_it() -> None:
    wrong = []
    for package in (ROOT / LOGGER, ROOT / ANALYSIS):
        rooms = {path.parent.name for path in package.glob("*/__init__.py")}
        for room in sorted(rooms):
            head = ast.get_docstring(ast.parse((package / room / "__init__.py").read_text("utf-8")))
            first = (head or "").partition("Used by:")[2].partition(";")[0]
            stated = rooms & set(re.findall(r"\w+", first)), "the analysis" in first
            users, is_outside = users_of(package / room)
            if stated != (users, is_outside):
                wrong.append((room, users, is_outside))
    assert wrong == []


def test_the_picture_of_the_rooms_has_every_room() -> None:
    picture = (ROOT / "docs" / "pictures" / "rooms.svg").read_text(encoding="utf-8")
    rooms = [
        path.parent.name
        for top in (LOGGER, ANALYSIS)
        for path in (ROOT / top).glob("*/__init__.py")
    ]
    assert [room for room in rooms if f">{room}<" not in picture] == []
