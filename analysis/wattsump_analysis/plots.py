"""Pictures of one outing and of its proof; each takes axes if given and returns them.

Only matplotlib's figure objects are used, never its global state, and matplotlib is
imported by the function that draws. Every line carries its name at its end and differs
by dash and width as well as by colour, so that a grey print reads the same.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wattsump_analysis.phrases import figure, limit_name, spaced, span
from wattsump_analysis.results import Phase, Proof
from wattsump_logger.units import shown_unit, to_shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = (
    "INKS",
    "decimate",
    "new_axes",
    "plot_label",
    "plot_ledger",
    "plot_outing",
    "plot_residuals",
)

FloatArray = NDArray[np.float64]
FanFlag = tuple[FloatArray, FloatArray]

MOST_BUCKETS = 700  # about the pixels a picture is wide on a page

# One ink per meaning. The hues keep apart for the common kinds of colour blindness and
# differ in lightness; the report exchanges them for darker or lighter ones by name.
INKS: Mapping[str, str] = {
    "text": "#1c1d1f",
    "grid": "#d3d5d8",
    "band": "#eceef1",
    "hot": "#b3400e",
    "warm": "#8a5a00",
    "cool": "#00688b",
    "air": "#4f6d3a",
    "other": "#70468f",
    "limit": "#8c1c2f",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pen:
    ink: str
    dash: str | tuple[int, tuple[int, ...]] = "-"
    width: float = 1.6


_PENS: Mapping[str, _Pen] = {
    "tank": _Pen(ink="hot", width=2.2),
    "cooler_in": _Pen(ink="warm", dash="--"),
    "cooler_out": _Pen(ink="cool", dash="-."),
    "ambient": _Pen(ink="air", dash=(0, (1, 1)), width=1.8),
    "case_drain": _Pen(ink="other", dash=(0, (5, 1, 1, 1, 1, 1)), width=1.2),
}
_OTHER_PEN = _Pen(ink="other", dash=(0, (3, 1, 1, 1)), width=1.0)


def decimate(
    x: FloatArray, y: FloatArray, buckets: int = MOST_BUCKETS
) -> tuple[FloatArray, FloatArray]:
    """Return the points that draw the same line: each bucket's first, last, lowest, highest.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        A series; NaN in `y` is a gap, and a gap stays one.
    buckets : int
        Stretches of equal length in samples.

    Returns
    -------
    tuple of ndarray
        At most five points a bucket, in their order, all of them points of the series.
    """
    if x.size <= 5 * buckets:
        return x, y
    edges = np.linspace(0, x.size, buckets + 1).astype(np.int64)
    starts, ends = edges[:-1], edges[1:] - 1
    empty = np.isnan(y)
    lows = _argextreme(np.where(empty, np.inf, y), starts, np.minimum)
    highs = _argextreme(np.where(empty, -np.inf, y), starts, np.maximum)
    gaps = _argextreme(empty.astype(float), starts, np.maximum)
    keep = np.unique(np.concatenate([starts, ends, lows, highs, gaps[empty[gaps]]]))
    return x[keep], y[keep]


def _argextreme(y: FloatArray, starts: NDArray[np.int64], pick: np.ufunc) -> NDArray[np.int64]:
    """Return where each stretch that begins at `starts` first reaches its extreme."""
    extremes = pick.reduceat(y, starts)
    lengths = np.diff(np.append(starts, y.size))
    places = np.flatnonzero(y == np.repeat(extremes, lengths))
    bucket = np.searchsorted(starts, places, side="right") - 1
    _, first = np.unique(bucket, return_index=True)
    return np.asarray(places[first])


def new_axes(width_in: float = 9.0, height_in: float = 4.2) -> "Axes":
    """Return the axes of a new figure in our own style."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    drawing = Figure(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasAgg(drawing)
    drawing.patch.set_alpha(0.0)
    axes = drawing.add_subplot()
    axes.patch.set_alpha(0.0)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color(INKS["text"])
    axes.tick_params(colors=INKS["text"], labelsize=9)
    axes.grid(axis="y", color=INKS["grid"], linewidth=0.6)
    axes.set_axisbelow(True)
    return axes


