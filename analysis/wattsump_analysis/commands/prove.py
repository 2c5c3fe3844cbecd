"""`wattsump prove`: the verdict on a cooler from one outing."""

import contextlib
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wattsump_logger.commands.log import Units
from wattsump_logger.printable import printable

if TYPE_CHECKING:
    from wattsump_analysis.questions.givens import Givens
    from wattsump_analysis.reading.samples import Samples
    from wattsump_analysis.results import Proof
    from wattsump_analysis.show.report.replies import Days
    from wattsump_logger.machine.profile import Profile
    from wattsump_logger.session.reader import Session

__all__ = (
    "CANNOT_TELL",
    "Proved",
    "conclude",
    "prove_command",
    "prove_file",
)

CANNOT_TELL = 5  # the exit code of "cannot tell"


def prove_command(
    session: Annotated[
        Path,
        typer.Argument(help="Session CSV of one outing, or a folder, of which the last is taken."),
    ] = Path(),
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
    hottest: Annotated[
        str | None, typer.Option("--hottest", help="Hottest day for the report; usually 35 degC.")
    ] = None,
    coldest: Annotated[
        str | None, typer.Option("--coldest", help="Coldest start for it; usually -10 degC.")
    ] = None,
    heater: Annotated[
        str | None, typer.Option("--heater", help="Heater for it, such as '500 W'.")
    ] = None,
) -> None:
    """Tell what the cooler rejects, in watts, against its label.

    The answer is one of four: meets its label, falls short, measured (without a label), or cannot
    tell, with the reason and the next thing to do. Cannot tell ends with exit code 5.
    """
    asked = {"hottest": hottest, "coldest": coldest, "heater": heater}
    if report is None and any(asked.values()):
        from wattsump_logger.errors import UsageError

        raise UsageError(
            expected="--report beside --hottest, --coldest or --heater",
            found="no --report",
            where="prove",
            do="add --report FILE.html, which they are for",
        )
    days = _days(asked) if any(asked.values()) else None  # typing errors go first
    proved = prove_file(_one_session(session), machine)
    conclude(proved, as_json=as_json, units=units, report=report, plot=plot, days=days)
    if proved.proof.verdict.tone == "open":
        raise typer.Exit(CANNOT_TELL)


def _one_session(path: Path) -> Path:
    """Return a typed session, or the last of a folder, having said which that is."""
    if not path.is_dir():
        return path
    from wattsump_logger.errors import UsageError
    from wattsump_logger.session.newest import newest_session

    newest = newest_session(path)
    if newest is None:
        raise UsageError(
            expected="a session, or a folder that holds one",
            found="none",
            where=str(path.resolve()),
            do="name the session that `wattsump log` or `wattsump import` made",
        )
    typer.echo(f"proving {newest}, the last outing of this folder", err=True)
    return newest


def prove_file(path: Path, machine: Path | None) -> "Proved":
    """Load a session and prove it; progress goes to a terminal's stderr."""
    from wattsump_analysis.proof.prove import prove
    from wattsump_logger.machine.profile import load_profile
    from wattsump_logger.session.reader import load_session

    profile = None if machine is None else load_profile(machine)
    outing = load_session(path)
    held = outing.metadata.get("profile")
    logged = held.get("name") if isinstance(held, dict) else None
    if profile is not None and logged not in (None, profile.name):
        text = f"logged with the machine {printable(str(logged))!r}, read as {profile.name!r}"
        typer.echo(f"{path}: {text}", err=True)
    with _progress() as tell:
        proof = prove(outing, profile, progress=tell)
    return Proved(proof=proof, outing=outing, machine=profile)


def _days(asked: dict[str, str | None]) -> "Days":
    from wattsump_analysis.questions.typed import typed_fields
    from wattsump_analysis.show.report.replies import Days

    return typed_fields(Days, asked)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proved:
    """A proof with its session and profile, which the answers for the report need."""

    proof: "Proof"
    outing: "Session | None" = None
    machine: "Profile | None" = None

    def givens(self) -> "Givens":
        """Return the outing's inputs to the owner's questions."""
        from wattsump_analysis.questions.givens import givens_of

        return givens_of(self.proof, self.outing, self.machine)

    def samples(self) -> "Samples | None":
        """Return every reading by role, where there is a session with a tank."""
        from wattsump_analysis.reading.samples import gather
        from wattsump_logger.errors import SessionError

        if self.outing is None:
            return None
        with contextlib.suppress(SessionError):  # then the proof's own words say so
            return gather(self.outing, self.machine or self.outing.profile())
        return None


def conclude(
    proved: Proved,
    *,
    as_json: bool = False,
    units: str = "si",
    report: Path | None = None,
    plot: Path | None = None,
    days: "Days | None" = None,
) -> None:
    """Print the answer, then write the files; one that fails does not stop the others."""
    givens = proved.givens()
    with contextlib.ExitStack() as last_first:  # each is tried even if others fail
        if plot is not None:
            last_first.callback(_write_plot, proved, units, plot)
        if report is not None:
            last_first.callback(_write_report, proved, givens, units, report, days)
        last_first.callback(_print_answer, proved, givens, units, as_json)


def _print_answer(proved: Proved, givens: "Givens", units: str, as_json: bool) -> None:
    if as_json:
        from wattsump_analysis.proof.proof_json import proof_text

        typer.echo(proof_text(proved.proof), nl=False)
    else:
        _print_screen(proved.proof, givens, units)


def _write_plot(proved: Proved, units: str, path: Path) -> None:
    from wattsump_analysis.show.plots.files import save
    from wattsump_analysis.show.plots.outing import plot_outing

    save(plot_outing(proved.proof, units=units, samples=proved.samples()), path)


def _write_report(
    proved: Proved, givens: "Givens", units: str, path: Path, days: "Days | None"
) -> None:
    from wattsump_analysis.show.report.page import write_report
    from wattsump_analysis.show.report.season import season_beside

    machine = "" if givens.profile is None else givens.profile.name
    outing = proved.outing
    season = None if outing is None else season_beside(outing.path, machine, path)
    write_report(
        proved.proof,
        path,
        units,
        samples=proved.samples(),
        givens=givens,
        days=days,
        season=season,
        made_with=_made_with(proved),
    )


def _made_with(proved: Proved) -> dict[str, str]:
    """Return the release, its libraries, and the checksum of the session."""
    import hashlib

    from wattsump_analysis.commands.version import release

    made = release()
    if proved.outing is not None:
        digest = hashlib.sha256(proved.outing.path.read_bytes()).hexdigest()
        made[f"SHA-256 of {proved.outing.path.name}"] = digest
    return made


def _print_screen(proof: "Proof", givens: "Givens", units: str = "si") -> None:
    """Print the answer: in colour on a terminal, as plain text into a file or a pipe."""
    from rich.console import Console

    from wattsump_analysis.show.hottest_day import hottest_line
    from wattsump_analysis.show.screen import proof_screen

    screen = proof_screen(proof, units, hottest_line(givens, units))
    Console(highlight=False, soft_wrap=True, emoji=False).print(screen)


@contextlib.contextmanager
def _progress() -> Iterator[Callable[[str], None]]:
    """Yield a function that shows progress on one line of a terminal, and nothing elsewhere."""
    if not sys.stderr.isatty():
        yield lambda text: None
        return
    try:
        yield lambda text: typer.echo(f"\r\x1b[Kfitting: {text} ...", nl=False, err=True)
    finally:
        sys.stderr.write("\r\x1b[K")
