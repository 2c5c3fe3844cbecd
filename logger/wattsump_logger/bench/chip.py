"""Builds the reference firmware and runs it on the emulated bench.

The bench is a program of its own (firmware-notes/bench) that runs the same binary as a real
chip. It takes orders line by line, and simulated time passes only by order, so runs are
reproducible and as fast as the computer allows unless a pace is set. Its orders are in
firmware-notes/bench/README.md.

Needs the project's source tree, avr-gcc, avr-libc, simavr, libelf, make and a C compiler.
Times are simulated milliseconds since the bench started; temperatures are in °C.
"""

import math
import os
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from wattsump_logger.bench.controller import Source
from wattsump_logger.errors import UsageError
from wattsump_logger.thermocouples import converters

__all__ = (
    "Built",
    "ChipBench",
    "Wiring",
    "build",
    "missing_tools",
    "need_tools",
    "notes_folder",
    "read_wiring",
    "serve",
    "word_for",
)

REFERENCE_MV = 1100.0  # internal reference of the ATmega328P: its data sheet's typical value
DEBOUNCE_MS = 40  # twice the 20 ms that the firmware debounces
PROGRAMS = ("avr-gcc", "avr-objcopy", "make", "cc")
PACKAGES = "gcc make gcc-avr avr-libc simavr libsimavr-dev libelf-dev"
HEADERS = (
    Path("/usr/include/simavr/sim_avr.h"),
    Path("/usr/include/libelf.h"),
    Path("/usr/lib/avr/include/avr/io.h"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wiring:
    """One line of the channel table."""

    name: str
    source: str
    detail: str
    where: str
    option: str

    @property
    def place(self) -> int:
        """The number in `cs3`, `i2c0`, `in2`, `adc3` or `pulse1`."""
        return int(self.where[-1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Built:
    """A firmware and a bench, ready to run."""

    firmware: Path
    bench: Path
    wiring: tuple[Wiring, ...]
    period_ms: int


def missing_tools() -> tuple[str, ...]:
    """The tools that are missing for building and running the bench."""
    programs = tuple(name for name in PROGRAMS if shutil.which(name) is None)
    return programs + tuple(str(path) for path in HEADERS if not path.exists())


def need_tools() -> None:
    """Raise `UsageError` if a tool is missing, naming the Debian packages that bring it."""
    missing = missing_tools()
    if missing:
        raise UsageError(
            expected="a cross compiler and the chip simulator",
            found="no " + ", no ".join(missing),
            where="emulated chip",
            do=f"on Debian: apt-get install {PACKAGES}",
        )


def notes_folder() -> Path:
    """The `firmware-notes` folder of the source tree this module lies in."""
    for parent in Path(__file__).resolve().parents:
        if (parent / "firmware-notes" / "bench" / "Makefile").is_file():
            return parent / "firmware-notes"
    raise UsageError(
        expected="the project's source tree with its folder firmware-notes",
        found="an installed package alone",
        where="emulated chip",
        do="run this from a checkout of the source",
    )


def read_wiring(table: Path) -> tuple[tuple[Wiring, ...], int]:
    """The channels of a table and its period in ms; the build has checked the table."""
    wiring = []
    period_ms = 0
    for line in table.read_text(encoding="ascii").splitlines():
        words = line.split("#", 1)[0].split()
        if words[:1] == ["period"]:
            period_ms = int(words[1])
        elif words:
            name, source, detail, where = words[:4]
            wiring.append(
                Wiring(
                    name=name,
                    source=source,
                    detail=detail,
                    where=where,
                    option="".join(words[4:]),
                )
            )
    return tuple(wiring), period_ms


def build(folder: Path, *, channels: Path | None = None, **switches: str | int) -> Built:
    """Compile firmware and bench into `folder`.

    `channels` is another channel table; `switches` are those of the firmware's Makefile,
    such as ``BAUD=9600``. Raises `UsageError` if a tool is missing or a step fails.
    """
    need_tools()
    notes = notes_folder()
    table = (channels or notes / "reference" / "channels.txt").resolve()
    folder = folder.resolve()
    folder.mkdir(parents=True, exist_ok=True)
    _make(
        notes / "reference",
        f"BUILD={folder}",
        f"CHANNELS={table}",
        f"PYTHON={sys.executable}",
        *(f"{name}={value}" for name, value in switches.items()),
    )
    _make(
        notes / "bench",
        f"BUILD={folder}",
        *(f"CHIP_HZ={value}" for name, value in switches.items() if name == "F_CPU"),
    )
    wiring, period_ms = read_wiring(table)
    return Built(
        firmware=folder / "wattsump.elf",
        bench=folder / "bench",
        wiring=wiring,
        period_ms=period_ms,
    )


def _make(folder: Path, *arguments: str) -> None:
    # A make that runs us may pass its own flags down, such as a job server we cannot use.
    environment = {name: value for name, value in os.environ.items() if name != "MAKEFLAGS"}
    ran = subprocess.run(
        ["make", "-s", "-C", str(folder), *arguments],
        capture_output=True,
        text=True,
        check=False,
        env=environment,
    )
    if ran.returncode != 0:
        lines = [line for line in ran.stderr.splitlines() if not line.startswith("make")]
        raise UsageError(
            expected=f"{folder.name} to build",
            found=lines[-1] if lines else f"exit code {ran.returncode}",
            where="emulated chip",
            do=f"run make in {folder} to see all of it",
        )


class ChipBench:
    """A running bench. `port` is the name of its serial port, empty if it writes a file."""

    def __init__(self, built: Built, *, line: Path | None = None, cold_c: float = 25.0) -> None:
        self.wiring = {channel.name: channel for channel in built.wiring}
        self.cold_c = cold_c
        self.at_ms = 0
        self._lock = threading.Lock()
        self._process = subprocess.Popen(
            [str(built.bench), str(built.firmware), *([str(line)] if line else [])],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        first = self._answer()
        self.port = first.removeprefix("port").strip()
        for channel in built.wiring:
            if channel.where.startswith("cs"):
                self.order(f"kind {channel.place} {channel.source}")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the bench, even one that waits for a host that no longer reads."""
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                # An order the bench never read is still in the pipe's buffer.
                with suppress(OSError):
                    pipe.close()

    def order(self, text: str) -> str:
        """Give one order and return its answer; an order not understood raises."""
        with self._lock:
            if self._process.stdin is None:
                raise AssertionError("the bench was started with a pipe")
            try:
                self._process.stdin.write(text + "\n")
                self._process.stdin.flush()
            except (OSError, ValueError):
                raise self._gone() from None
            answer = self._answer()
        if answer.startswith("error"):
            raise UsageError(
                expected=answer.removeprefix("error expected").strip(),
                found=repr(text),
                where="emulated bench",
                do="see the list of orders in firmware-notes/bench/README.md",
            )
        return answer

    def _answer(self) -> str:
        if self._process.stdout is None:
            raise AssertionError("the bench was started with a pipe")
        answer = self._process.stdout.readline()
        if not answer:
            raise self._gone()
        return answer.rstrip("\n")

    def _gone(self) -> UsageError:
        return UsageError(
            expected="an answer from the bench",
            found=f"that it ended with code {self._process.poll()}",
            where="emulated bench",
            do="run it by hand to see what it says",
        )

    def await_host(self) -> None:
        """Wait until a host has opened the port, so that it receives the boot.

        Opening a port throws away what waits there; on many boards it also resets the
        controller, which has the same effect as this.
        """
        self.order("await")

    @property
    def has_ended(self) -> bool:
        """True once the bench is no more, and its port with it."""
        return self._process.poll() is not None

    def run_until(self, until_ms: int) -> int:
        """Let simulated time pass until `until_ms`; returns where it stopped."""
        self.at_ms = int(self.order(f"run {until_ms}").split()[1])
        return self.at_ms

    def feed(self, values: Mapping[str, float | str | None]) -> None:
        """Put values on the wires: °C, V, l/min, 1/min or a state.

        For a converter None pulls its plug and "fault:<code>" is a fault it reports. The
        entry `board`, if there is one, is the converters' cold junction from now on, and
        `button` whether the mark button is down.
        """
        board_c = values.get("board")
        if isinstance(board_c, int | float):
            self.cold_c = board_c
        if "button" in values:
            self.order(f"button {'down' if values['button'] else 'up'}")
        for name, value in values.items():
            channel = self.wiring.get(name)
            if channel is None:
                continue
            if channel.source not in _LEVELS:
                self._feed_converter(channel, value)
            elif value is not None and not isinstance(value, str):
                # Without a value the wire keeps its level: it always has one.
                self.order(_LEVELS[channel.source](channel, value))

    def _feed_converter(self, channel: Wiring, value: float | str | None) -> None:
        if channel.where.startswith("i2c"):
            word = "absent" if value is None else word_for(channel, value, self.cold_c)
            self.order(f"i2c {channel.place} {word}")
            return
        if value is None:
            self.order(f"absent {channel.place}")
            return
        self.order(f"present {channel.place}")
        self.order(f"word {channel.place} {word_for(channel, value, self.cold_c)}")

    def play(
        self,
        source: Source,
        until_s: float,
        *,
        step_s: float = 0.5,
        stop: Callable[[], bool] = lambda: False,
    ) -> None:
        """Feed `source(elapsed_s)` every `step_s` of simulated time until `until_s`."""
        until_ms = round(until_s * 1000.0)
        step_ms = round(step_s * 1000.0)
        while self.at_ms < until_ms and not stop():
            self.feed(source(self.at_ms / 1000.0))
            self.run_until(min((self.at_ms // step_ms + 1) * step_ms, until_ms))

    def press_button(self) -> None:
        """Press and release the mark button; takes 80 ms of simulated time."""
        self.order("button down")
        self.run_until(self.at_ms + DEBOUNCE_MS)
        self.order("button up")
        self.run_until(self.at_ms + DEBOUNCE_MS)

    def figures(self) -> dict[str, int]:
        """Cycle counts, bytes sent, stack depth and resets since the start."""
        pairs = (word.split("=") for word in self.order("figures").split()[1:])
        return {name: int(value) for name, value in pairs}


def _input(channel: Wiring, value: float) -> str:
    high = bool(value) != (channel.option == "low")
    return f"input {channel.place} {int(high)}"


def _analogue(channel: Wiring, volts: float) -> str:
    return f"analogue {round(volts * 1000.0 / float(channel.option) * REFERENCE_MV)}"


def _pulse(channel: Wiring, per_min: float) -> str:
    per_s = per_min / 60.0 * float(channel.option)
    return f"pulse {channel.place} {round(1000.0 * per_s)}"


_LEVELS: Mapping[str, Callable[[Wiring, float], str]] = {
    "state": _input,
    "value": _analogue,
    "pulse": _pulse,
}


def word_for(channel: Wiring, value: float | str, cold_c: float) -> str:
    """The word, in hex, with which the channel's converter reports a value or a fault."""
    if isinstance(value, str):
        fault = value.removeprefix("fault:")
        return converters.encode(channel.source, channel.detail, cold_c, cold_c, fault)
    return converters.encode(channel.source, channel.detail, value, cold_c)


@contextmanager
def serve(
    source: Source,
    folder: Path,
    *,
    until_s: float,
    speed: float = 1.0,
    step_s: float = 0.5,
    channels: Path | None = None,
) -> Iterator[ChipBench]:
    """Build in `folder`, then play `source` in the background while the block runs.

    Power comes on when a host opens the bench's `port`. The chip's time is `speed` times
    ours, at most a hundredfold; `math.inf` runs as fast as the host reads. After
    `until_s` of its time the line stays open and silent. A source that fails takes the
    port away and raises when the block ends.
    """
    pace_percent = 0 if math.isinf(speed) else max(1, round(100.0 / speed))
    stop = threading.Event()
    failed: list[Exception] = []
    with ChipBench(build(folder, channels=channels)) as bench:

        def play() -> None:
            try:
                bench.await_host()
                bench.order(f"pace {pace_percent}")
                bench.play(source, until_s, step_s=step_s, stop=stop.is_set)
            except Exception as error:  # kept and raised when the block ends
                if not stop.is_set():
                    failed.append(error)
                    bench.close()  # closes the port, so that no host waits for ever

        player = threading.Thread(target=play, name="emulated-chip", daemon=True)
        player.start()
        try:
            yield bench
        finally:
            stop.set()
            bench.close()
            player.join()
    if failed:
        raise failed[0]
