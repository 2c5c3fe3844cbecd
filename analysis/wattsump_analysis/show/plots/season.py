"""A season in one picture: K above, heat below, with levels, limits, steps and events."""

from typing import TYPE_CHECKING

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.season.trend import Chart, Trend
from wattsump_analysis.show.plots.pens import INKS, WORDS_PT
from wattsump_logger.units.quantities import shown_unit, to_shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ("plot_trend",)


def plot_trend(trend: Trend, *, units: str = "si", figure: "Figure | None" = None) -> "Figure":
    """Draw a trend and return its figure.

    Dots are outings under like conditions (crosses: odd ones out), rings what was measured; the
    thick line is each stretch's level, the thin
    dashed line the moving average with its limits as a band. A step carries its cause.
    """
    from matplotlib.figure import Figure

    if figure is None:
        figure = Figure(figsize=(9.0, 5.6), layout="constrained")
    upper, lower = figure.subplots(2, 1, sharex=True)
    k = np.array([o.k_w_k for o in trend.outings], dtype=np.float64)
    heat = np.array([o.heat_w for o in trend.outings], dtype=np.float64)
    referred = np.exp(trend.referred)
    _panel(upper, trend, (referred[:, 0], k), trend.charts_k, "conductance", units)
    _panel(lower, trend, (referred[:, 1], heat), trend.charts_heat, "power", units)
    upper.set_title(
        f"{trend.machine}: cooler (above) and heat into the oil (below)",
        loc="left",
        color=INKS["text"],
        fontsize=WORDS_PT,
    )
    _steps(upper, trend)
    _events(lower, trend)
    _names(lower, trend)
    return figure


def _panel(
    axes: "Axes",
    trend: Trend,
    referred_and_raw: tuple[FloatArray, FloatArray],
    charts: tuple[Chart, ...],
    kind: str,
    units: str,
) -> None:
    values, raw = referred_and_raw
    largest = float(values.max())

    def shown(x: FloatArray) -> FloatArray:
        return np.array([to_shown(float(v), kind, units, largest=largest) for v in x])

    ink = INKS["cool"] if kind == "conductance" else INKS["hot"]
    odd = np.isin(np.arange(values.size), trend.odd)
    everywhere = np.arange(raw.size)
    axes.plot(everywhere, shown(raw), "o", color=ink, markersize=3, fillstyle="none", alpha=0.5)
    axes.plot(np.flatnonzero(~odd), shown(values[~odd]), "o", color=ink, markersize=4)
    axes.plot(np.flatnonzero(odd), shown(values[odd]), "x", color=INKS["text"], markersize=7)
    for number in range(len(trend.stretches.starts)):
        inside = trend.stretches.members(number, values.size)
        level = shown(np.full(2, np.exp(np.log(values[inside]).mean())))
        axes.plot([inside[0] - 0.4, inside[-1] + 0.4], level, color=ink, linewidth=2.2)
    for chart in charts:
        average = chart.average
        axes.fill_between(
            chart.positions, shown(average.lower), shown(average.upper), color=INKS["band"]
        )
        axes.plot(
            chart.positions, shown(average.value), color=INKS["text"], linestyle="--", linewidth=1
        )
    axes.set_ylabel(
        f"{'K' if kind == 'conductance' else 'heat'}, {shown_unit(kind, units, largest=largest)}",
        color=INKS["text"],
        fontsize=WORDS_PT,
    )
    axes.set_ylim(bottom=0.0, top=1.25 * float(shown(np.maximum(values, raw)).max()))
    axes.grid(color=INKS["grid"], linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
    # By name, so that a page may turn them light on dark.
    axes.spines[["left", "bottom"]].set_color(INKS["text"])
    axes.tick_params(colors=INKS["text"], labelsize=WORDS_PT)
    axes.patch.set_alpha(0.0)


def _steps(axes: "Axes", trend: Trend) -> None:
    for both in axes.figure.axes:
        for step in trend.steps:
            both.axvline(step.at - 0.5, color=INKS["limit"], linewidth=1.0, linestyle=":")
    for row, step in enumerate(trend.steps):
        axes.annotate(
            f"{step.cause}, {100 * step.causes[0].probability:.0f} %",
            (step.at - 0.5, 1.0 - 0.08 * (row % 2)),
            xycoords=("data", "axes fraction"),
            xytext=(3, -2),
            textcoords="offset points",
            verticalalignment="top",
            fontsize=WORDS_PT,
            color=INKS["text"],
        )


def _events(axes: "Axes", trend: Trend) -> None:
    for position, outing in enumerate(trend.outings):
        if not outing.events:
            continue
        # A mark is a person's text: it must not be read as a formula.
        words = ", ".join(event.kind for event in outing.events)
        axes.annotate(
            words,
            (position, 0.02),
            xycoords=("data", "axes fraction"),
            rotation=90,
            fontsize=WORDS_PT,
            color=INKS["other"],
            parse_math=False,
        )
        axes.plot([position], [0.0], "^", color=INKS["other"], clip_on=False)


def _names(axes: "Axes", trend: Trend) -> None:
    n = len(trend.outings)
    every = max(1, -(-n // 7))
    places = list(range(0, n, every))
    axes.set_xticks(places)
    labels = [(o.start_utc or "")[:10] or o.name for o in (trend.outings[i] for i in places)]
    axes.set_xticklabels(labels, rotation=30, horizontalalignment="right", parse_math=False)
