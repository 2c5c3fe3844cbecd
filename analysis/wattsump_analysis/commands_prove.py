"""`wattsump prove`: what one outing says about its cooler."""

import contextlib
import sys
from collections.abc import Callable, Iterator
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from wattsump_analysis.plots import FanFlag
    from wattsump_analysis.results import Proof
    from wattsump_logger.profile import Profile
    from wattsump_logger.session import Session

__all__ = ("CANNOT_TELL", "Units", "conclude", "print_screen", "prove_command", "prove_file")

CANNOT_TELL = 5  # the exit code of an outing that leaves the question open


class Units(StrEnum):
    """Units of display."""

    SI = "si"
    US = "us"


def prove_command(
    session: Annotated[Path, typer.Argument(help="Session CSV of one outing.")],
    machine: Annotated[
        Path | None,
        typer.Option("--machine", help="Machine profile (TOML), if not in the session."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON (SI), nothing else.")] = False,
    units: Annotated[Units, typer.Option("--units", help="Units to show.")] = Units.SI,
    report: Annotated[Path | None, typer.Option("--report", help="Write the report, HTML.")] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", help="Draw the outing: .svg, .png or .pdf.")
    ] = None,
) -> None:
    """Tell what the cooler rejects, in watts, against its label. Exit code 5: cannot tell."""
    proof, fan = prove_file(session, machine)
    conclude(proof, fan, as_json=as_json, units=units, report=report, plot=plot)
    if proof.verdict == "cannot tell":
        raise typer.Exit(CANNOT_TELL)


def prove_file(path: Path, machine: Path | None) -> "tuple[Proof, FanFlag | None]":
    """Load a session and prove it; what is being done is told on a terminal's stderr."""
    from wattsump_analysis.prove import prove
    from wattsump_logger.profile import load_profile
    from wattsump_logger.session import load_session

    profile = None if machine is None else load_profile(machine)
    outing = load_session(path)
    with _progress() as tell:
        return prove(outing, profile, progress=tell), _fan(outing, profile)


def conclude(
    proof: "Proof",
    fan: "FanFlag | None" = None,
    *,
    as_json: bool = False,
    units: str = "si",
    report: Path | None = None,
    plot: Path | None = None,
) -> None:
    """Write what was asked for, files first, so that a full disk hides no answer."""
    if report is not None:
        from wattsump_analysis.report import write_report

        write_report(proof, report, units, fan=fan)
    if plot is not None:
        from wattsump_analysis.drawing import save
        from wattsump_analysis.plots import plot_outing

        save(plot_outing(proof, units=units, fan=fan), plot)
    if as_json:
        from wattsump_analysis.proof_json import proof_text

        typer.echo(proof_text(proof), nl=False)
    else:
        print_screen(proof, units)


def print_screen(proof: "Proof", units: str = "si") -> None:
    """Print the answer: in colour on a terminal, as plain text into a file or a pipe."""
    from rich.console import Console

    from wattsump_analysis.screen import proof_screen

    Console(highlight=False, soft_wrap=True, emoji=False).print(proof_screen(proof, units))


@contextlib.contextmanager
def _progress() -> Iterator[Callable[[str], None]]:
    """Yield a teller that writes over one line of a terminal, and is silent elsewhere."""
    if not sys.stderr.isatty():
        yield lambda text: None
        return
    try:
        yield lambda text: typer.echo(f"\r\x1b[Kfitting: {text} ...", nl=False, err=True)
    finally:
        sys.stderr.write("\r\x1b[K")


def _fan(outing: "Session", machine: "Profile | None") -> "FanFlag | None":
    # A session without a profile at hand uses the plain names.
    column = "fan_on" if machine is None else machine.column("fan")
    state = outing.columns.get(column or "")
    return None if state is None else (outing.elapsed_s, state)
