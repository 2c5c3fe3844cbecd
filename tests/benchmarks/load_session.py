"""Loading a session beside a bare pyarrow CSV parse of the same bytes: time and memory.

    python tests/benchmarks/load_session.py [rows]

Time is the best of several runs of both in turn, in one process. Memory is measured in a
process of its own each: the peak resident size above that before it loads.
"""

import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

_ROWS = 2_000_000
_CHANNELS = ("tank_c", "cooler_in_c", "cooler_out_c", "ambient_c", "case_drain_c", "fan_on")
_REPEATS = 7


def make(path: Path, rows: int) -> None:
    """Write a session as a capture would, a fault now and then, in pieces of 100 000 rows."""
    random = np.random.default_rng(20260504)
    with path.open("w", newline="") as file:
        file.write("time_utc,elapsed_s,seq," + ",".join(_CHANNELS) + ",fault,mark\r\n")
        for first in range(0, rows, 100_000):
            temps = 60 + random.normal(0, 5, (min(100_000, rows - first), 5))
            lines = []
            for number, values in enumerate(temps.tolist(), start=first):
                minutes, rest = divmod(number % 3600_00, 6000)
                clock = f"2026-05-04T07:{minutes:02d}:{rest // 100:02d}.{rest % 100:02d}0Z"
                cells = ",".join(f"{value:.3f}" for value in values)
                fault = "tank:open" if number % 5000 == 0 else ""
                lines.append(f"{clock},{number / 100:.3f},{number},{cells},1,{fault},\r\n")
            file.write("".join(lines))


def ours(path: Path) -> int:
    """Load a session, return its rows."""
    from wattsump_logger.session.reader import load_session

    return len(load_session(path).elapsed_s)


def bare(path: Path) -> int:
    """Parse the same bytes with pyarrow alone, return the rows."""
    from pyarrow import csv  # type: ignore[import-untyped]  # it ships no types

    return int(csv.read_csv(path).num_rows)


def child(kind: str, path: Path) -> None:
    """Measure in this process; print the figures as JSON."""
    for way in (ours, bare):
        way(path.parent / "small.csv")  # imports and thread pools are not what is measured
    if kind == "time":
        # In turn, so that what else the machine does falls on both.
        both = [(_took_s(ours, path), _took_s(bare, path)) for _ in range(_REPEATS)]
        print(json.dumps({"ours": min(a for a, _ in both), "bare": min(b for _, b in both)}))
        return
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    (ours if kind == "ours" else bare)(path)
    print(json.dumps({"kb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before}))


def _took_s(way: Callable[[Path], int], path: Path) -> float:
    began = time.perf_counter()
    way(path)
    return time.perf_counter() - began


def measure(kind: str, path: Path) -> dict[str, float]:
    """Run `child` in a fresh process."""
    command = [sys.executable, __file__, "--child", kind, str(path)]
    output = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    figures: dict[str, float] = json.loads(output)
    return figures


def ratios() -> dict[str, float]:
    """Return what loading costs: time in bare parses, memory in its own arrays."""
    rows = 1_000_000
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "big.csv"
        make(path, rows)
        make(Path(folder) / "small.csv", 1000)
        path.read_bytes()
        took = measure("time", path)
        arrays_kb = rows * 8 * (len(_CHANNELS) + 2) / 1024
        return {
            "load_session, in bare pyarrow parses": took["ours"] / took["bare"],
            "load_session's memory, in its arrays": measure("ours", path)["kb"] / arrays_kb,
        }


def main() -> None:
    """Print both ratios with the goals beside them."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else _ROWS
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "big.csv"
        make(path, rows)
        make(Path(folder) / "small.csv", 1000)
        path.read_bytes()  # both find the file in the system's cache
        took = measure("time", path)
        our_s, bare_s = took["ours"], took["bare"]
        print(f"{rows} rows, {path.stat().st_size / 1e6:.0f} MB")
        ratio = our_s / bare_s
        print(f"time   {our_s:.3f} s, bare pyarrow {bare_s:.3f} s: {ratio:.2f} (goal <= 1.5)")
        arrays_kb = rows * 8 * (len(_CHANNELS) + 2) / 1024
        peak_kb = measure("ours", path)["kb"]
        bare_kb = measure("bare", path)["kb"]
        print(
            f"memory {peak_kb / 1024:.0f} MB for arrays of {arrays_kb / 1024:.0f} MB: "
            f"{peak_kb / arrays_kb:.2f} (goal <= 3); bare pyarrow {bare_kb / 1024:.0f} MB"
        )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--child"]:
        child(sys.argv[2], Path(sys.argv[3]))
    else:
        main()
