"""Restarts the emulated chip behind its instructions one by one, and looks at what it then says.

    python tests/firmware/resets.py [every]

The chip boots, greets, reads ten times a second and hears a press of the button. It is restarted
behind every so-many-th instruction of that (each, with 1), each time for another cause, and must
then say one whole hello, why it started, its table, and readings as they are: no line but the one
the restart cut may be unsound.
"""

import itertools
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

from wattsump_logger.bench.chip import Built, ChipBench, build
from wattsump_logger.wire.events import BadCrc, Event, EventFrame, Hello, Noise, Reading
from wattsump_logger.wire.frames import FrameParser

__all__ = ("TABLE", "problems", "sweep")

TABLE = """
period 100
tank max31855 K cs1
oil max31856 K cs2
fan state - in1 low
supply value v adc3 17600
"""
CAUSES = ("brownout", "watchdog", "external", "power")
TANK, OIL = "01901900", "064F00190000"
PLAYED_MS = 520  # boot, greeting, three readings, a press
SEEN_MS = 450


def _begin(bench: ChipBench) -> int:
    """Restart with the button pressed in the middle of it; return when that was, in ms."""
    bench.order("button up")
    bench.order("reset external 0")
    began_ms = int(bench.order("step 1").split()[1])
    bench.order("button down")
    return began_ms


def _played(bench: ChipBench) -> int:
    """Return how many instructions the whole play takes."""
    end_ms, ran = _begin(bench) + PLAYED_MS, 1
    while int(bench.order("step 1000").split()[1]) < end_ms:
        ran += 1000
    return ran


def problems(data: bytes, cause: str) -> list[str]:
    """Return what is wrong with what was said since the last restart, the cut line before it."""
    events: list[Event] = FrameParser().feed(data)
    cut = sum(isinstance(event, BadCrc | Noise) for event in events)
    sound = [event for event in events if not isinstance(event, BadCrc | Noise)]
    hellos = [number for number, event in enumerate(sound) if isinstance(event, Hello)]
    if not hellos:
        return ["no hello"]
    # a line that lacked only its end when it was cut is whole
    whole = sum(isinstance(event, Hello | EventFrame | Reading) for event in sound[: hellos[-1]])
    found = [] if cut + whole <= 1 else [f"{cut} unsound lines, {whole} sound ones"]
    sound = sound[hellos[-1] :]
    others = [event for event in sound[1:] if not isinstance(event, EventFrame | Reading)]
    found += [type(event).__name__ for event in others]
    codes = [(event.code, event.detail) for event in sound if isinstance(event, EventFrame)]
    if codes[0:1] != [("boot", cause)]:
        found.append(f"{codes[0:1]} for {cause}")
    if not any(detail.startswith("table-flash-") for _, detail in codes[1:2]):
        found.append(f"{codes[1:2]} for the table")
    readings = [event.fields for event in sound if isinstance(event, Reading)]
    if len(readings) < 2:
        found.append(f"{len(readings)} readings")
    found += [str(f) for f in readings if f[0] != TANK or f[1] not in ("", OIL) or f[2] != "0"]
    return found


def sweep(built: Built, folder: Path, where: Iterable[int] | None, every: int) -> Iterator[str]:
    """Yield "" for each restart that came out right, else what did not.

    `where` are counts of instructions; without them all, in steps of `every`.
    """
    line = folder / "line.bin"
    with ChipBench(built, line=line) as bench:
        bench.order(f"word 1 {TANK}")
        bench.order(f"word 2 {OIL}")
        bench.run_until(50)  # a power-on that nobody has read yet hides what comes after it
        if where is None:
            where = range(1, _played(bench), every)
        for at, cause in zip(where, itertools.cycle(CAUSES), strict=False):
            _begin(bench)
            bench.order(f"step {at}")
            sent = line.stat().st_size
            bench.order("button up")
            bench.order(f"reset {cause} 0")
            # what was on its way when the restart came is the cut line
            before = line.read_bytes()[:sent].rpartition(b"\n")[2]
            now_ms = int(bench.order("step 1").split()[1])
            bench.order(f"run {now_ms + SEEN_MS}")
            with line.open("rb") as file:
                file.seek(sent)
                wrong = problems(before + file.read(), cause)
            yield f"behind instruction {at}: {', '.join(wrong)}" if wrong else ""


def main() -> None:
    """Print how many restarts were tried and what came of them."""
    every = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "table.txt").write_text(TABLE, encoding="ascii")
        built = build(folder, channels=folder / "table.txt")
        count: Counter[bool] = Counter()
        for wrong in sweep(built, folder, None, every):
            count[bool(wrong)] += 1
            if wrong:
                print(wrong, flush=True)
    print(
        f"{count.total()} restarts, behind every {every}th instruction, {count[True]} wrong; "
        f"{time.monotonic() - began_s:.0f} s"
    )


if __name__ == "__main__":
    main()
