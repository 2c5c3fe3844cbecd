"""Pictures of one outing and its proof; each function takes optional axes and returns them."""

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.reading.record import despike
from wattsump_analysis.reading.samples import Samples
from wattsump_analysis.results import Proof
from wattsump_analysis.show.plots.pens import (
    INKS,
    LIMIT_PEN,
    OTHER_PEN,
    PENS,
    WORDS_PT,
    Pen,
    Rows,
    band_phases,
    draw_line,
    fit_to,
    last_of,
    line_share,
    name_ends,
    name_phases,
    new_axes,
    say,
    say_nothing,
    spread,
    time_axis,
)
from wattsump_analysis.show.words import figure, limit_name, mark_words, spaced, span
from wattsump_logger.units.quantities import shown_unit, to_shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = (
    "INKS",
    "new_axes",
    "plot_label",
    "plot_ledger",
    "plot_outing",
    "plot_residuals",
    "spread",
    "unnamed_marks",
)

# A limit further above the hottest reading is not drawn: it would flatten the lines.
NEAR_LIMIT_K = 10.0
_MARK_ROWS = 6
_FAN_SHARE = 0.07  # of the height, for the bar where the fan ran


def plot_outing(
    proof: Proof,
    axes: "Axes | None" = None,
    *,
    units: str = "si",
    samples: Samples | None = None,
) -> "Axes":
    """Draw the temperatures with phases, marks and limits, and a bar where the fan ran.

    Parameters
    ----------
    proof : Proof
        Its series, phases, marks and limits are drawn.
    axes : Axes, optional
        Where to draw; a new figure if none.
    units : {"si", "us"}
        Units of the temperature axis.
    samples : Samples, optional
        Every reading behind the proof, to draw highest and lowest readings instead of means,
        and the fan's state.
    """
    axes = new_axes(9.0, 4.6) if axes is None else axes
    elapsed_s = proof.series_s if samples is None else samples.elapsed_s
    temps_c = proof.series_c if samples is None else samples.temps_c
    lines = {
        name: to_shown(values, "temperature", units)
        for name, values in temps_c.items()
        if np.isfinite(values).any()
    }
    clean = lines
    if samples is not None:  # means have no spikes left
        clean = {
            name: to_shown(despike(temps_c[name], elapsed_s), "temperature", units)
            for name in lines
        }
    for name, values in clean.items():
        draw_line(axes, elapsed_s / 60, values, PENS.get(name, OTHER_PEN))
    limits = _limits(axes, proof, clean, units)
    time_axis(axes, elapsed_s)
    fan = None if samples is None else samples.fan
    marked = _marks(axes, [(at_s, mark_words(text, units)) for at_s, text in proof.marks])
    foot = marked + (0.03 if fan is None else _FAN_SHARE)
    drawn = [*clean.values(), *(np.array([height]) for height, _ in limits.values())]
    floor = _fit_above(axes, drawn, foot)
    for name in lines:
        spikes = np.where(np.isfinite(clean[name]), np.nan, lines[name])
        _spikes(axes, elapsed_s / 60, spikes, floor, PENS.get(name, OTHER_PEN))
    band_phases(axes, proof.phases)
    name_phases(axes, proof.phases)
    if fan is not None:
        _fan_bar(axes, elapsed_s, fan, marked)
    # The names of limits stand in the margin, where they hide no line.
    ends = {spaced(name): last_of(values) for name, values in clean.items()}
    heights = {words: height for words, (height, _) in limits.items()}
    name_ends(axes, ends | heights, _pens(lines) | {w: pen for w, (_, pen) in limits.items()})
    _say_unit(axes, f"temperature, {shown_unit('temperature', units)}")
    return axes


def plot_ledger(proof: Proof, axes: "Axes | None" = None, *, units: str = "si") -> "Axes":
    """Draw heat into the oil with its 95 % band, and where it went."""
    axes = new_axes() if axes is None else axes
    ledger = proof.ledger
    if ledger is None:
        return say_nothing(axes, "no watts: no heat is known in this outing")
    largest = float(np.nanmax(np.abs(ledger.heat_in_high_w), initial=1.0))
    minutes = ledger.elapsed_s / 60

    def shown(watts: FloatArray) -> FloatArray:
        return to_shown(watts, "power", units, largest=largest)

    axes.fill_between(
        minutes,
        shown(ledger.heat_in_low_w),
        shown(ledger.heat_in_high_w),
        color=INKS["hot"],
        alpha=0.18,
        linewidth=0,
    )
    lines = {
        "into the oil": (shown(ledger.heat_in_w), PENS["tank"]),
        "cooler": (shown(ledger.cooler_w), PENS["cooler_out"]),
        "shell": (shown(ledger.shell_w), PENS["ambient"]),
        "stored": (shown(ledger.stored_w), PENS["cooler_in"]),
    }
    for values, pen in lines.values():
        draw_line(axes, minutes, values, pen)
    axes.axhline(0.0, color=INKS["text"], linewidth=0.8)
    fit_to(axes, [shown(ledger.heat_in_high_w), *(values for values, _ in lines.values())])
    band_phases(axes, proof.phases)
    ends = {name: last_of(values) for name, (values, _) in lines.items()}
    name_ends(axes, ends, {name: pen for name, (_, pen) in lines.items()})
    time_axis(axes, ledger.elapsed_s)
    unit = shown_unit("power", units, largest=largest)
    _say_unit(axes, f"heat, {unit}")
    return axes


