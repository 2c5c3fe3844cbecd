"""Search by coverage for bytes that break the frame parser or the session reader.

    pip install atheris
    python tests/fuzzing/run.py frames|session FOLDER [seconds]

New inputs go to FOLDER; those kept in tests/data/fuzz are the start. An input that breaks a
promise is written there as `crash-...`, and the run ends. `python tests/fuzzing/run.py keep
frames|session FOLDER` copies back the small ones that reach lines no smaller one reached.
Atheris is no dependency: nothing but this command uses it.
"""

import importlib
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any

__all__ = ("main",)

TESTS = Path(__file__).parents[1]
KEPT = TESTS / "data" / "fuzz"
USUAL_S = 600
LONGEST_INPUT, LONGEST_KEPT = 4096, 600

Step = tuple[str, int, int]


def steps_of(target: Callable[[bytes], None], data: bytes) -> set[Step]:
    """Return the steps from line to line that an input takes in our own modules."""
    steps: set[Step] = set()

    def follow(frame: FrameType, event: str, argument: object) -> Any:
        if "wattsump_logger" not in frame.f_code.co_filename:
            return None
        before = 0

        def lines(frame: FrameType, event: str, argument: object) -> Any:
            nonlocal before
            steps.add((frame.f_code.co_name, before, frame.f_lineno))
            before = frame.f_lineno
            return lines

        return lines

    sys.settrace(follow)
    try:
        target(data)
    finally:
        sys.settrace(None)
    return steps


def keep(name: str, folder: Path) -> int:
    """Copy to what is kept each input that takes a new step; return how many they are."""
    target = importlib.import_module("fuzzing.targets").TARGETS[name]
    known: set[Step] = set()
    for path in sorted((KEPT / name).iterdir()):
        known |= steps_of(target, path.read_bytes())
    found = sorted(folder.iterdir(), key=lambda path: (path.stat().st_size, path.name))
    copied = 0
    for path in found:
        if path.stat().st_size > LONGEST_KEPT:
            break
        steps = steps_of(target, path.read_bytes())
        if not steps <= known:
            known |= steps
            shutil.copyfile(path, KEPT / name / path.name[:12])
            copied += 1
    return copied


def search(name: str, folder: Path, seconds: int) -> None:
    """Run libFuzzer on a target; it ends the program by itself."""
    folder.mkdir(parents=True, exist_ok=True)
    atheris = importlib.import_module("atheris")
    with atheris.instrument_imports(include=["wattsump_logger"]):
        targets = importlib.import_module("fuzzing.targets")
    limits = [f"-max_total_time={seconds}", f"-max_len={LONGEST_INPUT}"]
    places = [f"-artifact_prefix={folder}/", str(folder), str(KEPT / name)]
    atheris.Setup([sys.argv[0], *limits, *places], targets.TARGETS[name])
    atheris.Fuzz()


def main(arguments: list[str]) -> None:
    """Search, or keep what a search found."""
    sys.path.insert(0, str(TESTS))
    if arguments[:1] == ["keep"]:
        print(f"{keep(arguments[1], Path(arguments[2]))} inputs kept")
    else:
        seconds = int(arguments[2]) if len(arguments) > 2 else USUAL_S
        search(arguments[0], Path(arguments[1]), seconds)


if __name__ == "__main__":
    main(sys.argv[1:])
