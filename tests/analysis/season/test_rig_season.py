"""A real rig as a season: rows of its own channels, in outings of six cycles each."""

import csv
from pathlib import Path

import numpy as np

from analysis.few_outings import outing
from wattsump_analysis.season.causes import Cause
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.trend import trend_of

ROWS = Path(__file__).parents[3] / "sample-data" / "rig" / "cycle-means.csv"
CYCLES = 6  # to an outing
WARM_UP = 9  # of each setting, in which the cooler itself is still warming or cooling


def rig_outings() -> tuple[list[Outing], int]:
    """Outings with K and heat by the rig's own columns, and the first at the second setting.

    K is cooling power over oil into the cooler less air, as the rig's cooling efficiency gives
    it; the heat put in is the motor's power. The first cycles of each setting are left out.
    """
    with ROWS.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    settings = list(dict.fromkeys(row["cooler_pct"] for row in rows))
    outings: list[Outing] = []
    first = 0
    for setting in settings:
        first = len(outings)
        inside = [row for row in rows if row["cooler_pct"] == setting][WARM_UP:]
        table = {name: np.array([float(row[name]) for row in inside]) for name in rows[0]}
        over_air_k = (table["TS3"] - table["TS4"]) / (table["CE"] / 100.0)
        air_c = table["TS3"] - over_air_k
        k_w_k = 1000.0 * table["CP"] / over_air_k
        for begin in range(0, len(inside) - CYCLES + 1, CYCLES):
            part = slice(begin, begin + CYCLES)
            outings.append(
                outing(
                    len(outings),
                    float(k_w_k[part].mean()),
                    float(table["EPS1"][part].mean()),
                    ambient_c=float(air_c[part].mean()),
                    rise_k=float(over_air_k[part].mean()),
                )
            )
    return outings, first


def test_the_rigs_two_settings_are_a_step_of_the_cooler_at_the_swap() -> None:
    outings, swap = rig_outings()
    trend = trend_of(outings)
    assert [step.at for step in trend.steps] == [swap]
    (step,) = trend.steps
    assert step.cause is Cause.COOLER
    # independent: 67.7 over 49.4 W/K by the rig's own columns (cycles 45 to 53 and 760 to 768).
    assert step.k.low < 67.7 / 49.4 - 1.0 < step.k.high
    assert step.heat.low < 0.0 < step.heat.high
