"""Pictures of a season and of a comparison, with a panel each for K and heat."""

import re
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.results import Interval
from wattsump_analysis.season.compare import Comparison
from wattsump_analysis.season.trend import Chart, Step, Trend
from wattsump_analysis.show.plots.pens import (
    INKS,
    WORDS_PT,
    Pen,
    Rows,
    fit_to,
    name_ends,
    new_figure,
    say,
    style,
)
from wattsump_analysis.show.words import figure, short_day
from wattsump_logger.units.quantities import shown_unit, to_shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ("plot_comparison", "plot_trend")

# Name, kind of quantity and ink of what is drawn of outings.
_K = ("K", "conductance", "cool")
_HEAT = ("heat", "power", "hot")
_AVERAGE_PEN = Pen(ink="text", dash="--", width=1.0)
_FOOT = 0.34  # of the lower panel, kept for what was noted
_NOTE_ROWS = 2
_STEP_ROWS = 3
_MARGIN = 10  # letters
_RANGE_AT = 1.5  # of the second side, which stands at 1
_BESIDE_IN = 6.0  # narrower than this, two panels stand one over the other


def plot_trend(trend: Trend, *, units: str = "si", figure: "Figure | None" = None) -> "Figure":
    """Draw a trend and return its figure.

    Dots are outings under like conditions, crosses those that lie apart, rings what was
    measured. The thick line is a stretch's level; the dashed line the moving average of the
    outings after those that give its level, shaded its limits. A dotted line
    is a change, with its likely cause; a triangle is an event.
    """
    drawn = figure
    if drawn is None:  # a page says of what machine it is; a file by itself must
        drawn = new_figure(9.0, 5.6)
        drawn.suptitle(trend.machine, x=0.02, ha="left", fontsize=WORDS_PT, color=INKS["text"])
    upper, lower = drawn.subplots(2, 1, sharex=True)
    referred = np.exp(trend.referred)
    raw = [[o.k_w_k for o in trend.outings], [o.heat_w for o in trend.outings]]
    for axes, what, number, charts in (
        (upper, _K, 0, trend.charts_k),
        (lower, _HEAT, 1, trend.charts_heat),
    ):
        values = referred[:, number], np.array(raw[number], dtype=np.float64)
        _panel(axes, trend, values, charts, what, units)
    _steps(upper, lower, trend.steps)
    _events(lower, trend)
    _dates(lower, trend)
    return drawn


def _panel(
    axes: "Axes",
    trend: Trend,
    referred_and_raw: tuple[FloatArray, FloatArray],
    charts: tuple[Chart, ...],
    what: tuple[str, str, str],
    units: str,
) -> None:
    values, raw = referred_and_raw
    name, kind, ink = what
    largest = float(values.max())

    def shown(x: FloatArray) -> FloatArray:
        return np.asarray(to_shown(np.asarray(x, dtype=np.float64), kind, units, largest=largest))

    style(axes)
    odd = np.isin(np.arange(values.size), trend.odd)
    everywhere = np.arange(raw.size)
    colour = INKS[ink]
    axes.plot(everywhere, shown(raw), "o", color=colour, markersize=5, fillstyle="none", mew=0.8)
    axes.plot(np.flatnonzero(~odd), shown(values[~odd]), "o", color=colour, markersize=4)
    axes.plot(np.flatnonzero(odd), shown(values[odd]), "x", color=INKS["text"], markersize=7)
    level = 0.0
    for number in range(len(trend.stretches.starts)):
        inside = trend.stretches.members(number, values.size)
        level = float(np.exp(np.log(values[inside]).mean()))
        ends = [inside[0] - 0.4, inside[-1] + 0.4]
        axes.plot(ends, shown(np.full(2, level)), color=colour, linewidth=2.4, zorder=3)
    drawn = [shown(raw), shown(values)]
    for chart in charts:
        drawn += _chart(axes, chart, shown)
    axes.set_xlim(-0.6, values.size - 0.4)
    fit_to(axes, drawn, 0.08 if kind == "conductance" else _FOOT)
    pens = {f"level\n{_in_two(figure(level, kind, units, both=False))}": Pen(ink=ink)}
    heights = [float(shown(np.array([level]))[0])]
    if charts and charts[-1].positions[-1] == values.size - 1:
        average = charts[-1].average
        pens |= {"average": _AVERAGE_PEN, "limit": Pen(ink="text"), "limit ": Pen(ink="text")}
        heights += [float(shown(row)[-1]) for row in (average.value, average.upper, average.lower)]
    name_ends(axes, dict(zip(pens, heights, strict=True)), pens)
    unit = shown_unit(kind, units, largest=largest)
    axes.set_ylabel(f"{name}, {unit}", color=INKS["text"], fontsize=WORDS_PT)


def _chart(
    axes: "Axes", chart: Chart, shown: Callable[[FloatArray], FloatArray]
) -> list[FloatArray]:
    """Draw a moving average between its limits, wide enough to be seen where it is one outing."""
    average = chart.average
    low, middle, high = (shown(row) for row in (average.lower, average.value, average.upper))
    at = chart.positions.astype(np.float64)
    if at.size == 1:
        at = at[0] + np.array([-0.4, 0.4])
        low, middle, high = (np.repeat(row, 2) for row in (low, middle, high))
    axes.fill_between(at, low, high, color=INKS["band"], linewidth=0, zorder=0)
    for row in (low, high):
        axes.plot(at, row, color=INKS["text"], linestyle=(0, (1, 2)), linewidth=0.8)
    axes.plot(at, middle, color=INKS["text"], linestyle=_AVERAGE_PEN.dash, linewidth=1.0)
    return [low, high]


