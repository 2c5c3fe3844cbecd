"""Measure every build of the controller on the emulated bench and print the figures as Markdown.

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
from dataclasses import dataclass, replace
from pathlib import Path

from wattsump_logger.bench.chip import Built, ChipBench, build, notes_folder

__all__ = ("main",)

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
I2C = "\n".join(f"near_{place} mcp9600 K i2c{place}" for place in range(4))
PULSES = "flow pulse lpm pulse1 450\nspeed pulse rpm pulse2 15\n"
TABLES = {
    "six max31855": (100, SIX),
    "six max31855, three states, supply volts": (100, SIX + OTHERS),
    "six max31856, three states, supply volts": (100, SIX_LINEARISED + OTHERS),
    "the same and both pulse inputs at 2 kHz": (100, SIX_LINEARISED + OTHERS + PULSES),
    "six max31856, four mcp9600 on I2C, twice a second": (500, SIX_LINEARISED + "\n" + I2C),
}
PULSE_MILLIHERTZ = 2_000_000
PORTABLE = ("cause", "crc16", "debounce", "frame", "outbox", "pulse", "ring", "schedule", "table")
SMALL_CORE = ["-mcpu=cortex-m0plus", "-mthumb", "-ffreestanding", "-Os", "-c"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What one table cost."""

    name: str
    longest_pass: int
    masked: int
    awake_fraction: float
    longest_line: int
    bytes_per_s: float
    stack_peak: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """One build: bytes of flash and fixed RAM, and of what; stack and cycles if it was run."""

    name: str
    flash: int
    flash_of: int | None
    ram: int | None
    ram_of: int | None
    stack: int | None = None
    longest_pass: int | None = None
    masked: int | None = None
    cycles_per_ms: int = CYCLES_PER_MS

    def row(self) -> str:
        """Its line of the table."""
        cells = [self.name, _share(self.flash, self.flash_of), _share(self.ram, self.ram_of)]
        cells.append("not measured" if self.stack is None else str(self.stack))
        for cycles in (self.longest_pass, self.masked):
            cells.append("" if cycles is None else _time(cycles, self.cycles_per_ms))
        return "| " + " | ".join(cells) + " |"


def _share(used: int | None, of: int | None) -> str:
    if used is None:
        return ""
    return str(used) if of is None else f"{used} of {of} ({100 * used / of:.0f} %)"


def _time(cycles: int, cycles_per_ms: int = CYCLES_PER_MS) -> str:
    ms = cycles / cycles_per_ms
    return f"{cycles} ({ms:.2f} ms)" if ms >= 0.1 else f"{cycles} ({1000 * ms:.0f} µs)"


def measured(name: str, period_ms: int, built: Built, line: Path) -> Run:
    """Run five minutes, with the button pressed around each hello."""
    with ChipBench(built, line=line) as bench:
        for channel in built.wiring:
            if channel.source == "pulse":
                bench.order(f"pulse {channel.place} {PULSE_MILLIHERTZ}")
            elif channel.source == "mcp9600":
                bench.order(f"i2c {channel.place} 0190019040")
        for minute in range(1, 6):
            # certain after 20 looks; the chip's clock starts 1 to 2 ms after the bench's
            bench.run_until(minute * MINUTE_MS - 20 + minute)
            bench.press_button()
        bench.run_until(5 * MINUTE_MS + 100 * period_ms)
        figures = bench.figures()
    seconds = figures["cycles"] / CYCLES_PER_MS / 1000.0
    return Run(
        name=name,
        longest_pass=figures["longest_pass"],
        masked=figures["masked"],
        awake_fraction=figures["awake"] / figures["cycles"],
        longest_line=max(len(row) for row in line.read_bytes().splitlines(keepends=True)),
        bytes_per_s=line.stat().st_size / seconds,
        stack_peak=figures["stack_peak"],
    )


def sections(program: Path, size: str = "avr-size") -> dict[str, int]:
    """The sizes of a program's sections in bytes."""
    ran = subprocess.run(
        [size, "-A", "-d", str(program)], capture_output=True, text=True, check=True
    )
    found = re.findall(r"^(\.\w+)\S*\s+(\d+)", ran.stdout, re.MULTILINE)
    sizes: dict[str, int] = {}
    for name, count in found:
        sizes[name] = sizes.get(name, 0) + int(count)
    return sizes


def flash_and_ram(program: Path) -> tuple[int, int]:
    """Bytes of flash and of fixed RAM."""
    sizes = sections(program)
    ram = sizes[".data"] + sizes[".bss"] + sizes.get(".noinit", 0)
    return sizes[".text"] + sizes[".data"], ram


def reference_at(mhz: int, folder: Path) -> Made:
    """The reference firmware with its own table, run for a minute and a bit."""
    switches = {"F_CPU": 8_000_000, "BAUD": 57_600} if mhz == 8 else {}
    built = build(folder, **switches)
    flash, ram = flash_and_ram(built.firmware)
    with ChipBench(built, line=folder / "line.bin") as bench:
        bench.run_until(MINUTE_MS + 5_000)
        figures = bench.figures()
    return Made(
        name=f"reference, ATmega328P at {mhz} MHz",
        flash=flash,
        flash_of=CHIP_FLASH,
        ram=ram,
        ram_of=CHIP_RAM,
        stack=figures["stack_peak"],
        longest_pass=figures["longest_pass"],
        masked=figures["masked"],
        cycles_per_ms=1_000 * mhz,
    )


