"""Put the sketch together: wattsump.ino and its modules, in the same folder.

    python3 collect.py ~/sketchbook/wattsump

An IDE builds all files in the folder of a sketch. The modules are copied, not changed.
"""

import shutil
import sys
from pathlib import Path

__all__ = ("MODULES", "collect")

HERE = Path(__file__).resolve().parent
REFERENCE = HERE.parent / "reference"
MODULES = ("cause", "crc16", "debounce", "frame", "outbox", "ring", "schedule", "table")
HEADERS = ("critical.h", "flash.h")


def collect(folder: Path) -> None:
    """Fill `folder`, creating it if necessary, with the sketch and copies of its modules."""
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(HERE / "wattsump" / "wattsump.ino", folder / "wattsump.ino")
    names = [*HEADERS, *(f"{name}{end}" for name in MODULES for end in (".c", ".h"))]
    for name in names:
        shutil.copyfile(REFERENCE / name, folder / name)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(f"usage: python3 {Path(__file__).name} <folder named wattsump>")
    collect(Path(sys.argv[1]))
