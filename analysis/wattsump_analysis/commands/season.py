"""The commands over several outings: `trend`, `compare` and `fleet`.

Nothing heavy is imported here: `--help` pays only for typer.
"""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wattsump_logger.commands.log import Units
from wattsump_logger.errors import UsageError

if TYPE_CHECKING:
    from wattsump_analysis.season.folder import Gathered
    from wattsump_analysis.season.outing import Outing

__all__ = ("register",)

_Machine = Annotated[
    Path | None,
    typer.Option("--machine", help="Profile (TOML) to use in place of those in the sessions."),
]
_Units = Annotated[Units, typer.Option("--units", help="Units to show.")]
_Json = Annotated[bool, typer.Option("--json", help="Print data for programs instead.")]
_Report = Annotated[Path | None, typer.Option("--report", help="Write the page, HTML.")]
# The exit code of a shell after Ctrl-C.
INTERRUPTED = 130


def register(app: typer.Typer) -> None:
    """Add the commands over outings to the program."""
    app.command("compare")(compare_command)
    app.command("trend")(trend_command)
    app.command("fleet")(fleet_command)


def trend_command(
    folder: Annotated[Path, typer.Argument(help="Folder of a machine's sessions.")],
    machine: _Machine = None,
    name: Annotated[
        str | None, typer.Option("--of", help="Which machine, where the folder holds several.")
    ] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", help="Draw the season: .svg, .png or .pdf.")
    ] = None,
    report: _Report = None,
    units: _Units = Units.SI,
    as_json: _Json = False,
) -> None:
    """Show whether cooler or drive changed over a folder's outings.

    And when, by how much, how sure that is, and what to measure next. The results are kept in
    the folder, so that only new outings are worked out.
    """
    from wattsump_analysis.season.trend import trend_of

    gathered = _gathered(folder, machine)
    trend = trend_of(_of_one_machine(gathered.outings, name), gathered.left_out)
    if as_json:
        from wattsump_analysis.show.season_json import trend_data

        _print_json(trend_data(trend))
    else:
        from wattsump_analysis.show.season_screen import trend_screen

        typer.echo(trend_screen(trend, units))
    if plot is not None:
        from wattsump_analysis.show.plots.files import save
        from wattsump_analysis.show.plots.season import plot_trend

        save(plot_trend(trend, units=units).axes[0], plot)
    if report is not None:
        from wattsump_analysis.commands.version import release
        from wattsump_analysis.show.report.links import Links
        from wattsump_analysis.show.report.season_page import render_season
        from wattsump_logger.session.wholefile import write_whole

        links = Links(page=report, sessions=gathered.paths)
        made_with = {"sessions in": folder.as_posix(), **release()}
        write_whole(report, render_season(trend, units, links=links, made_with=made_with))


def compare_command(
    before: Annotated[
        str,
        typer.Argument(
            help="A session, several with commas, or a folder; day.csv#1 is the stretch of a "
            "session before its first swap, day.csv#2 that after it."
        ),
    ],
    after: Annotated[str, typer.Argument(help="The same, from after the change.")],
    machine: _Machine = None,
    report: _Report = None,
    units: _Units = Units.SI,
    as_json: _Json = False,
) -> None:
    """Show what differs between outings before and after a change.

    Temperatures are compared at the same air and the same work, and the cooler's part is
    separated from the drive's where the outings allow it.
    """
    from wattsump_analysis.season.compare import compare

    sides = _side(before, machine), _side(after, machine)
    comparison = compare(*(side.outings for side in sides))
    if as_json:
        from wattsump_analysis.show.season_json import compare_data

        _print_json(compare_data(comparison))
    else:
        from wattsump_analysis.show.season_screen import compare_screen

        typer.echo(compare_screen(comparison, units))
    if report is not None:
        from wattsump_analysis.commands.version import release
        from wattsump_analysis.show.report.links import Links
        from wattsump_analysis.show.report.season_page import render_comparison
        from wattsump_logger.session.wholefile import write_whole

        links = Links(page=report, sessions={**sides[0].paths, **sides[1].paths})
        made_with = {"before": before, "after": after, **release()}
        write_whole(report, render_comparison(comparison, units, links=links, made_with=made_with))


