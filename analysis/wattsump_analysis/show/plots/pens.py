"""Shared by all pictures: inks, pens, thinning, axes, and words beside lines.

Only matplotlib's figure objects are used, never its global state, and matplotlib is
imported by the function that draws. Every line carries its name at its end and differs
by dash and width as well as by colour, so that a grey print reads the same.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.results import Phase

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = (
    "INKS",
    "LETTER_EM",
    "LIMIT_PEN",
    "MOST_BUCKETS",
    "OTHER_PEN",
    "PENS",
    "WORDS_PT",
    "Pen",
    "Rows",
    "band_phases",
    "decimate",
    "draw_line",
    "fit_to",
    "last_of",
    "line_share",
    "name_ends",
    "name_phases",
    "new_axes",
    "new_figure",
    "say",
    "say_nothing",
    "spread",
    "style",
    "time_axis",
)

MOST_BUCKETS = 700  # about the pixels a picture is wide on a page
# Points. The narrow pictures are 4.2 in wide and shown on 340 px or more of a phone of 390:
# 10 pt are 11 px there, the least that is read at arm's length.
WORDS_PT = 10.0
BESIDE_IN = 1.8
LETTER_EM = 0.54  # a letter's usual width in the page's own fonts

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
class Pen:
    """How a line looks: an ink of `INKS`, a dash of matplotlib's, a width in points."""

    ink: str
    dash: str | tuple[int, tuple[int, ...]] = "-"
    width: float = 1.6


PENS: Mapping[str, Pen] = {
    "tank": Pen(ink="hot", width=2.2),
    "cooler_in": Pen(ink="warm", dash="--"),
    "cooler_out": Pen(ink="cool", dash="-."),
    "ambient": Pen(ink="air", dash=(0, (1, 1)), width=1.8),
    "case_drain": Pen(ink="other", dash=(0, (5, 1, 1, 1, 1, 1)), width=1.2),
}
LIMIT_PEN = Pen(ink="limit")
OTHER_PEN = Pen(ink="other", dash=(0, (3, 1, 1, 1)), width=1.0)


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


@cache
def _drawing() -> "type[Figure]":
    import io

    from matplotlib.figure import Figure

    class Drawing(Figure):
        """A figure that a notebook shows as it is, whatever the notebook was set up for."""

        def _repr_png_(self) -> bytes:
            held = io.BytesIO()
            self.savefig(held, format="png", dpi=110, facecolor="white")
            return held.getvalue()

    return Drawing


