"""Builds what the firmware tests run: the portable modules on this host, the chip's binary."""

import importlib.util
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from wattsump_logger import chip_bench

HERE = Path(__file__).parent
REFERENCE = HERE.parents[1] / "firmware-notes" / "reference"
PORTABLE = ("cause", "crc16", "debounce", "frame", "outbox", "ring", "schedule", "table")


def need(missing: tuple[str, ...]) -> None:
    """Skip for want of a tool on a person's machine; fail for it in CI."""
    if missing and os.environ.get("CI") == "true":
        pytest.fail(f"CI must have {', '.join(missing)}")
    if missing:
        pytest.skip(f"needs {', '.join(missing)}")


class Harness:
    """The portable modules, one order at a time."""

    def __init__(self, program: Path) -> None:
        self.process = subprocess.Popen(
            [str(program)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def order(self, text: str) -> str:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(text + "\n")
        self.process.stdin.flush()
        answer = self.process.stdout.readline()
        assert answer, f"the harness ended on {text!r}"
        assert answer != "error\n", f"the harness does not know {text!r}"
        return answer.rstrip("\n")

    def lines(self) -> bytes:
        """Everything committed to the ring, taken out of it."""
        return bytes.fromhex(self.order("take 4096"))

    def close(self) -> None:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        assert self.process.wait(timeout=10) == 0
        self.process.stdout.close()


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
    spec = importlib.util.spec_from_file_location("table_image", REFERENCE / "table_image.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> chip_bench.Built:
    need(chip_bench.missing_tools())
    return chip_bench.build(tmp_path_factory.mktemp("chip"))
