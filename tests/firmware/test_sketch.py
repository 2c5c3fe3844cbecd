"""The sketch: its modules are the reference's own, and its readings are the reference's."""

import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from firmware.conftest import REFERENCE
from firmware.harness import need
from wattsump_logger.bench import chip
from wattsump_logger.bench.chip import Built, ChipBench
from wattsump_logger.wire.events import EventFrame, Gap, Hello, Reading
from wattsump_logger.wire.frames import FrameParser

pytestmark = pytest.mark.chip

SKETCH = chip.notes_folder() / "sketch"
CORE = Path("/usr/share/arduino/hardware/arduino/avr/cores/arduino/Arduino.h")


def made(board: str, folder: Path) -> Path:
    need((*chip.missing_tools(), *(() if CORE.exists() else ("Debian's arduino-core-avr",))))
    environment = {name: value for name, value in os.environ.items() if name != "MAKEFLAGS"}
    orders = [f"BOARD={board}", f"BUILD={folder}", f"PYTHON={sys.executable}"]
    subprocess.run(["make", "-s", "-j2", *orders], cwd=SKETCH, env=environment, check=True)
    return folder / "wattsump.elf"


@pytest.fixture(scope="module")
def uno(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made("uno", tmp_path_factory.mktemp("uno"))


def played(built: Built, line: Path) -> bytes:
    with ChipBench(built, line=line) as bench:
        for second in range(66):
            bench.feed(
                {
                    "board": 20.0 + second / 20.0,
                    "tank": 4.0 + 0.7 * second,
                    "cooler_in": "fault:open" if 30 <= second < 40 else 5.0 + 0.6 * second,
                    "cooler_out": None if second >= 60 else 3.0,
                    "fan": float(second % 20 > 10),
                    "engine": 1.0,
                    "supply": 12.0 + second / 100.0,
                }
            )
            if second == 50:
                bench.press_button()
            bench.run_until(1000 * second + 500)
        assert bench.figures()["resets"] == 0
    return line.read_bytes()


def test_every_reading_of_the_sketch_is_that_of_the_reference(
    uno: Path, built: Built, tmp_path: Path
) -> None:
    ours = FrameParser().feed(played(replace(built, firmware=uno), tmp_path / "sketch.bin"))
    theirs = FrameParser().feed(played(built, tmp_path / "reference.bin"))
    assert isinstance(ours[0], Hello)
    assert isinstance(theirs[0], Hello)
    assert ours[0].channels == theirs[0].channels
    assert [type(event) for event in ours if isinstance(event, Gap)] == []
    readings = [event.fields for event in ours if isinstance(event, Reading)]
    assert len(readings) >= 65
    assert readings == [event.fields for event in theirs if isinstance(event, Reading)]
    marks = [event.code for event in ours if isinstance(event, EventFrame)]
    assert marks == ["boot", "mark"]


@pytest.mark.parametrize("board", ["uno", "leonardo"])
def test_the_sketch_builds_for_both_boards_and_leaves_room_for_its_stack(
    uno: Path, tmp_path: Path, board: str
) -> None:
    program = uno if board == "uno" else made(board, tmp_path)
    sizes = subprocess.run(
        ["avr-size", "-A", str(program)], capture_output=True, text=True, check=True
    ).stdout
    used = sum(int(size) for size in re.findall(r"^\.(?:data|bss)\s+(\d+)", sizes, re.MULTILINE))
    # published: data sheets, 2048 bytes of RAM (328P), 2560 (32U4); a quarter kept free
    assert used <= 0.75 * (2048 if board == "uno" else 2560)


def test_collecting_copies_the_modules_unchanged_and_all_they_include(tmp_path: Path) -> None:
    subprocess.run([sys.executable, str(SKETCH / "collect.py"), str(tmp_path)], check=True)
    copies = {path.name for path in tmp_path.iterdir()} - {"wattsump.ino"}
    for name in copies:
        assert (tmp_path / name).read_bytes() == (REFERENCE / name).read_bytes()
    for path in tmp_path.iterdir():
        wanted = set(re.findall(r'#include "(\w+\.h)"', path.read_text()))
        assert wanted <= copies
