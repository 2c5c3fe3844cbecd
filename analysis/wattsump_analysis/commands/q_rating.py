"""The command `rating`: its options."""

from typing import Annotated

import typer

from wattsump_analysis.commands.asking import SI, AsJson, FromProof, Machine, Text, Units, reply

__all__ = ("rating_command",)


def rating_command(
    ctx: typer.Context,
    label_heat: Annotated[
        Text, typer.Option(help="Heat on the label, such as '20000 BTU/h'.")
    ] = None,
    label_etd: Annotated[
        Text,
        typer.Option(
            help="Entering difference it is stated at, such as '100 degF'; or leave it out."
        ),
    ] = None,
    measured: Annotated[
        Text, typer.Option(help="Measured cooler, such as '95 to 115 W/K'.")
    ] = None,
    tolerance: Annotated[
        Text, typer.Option(help="What a label may be missed by, such as '5 %'.")
    ] = None,
    air_flow: Annotated[Text, typer.Option(help="Air through the core, such as '600 cfm'.")] = None,
    oil_flow: Annotated[Text, typer.Option(help="Oil through it, such as '12 L/min'.")] = None,
    air_temp: Annotated[
        Text, typer.Option(help="Air the flow is counted at; 20 degC if not given.")
    ] = None,
    altitude: Annotated[
        Text, typer.Option(help="Where it was measured; sea level if not given.")
    ] = None,
    other_altitude: Annotated[Text, typer.Option(help="Altitude wanted.")] = None,
    other_air_flow: Annotated[Text, typer.Option(help="Air flow wanted.")] = None,
    other_oil_flow: Annotated[Text, typer.Option(help="Oil flow wanted.")] = None,
    viscosity: Annotated[
        Text,
        typer.Option(help="Oil in the core when measured; 7.4 mm2/s, a rating oil, if not given."),
    ] = None,
    other_viscosity: Annotated[
        Text, typer.Option(help="Oil in the core wanted, up to 150 mm2/s.")
    ] = None,
    heat: Annotated[
        Text, typer.Option(help="Heat into the oil to be carried, such as '3.2 to 3.9 kW'.")
    ] = None,
    shell: Annotated[
        Text, typer.Option(help="What tank and lines lose by themselves, such as '8 to 14 W/K'.")
    ] = None,
    hottest: Annotated[
        Text, typer.Option(help="Hottest day at the cooler's intake; sizes the next cooler.")
    ] = None,
    peak: Annotated[Text, typer.Option(help="Oil temperature not to be passed.")] = None,
    margin: Annotated[Text, typer.Option(help="For a dirty core; 10 % if not given.")] = None,
    power: Annotated[
        Text, typer.Option(help="Drive power, such as '6 hp', when nothing is measured.")
    ] = None,
    pump_efficiency: Annotated[Text, typer.Option(help="Overall, such as '85 %'.")] = None,
    motor_efficiency: Annotated[Text, typer.Option(help="Overall, such as '85 %'.")] = None,
    from_proof: FromProof = None,
    machine: Machine = None,
    as_json: AsJson = False,
    units: Units = SI,
) -> None:
    """Weigh a cooler's label against what was measured; size the next.

    A label without its temperature difference is decoded into the bases it may have meant.
    """
    from wattsump_analysis.questions.rating import rate
    from wattsump_analysis.questions.rating_case import RatingAsked

    reply(ctx, RatingAsked, rate)
