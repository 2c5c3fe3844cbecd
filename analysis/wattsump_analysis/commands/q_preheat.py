"""The command `preheat`: its options."""

from typing import Annotated

import typer

from wattsump_analysis.commands.asking import SI, AsJson, FromProof, Machine, Text, Units, reply

__all__ = ("preheat_command",)


def preheat_command(
    ctx: typer.Context,
    heater: Annotated[Text, typer.Option(help="Heater power, such as '500 W'.")] = None,
    target: Annotated[Text, typer.Option(help="Oil temperature wanted at the pump inlet.")] = None,
    soak: Annotated[Text, typer.Option(help="Oil after the cold night.")] = None,
    ambient: Annotated[Text, typer.Option(help="Air; as cold as the soak if not given.")] = None,
    capacity: Annotated[Text, typer.Option(help="Oil and metal, such as '60 to 75 kJ/K'.")] = None,
    loss: Annotated[
        Text, typer.Option(help="What the machine loses at rest, such as '8 to 14 W/K'.")
    ] = None,
    heater_area: Annotated[
        Text, typer.Option(help="Wetted or bonded area, such as '300 cm2'.")
    ] = None,
    watt_density: Annotated[
        Text, typer.Option(help="Or its power per area, such as '1 W/cm2'.")
    ] = None,
    near_share: Annotated[
        Text, typer.Option(help="Share of the capacity beside the heater.")
    ] = None,
    coupling: Annotated[
        Text,
        typer.Option(help="Between heated and far side of a still tank, such as '3 to 12 W/K'."),
    ] = None,
    voltage: Annotated[Text, typer.Option(help="Battery voltage, for the charge it takes.")] = None,
    inverter: Annotated[Text, typer.Option(help="Inverter efficiency; 85 % if not given.")] = None,
    usable: Annotated[
        Text, typer.Option(help="Share of the battery that may be used; 50 % if not given.")
    ] = None,
    from_proof: FromProof = None,
    machine: Machine = None,
    as_json: AsJson = False,
    units: Units = SI,
) -> None:
    """Say how long a heater takes from a cold soak, and what it costs.

    And what power then holds the temperature, for the heated side and for the far one.
    """
    from wattsump_analysis.questions.preheat import PreheatAsked, warm_up

    reply(ctx, PreheatAsked, warm_up)
