"""`wattsump demo`: an emulated outing through a port, as a real one, to its proof."""

import contextlib
import math
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wattsump_analysis.commands.prove import conclude, prove_file
from wattsump_logger.commands.log import Units
from wattsump_logger.errors import UsageError, reason_of
from wattsump_logger.printable import as_typed
from wattsump_logger.session.wholefile import write_whole

if TYPE_CHECKING:
    from wattsump_analysis.emulation.bracken import Rehearsal
    from wattsump_logger.bench.chip import ChipBench
    from wattsump_logger.bench.controller import EmulatedController, Source
    from wattsump_logger.capture.clock import Anchor, Clock
    from wattsump_logger.capture.link import PortSource
    from wattsump_logger.capture.loop import Captured, Status
    from wattsump_logger.machine.profile import Profile
    from wattsump_logger.session.rows import Row
    from wattsump_logger.watch.beside import Beside

__all__ = ("CHIP_STEP_S", "USUAL_SPEED", "demo_command", "record", "record_chip", "write_profile")

USUAL_SPEED = 400.0
_START_UTC_MS = 1_777_878_000_000  # 2026-05-04T07:00:00Z, invented like the outing
WATCHED_SPEED = 100.0
_STATUS_S = 0.1  # of our own time
_BAR = 24
_SILENT_S = 3.0  # of real time without bytes: the outing is over
_MOST_CHIP_SPEED = 100.0  # the finest pace of the bench
CHIP_STEP_S = 1.0  # the outing has a row a second, and the firmware a reading
_QUIET_LOOKS = 10  # a tenth of a second each: then nothing is left in the port


def demo_command(
    out: Annotated[Path, typer.Option("--out", help="Folder for the files.")] = Path("outings"),
    speed: Annotated[
        float | None,
        typer.Option(
            "--speed",
            min=1.0,
            max=2000.0,
            help="Times as fast as real; usually 400, with --screen 100, with --chip as it goes.",
        ),
    ] = None,
    chip: Annotated[
        bool,
        typer.Option("--chip", help="Run the compiled firmware on an emulated ATmega328P."),
    ] = False,
    units: Annotated[Units, typer.Option("--units", help="Units to show.")] = Units.SI,
    screen: Annotated[
        bool, typer.Option("--screen", help="Show the live screen of `log` while it is logged.")
    ] = False,
) -> None:
    """Log an emulated outing, prove its cooler, write the report.

    The machine is invented and nothing is hot; port, files, proof and report are the real ones.
    """
    if chip:
        session, profile = record_chip(out, speed)
    else:
        usual = WATCHED_SPEED if screen else USUAL_SPEED
        session, profile = record(out, speed or usual, units if screen else None)
    report = session.with_suffix(".html")
    _tell("fitting the outing ...")
    conclude(prove_file(session, profile), units=units, report=report)
    typer.echo("")
    for what, path in _made(session, profile, report):
        typer.echo(f"{what:<9}{path}")
    _tell(f"Again, from its session alone: wattsump prove {as_typed(session)}")


def record(out: Path, speed: float, screen: str | None = None) -> tuple[Path, Path]:
    """Record the outing into `out`; return the paths of its session and its profile.

    `screen` are the units of a live screen to show meanwhile; None is a bar.
    """
    from wattsump_analysis.emulation import bracken

    _tell("Bracken, an invented log carrier; its controller is emulated, no oil is hot.")
    rehearsal = bracken.rehearse(bracken.demo_profile())
    profile_path = write_profile(out / "bracken.toml", bracken.demo_text())
    return _announced(rehearsal, lambda: _capture(out, speed, rehearsal, screen)), profile_path


def record_chip(
    out: Path, speed: float | None = None, rehearsal: "Rehearsal | None" = None
) -> tuple[Path, Path]:
    """As `record`, from the firmware itself on the emulated chip; its engine has no speed.

    `rehearsal` is another outing than the demonstration's.
    Raises `UsageError` before anything is written if the tools for it are not there.
    """
    from wattsump_analysis.emulation import bracken
    from wattsump_logger.bench import chip

    chip.need_tools()
    chip.notes_folder()
    if speed is not None and speed > _MOST_CHIP_SPEED:
        raise UsageError(
            expected=f"at most {_MOST_CHIP_SPEED:.0f} with --chip",
            found=f"{speed:g}",
            where="--speed",
            do="leave it out: the chip then runs as fast as this computer can",
        )
    _tell("Bracken, an invented log carrier; its chip is emulated, its firmware is the real one.")
    played = rehearsal or bracken.rehearse(bracken.demo_profile())
    # A name of its own: the profile beside it of a plain demonstration stays right.
    profile_path = write_profile(out / "bracken-chip.toml", bracken.demo_text("on"))
    return _announced(played, lambda: _capture_chip(out, speed, played)), profile_path


