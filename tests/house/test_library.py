"""The names a notebook may rely on: there, typed, and free of charge until they are used."""

import importlib
import pkgutil
import re
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

import wattsump_analysis
import wattsump_logger

ROOT = Path(__file__).parents[2]
PACKAGES = (wattsump_logger, wattsump_analysis)


@pytest.mark.parametrize("package", PACKAGES, ids=lambda package: package.__name__)
def test_each_public_name_is_there_documented_and_listed(package: ModuleType) -> None:
    assert list(package.__all__) == sorted(package.__all__)
    assert set(package._HOMES) == set(package.__all__) <= set(dir(package))
    for name in package.__all__:
        assert getattr(package, name).__doc__, name


@pytest.mark.parametrize("package", PACKAGES, ids=lambda package: package.__name__)
def test_no_public_name_is_also_a_modules(package: ModuleType) -> None:
    # Importing the module would take the name's place in the package.
    modules = {info.name for info in pkgutil.iter_modules(package.__path__)}
    assert modules & set(package.__all__) == set()


@pytest.mark.parametrize("package", PACKAGES, ids=lambda package: package.__name__)
def test_a_name_that_is_not_there_is_an_attribute_error(package: ModuleType) -> None:
    with pytest.raises(AttributeError, match="no attribute 'no_such_name'"):
        _ = package.no_such_name


def test_importing_the_packages_loads_nothing_else() -> None:
    code = (
        "import sys, wattsump_logger, wattsump_analysis\n"
        "print([n for n in sys.modules if n.startswith('wattsump') or n in ('numpy', 'typer')])"
    )
    said = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert said.stdout.strip() == "['wattsump_logger', 'wattsump_analysis']"


def test_a_type_checker_sees_the_types_of_the_public_names(
    tmp_path: Path, pytestconfig: pytest.Config
) -> None:
    pytest.importorskip("mypy", reason="a type checker")
    cache = getattr(pytestconfig, "cache", None)  # it may be switched off
    known = tmp_path if cache is None else cache.mkdir("mypy")
    (tmp_path / "use.py").write_text(
        "from wattsump_analysis import prove_session\n"
        "from wattsump_logger import load_session\n"
        "reveal_type(prove_session(load_session('a.csv')).k_w_k)\n"
        "prove_session(7)\n",
        encoding="utf-8",
    )
    said = subprocess.run(
        [
            *(sys.executable, "-m", "mypy", "--strict", "--follow-imports=silent"),
            *("--cache-dir", str(known), "use.py"),
        ],
        cwd=tmp_path,
        env={"MYPYPATH": f"{ROOT / 'logger'}:{ROOT / 'analysis'}", "PATH": ""},
        capture_output=True,
        text=True,
        check=False,
        timeout=110,
    )
    assert 'Revealed type is "wattsump_analysis.results.Interval | None"' in said.stdout
    assert 'has incompatible type "int"; expected "Session"' in said.stdout


@pytest.mark.parametrize("package", PACKAGES, ids=lambda package: package.__name__)
def test_the_package_says_that_it_is_typed(package: ModuleType) -> None:
    assert Path(str(package.__file__)).with_name("py.typed").is_file()
    assert importlib.import_module(package.__name__) is package


def test_the_developers_table_of_where_to_add_names_files_that_exist() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = page.partition("## Where do I add")[2].partition("\n## ")[0]
    short = {"logger": "logger/wattsump_logger", "analysis": "analysis/wattsump_analysis"}
    named = re.findall(r"`([a-z-]+)/([\w/.-]+)`", table)
    assert len(named) > 20
    paths = [ROOT / short.get(top, top) / rest for top, rest in named if rest != f"wattsump_{top}/"]
    assert [path for path in paths if not path.exists()] == []
