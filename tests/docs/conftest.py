"""One demonstration for all pages, and a folder for each page as its reader would have it."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from checkout import BRACKEN_FILE, ROOT
from docs.givens import Demonstration

_PATHS = os.pathsep.join(str(ROOT / name) for name in ("logger", "analysis"))
_MAIN = "import sys; from wattsump_analysis.commands.program import main; sys.exit(main())"


def _environment(home: Path) -> dict[str, str]:
    """Return an environment with `wattsump` and this Python first on PATH."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    return {
        **kept,
        "PATH": f"{home / 'bin'}{os.pathsep}{os.environ['PATH']}",
        "PYTHONPATH": _PATHS,
        "COLUMNS": "80",
        "MPLCONFIGDIR": str(home / "matplotlib"),
    }


@pytest.fixture(scope="session")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A place with `wattsump`, `python` and the demonstration as commands."""
    place = tmp_path_factory.mktemp("reader")
    tools = place / "bin"
    tools.mkdir()
    python = sys.executable
    (tools / "python").write_text(f'#!/bin/sh\nexec "{python}" "$@"\n', encoding="utf-8")
    # The demonstration takes a while; a page that runs it as it is gets that of all pages.
    (tools / "wattsump").write_text(
        f'#!/bin/sh\nif [ "$*" = demo ]; then cp -R "{place}/outings" . && cat "{place}/out.txt"\n'
        f'else exec "{python}" -c \'{_MAIN}\' "$@"; fi\n',
        encoding="utf-8",
    )
    for tool in tools.iterdir():
        tool.chmod(0o755)
    return place


@pytest.fixture(scope="session")
def demonstration(home: Path) -> Demonstration:
    """The demonstration, run once, twenty times as fast as a reader's."""
    said = subprocess.run(
        [str(home / "bin" / "wattsump"), "demo", "--speed", "2000"],
        cwd=home,
        env=_environment(home),
        capture_output=True,
        text=True,
        check=False,
        timeout=500,  # on a fresh machine the fit is compiled first
    )
    assert said.returncode == 0, said.stderr
    (home / "out.txt").write_text(said.stdout, encoding="utf-8")
    return Demonstration(folder=home / "outings", out=said.stdout, err=said.stderr)


@pytest.fixture(scope="session")
def environment(home: Path) -> dict[str, str]:
    """The environment of a page's reader."""
    return _environment(home)


@pytest.fixture
def reader(tmp_path: Path, home: Path) -> Path:
    """A folder with what a checkout has for its reader: the sample data, the documents."""
    for name in ("sample-data", "docs"):
        shutil.copytree(ROOT / name, tmp_path / name)
    shutil.copy(BRACKEN_FILE, tmp_path)
    return tmp_path