def _announced(rehearsal: "Rehearsal", capture: Callable[[], "Captured"]) -> Path:
    """Capture, print how long it took, and return the path of the session."""
    began_s = time.monotonic()
    captured = capture()
    took_s = time.monotonic() - began_s
    minutes = rehearsal.length_s / 60
    _tell(f"{captured.row_count} rows: {minutes:.0f} minutes of outing in {took_s:.0f} s")
    return captured.sessions[0]


def _capture(out: Path, speed: float, rehearsal: "Rehearsal", screen: str | None) -> "Captured":
    """Run the outing through a port into the capture code of every real outing."""
    from wattsump_analysis.emulation import bracken
    from wattsump_logger.capture import loop as capture

    controller = _controller(rehearsal)
    clock = _PlayedClock(controller, speed, rehearsal.length_s)
    is_over = False

    def follow(status: "Status") -> None:
        nonlocal is_over
        silent = status.row_count > 0 and status.silent_s > _SILENT_S * speed
        is_over = status.row_count >= round(rehearsal.length_s) or silent
        if watch is None:
            _show(rehearsal, status.elapsed_s or 0.0)
        else:
            watch.on_status(status)

    with (
        _port(controller, speed, rehearsal.length_s) as port,
        _watching(bracken.demo_profile(), clock, speed, screen) as watch,
    ):
        captured = capture.run(
            port,
            out,
            bracken.demo_profile(),
            clock,
            stop=lambda: is_over,
            on_status=follow,
            on_rows=None if watch is None else watch.on_rows,
            marks=None if watch is None else watch.marks,
            name="bracken",
            status_s=_STATUS_S * speed,
        )
    _end_line()
    return captured


@contextlib.contextmanager
def _watching(
    profile: "Profile", clock: "Clock", speed: float, screen: str | None
) -> "Iterator[Beside | None]":
    """Yield what shows the live screen of `log` in these units; None where none is asked for."""
    if screen is None:
        yield None
        return
    from wattsump_analysis.live.supplies import supplies
    from wattsump_logger.commands.log import Asked, watching_over

    asked = Asked(clock=clock, speed=speed, units=screen)
    with watching_over(profile, asked, supplies()) as (watch, _):
        yield watch


def _controller(rehearsal: "Rehearsal") -> "EmulatedController":
    """Return a controller that plays the outing; the driver's button marks each stage."""
    from wattsump_analysis.emulation import bracken
    from wattsump_logger.bench.controller import EmulatedController

    class Driven(EmulatedController):
        """Presses the button before the first reading of a stage."""

        stage = ""

        def step(self) -> bytes:
            stage = rehearsal.stage_at(self.now_ms / 1000)
            if stage != self.stage:
                self.stage = stage
                self.press(stage.replace(" ", "-"))
            return super().step()

    return Driven(rehearsal.values, bracken.WIRE_CHANNELS)


class _PlayedClock:
    """The controller's time while it plays, fast time after: a slow computer slows both alike."""

    def __init__(self, controller: "EmulatedController", speed: float, length_s: float) -> None:
        self._controller = controller
        self._speed = speed
        self._length_ms = length_s * 1000.0
        self._ended_s: float | None = None

    def anchor(self) -> "Anchor":
        """Return the present moment of the outing."""
        from wattsump_logger.capture.clock import Anchor

        at_ms = self._controller.now_ms
        if at_ms >= self._length_ms:
            self._ended_s = self._ended_s or time.monotonic()
            at_ms += round((time.monotonic() - self._ended_s) * self._speed * 1000)
        return Anchor(utc_ms=_START_UTC_MS + at_ms, mono_ms=at_ms)


@dataclass(frozen=True, slots=True, kw_only=True)
class _ChipClock:
    """Clocks that run on the chip's time, however fast that goes."""

    bench: "ChipBench"

    def anchor(self) -> "Anchor":
        """Return the present moment in the chip's time."""
        from wattsump_logger.capture.clock import Anchor

        at_ms = self.bench.at_ms
        return Anchor(utc_ms=_START_UTC_MS + at_ms, mono_ms=at_ms)


