"""Builds what the firmware tests run: the portable modules on this host, the chip's binary."""

import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from checkout import script
from firmware.harness import Harness, need
from firmware.on_chip import Open, keep
from wattsump_logger.bench import chip

HERE = Path(__file__).parent
REFERENCE = HERE.parents[1] / "firmware-notes" / "reference"
PORTABLE = ("cause", "crc16", "debounce", "frame", "outbox", "pulse", "ring", "schedule", "table")


@pytest.fixture(scope="session")
def harness_program(tmp_path_factory: pytest.TempPathFactory) -> Path:
    need(() if shutil.which("cc") else ("a C compiler named cc",))
    program = tmp_path_factory.mktemp("host") / "harness"
    sources = [str(REFERENCE / f"{name}.c") for name in PORTABLE]
    subprocess.run(
        [
            "cc",
            "-std=gnu11",
            "-O1",
            "-g",
            "-Wall",
            "-Wextra",
            "-Wconversion",
            "-Wshadow",
            "-Werror",
            "-fsanitize=address,undefined",
            "-fno-sanitize-recover=all",
            f"-I{REFERENCE}",
            "-o",
            str(program),
            str(HERE / "host" / "harness.c"),
            *sources,
        ],
        check=True,
    )
    return program


@pytest.fixture
def harness(harness_program: Path) -> Iterator[Harness]:
    running = Harness(harness_program)
    yield running
    running.close()


@pytest.fixture(scope="session")
def table_image() -> ModuleType:
    return script(REFERENCE / "table_image.py")


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> chip.Built:
    need(chip.missing_tools())
    return chip.build(tmp_path_factory.mktemp("chip"))


@pytest.fixture
def line(tmp_path: Path) -> Path:
    return tmp_path / "line.bin"


@pytest.fixture
def open_bench(
    built: chip.Built, line: Path, table_image: ModuleType, request: pytest.FixtureRequest
) -> Open:
    def opened(table: str | None = None, other: chip.Built | None = None) -> chip.ChipBench:
        bench = chip.ChipBench(other or built, line=line)
        request.addfinalizer(bench.close)
        if table is not None:
            keep(bench, table_image.image(table))
        return bench

    return opened