def plot_outing(
    proof: Proof, axes: "Axes | None" = None, *, units: str = "si", fan: FanFlag | None = None
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
    fan : tuple of ndarray (n,), ndarray (n,), optional
        Times [s] and the fan's state, 0 to 1.
    """
    axes = new_axes(9.0, 5.0) if axes is None else axes
    minutes = proof.series_s / 60
    lines = {
        name: to_shown(values, "temperature", units) for name, values in proof.series_c.items()
    }
    lines = {name: values for name, values in lines.items() if np.isfinite(values).any()}
    for name, values in lines.items():
        _line(axes, minutes, values, _PENS.get(name, _OTHER_PEN))
    limits = _limits(axes, proof, lines, units)
    _room(axes, [*lines.values(), np.array(limits)], head=0.42)
    _phases(axes, proof.phases)
    _marks(axes, proof.marks)
    if fan is not None:
        _fan_bar(axes, *fan)
    _end_names(axes, {spaced(name): _last(values) for name, values in lines.items()}, _pens(lines))
    _time_axis(axes, proof.series_s)
    axes.set_ylabel(f"temperature, {shown_unit('temperature', units)}", color=INKS["text"])
    return axes


def plot_ledger(proof: Proof, axes: "Axes | None" = None, *, units: str = "si") -> "Axes":
    """Draw heat into the oil with its 95 % band, and where it went."""
    axes = new_axes() if axes is None else axes
    ledger = proof.ledger
    if ledger is None:
        return _nothing(axes, "no watts: no heat is known in this outing")
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
        "into the oil": (shown(ledger.heat_in_w), _PENS["tank"]),
        "cooler": (shown(ledger.cooler_w), _PENS["cooler_out"]),
        "shell": (shown(ledger.shell_w), _PENS["ambient"]),
        "stored": (shown(ledger.stored_w), _PENS["cooler_in"]),
    }
    for values, pen in lines.values():
        _line(axes, minutes, values, pen)
    axes.axhline(0.0, color=INKS["text"], linewidth=0.8)
    _room(axes, [values for values, _ in lines.values()])
    _phases(axes, proof.phases)
    ends = {name: _last(values) for name, (values, _) in lines.items()}
    _end_names(axes, ends, {name: pen for name, (_, pen) in lines.items()})
    _time_axis(axes, ledger.elapsed_s)
    unit = shown_unit("power", units, largest=largest)
    axes.set_ylabel(f"heat, {unit} (band: 95 %)", color=INKS["text"])
    return axes


def plot_label(proof: Proof, axes: "Axes | None" = None, *, units: str = "si") -> "Axes":
    """Draw the measured heat against the oil-to-air difference, and the label on it.

    Both are lines through nothing, so the picture serves a label without a difference
    too: its heat is then a level, and where the line crosses it is what the label means.
    """
    axes = new_axes(6.4, 4.2) if axes is None else axes
    k, label = proof.k_w_k, proof.label
    if k is None:
        return _nothing(axes, "no watts per degree to draw")
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
    _line(axes, x, heat(heats_w[1]), _PENS["cooler_out"])
    measured = (difference(0.42 * most_k), heat(0.42 * most_k * k.low))
    _say(axes, f"measured\n{span(k, 'conductance', units)}", measured, (6, -4), "left", "top")
    if label is not None:
        axes.axhline(float(heat(label.label_heat_w)), color=INKS["limit"], ls="--", lw=1.2)
        words = f"label {figure(label.label_heat_w, 'power', units, both=False)}"
        at_k = label_etd_k
        if at_k is None:
            at_k = crossing_k
            words += ", true at " + figure(at_k, "temperature_difference", units, both=False)
        point = (difference(at_k), heat(label.label_heat_w))
        axes.plot(*point, marker="D", color=INKS["limit"], markersize=7)
        _say(axes, words, point, (-8, 7), "right", "bottom", "limit")
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
    axes.set_xlabel(f"oil in over air in, {unit}", color=INKS["text"])
    unit = shown_unit("power", units, largest=largest)
    axes.set_ylabel(f"heat rejected, {unit}", color=INKS["text"])
    return axes


def plot_residuals(proof: Proof, axes: "Axes | None" = None, *, units: str = "si") -> "Axes":
    """Draw the tank's readings less the fitted model, which ought to look like nothing."""
    axes = new_axes(9.0, 2.8) if axes is None else axes
    if proof.model_c is None or "tank" not in proof.series_c:
        return _nothing(axes, "no fit to compare with")
    gap = to_shown(proof.series_c["tank"] - proof.model_c, "temperature_difference", units)
    axes.axhline(0.0, color=INKS["text"], linewidth=0.8)
    x, y = decimate(proof.series_s / 60, gap)
    axes.plot(x, y, color=INKS["hot"], linewidth=0.8, marker=".", markersize=3)
    _room(axes, [gap], head=0.35)
    _phases(axes, proof.phases)
    _time_axis(axes, proof.series_s)
    unit = shown_unit("temperature_difference", units)
    axes.set_ylabel(f"read less fitted, {unit}", color=INKS["text"])
    return axes


def _line(axes: "Axes", x: FloatArray, y: FloatArray, pen: _Pen) -> None:
    axes.plot(
        *decimate(x, y), color=INKS[pen.ink], linestyle=pen.dash, linewidth=pen.width, zorder=3
    )


def _pens(names: Mapping[str, object]) -> dict[str, _Pen]:
    return {spaced(name): _PENS.get(name, _OTHER_PEN) for name in names}


def _last(values: FloatArray) -> float:
    return float(values[np.isfinite(values)][-1])


def _limits(axes: "Axes", proof: Proof, lines: Mapping[str, FloatArray], units: str) -> list[float]:
    """Draw the limits that the outing came near to, and return their heights."""
    top = max((float(np.nanmax(values)) for values in lines.values()), default=-math.inf)
    heights = []
    for name, limit_c in proof.limits_c.items():
        height = float(to_shown(limit_c, "temperature", units))
        if height > top + 20.0:
            continue
        heights.append(height)
        axes.axhline(height, color=INKS["limit"], linestyle=(0, (6, 3)), linewidth=1.0)
        words = f"{limit_name(name)} {figure(limit_c, 'temperature', units, both=False)}"
        place = (0.995, height)  # outings end cool, so the right is free
        axes.annotate(
            words,
            place,
            xycoords=axes.get_yaxis_transform(),
            xytext=(0, 2),
            textcoords="offset points",
            ha="right",
            color=INKS["limit"],
            fontsize=8,
        )
    return heights


def _room(axes: "Axes", values: Sequence[FloatArray], head: float = 0.3) -> None:
    """Leave room above the curves for the phases' names, and below for the fan's bar."""
    seen = np.concatenate([v[np.isfinite(v)] for v in values]) if values else np.array([])
    low, high = (float(seen.min()), float(seen.max())) if seen.size else (0.0, 1.0)
    size = max(high - low, 0.1)
    axes.set_ylim(low - 0.12 * size, high + head * size)


def _phases(axes: "Axes", phases: Sequence[Phase]) -> None:
    for number, phase in enumerate(phases):
        start, end = phase.start_s / 60, phase.end_s / 60
        if number % 2 == 0:
            axes.axvspan(start, end, color=INKS["band"], zorder=0, linewidth=0)
        axes.annotate(
            phase.kind,
            (0.5 * (start + end), 0.985),
            xycoords=axes.get_xaxis_transform(),
            rotation=90,
            ha="center",
            va="top",
            fontsize=7.5,
            color=INKS["text"],
            zorder=4,
        )


def _marks(axes: "Axes", marks: Sequence[tuple[float, str]]) -> None:
    """Draw a tick at each mark; its words stand in the report's table, where they fit."""
    for elapsed_s, _ in marks:
        axes.plot(
            elapsed_s / 60,
            0.0,
            marker="^",
            markersize=6,
            color=INKS["text"],
            transform=axes.get_xaxis_transform(),
            clip_on=False,
            zorder=5,
        )


def _fan_bar(axes: "Axes", elapsed_s: FloatArray, state: FloatArray) -> None:
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
        (0.02, 0.035),
        transform=axes.get_xaxis_transform(),
        color=INKS["cool"],
        zorder=2,
    )
    axes.annotate(
        "fan on",
        (spans[0][0], 0.06),
        xycoords=axes.get_xaxis_transform(),
        fontsize=8,
        color=INKS["cool"],
    )