def fleet_command(
    folder: Annotated[Path, typer.Argument(help="Folder of the machines' folders.")],
    report: _Report = None,
    units: _Units = Units.SI,
    as_json: _Json = False,
) -> None:
    """Show the state of several machines, the one to look at first on top.

    Each folder right below keeps the results of its outings, as `trend` on it does. The page links
    season.html of a machine's folder, where `trend --report` wrote one.
    """
    from wattsump_analysis.season.fleet import fleet_of, gather_tree

    gathered = gather_tree(folder, lambda below, only: _gathered(below, None, only))
    members = fleet_of(gathered, folder)
    if not members:
        raise UsageError(
            expected="a session that could be worked out",
            found=f"none of {len(gathered.left_out)}",
            where=str(folder),
            do="prove one of them, which says why",
        )
    if as_json:
        from wattsump_analysis.show.fleet_screen import fleet_data

        _print_json(fleet_data(members, gathered.left_out))
    else:
        from wattsump_analysis.show.fleet_screen import fleet_screen

        typer.echo(fleet_screen(members, gathered.left_out, units))
    if report is not None:
        from wattsump_analysis.commands.version import release
        from wattsump_analysis.show.report.fleet_page import render_fleet
        from wattsump_logger.session.wholefile import write_whole

        made_with = {"machines in": folder.as_posix(), **release()}
        page = render_fleet(members, gathered.left_out, units, page=report, made_with=made_with)
        write_whole(report, page)


def _gathered(
    folder: Path, machine: Path | None, only: frozenset[Path] | None = None
) -> "Gathered":
    from wattsump_analysis.season.folder import gather

    with _progress() as on_progress:
        gathered = gather(folder, only=only, profile_path=machine, on_progress=on_progress)
    for note in gathered.notes:
        typer.echo(note, err=True)
    return gathered


@contextmanager
def _progress() -> Iterator[Callable[[int, int, str], None]]:
    """A bar on a terminal; after Ctrl-C, how far it came and that the next run goes on."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
    from rich.progress import TimeRemainingColumn as Remaining

    reached = [0, 0]
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), Remaining())
    console = Console(stderr=True)
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task("working out", total=None)

        def tell(done: int, of: int, name: str) -> None:
            reached[:] = done, of
            bar.update(task, completed=done, total=of)

        try:
            yield tell
        except KeyboardInterrupt:
            bar.stop()
            sys.stderr.write(
                f"stopped after {reached[0]} of {reached[1]} outings; they are kept, "
                "run it again to go on\n"
            )
            raise typer.Exit(INTERRUPTED) from None


def _of_one_machine(outings: "tuple[Outing, ...]", name: str | None) -> "list[Outing]":
    """Outings of the machine asked for, or of the only one there is."""
    machines = sorted({outing.machine for outing in outings})
    if name is None:
        return list(outings)
    chosen = [machine for machine in machines if name.casefold() in machine.casefold()]
    if len(chosen) != 1:
        raise UsageError(
            expected="one of " + (", ".join(map(repr, machines)) or "no machine at all"),
            found=repr(name),
            where="--of",
            do="type enough of its name",
        )
    return [outing for outing in outings if outing.machine == chosen[0]]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Side:
    """Outings of one side of a comparison, in order, and their sessions by key."""

    outings: "list[Outing]"
    paths: dict[str, Path]


def _side(typed: str, machine: Path | None) -> _Side:
    outings: list[Outing] = []
    paths: dict[str, Path] = {}
    for part in filter(None, map(str.strip, typed.split(","))):
        path = Path(part)
        if not path.exists() and "#" in part:
            outings.append(_stretch(part, machine))
            paths[outings[-1].key] = Path(part.rpartition("#")[0])
            continue
        if path.is_dir():
            gathered = _gathered(path, machine)
        elif path.is_file():
            gathered = _gathered(path.parent, machine, frozenset({path}))
        else:
            raise UsageError(
                expected="a session or a folder of sessions",
                found="nothing of that name",
                where=str(path),
                do="check the path",
            )
        for session in gathered.left_out:
            typer.echo(f"{session.name}: left out, {session.why}", err=True)
        outings += gathered.outings
        paths |= gathered.paths
    outings.sort(key=lambda outing: (outing.start_utc or "", outing.name))
    return _Side(outings=outings, paths=paths)


def _stretch(typed: str, machine: Path | None) -> "Outing":
    """One stretch of a session, typed as name#number."""
    from wattsump_analysis.season.folder import stretches_of

    name, _, number = typed.rpartition("#")
    stretches = stretches_of(Path(name), machine)
    if not number.isdecimal() or not 1 <= int(number) <= len(stretches):
        raise UsageError(
            expected=f"a stretch from 1 to {len(stretches)}",
            found=repr(number),
            where=name,
            do="mark each swap in the session, or count again",
        )
    return stretches[int(number) - 1]


def _print_json(data: dict[str, object]) -> None:
    import json

    typer.echo(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False))