def plot_label(proof: Proof, axes: "Axes | None" = None, *, units: str = "si") -> "Axes":
    """Draw the measured heat against the oil-to-air difference, and the label on it.

    Both are lines through zero. A label without a difference is a level, and the measured line
    crosses it at the difference for which the label is true.
    """
    axes = new_axes(6.4, 4.2) if axes is None else axes
    k, label = proof.k_w_k, proof.label
    if k is None:
        return say_nothing(axes, "no watts per degree to draw")
    label_etd_k = label.label_etd_k if label else None
    crossing_k = label.label_heat_w / k.value if label else 40.0
    most_k = 1.25 * max(label_etd_k or 0.0, crossing_k, 20.0)
    etd_k = np.array([0.0, most_k])
    heats_w = [etd_k * slope for slope in (k.low, k.value, k.high)]
    largest = float(heats_w[2][1])

    def heat(watts: FloatArray | float) -> FloatArray:
        return np.asarray(to_shown(np.asarray(watts), "power", units, largest=largest))

    def difference(kelvin: FloatArray | float) -> FloatArray:
        return np.asarray(to_shown(np.asarray(kelvin), "temperature_difference", units))

    x = difference(etd_k)
    axes.fill_between(x, heat(heats_w[0]), heat(heats_w[2]), color=INKS["cool"], alpha=0.2, lw=0)
    draw_line(axes, x, heat(heats_w[1]), PENS["cooler_out"])
    measured = (difference(0.42 * most_k), heat(0.42 * most_k * k.low))
    say(axes, f"measured\n{span(k, 'conductance', units)}", measured, (6, -4), "left", "top")
    if label is not None:
        axes.axhline(float(heat(label.label_heat_w)), color=INKS["limit"], ls="--", lw=1.2)
        words = f"label {figure(label.label_heat_w, 'power', units, both=False)}"
        at_k = label_etd_k
        if at_k is None:
            at_k = crossing_k
            words += ", true at " + figure(at_k, "temperature_difference", units, both=False)
        point = (difference(at_k), heat(label.label_heat_w))
        axes.plot(*point, marker="D", color=INKS["limit"], markersize=7)
        say(axes, words, point, (-8, 7), "right", "bottom", "limit")
    if label is not None and label.heat_at_etd_w is not None and label_etd_k is not None:
        measured_w = label.heat_at_etd_w
        below, above = measured_w.value - measured_w.low, measured_w.high - measured_w.value
        axes.errorbar(
            float(difference(label_etd_k)),
            float(heat(measured_w.value)),
            yerr=[[float(heat(below))], [float(heat(above))]],
            fmt="o",
            color=INKS["text"],
            capsize=6,
            linewidth=2.0,
        )
    axes.set_xlim(0.0, float(x[1]))
    axes.set_ylim(0.0, None)
    unit = shown_unit("temperature_difference", units)
    axes.set_xlabel(f"oil in over air in, {unit}", color=INKS["text"], fontsize=WORDS_PT)
    unit = shown_unit("power", units, largest=largest)
    _say_unit(axes, f"heat rejected, {unit}")
    return axes


def plot_residuals(proof: Proof, axes: "Axes | None" = None, *, units: str = "si") -> "Axes":
    """Draw the tank's readings less the fitted model; a good fit leaves no shape."""
    axes = new_axes(9.0, 2.8) if axes is None else axes
    if proof.model_c is None or "tank" not in proof.series_c:
        return say_nothing(axes, "no fit to compare with")
    gap = to_shown(proof.series_c["tank"] - proof.model_c, "temperature_difference", units)
    axes.axhline(0.0, color=INKS["text"], linewidth=0.8)
    axes.plot(proof.series_s / 60, gap, color=INKS["hot"], linewidth=0.8, marker=".", markersize=3)
    fit_to(axes, [gap])
    band_phases(axes, proof.phases)
    time_axis(axes, proof.series_s)
    unit = shown_unit("temperature_difference", units)
    _say_unit(axes, f"read less fitted, {unit}")
    return axes


def _pens(names: Mapping[str, object]) -> dict[str, Pen]:
    return {spaced(name): PENS.get(name, OTHER_PEN) for name in names}


def _say_unit(axes: "Axes", words: str) -> None:
    axes.set_ylabel(words, color=INKS["text"], fontsize=WORDS_PT)