def sketch_for(board: str, folder: Path, plain: Built) -> Made:
    """The sketch; on the 328P also run."""
    subprocess.run(
        ["make", "-s", f"BOARD={board}", f"BUILD={folder}", f"PYTHON={sys.executable}"],
        cwd=notes_folder() / "sketch",
        check=True,
    )
    program = folder / "wattsump.elf"
    flash, ram = flash_and_ram(program)
    if board != "uno":
        return Made(name="sketch, ATmega32U4", flash=flash, flash_of=32_768, ram=ram, ram_of=2_560)
    with ChipBench(replace(plain, firmware=program), line=folder / "line.bin") as bench:
        bench.run_until(MINUTE_MS + 5_000)
        figures = bench.figures()
    return Made(
        name="sketch, ATmega328P",
        flash=flash,
        flash_of=CHIP_FLASH,
        ram=ram,
        ram_of=CHIP_RAM,
        stack=figures["stack_peak"],
        longest_pass=figures["longest_pass"],
        masked=figures["masked"],
    )


def portable_on_a_small_core(folder: Path) -> Made:
    """The portable modules alone, compiled for a Cortex-M0+."""
    flash = 0
    for name in PORTABLE:
        made = folder / f"{name}.o"
        source = notes_folder() / "reference" / f"{name}.c"
        subprocess.run(["arm-none-eabi-gcc", *SMALL_CORE, "-o", str(made), str(source)], check=True)
        sizes = sections(made, "arm-none-eabi-size")
        flash += sizes.get(".text", 0) + sizes.get(".rodata", 0) + sizes.get(".data", 0)
    return Made(
        name="portable modules alone, Cortex-M0+", flash=flash, flash_of=None, ram=None, ram_of=None
    )


def version(program: str) -> str:
    """The first line a tool prints about itself."""
    ran = subprocess.run([program, "--version"], capture_output=True, text=True, check=True)
    return ran.stdout.splitlines()[0]


def small_core_version() -> str:
    """The release of the other compiler."""
    ran = subprocess.run(
        ["arm-none-eabi-gcc", "-dumpversion"], capture_output=True, text=True, check=True
    )
    return ran.stdout.strip()


def report(runs: list[Run], builds: list[Made], baud: int) -> str:
    """The figures as a page."""
    line_rate = baud / 10.0
    rows = [
        f"| {run.name} | {_time(run.longest_pass)} | {_time(run.masked)} | {run.stack_peak} "
        f"| {100 * run.awake_fraction:.1f} % | {run.longest_line} | {run.bytes_per_s:.0f} "
        f"| {100 * run.bytes_per_s / line_rate:.1f} % |"
        for run in runs
    ]
    return "\n".join(
        [
            "# What the firmware costs",
            "",
            "Written by `python firmware-notes/measure.py --write`; do not edit by hand.",
            f"Built with {version('avr-gcc')} and arm-none-eabi-gcc {small_core_version()},",
            "default switches; run on the emulated bench. Each build with its own table of ten",
            "channels, for a minute and five seconds:",
            "",
            "| build | flash, bytes | RAM, fixed, bytes | deepest stack, bytes "
            "| worst pass, cycles | interrupts off, cycles |",
            "|---|---|---|---|---|---|",
            *(made.row() for made in builds),
            "",
            "Interrupts off counts the handlers themselves in, from 300 ms after the start. The",
            "simulator's I2C is ten times too fast: on a chip each mcp9600 adds 2 ms to a pass",
            "(198 bits at 100 kHz).",
            "",
            "The reference at 16 MHz with other tables, readings ten times a second, hello every",
            "minute, the button pressed around each hello, five minutes:",
            "",
            "| channels | worst pass, cycles | interrupts off, cycles | stack, bytes | awake "
            f"| longest line, bytes | bytes/s | of {line_rate:.0f} bytes/s |",
            "|---|---|---|---|---|---|---|---|",
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
    parser = argparse.ArgumentParser(description="figures of the firmware's builds")
    parser.add_argument("--write", action="store_true", help="write docs/firmware-figures.md")
    asked = parser.parse_args(arguments)
    runs = []
    with tempfile.TemporaryDirectory() as folder:
        for number, (name, (period_ms, channels)) in enumerate(TABLES.items()):
            place = Path(folder) / str(number)
            place.mkdir()
            table = place / "channels.txt"
            table.write_text(f"period {period_ms}\n{channels}\n", encoding="ascii")
            built = build(place, channels=table)
            runs.append(measured(name, period_ms, built, place / "line.bin"))
        places = [Path(folder) / name for name in ("16", "8", "plain", "uno", "leonardo", "arm")]
        places[-1].mkdir()
        builds = [
            reference_at(16, places[0]),
            reference_at(8, places[1]),
            sketch_for("uno", places[3], build(places[2])),
            sketch_for("leonardo", places[4], build(places[2])),
            portable_on_a_small_core(places[5]),
        ]
    page = report(runs, builds, 115_200)
    if asked.write:
        target = notes_folder().parent / "docs" / "firmware-figures.md"
        target.write_text(page, encoding="utf-8")
    else:
        sys.stdout.write(page)
    return 0


if __name__ == "__main__":
    sys.exit(main())
