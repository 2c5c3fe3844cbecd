"""The logger's commands: `ports`, `import`, and `log` and `sensors` from their own modules.

Nothing heavy is imported here: `--help` pays only for typer. Expected errors are raised;
the composed program turns them into one line and an exit code.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer

from wattsump_logger.commands import log, sensors
from wattsump_logger.commands.log import Supplies, machine_profile

__all__ = ("register",)

_Column = Annotated[
    list[str] | None,
    typer.Option("--column", help="Role of a table's column: 'Oil T=tank degF', 'X=nothing'."),
]
_Was = Annotated[
    list[str] | None,
    typer.Option("--was", help="Times a table lacks: 'fan on 09:10 to 09:40, 09:50 to 10:05'."),
]
_Temperatures = Annotated[
    str | None, typer.Option("--temperatures", help="Of a table without units: degC or degF.")
]
_Dates = Annotated[
    str | None,
    typer.Option("--dates", help="Of unclear dates: day-first, month-first, year-first."),
]
_Decimals = Annotated[
    str | None, typer.Option("--decimals", help="Of unclear decimals: comma or point.")
]
_Times = Annotated[
    str | None, typer.Option("--times", help="A table's times: in s, ms, min, h or d, or mm:ss.")
]
_Preview = Annotated[
    bool, typer.Option("--preview", help="Show how a table is understood, write nothing.")
]
_Anew = Annotated[bool, typer.Option("--anew", help="Ask again, without the kept answers.")]


def register(app: typer.Typer, supplies: Supplies | None = None) -> None:
    """Add the logger's commands to the program, with the analysis' supplies."""
    app.command("ports")(ports_command)
    log.register(app, supplies)
    app.command("import")(import_command)
    sensors.register(app)


def ports_command(
    listen_s: Annotated[
        float,
        typer.Option("--listen", min=0.0, help="Listen for this many seconds; resets many boards."),
    ] = 0.0,
    baud: Annotated[int, typer.Option("--baud", min=50, help="Speed to listen at.")] = 115_200,
) -> None:
    """List serial ports, and with --listen which speak our protocol.

    A port you may not open is listed with what to do about it. Listening opens each port, which
    restarts many boards and does no other harm.
    """
    from wattsump_logger.capture.listen import port_lines

    for line in port_lines(listen_s=listen_s, baud=baud):
        typer.echo(line)


def import_command(
    files: Annotated[
        list[Path],
        typer.Argument(help=".wire or card files of one outing, or another logger's table."),
    ],
    machine: log.Machine = None,
    out: log.Out = Path(),
    name: log.Name = None,
    probes: log.Probes = None,
    start: Annotated[
        str | None,
        typer.Option("--start", help="When the first reading was, if nothing had a clock."),
    ] = None,
    rename: Annotated[
        list[str] | None, typer.Option("--rename", help="Another name for a channel: OLD=NEW.")
    ] = None,
    column: _Column = None,
    was: _Was = None,
    temperatures: _Temperatures = None,
    dates: _Dates = None,
    decimals: _Decimals = None,
    times: _Times = None,
    is_preview: _Preview = False,
    is_anew: _Anew = False,
) -> None:
    """Make a session from wire files, card files, or another logger's table.

    Use it again after correcting a profile or probes, or the first time for a controller's card.
    Frames that several files share are taken once. No existing file is written over.

    A table, as another logger or a spreadsheet writes it, needs times and temperatures in
    columns. How it was understood is shown; what could be read in two ways is asked, and the
    answers are kept for the next file.
    """
    from wattsump_logger.capture import importing
    from wattsump_logger.commands import telling
    from wattsump_logger.foreign.table import is_wire

    asked = {"temperatures": temperatures, "dates": dates, "decimals": decimals, "times": times}
    if not all(is_wire(file) for file in files):
        from wattsump_logger.commands.adopting import TableAsked, adopt

        importing.check_one_table(files)
        _refuse("a table", "--column 'NAME=ROLE' does that for a table", {"rename": rename})
        adopt(
            files[0],
            TableAsked(
                columns=tuple(column or ()),
                settings={key: value for key, value in asked.items() if value is not None},
                was=tuple(was or ()),
                is_preview=is_preview,
                is_anew=is_anew,
            ),
            machine=machine,
            folder=out,
            name=importing.name_for(files, out, name),
            start_utc=importing.typed_start(start),
        )
        return
    session = "make a session without it, then import its .csv with it"
    given = {"column": column, "was": was, **asked, "preview": is_preview, "anew": is_anew}
    _refuse("frames of the line protocol", session, given)
    imported = importing.import_files(
        files,
        out,
        importing.name_for(files, out, name),
        machine_profile(machine, probes),
        start_utc=importing.typed_start(start),
        names=importing.typed_names(rename or ()),
    )
    for line in telling.imported(imported):
        typer.echo(line)


def _refuse(found: str, do: str, options: Mapping[str, object]) -> None:
    """Refuse an option that would be passed over."""
    typed = next((name for name, value in options.items() if value), None)
    if typed is not None:
        from wattsump_logger.errors import UsageError

        raise UsageError(
            expected="a file that this option is for", found=found, where=f"--{typed}", do=do
        )
