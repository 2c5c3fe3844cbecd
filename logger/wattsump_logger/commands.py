"""The logger's commands: `log`, `import`, `ports`.

Nothing heavy is imported here: `--help` pays only for typer. Expected errors are raised;
the composed program turns them into one line and an exit code.
"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from wattsump_logger.profile import Profile

__all__ = ("register",)

_Machine = Annotated[
    Path | None, typer.Option("--machine", help="Machine profile (TOML); kept in the session.")
]
_Out = Annotated[Path, typer.Option("--out", help="Folder the files go to.")]
_Name = Annotated[str | None, typer.Option("--name", help="Name of the outing's files.")]


def register(app: typer.Typer) -> None:
    """Add the logger's commands to the program."""
    app.command("ports")(ports_command)
    app.command("log")(log_command)
    app.command("import")(import_command)


def ports_command(
    listen_s: Annotated[
        float,
        typer.Option("--listen", min=0.0, help="Listen so many seconds; resets many boards."),
    ] = 0.0,
    baud: Annotated[int, typer.Option("--baud", min=50, help="Speed to listen at.")] = 115_200,
) -> None:
    """List serial ports, and with --listen which of them speaks our line protocol."""
    from wattsump_logger.listen import port_lines

    for line in port_lines(listen_s=listen_s, baud=baud):
        typer.echo(line)


def log_command(
    port: Annotated[str, typer.Argument(help="Port to read, as `wattsump ports` lists it.")],
    machine: _Machine = None,
    out: _Out = Path(),
    name: _Name = None,
    baud: Annotated[int, typer.Option("--baud", min=50, help="Speed of the port.")] = 115_200,
    quiet_min: Annotated[
        float | None,
        typer.Option(
            "--new-after", min=0.1, help="Begin a new outing after so many quiet minutes."
        ),
    ] = None,
) -> None:
    """Record an outing from a port until Ctrl-C: <name>.csv, its sidecar, <name>.wire."""
    from wattsump_logger import capture, ports, telling

    profile = _profile(machine)
    typer.echo(telling.beginning(port), err=True)
    with capture.stop_on_signals() as stop, telling.statuses() as on_status:
        captured = capture.run(
            ports.SerialSource(port, baud),
            out,
            profile,
            stop=stop,
            on_status=on_status,
            name=name,
            quiet_ends_s=None if quiet_min is None else quiet_min * 60,
        )
    for line in telling.ending(captured):
        typer.echo(line)


def import_command(
    files: Annotated[list[Path], typer.Argument(help=".wire or card files of one outing.")],
    machine: _Machine = None,
    out: _Out = Path(),
    name: _Name = None,
    start: Annotated[
        str | None,
        typer.Option("--start", help="When the first reading was, if nothing had a clock."),
    ] = None,
    rename: Annotated[
        list[str] | None, typer.Option("--rename", help="Another name for a channel: OLD=NEW.")
    ] = None,
) -> None:
    """Make a session from wire files or card files, again or for the first time."""
    from wattsump_logger import importing, telling

    imported = importing.import_files(
        files,
        out,
        importing.name_for(files, out, name),
        _profile(machine),
        start_utc=importing.typed_start(start),
        names=importing.typed_names(rename or ()),
    )
    for line in telling.imported(imported):
        typer.echo(line)


def _profile(machine: Path | None) -> "Profile | None":
    if machine is None:
        return None
    from wattsump_logger.profile import load_profile

    return load_profile(machine)
