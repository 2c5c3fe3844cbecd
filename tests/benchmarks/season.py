"""A season of long outings: its first run, how that grows, and what Ctrl-C leaves.

    python tests/benchmarks/season.py [--outings 1000] [--hours 4] [--every-s 1]

Outings are drawn and worked out by `wattsump trend` on all processors: a quarter of them first,
then the rest, interrupted once on the way, then once more with nothing new. Printed are seconds of
processor for an outing of each part, which would differ if the work grew faster than the outings,
beside those of a proof by itself.
"""

import argparse
import os
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from wattsump_analysis import threads
from wattsump_analysis.emulation.bracken import demo_profile
from wattsump_analysis.emulation.rehearsal import Stage
from wattsump_analysis.emulation.season import write_season
from wattsump_analysis.season.folder import Job, summarise

INTERRUPTED = 130
PROGRAM = "from wattsump_analysis.commands.program import main; main()"


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One run of the command: by the clock, of all processors, and the last line of its errors."""

    clock_s: float
    processor_s: float
    said: str


def plan(hours: float) -> list[Stage]:
    """A cold soak, a warm-up without fan, work with the fan off for a while, and a cool-down."""
    work_s = 3600.0 * hours - 5400.0
    return [
        Stage(name="soak", longest_s=600.0, engine=False),
        Stage(name="warm-up", longest_s=2400.0, shortest_s=2400.0, moving=True),
        Stage(name="work", longest_s=0.7 * work_s, fan=True, moving=True),
        Stage(name="fan off", longest_s=600.0, shortest_s=600.0, moving=True),
        Stage(name="work again", longest_s=0.3 * work_s, fan=True, moving=True),
        Stage(name="cool-down", longest_s=1800.0, engine=False),
    ]


def trend(folder: Path, interrupt_s: float | None = None) -> Run:
    """Run the command over a folder; interrupt it after a while if that is given."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began_s = time.perf_counter()
    run = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, "trend", str(folder)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    if interrupt_s is not None:
        time.sleep(interrupt_s)
        os.killpg(run.pid, signal.SIGINT)
    errors = run.communicate()[1]
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if run.returncode != (0 if interrupt_s is None else INTERRUPTED) or "Traceback" in errors:
        raise SystemExit(f"expected a quiet end, found exit code {run.returncode}: {errors}")
    return Run(
        clock_s=time.perf_counter() - began_s,
        processor_s=after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime,
        said=errors.strip(),
    )


def _move(sessions: Sequence[Path], folder: Path) -> None:
    for session in sessions:
        for part in session.parent.glob(f"{session.stem}.*"):
            part.rename(folder / part.name)


def main() -> None:
    """Draw the season, work it out, and print what it took."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--outings", type=int, default=1000)
    parser.add_argument("--hours", type=float, default=4.0)
    parser.add_argument("--every-s", type=int, default=1)
    asked = parser.parse_args()
    # A shell's background jobs ignore Ctrl-C, and so would the command.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    with TemporaryDirectory() as name:
        drawn, folder = Path(name) / "drawn", Path(name) / "season"
        folder.mkdir()
        made = write_season(
            drawn,
            demo_profile(),
            changes=(),
            outings=asked.outings,
            plan=plan(asked.hours),
            every_s=asked.every_s,
        )
        summarise(Job(path=made[0], key=""))  # compiles and loads, outside the count
        began_s = time.process_time()
        summarise(Job(path=made[1], key=""))
        one_s = time.process_time() - began_s
        quarter = len(made) // 4
        _move(made[:quarter], folder)
        first = trend(folder)
        _move(made[quarter:], folder)
        stopped = trend(folder, interrupt_s=0.5 * first.clock_s)
        rest = trend(folder)
        again = trend(folder)
    first_s = first.processor_s / quarter
    rest_s = (stopped.processor_s + rest.processor_s) / (len(made) - quarter)
    print(
        f"{len(made)} outings of {asked.hours:g} h, a row in {asked.every_s} s; a proof by itself "
        f"takes {one_s:.2f} s of processor\n"
        f"first {quarter}: {first_s:.2f} s of processor each ({first_s / one_s:.2f} x), "
        f"{first.clock_s:.0f} s by the clock\n"
        f"interrupted: {stopped.said}\n"
        f"the rest: {rest_s:.2f} s of processor each ({rest_s / first_s:.2f} x the first), "
        f"{stopped.clock_s + rest.clock_s:.0f} s by the clock\n"
        f"nothing new: {again.clock_s:.1f} s by the clock"
    )


if __name__ == "__main__":
    threads.one_by_default()  # as the program does
    main()
