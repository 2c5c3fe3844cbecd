"""The command `forecast`: its options."""

from typing import Annotated

import typer

from wattsump_analysis.commands.asking import SI, AsJson, FromProof, Machine, Text, Units, reply

__all__ = ("forecast_command",)


def forecast_command(
    ctx: typer.Context,
    ambient: Annotated[Text, typer.Option(help="Air of the forecast, such as '30 degC'.")] = None,
    measured_ambient: Annotated[
        Text, typer.Option(help="Air during the measurement, such as '10 to 15 degC'.")
    ] = None,
    hottest: Annotated[Text, typer.Option(help="Hottest day, for the margins.")] = None,
    measured: Annotated[
        Text, typer.Option(help="Measured cooler, such as '95 to 115 W/K'.")
    ] = None,
    shell: Annotated[Text, typer.Option(help="What tank and lines lose by themselves.")] = None,
    capacity: Annotated[Text, typer.Option(help="Oil and metal, such as '60 to 75 kJ/K'.")] = None,
    heat: Annotated[Text, typer.Option(help="Heat into the oil at half of the load (P50).")] = None,
    heavy_heat: Annotated[
        Text, typer.Option(help="Heat that nine tenths of the work stay below (P90).")
    ] = None,
    work: Annotated[
        Text, typer.Option(help="Work rate as a share of the measured one, such as '120 %'.")
    ] = None,
    limit: Annotated[Text, typer.Option(help="One more oil limit.")] = None,
    now: Annotated[
        Text, typer.Option(help="Oil now, for the time from now and a fan that fails now.")
    ] = None,
    start: Annotated[
        Text, typer.Option(help="Oil at a cold start; as cold as the air if not given.")
    ] = None,
    still: Annotated[
        Text, typer.Option(help="The cooler without its fan, such as '12 W/K'.")
    ] = None,
    altitude: Annotated[Text, typer.Option(help="Altitude of the forecast.")] = None,
    measured_altitude: Annotated[
        Text, typer.Option(help="Altitude of the measurement; sea level if not given.")
    ] = None,
    from_proof: FromProof = None,
    machine: Machine = None,
    as_json: AsJson = False,
    units: Units = SI,
) -> None:
    """Say how hot the oil gets at an ambient and a load, and how soon.

    And in what air each limit is just reached; beyond what was measured, how far that is trusted.
    """
    from wattsump_analysis.questions.forecast import ForecastAsked, foresee

    reply(ctx, ForecastAsked, foresee)
