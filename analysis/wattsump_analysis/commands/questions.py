"""The owner's questions as commands, from `rating` to `lines`, a module each."""

import typer

from wattsump_analysis.commands.q_cab import cab_command
from wattsump_analysis.commands.q_forecast import forecast_command
from wattsump_analysis.commands.q_limits import limits_command
from wattsump_analysis.commands.q_lines import lines_command
from wattsump_analysis.commands.q_oil import oil_command
from wattsump_analysis.commands.q_preheat import preheat_command
from wattsump_analysis.commands.q_rating import rating_command

__all__ = ("register",)


def register(app: typer.Typer) -> None:
    """Add the owner's questions to the program."""
    app.command("rating")(rating_command)
    app.command("forecast")(forecast_command)
    app.command("preheat")(preheat_command)
    app.command("oil")(oil_command)
    app.command("cab")(cab_command)
    app.command("limits")(limits_command)
    app.command("lines")(lines_command)