def _end_names(axes: "Axes", ends: Mapping[str, float], pens: Mapping[str, _Pen]) -> None:
    """Write each line's name beside its end, moved apart where ends are close."""
    low, high = axes.get_ylim()
    inches = axes.get_position().height * axes.get_figure(root=True).get_figheight()  # type: ignore[union-attr] # axes made by `new_axes` or a caller always have a figure
    least = 0.16 / max(inches, 0.5) * (high - low)
    names = sorted(ends, key=ends.__getitem__)
    for name, height in zip(names, spread([ends[n] for n in names], least), strict=True):
        axes.annotate(
            name,
            (1.006, height),
            xycoords=axes.get_yaxis_transform(),
            va="center",
            fontsize=9,
            color=INKS[pens[name].ink],
            annotation_clip=False,
        )


def spread(heights: Sequence[float], least: float) -> list[float]:
    """Return rising heights moved apart to at least `least`, about where they were."""
    moved = list(heights)
    for _ in range(50):
        for i in range(1, len(moved)):
            lack = least - (moved[i] - moved[i - 1])
            if lack > 1e-9:
                moved[i - 1] -= 0.5 * lack
                moved[i] += 0.5 * lack
    return moved


def _time_axis(axes: "Axes", elapsed_s: FloatArray) -> None:
    axes.set_xlim(float(elapsed_s[0]) / 60, float(elapsed_s[-1]) / 60)
    axes.set_xlabel("minutes into the outing", color=INKS["text"])


def _say(
    axes: "Axes",
    words: str,
    place: tuple[FloatArray, FloatArray],
    offset: tuple[float, float],
    ha: str,
    va: str,
    ink: str = "cool",
) -> None:
    axes.annotate(
        words,
        (float(place[0]), float(place[1])),
        xytext=offset,
        textcoords="offset points",
        ha=ha,
        va=va,
        fontsize=9,
        color=INKS[ink],
    )


def _nothing(axes: "Axes", why: str) -> "Axes":
    axes.annotate(why, (0.5, 0.5), xycoords="axes fraction", ha="center", color=INKS["text"])
    axes.set_xticks([])
    axes.set_yticks([])
    return axes
