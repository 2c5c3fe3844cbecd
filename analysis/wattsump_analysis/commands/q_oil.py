"""The command `oil`: its options."""

from pathlib import Path
from typing import Annotated

import typer

from wattsump_analysis.commands.asking import (
    SI,
    AsJson,
    FromProof,
    Machine,
    Text,
    Texts,
    Units,
    reply,
)

__all__ = ("oil_command",)


def oil_command(
    ctx: typer.Context,
    grade: Annotated[Text, typer.Option(help="Such as 'VG 46', or 'VG 46 VI 150'.")] = None,
    index: Annotated[
        Text, typer.Option(help="Viscosity index of that grade; 100 if not given.")
    ] = None,
    viscosity_40: Annotated[Text, typer.Option(help="At 40 degC, from the data sheet.")] = None,
    viscosity_100: Annotated[Text, typer.Option(help="At 100 degC.")] = None,
    density: Annotated[Text, typer.Option(help="At 15 degC.")] = None,
    cold: Annotated[Text, typer.Option(help="Oil at a cold start.")] = None,
    idle: Annotated[Text, typer.Option(help="Oil at idle.")] = None,
    peak: Annotated[Text, typer.Option(help="Hottest oil of the outing.")] = None,
    thickest: Annotated[Text, typer.Option(help="Thickest oil to start with.")] = None,
    thinnest: Annotated[Text, typer.Option(help="Thinnest oil at work.")] = None,
    compare: Annotated[
        Texts, typer.Option(help="Another oil to compare, as often as you like.")
    ] = None,
    session: Annotated[
        Path | None, typer.Option("--session", help="Session (CSV): time outside the window.")
    ] = None,
    from_proof: FromProof = None,
    machine: Machine = None,
    as_json: AsJson = False,
    units: Units = SI,
) -> None:
    """Say how thick the oil is cold, idling and hot, also of other grades.

    With a session or a proof: for how many minutes it was too thick or too thin.
    """
    from wattsump_analysis.questions.oil import OilAsked, compare_oils

    reply(ctx, OilAsked, compare_oils)