def _in_two(text: str) -> str:
    """Break a value before a unit too long for the margin."""
    return re.sub(r"(?<=\d) (?=\D)", "\n", text, count=1) if len(text) > _MARGIN else text


def _steps(upper: "Axes", lower: "Axes", steps: Sequence[Step]) -> None:
    rows = Rows(upper, _STEP_ROWS)
    for step in steps:
        for axes in (upper, lower):
            axes.axvline(step.at - 0.5, color=INKS["limit"], linewidth=1.2, linestyle=":")
        name = step.cause.removeprefix("the ").split(",")[0]
        row = rows.row_for(step.at - 0.5 - 0.5 * rows.length(name), name)
        if row is None:
            continue
        upper.annotate(
            name,
            (step.at - 0.5, 1.02 + 0.11 * row),
            xycoords=upper.get_xaxis_transform(),
            ha="center",
            va="bottom",
            fontsize=WORDS_PT,
            color=INKS["limit"],
            annotation_clip=False,
        )


def _events(axes: "Axes", trend: Trend) -> None:
    """Mark what was noted, and name it where there is room."""
    rows = Rows(axes, _NOTE_ROWS)
    for position, outing in enumerate(trend.outings):
        if not outing.events:
            continue
        axes.plot(
            [position],
            [0.0],
            "^",
            color=INKS["text"],
            transform=axes.get_xaxis_transform(),
            clip_on=False,
        )
        name = ", ".join(dict.fromkeys(event.kind for event in outing.events))
        is_late = position > 0.6 * len(trend.outings)
        row = rows.row_for(position - rows.length(name) if is_late else position - 0.3, name)
        if row is None:
            continue
        axes.annotate(
            name,
            (position, 0.05 + 0.09 * row),
            xycoords=axes.get_xaxis_transform(),
            ha="right" if is_late else "left",
            fontsize=WORDS_PT,
            color=INKS["text"],
        )


def _dates(axes: "Axes", trend: Trend) -> None:
    n = len(trend.outings)
    reach = Rows(axes, 1).length("88 May   ")
    places = list(range(0, n, max(1, round(reach + 0.5))))
    axes.set_xticks(places)
    # A typed name must not be read as a formula.
    labels = [short_day(o.start_utc) or o.name for o in (trend.outings[i] for i in places)]
    axes.set_xticklabels(labels, parse_math=False)


def plot_comparison(
    comparison: Comparison, *, units: str = "si", figure: "Figure | None" = None
) -> "Figure":
    """Draw both sides of a comparison and return its figure.

    Dots are outings, thick lines the means of a side; the bar behind the second side is the
    95 % range of its change, from the mean before.
    """
    drawn = new_figure(9.0, 3.6) if figure is None else figure
    panels = drawn.subplots(1, 2) if drawn.get_figwidth() > _BESIDE_IN else drawn.subplots(2, 1)
    sides = (comparison.before, comparison.after)
    for axes, what, share, values in (
        (panels[0], _K, comparison.k, [[o.k_w_k for o in side] for side in sides]),
        (panels[1], _HEAT, comparison.heat, [[o.heat_w for o in side] for side in sides]),
    ):
        usable = [[v for v in side if v is not None] for side in values]
        _sides(axes, what, share, [np.array(side) for side in usable], units)
    return drawn


def _sides(
    axes: "Axes",
    what: tuple[str, str, str],
    share: Interval | None,
    sides: Sequence[FloatArray],
    units: str,
) -> None:
    name, kind, ink = what
    largest = max((float(side.max()) for side in sides if side.size), default=0.0)

    def shown(x: FloatArray) -> FloatArray:
        return np.asarray(to_shown(np.asarray(x, dtype=np.float64), kind, units, largest=largest))

    style(axes)
    drawn = []
    for at, values in enumerate(sides):
        if not values.size:
            continue
        along = at + np.linspace(-0.12, 0.12, values.size) if values.size > 1 else np.array([at])
        level = float(np.exp(np.log(values).mean()))
        axes.plot(along, shown(values), "o", color=INKS[ink], markersize=5)
        axes.plot([at - 0.16, at + 0.16], shown(np.full(2, level)), color=INKS[ink], linewidth=2.4)
        words = _in_two(figure(level, kind, units, both=False))
        place = np.array(at - 0.19), shown(np.array(level))
        say(axes, words, place, (0, 0), "right", "center", ink)
        drawn.append(shown(values))
    places = ["before", "after"]
    if share is not None:
        places.append("95 %")
        before = float(np.exp(np.log(sides[0]).mean()))
        ends = shown(before * (1.0 + np.array([share.low, share.high])))
        axes.plot(
            [_RANGE_AT] * 2, ends, color=INKS["text"], linewidth=2.0, marker="_", markersize=9
        )
        drawn.append(ends)
    fit_to(axes, drawn, 0.12)
    axes.set_xlim(-1.0, 1.7)
    axes.set_xticks([0, 1, _RANGE_AT][: len(places)], places)
    unit = shown_unit(kind, units, largest=largest)
    axes.set_ylabel(f"{name}, {unit}", color=INKS["text"], fontsize=WORDS_PT)
