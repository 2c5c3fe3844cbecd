"""The `wattsump` program: every command, and the one place where errors become exit codes.

docs/exit-codes.md lists the codes. Nothing heavy is imported here: `--help` pays for typer
and little else.
"""

import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from wattsump_analysis import commands_outings, commands_questions
from wattsump_analysis.commands_demo import demo_command
from wattsump_analysis.commands_live import supplies
from wattsump_analysis.commands_prove import prove_command
from wattsump_logger import commands as logger_commands
from wattsump_logger.errors import WattsumpError

__all__ = ("main", "program", "register")


def register(app: typer.Typer) -> None:
    """Add the analysis' commands to the program."""
    app.command("prove")(prove_command)
    app.command("demo")(demo_command)
    commands_questions.register(app)
    commands_outings.register(app)


def program() -> typer.Typer:
    """Return the whole program: the logger's commands and the analysis'."""
    app = typer.Typer(
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        help="What a hydraulic oil cooler really rejects, in watts, against its label.",
    )
    app.callback()(_options)
    logger_commands.register(app, supplies())
    register(app)
    return app


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the program; an expected error becomes one line on stderr and its class's code."""
    try:
        program()(None if arguments is None else list(arguments), prog_name="wattsump")
    except WattsumpError as error:
        sys.stderr.write(f"wattsump: {error}\n")
        return error.exit_code
    return 0


def _version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        python = ".".join(map(str, sys.version_info[:3]))
        typer.echo(f"wattsump {version('wattsump')} (Python {python})")
        raise typer.Exit


def _options(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Show the version."),
    ] = False,
) -> None:
    pass