def _capture_chip(out: Path, speed: float | None, rehearsal: "Rehearsal") -> "Captured":
    """Run the outing through the firmware's own port into the same capture code."""
    from wattsump_analysis.emulation import bracken
    from wattsump_logger.bench import chip
    from wattsump_logger.capture import loop as capture
    from wattsump_logger.capture.ports import SerialSource

    with (
        tempfile.TemporaryDirectory(prefix="wattsump-chip-") as folder,
        chip.serve(
            _driven(rehearsal),
            Path(folder),
            until_s=rehearsal.length_s,
            speed=math.inf if speed is None else speed,
            step_s=CHIP_STEP_S,
            channels=chip.notes_folder() / "reference" / "channels-bracken.txt",
        ) as bench,
    ):
        pace = "as fast as it goes" if speed is None else f"{speed:.0f} times as fast as real"
        _tell(f"firmware built; logging from {bench.port}, {pace}")
        is_over, on_rows = _end_of(bench, rehearsal.length_s)
        captured = capture.run(
            SerialSource(bench.port),
            out,
            bracken.demo_profile("on"),
            _ChipClock(bench=bench),
            stop=is_over,
            on_status=lambda status: _show(rehearsal, status.elapsed_s or 0.0),
            on_rows=on_rows,
            name="bracken-chip",
            status_s=10.0,
        )
    _end_line()
    return captured


def _driven(rehearsal: "Rehearsal") -> "Source":
    """Return the outing with the driver's button down for the first second of each stage."""

    def source(elapsed_s: float) -> dict[str, float | str | None]:
        before = rehearsal.stage_at(max(elapsed_s - CHIP_STEP_S, 0.0))
        pressed = rehearsal.stage_at(elapsed_s) != before
        return {**rehearsal.values(elapsed_s), "button": float(pressed)}

    return source


def _end_of(
    bench: "ChipBench", length_s: float
) -> tuple[Callable[[], bool], Callable[[Sequence["Row"]], None]]:
    """Return what tells that the outing is over, and what it must be told of rows."""
    quiet = 0

    def on_rows(rows: "Sequence[Row]") -> None:
        nonlocal quiet
        quiet = 0

    def is_over() -> bool:
        nonlocal quiet
        quiet += bench.at_ms >= length_s * 1000
        return bench.has_ended or quiet > _QUIET_LOOKS

    return is_over, on_rows


def write_profile(path: Path, text: str) -> Path:
    """Write the profile without replacing another file; return its path."""
    out, number = path.parent, 1
    try:
        out.mkdir(parents=True, exist_ok=True)
        place = path
        while place.exists() and place.read_bytes() != text.encode():
            number += 1
            place = path.with_stem(f"{path.stem}.{number}")
        write_whole(place, text)
    except OSError as error:
        raise UsageError(
            expected="a folder to write to",
            found=reason_of(error),
            where=str(out),
            do="choose another one with --out",
        ) from error
    return place


@contextlib.contextmanager
def _port(
    controller: "EmulatedController", speed: float, length_s: float
) -> "Iterator[PortSource]":
    """Yield a pseudo-terminal where the system has them, else a port in memory."""
    from wattsump_logger.bench.controller import MemoryPort, has_ptys, serve_pty

    if not has_ptys():
        _tell("no pseudo-terminals on this system: the port is in memory, at full speed")
        yield MemoryPort(controller, until_s=length_s, periods=10)
        return
    from wattsump_logger.capture.ports import SerialSource

    with serve_pty(controller, speed, until_s=length_s) as name:
        _tell(f"logging from {name}, {speed:.0f} times as fast as real")
        yield SerialSource(name)


def _show(rehearsal: "Rehearsal", elapsed_s: float) -> None:
    """Show how far the outing is, over one line of a terminal; nothing elsewhere."""
    share = min(elapsed_s / rehearsal.length_s, 1.0)
    stage = rehearsal.stage_at(elapsed_s)
    tank_c = rehearsal.truth.temps_c["tank"][min(int(elapsed_s), rehearsal.last_row), 0]
    bar = "=" * round(share * _BAR)
    line = f"[{bar:<{_BAR}}] {elapsed_s / 60:4.0f} min  {tank_c:3.0f} °C  {stage}"
    if typer.get_text_stream("stderr").isatty():
        typer.echo(f"\r\x1b[K{line}", nl=False, err=True)


def _end_line() -> None:
    """Leave the line that `_show` wrote over."""
    if typer.get_text_stream("stderr").isatty():
        _tell("")


def _made(session: Path, profile: Path, report: Path) -> list[tuple[str, Path]]:
    return [
        ("session", session),
        ("wire", session.with_suffix(".wire")),
        ("profile", profile),
        ("report", report),
    ]


def _tell(text: str) -> None:
    """Talk on stderr, so that stdout holds results only."""
    typer.echo(text, err=True)
