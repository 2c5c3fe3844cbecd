"""The command `limits`: its options."""

from typing import Annotated

import typer

from wattsump_analysis.commands.asking import SI, AsJson, FromProof, Machine, Text, Units, reply

__all__ = ("limits_command",)


def limits_command(
    ctx: typer.Context,
    oil: Annotated[
        Text, typer.Option(help="Hottest oil; the hottest of the outing if not given.")
    ] = None,
    cold: Annotated[Text, typer.Option(help="Coldest that seals and hoses have to stand.")] = None,
    from_proof: FromProof = None,
    machine: Machine = None,
    as_json: AsJson = False,
    units: Units = SI,
) -> None:
    """Say what a temperature does to oil, seals, hoses and skin.

    Each row names its standing: little of it is more than common practice.
    """
    from wattsump_analysis.questions.limits import LimitsAsked, limits_of

    reply(ctx, LimitsAsked, limits_of)
