"""The `wattsump` command, composed once from the packages' command modules."""

import sys

import typer

from wattsump_logger import commands as logger_commands
from wattsump_logger.errors import WattsumpError

__all__ = ("app", "main")

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,  # its help alone would cost more than the whole start-up
    help="What a hydraulic oil cooler really rejects.",
)
logger_commands.register(app)


def main() -> None:
    """Run the command; an expected error is one line and its own exit code."""
    try:
        app()
    except WattsumpError as error:
        sys.stderr.write(f"{error}\n")
        raise SystemExit(error.exit_code) from error
