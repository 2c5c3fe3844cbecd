"""`wattsump demo`: an emulated outing through a port, as a real one, to its proof."""

import contextlib
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wattsump_analysis.commands_prove import Units, conclude, prove_file
from wattsump_logger.errors import UsageError

if TYPE_CHECKING:
    from wattsump_analysis.demo import Rehearsal
    from wattsump_logger.capture import Captured, Status
    from wattsump_logger.emulated import EmulatedController
    from wattsump_logger.link import PortSource

__all__ = ("USUAL_SPEED", "demo_command", "record")

USUAL_SPEED = 400.0
_START_UTC_MS = 1_777_878_000_000  # 2026-05-04T07:00:00Z, invented like the outing
_BAR = 24
_SILENT_S = 3.0  # of our own time: then nothing more will come


def demo_command(
    out: Annotated[Path, typer.Option("--out", help="Folder for the files.")] = Path("outings"),
    speed: Annotated[
        float, typer.Option("--speed", min=1.0, max=2000.0, help="Times as fast as real.")
    ] = USUAL_SPEED,
    units: Annotated[Units, typer.Option("--units", help="Units to show.")] = Units.SI,
) -> None:
    """Log an emulated outing through a port, prove its cooler, write the report."""
    session, profile = record(out, speed)
    report = session.with_suffix(".html")
    _tell("fitting the outing ...")
    conclude(*prove_file(session, profile), units=units, report=report)
    typer.echo("")
    for what, path in _made(session, profile, report):
        typer.echo(f"{what:<9}{path}")
    _tell(f"Again, from its session alone: wattsump prove {session}")


def record(out: Path, speed: float) -> tuple[Path, Path]:
    """Record the outing into `out`; return the paths of its session and its profile."""
    from wattsump_analysis import demo

    _tell("Bracken, an invented log carrier; its controller is emulated, its oil is not hot.")
    rehearsal = demo.rehearse(demo.demo_profile())
    profile_path = _write_profile(out, demo.demo_text())
    began_s = time.monotonic()
    captured = _capture(out, speed, rehearsal)
    took_s = time.monotonic() - began_s
    minutes = rehearsal.length_s / 60
    _tell(f"{captured.row_count} rows: {minutes:.0f} minutes of outing in {took_s:.0f} s")
    return captured.sessions[0], profile_path


def _capture(out: Path, speed: float, rehearsal: "Rehearsal") -> "Captured":
    """Run the outing through a port into the capture code of every real outing."""
    from wattsump_analysis import demo
    from wattsump_logger import capture
    from wattsump_logger.clock import FastClock

    controller = _controller(rehearsal)
    is_over = False

    def follow(status: "Status") -> None:
        nonlocal is_over
        silent = status.row_count > 0 and status.silent_s > _SILENT_S * speed
        is_over = status.row_count >= round(rehearsal.length_s) or silent
        _show(rehearsal, status.elapsed_s or 0.0)

    with _port(controller, speed, rehearsal.length_s) as port:
        captured = capture.run(
            port,
            out,
            demo.demo_profile(),
            FastClock(speed, _START_UTC_MS),
            stop=lambda: is_over,
            on_status=follow,
            name="bracken",
            status_s=0.2 * speed,
        )
    _tell("")
    return captured


def _controller(rehearsal: "Rehearsal") -> "EmulatedController":
    """Return a controller that plays the outing; the driver's button marks each stage."""
    from wattsump_analysis import demo
    from wattsump_logger.emulated import EmulatedController

    class Driven(EmulatedController):
        """Presses the button before the first reading of a stage."""

        stage = ""

        def step(self) -> bytes:
            stage = rehearsal.stage_at(self.now_ms / 1000)
            if stage != self.stage:
                self.stage = stage
                self.press(stage.replace(" ", "-"))
            return super().step()

    return Driven(rehearsal.values, demo.WIRE_CHANNELS)


def _write_profile(out: Path, text: str) -> Path:
    path = out / "bracken.toml"
    try:
        out.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise UsageError(
            expected="a folder to write to",
            found=error.strerror or str(error),
            where=str(out),
            do="choose another one with --out",
        ) from error
    return path


@contextlib.contextmanager
def _port(
    controller: "EmulatedController", speed: float, length_s: float
) -> "Iterator[PortSource]":
    """Yield a real terminal port where there is such a thing, else one in memory."""
    from wattsump_logger import emulated

    if not emulated.has_ptys():
        _tell("no pseudo-terminals on this system: the port is in memory, at full speed")
        yield emulated.MemoryPort(controller, until_s=length_s, periods=10)
        return
    from wattsump_logger.ports import SerialSource

    with emulated.serve_pty(controller, speed, until_s=length_s) as name:
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