def new_figure(width_in: float, height_in: float) -> "Figure":
    """Return an empty figure."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    drawing = _drawing()(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasAgg(drawing)
    return drawing


def new_axes(width_in: float = 9.0, height_in: float = 4.2) -> "Axes":
    """Return the axes of a new figure in our own style."""
    drawing = new_figure(width_in, height_in)
    drawing.patch.set_alpha(0.0)
    axes = drawing.add_subplot()
    style(axes)
    return axes


def style(axes: "Axes") -> None:
    """Give axes our own style: no box, inks by name, which a page may change."""
    axes.patch.set_alpha(0.0)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color(INKS["text"])
    axes.tick_params(colors=INKS["text"], labelsize=WORDS_PT)
    axes.grid(axis="y", color=INKS["grid"], linewidth=0.6)
    axes.set_axisbelow(True)


def draw_line(axes: "Axes", x: FloatArray, y: FloatArray, pen: Pen) -> None:
    """Draw a thinned line."""
    axes.plot(
        *decimate(x, y), color=INKS[pen.ink], linestyle=pen.dash, linewidth=pen.width, zorder=3
    )


class Rows:
    """Rows of words along an axis, where no word runs into another; lengths as on the axis."""

    def __init__(self, axes: "Axes", most: int) -> None:
        low, high = axes.get_xlim()
        width_in = axes.get_figure(root=True).get_figwidth()  # type: ignore[union-attr] # axes of a figure
        # Beside the axes stand its numbers and the names of its lines, as wide in any picture.
        width_pt = 72 * min(0.7 * width_in, width_in - BESIDE_IN)
        self._per_letter = LETTER_EM * WORDS_PT / width_pt * (high - low)
        self._taken = [-np.inf] * most

    def length(self, words: str) -> float:
        """Return how long words are."""
        return len(words) * self._per_letter

    def row_for(self, left: float, words: str) -> int | None:
        """Return a row with room from `left` on, having taken it; None where there is none."""
        row = next((row for row, end in enumerate(self._taken) if left > end), None)
        if row is not None:
            self._taken[row] = left + self.length(words) + self._per_letter
        return row


def last_of(values: FloatArray) -> float:
    """Return the last finite reading."""
    return float(values[np.isfinite(values)][-1])


def fit_to(axes: "Axes", values: Sequence[FloatArray], foot: float = 0.05) -> None:
    """Fit the vertical axis to the lines; `foot` is the share left free below them."""
    seen = np.concatenate([v[np.isfinite(v)] for v in values]) if values else np.array([])
    low, high = (float(seen.min()), float(seen.max())) if seen.size else (0.0, 1.0)
    size = max(high - low, 0.1)
    axes.set_ylim(low - foot * size, high + 0.05 * size)


def band_phases(axes: "Axes", phases: Sequence[Phase]) -> None:
    """Shade every other phase."""
    for phase in phases[::2]:
        start, end = phase.start_s / 60, phase.end_s / 60
        axes.axvspan(start, end, color=INKS["band"], zorder=0, linewidth=0)


def name_phases(axes: "Axes", phases: Sequence[Phase]) -> None:
    """Write the phases' names above the picture, out of every line's way.

    Level where the phase is wide enough, in two lines if need be, else upright; a row of
    phases each narrower than a line has one name for all.
    """
    width_pt = 72 * 0.68 * axes.get_figure(root=True).get_figwidth()  # type: ignore[union-attr] # as in `line_share`
    pt_per_s = width_pt / max((phase.end_s for phase in phases), default=1.0)
    for kind, start_s, end_s in _nameable(phases, 1.3 * WORDS_PT / pt_per_s):
        room = (end_s - start_s) * pt_per_s / (LETTER_EM * WORDS_PT)
        level = kind if len(kind) <= room else kind.replace(" ", "\n")
        upright = max(map(len, level.split("\n"))) > room
        axes.annotate(
            kind if upright else level,
            (0.5 * (start_s + end_s) / 60, 1.015),
            xycoords=axes.get_xaxis_transform(),
            rotation=90 if upright else 0,
            ha="center",
            va="bottom",
            fontsize=WORDS_PT,
            linespacing=1.0,
            color=INKS["text"],
            annotation_clip=False,
        )


def _nameable(phases: Sequence[Phase], least_s: float) -> list[tuple[str, float, float]]:
    """Return (name, start, end) of each phase, a row of short ones together."""
    rows: list[list[Phase]] = []
    for phase in phases:
        is_short = phase.end_s - phase.start_s < least_s
        if is_short and rows and rows[-1][-1].end_s - rows[-1][-1].start_s < least_s:
            rows[-1].append(phase)
        else:
            rows.append([phase])
    return [(_one_name([one.kind for one in row]), row[0].start_s, row[-1].end_s) for row in rows]


def _one_name(kinds: Sequence[str]) -> str:
    """Return one name of several phases: "fan on, off" of fan on, fan off and fan on."""
    different = list(dict.fromkeys(kinds))
    first = different[0].split(" ")[0] + " "
    rest = (kind.removeprefix(first) for kind in different[1:])
    return ", ".join((different[0], *rest))


def line_share(axes: "Axes") -> float:
    """Return how much of the axes' height a line of words takes."""
    inches = axes.get_position().height * axes.get_figure(root=True).get_figheight()  # type: ignore[union-attr] # axes made by `new_axes` or a caller always have a figure
    return 0.19 / max(inches, 0.5)


def name_ends(axes: "Axes", ends: Mapping[str, float], pens: Mapping[str, Pen]) -> None:
    """Write each line's name beside its end, moved apart where ends are close."""
    low, high = axes.get_ylim()
    line = line_share(axes) * (high - low)
    names = sorted(ends, key=ends.__getitem__)
    tall = [line * (1 + name.count("\n")) for name in names]
    for name, height in zip(names, spread([ends[n] for n in names], tall), strict=True):
        axes.annotate(
            name,
            (1.006, height),
            xycoords=axes.get_yaxis_transform(),
            va="center",
            fontsize=WORDS_PT,
            linespacing=1.05,
            color=INKS[pens[name].ink],
            annotation_clip=False,
        )


def spread(heights: Sequence[float], tall: Sequence[float]) -> list[float]:
    """Return rising middles of things so tall, moved apart to where none overlap."""
    moved = list(heights)
    for _ in range(200):
        for i in range(1, len(moved)):
            lack = 0.5 * (tall[i - 1] + tall[i]) - (moved[i] - moved[i - 1])
            if lack > 1e-9:
                moved[i - 1] -= 0.5 * lack
                moved[i] += 0.5 * lack
    return moved


def time_axis(axes: "Axes", elapsed_s: FloatArray) -> None:
    """Set the axis of time to the outing, in minutes."""
    axes.set_xlim(float(elapsed_s[0]) / 60, float(elapsed_s[-1]) / 60)
    axes.set_xlabel("minutes into the outing", color=INKS["text"], fontsize=WORDS_PT)


def say(
    axes: "Axes",
    words: str,
    place: tuple[FloatArray, FloatArray],
    offset: tuple[float, float],
    ha: str,
    va: str,
    ink: str = "cool",
) -> None:
    """Write words beside a place, `offset` points away."""
    axes.annotate(
        words,
        (float(place[0]), float(place[1])),
        xytext=offset,
        textcoords="offset points",
        ha=ha,
        va=va,
        fontsize=WORDS_PT,
        color=INKS[ink],
    )


def say_nothing(axes: "Axes", why: str) -> "Axes":
    """Write in place of a picture why there is none."""
    axes.annotate(why, (0.5, 0.5), xycoords="axes fraction", ha="center", color=INKS["text"])
    axes.set_xticks([])
    axes.set_yticks([])
    return axes
