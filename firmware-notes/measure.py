"""Measure the reference firmware on the emulated bench and print the figures as Markdown.

    python firmware-notes/measure.py            # to the screen
    python firmware-notes/measure.py --write    # into docs/firmware-figures.md

Cycles are those of the simulator, which counts every instruction as the data sheet does.
The worst pass is hunted for, not waited for: a press of the button is made certain at
several moments around the hello of a full minute, which falls together with a reading.
"""

import argparse
import re
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from wattsump_logger.bench.chip import Built, ChipBench, build, notes_folder

__all__ = ("main",)

PERIOD_MS = 100
MINUTE_MS = 60_000
CYCLES_PER_MS = 16_000
CHIP_FLASH = 32_768  # bytes, ATmega328P data sheet
CHIP_RAM = 2_048
LONGEST_ALLOWED = 512  # docs/line-protocol.md, rule 7

SIX = "\n".join(f"probe_{place} max31855 K cs{place}" for place in range(1, 7))
SIX_LINEARISED = SIX.replace("max31855", "max31856")
OTHERS = """
fan state - in1 low
engine state - in2 low
heater state - in3 low
supply value v adc3 17600
"""
TABLES = {
    "six max31855": SIX,
    "six max31855, three states, supply volts": SIX + OTHERS,
    "six max31856, three states, supply volts": SIX_LINEARISED + OTHERS,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What one table cost at ten readings a second."""

    name: str
    longest_pass: int
    awake_fraction: float
    longest_line: int
    bytes_per_s: float
    stack_peak: int


def measured(name: str, built: Built, line: Path) -> Run:
    """Run five minutes, with the button pressed around each hello."""
    with ChipBench(built, line=line) as bench:
        for minute in range(1, 6):
            # certain after 20 looks; the chip's clock starts 1 to 2 ms after the bench's
            bench.run_until(minute * MINUTE_MS - 20 + minute)
            bench.press_button()
        bench.run_until(5 * MINUTE_MS + 10_000)
        figures = bench.figures()
    seconds = figures["cycles"] / CYCLES_PER_MS / 1000.0
    return Run(
        name=name,
        longest_pass=figures["longest_pass"],
        awake_fraction=figures["awake"] / figures["cycles"],
        longest_line=max(len(row) for row in line.read_bytes().splitlines(keepends=True)),
        bytes_per_s=line.stat().st_size / seconds,
        stack_peak=figures["stack_peak"],
    )


def sections(firmware: Path) -> dict[str, int]:
    """The sizes of the program's sections in bytes."""
    ran = subprocess.run(
        ["avr-size", "-A", "-d", str(firmware)], capture_output=True, text=True, check=True
    )
    found = re.findall(r"^(\.\w+)\s+(\d+)", ran.stdout, re.MULTILINE)
    return {name: int(size) for name, size in found}


def version(program: str) -> str:
    """The first line a tool prints about itself."""
    ran = subprocess.run([program, "--version"], capture_output=True, text=True, check=True)
    return ran.stdout.splitlines()[0]


def report(runs: list[Run], sizes: dict[str, int], baud: int) -> str:
    """The figures as a page."""
    flash = sizes[".text"] + sizes[".data"]
    ram = sizes[".data"] + sizes[".bss"] + sizes.get(".noinit", 0)
    stack = max(run.stack_peak for run in runs)
    line_rate = baud / 10.0
    rows = [
        f"| {run.name} | {run.longest_pass} ({run.longest_pass / CYCLES_PER_MS:.2f} ms) "
        f"| {100 * run.awake_fraction:.1f} % | {run.longest_line} | {run.bytes_per_s:.0f} "
        f"| {100 * run.bytes_per_s / line_rate:.1f} % |"
        for run in runs
    ]
    return "\n".join(
        [
            "# What the reference firmware costs",
            "",
            "Written by `python firmware-notes/measure.py --write`; do not edit by hand.",
            f"Built with {version('avr-gcc')}, default switches, for an ATmega328P at 16 MHz; run",
            "on the emulated bench. Readings ten times a second, hello every minute, the button",
            "pressed around each hello, five minutes.",
            "",
            "| | used | of |",
            "|---|---|---|",
            f"| flash, bytes | {flash} | {CHIP_FLASH} ({100 * flash / CHIP_FLASH:.0f} %) |",
            f"| RAM, fixed, bytes | {ram} | {CHIP_RAM} ({100 * ram / CHIP_RAM:.0f} %) |",
            f"| RAM, deepest stack seen, bytes | {stack} | {CHIP_RAM - ram} left |",
            "",
            "| channels | worst pass, cycles | awake | longest line, bytes | bytes/s "
            f"| of {line_rate:.0f} bytes/s |",
            "|---|---|---|---|---|---|",
            *rows,
            "",
            f"A pass is one turn of the main loop. A line may have {LONGEST_ALLOWED} bytes. The",
            f"last column is the share of a {baud} baud line, ten bits to a byte. A pass longer",
            "than 1 ms delays nothing but the next look at the button: uptime is counted by an",
            "interrupt and the port is fed by one.",
            "",
        ]
    )


def main(arguments: list[str] | None = None) -> int:
    """Build, run and report."""
    parser = argparse.ArgumentParser(description="figures of the reference firmware")
    parser.add_argument("--write", action="store_true", help="write docs/firmware-figures.md")
    asked = parser.parse_args(arguments)
    runs = []
    with tempfile.TemporaryDirectory() as folder:
        for number, (name, channels) in enumerate(TABLES.items()):
            place = Path(folder) / str(number)
            place.mkdir()
            table = place / "channels.txt"
            table.write_text(f"period {PERIOD_MS}\n{channels}\n", encoding="ascii")
            runs.append(measured(name, build(place, channels=table), place / "line.bin"))
        sizes = sections(build(Path(folder) / "plain").firmware)
    page = report(runs, sizes, 115_200)
    if asked.write:
        target = notes_folder().parent / "docs" / "firmware-figures.md"
        target.write_text(page, encoding="utf-8")
    else:
        sys.stdout.write(page)
    return 0


if __name__ == "__main__":
    sys.exit(main())
