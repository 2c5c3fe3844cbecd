"""The command `lines`: its options."""

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

__all__ = ("lines_command",)


def lines_command(
    ctx: typer.Context,
    flow: Annotated[Text, typer.Option(help="Oil flow, such as '12 L/min' or '5 gpm'.")] = None,
    line: Annotated[
        Text, typer.Option(help="suction, return or pressure; return if not given.")
    ] = None,
    dash: Annotated[
        Texts, typer.Option(help="A dash size such as -8, as often as you like.")
    ] = None,
    hose: Annotated[
        Texts,
        typer.Option(
            help="A hose, bore x length: '-8 x 3 m' or '12.7 mm x 3 m'; as often as there are."
        ),
    ] = None,
    bore: Annotated[Text, typer.Option(help="Another bore to judge, such as '14 mm'.")] = None,
    core: Annotated[
        Text, typer.Option(help="What the cooler's core holds, such as '0.8 L'.")
    ] = None,
    containers: Annotated[Text, typer.Option(help="Containers poured in, such as 2.5.")] = None,
    container: Annotated[Text, typer.Option(help="Size of one, such as '5 L'.")] = None,
    left: Annotated[Text, typer.Option(help="Left in the last one.")] = None,
    pressure: Annotated[
        Text, typer.Option(help="In the line, cold-start peaks counted, such as '150 psi'.")
    ] = None,
    hose_class: Annotated[
        Text, typer.Option(help="Hose by its SAE designation, such as 100R6.")
    ] = None,
    from_proof: FromProof = None,
    machine: Machine = None,
    as_json: AsJson = False,
    units: Units = SI,
) -> None:
    """Say what hoses and core hold, how fast oil flows, which fittings fit.

    Sizes go by dash number; pressure and hose class are held against each other.
    """
    from wattsump_analysis.questions.lines import LinesAsked, plumb

    reply(ctx, LinesAsked, plumb)
