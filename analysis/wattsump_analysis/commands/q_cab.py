"""The command `cab`: its options."""

from typing import Annotated

import typer

from wattsump_analysis.commands.asking import SI, AsJson, FromProof, Machine, Text, Units, reply

__all__ = ("cab_command",)


def cab_command(
    ctx: typer.Context,
    heat: Annotated[Text, typer.Option(help="Heat into the oil, such as '3.2 to 3.9 kW'.")] = None,
    ambient: Annotated[Text, typer.Option(help="Air entering the core.")] = None,
    cab: Annotated[Text, typer.Option(help="Cab wanted; 20 degC if not given.")] = None,
    measured: Annotated[
        Text, typer.Option(help="Measured cooler, such as '95 to 115 W/K'.")
    ] = None,
    shell: Annotated[Text, typer.Option(help="What tank and lines lose by themselves.")] = None,
    air_flow: Annotated[Text, typer.Option(help="Air through the core, such as '600 cfm'.")] = None,
    oil_flow: Annotated[Text, typer.Option(help="Oil through it, for what the duct costs.")] = None,
    duct: Annotated[
        Text, typer.Option(help="Share of the core's air the duct takes; all if not given.")
    ] = None,
    air_left: Annotated[
        Text, typer.Option(help="Air flow with the duct over that without; 70 % if not given.")
    ] = None,
    altitude: Annotated[Text, typer.Option(help="Sea level if not given.")] = None,
    from_proof: FromProof = None,
    machine: Machine = None,
    as_json: AsJson = False,
    units: Units = SI,
) -> None:
    """Say what the air behind the cooler gives a cab, and what it costs.

    A duct takes air from the core, so the oil settles higher with it than without.
    """
    from wattsump_analysis.questions.cab import CabAsked, warm_cab

    reply(ctx, CabAsked, warm_cab)