def _limits(
    axes: "Axes", proof: Proof, lines: Mapping[str, FloatArray], units: str
) -> dict[str, tuple[float, Pen]]:
    """Draw the limits that the outing came near to; return their words, heights and pens.

    A channel's own limit has the colour of its line.
    """
    tops = {name: float(np.nanmax(values)) for name, values in lines.items()}
    highest = max(tops.values(), default=-math.inf)
    limits = {}
    for name, limit_c in proof.limits_c.items():
        height = float(to_shown(limit_c, "temperature", units))
        if height > tops.get(name, highest) + NEAR_LIMIT_K:
            continue
        pen = Pen(ink=PENS.get(name, OTHER_PEN).ink) if name in lines else LIMIT_PEN
        axes.axhline(height, color=INKS[pen.ink], linestyle=(0, (6, 3)), linewidth=1.0)
        words = f"{limit_name(name)}\n{figure(limit_c, 'temperature', units, both=False)}"
        limits[words] = (height, pen)
    return limits


def _fit_above(axes: "Axes", drawn: Sequence[FloatArray], foot: float) -> float:
    """Fit the upright axis above a foot of so much of its height; return where the foot ends."""
    fit_to(axes, drawn, 0.0)
    low, high = axes.get_ylim()
    axes.set_yticks([tick for tick in axes.get_yticks() if low - 0.02 * (high - low) <= tick])
    axes.set_ylim(low - foot / (1.0 - foot) * (high - low), high)
    return low


def _spikes(axes: "Axes", minutes: FloatArray, spikes: FloatArray, floor: float, pen: Pen) -> None:
    """Draw single readings far off their neighbours as crosses, those out of range at the edge."""
    low, high = floor, axes.get_ylim()[1]
    right = axes.get_xlim()[1]
    for at in np.flatnonzero(np.isfinite(spikes)):
        x, height = float(minutes[at]), float(np.clip(spikes[at], low, high))
        axes.plot(x, height, "x", color=INKS[pen.ink], markersize=6, clip_on=False, zorder=4)
        if height != spikes[at]:
            place = (np.asarray(x), np.asarray(height))
            above = height == high
            va = "top" if above else "bottom"
            # Words to the right of a late cross would run into the names of the lines.
            way, ha = (-1.0, "right") if x > 0.75 * right else (1.0, "left")
            offset = (5.0 * way, -3.0 if above else 3.0)
            say(axes, f"{spikes[at]:.0f}", place, offset, ha, va, pen.ink)


def _placed(
    axes: "Axes", marks: Sequence[tuple[float, str]]
) -> list[tuple[float, float, str, int | None]]:
    """Return minute, where its words begin, words and row of each mark; no row in a crowd."""
    rows, right = Rows(axes, _MARK_ROWS), axes.get_xlim()[1]
    places = []
    for elapsed_s, name in marks:
        at = elapsed_s / 60
        left = min(at, right - rows.length(f"{name}  "))
        places.append((at, left, name, rows.row_for(left, name)))
    return places


def unnamed_marks(axes: "Axes", marks: Sequence[tuple[float, str]]) -> list[tuple[float, str]]:
    """Return the marks that the picture has no room to name, once it was drawn."""
    places = _placed(axes, marks)
    return [mark for mark, (*_, row) in zip(marks, places, strict=True) if row is None]


def _marks(axes: "Axes", marks: Sequence[tuple[float, str]]) -> float:
    """Draw marks with their words in rows at the foot; return the share of the height they take."""
    places = _placed(axes, marks)
    used = max((row + 1 for *_, row in places if row is not None), default=0)
    line = line_share(axes)
    for at, left, name, row in places:
        height = 0.012 if row is None else line * (used - row - 0.5) + 0.02
        pen: dict[str, Any] = {
            "color": INKS["text"],
            "transform": axes.get_xaxis_transform(),
            "clip_on": False,
        }
        axes.plot([at, at], [0.0, height], linewidth=0.6, **pen)
        axes.plot([at], [0.0], marker="^", markersize=6, zorder=5, **pen)
        if row is None:
            continue
        axes.annotate(
            name,
            (left + Rows(axes, 1).length(" ") / 2, height),
            xycoords=axes.get_xaxis_transform(),
            va="center",
            fontsize=WORDS_PT,
            color=INKS["text"],
            parse_math=False,
        )
    return line * used + (0.02 if used else 0.0)


def _fan_bar(axes: "Axes", elapsed_s: FloatArray, state: FloatArray, foot: float) -> None:
    on = np.concatenate([[False], np.nan_to_num(state) > 0.5, [False]])
    starts, ends = np.flatnonzero(on[1:] & ~on[:-1]), np.flatnonzero(~on[1:] & on[:-1])
    spans = [
        (elapsed_s[a] / 60, (elapsed_s[min(int(b), elapsed_s.size - 1)] - elapsed_s[a]) / 60)
        for a, b in zip(starts, ends, strict=True)
    ]
    if not spans:
        return
    axes.broken_barh(
        spans,
        (foot + 0.01, 0.04),
        transform=axes.get_xaxis_transform(),
        color=INKS["cool"],
        zorder=2,
    )
    axes.annotate(
        "fan",
        (spans[0][0], foot + 0.03),
        xycoords=axes.get_xaxis_transform(),
        xytext=(-5.0, 0.0),  # a page's own font may be wider than the one that places it
        textcoords="offset points",
        fontsize=WORDS_PT,
        ha="right",
        va="center",
        color=INKS["cool"],
    )
