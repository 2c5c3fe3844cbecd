"""What `wattsump --help` costs, beside `python -c "import typer"`.

python tests/benchmarks/help.py
"""

import shutil
import subprocess
import sys
import time
from pathlib import Path

_REPEATS = 15


def best_s(command: list[str]) -> float:
    """Return the shortest of several runs: the one least disturbed by others."""
    best = float("inf")
    for _ in range(_REPEATS):
        began = time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        best = min(best, time.perf_counter() - began)
    return best


def ratios() -> dict[str, float]:
    """Return what asking for help costs, in imports of typer."""
    program = str(Path(sys.executable).with_name("wattsump"))
    typer_s = best_s([sys.executable, "-c", "import typer"])
    return {"wattsump --help, in imports of typer": best_s([program, "--help"]) / typer_s}


def main() -> None:
    """Print the ratio with its goal."""
    beside = Path(sys.executable).with_name("wattsump")
    program = str(beside) if beside.exists() else shutil.which("wattsump")
    if program is None:
        sys.exit("wattsump is not installed in this environment")
    typer_s = best_s([sys.executable, "-c", "import typer"])
    for arguments in (["--help"], ["ports"]):
        took_s = best_s([program, *arguments])
        print(
            f"wattsump {' '.join(arguments)}: {took_s * 1000:.0f} ms, "
            f"import typer {typer_s * 1000:.0f} ms: {took_s / typer_s:.2f} (goal <= 2 for --help)"
        )


if __name__ == "__main__":
    main()
