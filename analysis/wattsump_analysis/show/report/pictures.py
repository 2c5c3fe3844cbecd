"""The report's pictures: each drawn wide and narrow, with words for who cannot see it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.reading.samples import Samples
from wattsump_analysis.results import Phase, Proof
from wattsump_analysis.season.trend import Trend
from wattsump_analysis.show import words
from wattsump_analysis.show.plots import outing as plots
from wattsump_analysis.show.plots.files import across, inline_svg
from wattsump_analysis.show.plots.season import plot_trend
from wattsump_analysis.show.report.season import Season
from wattsump_analysis.show.report.tables import ledger_rows
from wattsump_logger.units.quantities import shown_unit, to_shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ("Drawing", "Picture", "pictures_of", "season_picture")


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """One drawing; its axes of time reach from `left` to `right`, in per cent of its width."""

    svg: str
    left: float
    right: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One picture at the two sizes a page needs, with the values a finger asks it for.

    `values` is plain data: `times_s`, `unit`, `lines` (name and one value for each time),
    `phases` and `marks` (time and words); empty where the picture has no axis of time.
    """

    wide: Drawing
    narrow: Drawing
    values: Mapping[str, object]


def pictures_of(proof: Proof, units: str, samples: Samples | None) -> Mapping[str, Picture]:
    """Return the pictures that this proof has something to draw in, by name."""

    def outing(axes: "Axes") -> "Axes":
        return plots.plot_outing(proof, axes, units=units, samples=samples)

    def ledger(axes: "Axes") -> "Axes":
        return plots.plot_ledger(proof, axes, units=units)

    def label(axes: "Axes") -> "Axes":
        return plots.plot_label(proof, axes, units=units)

    def residuals(axes: "Axes") -> "Axes":
        return plots.plot_residuals(proof, axes, units=units)

    wanted = {
        "outing": (outing, (9.0, 4.2), (4.2, 5.0), _outing_words(proof, units)),
        "ledger": (ledger, (9.0, 2.9), (4.2, 4.0), _ledger_words(proof, units)),
        "label": (label, (7.2, 3.6), (4.2, 3.6), _label_words(proof, units)),
        "residuals": (residuals, (9.0, 2.8), (4.2, 3.2), _residual_words(proof, units)),
    }
    values = {"outing": _temperatures(proof, units), "ledger": _heats(proof, units)}
    return {
        name: Picture(
            wide=_drawing(draw, wide, f"{name}-wide", alt),
            narrow=_drawing(draw, narrow, f"{name}-narrow", alt),
            values=values.get(name, {}),
        )
        for name, (draw, wide, narrow, alt) in wanted.items()
        if _has(proof, name)
    }


def _drawing(
    draw: "Callable[[Axes], Axes]", size: tuple[float, float], name: str, alt: str
) -> Drawing:
    axes = draw(plots.new_axes(*size))
    svg = inline_svg(axes, name, alt)
    left, right = across(axes)  # after the drawing, which settles the layout
    return Drawing(svg=svg, left=left, right=right)


def _temperatures(proof: Proof, units: str) -> dict[str, object]:
    lines = {
        words.spaced(name): to_shown(values, "temperature", units)
        for name, values in proof.series_c.items()
    }
    unit = shown_unit("temperature", units)
    return _values(proof, proof.series_s, unit, lines, 1)


def _heats(proof: Proof, units: str) -> dict[str, object]:
    ledger = proof.ledger
    if ledger is None:
        return {}
    largest = float(np.nanmax(np.abs(ledger.heat_in_high_w), initial=1.0))
    lines = {
        name: to_shown(values, "power", units, largest=largest)
        for name, values in (
            ("into the oil", ledger.heat_in_w),
            ("cooler", ledger.cooler_w),
            ("shell", ledger.shell_w),
            ("stored", ledger.stored_w),
        )
    }
    unit = shown_unit("power", units, largest=largest)
    return _values(proof, ledger.elapsed_s, unit, lines, 0 if unit.startswith("BTU") else 2)


def _values(
    proof: Proof, times_s: FloatArray, unit: str, lines: Mapping[str, FloatArray], decimals: int
) -> dict[str, object]:
    return {
        "times_s": [round(float(t)) for t in times_s],
        "unit": unit,
        "decimals": decimals,
        "lines": [
            [name, [round(float(v), decimals) if np.isfinite(v) else None for v in values]]
            for name, values in lines.items()
        ],
        "phases": [[round(p.start_s), p.kind] for p in proof.phases],
        "marks": [[round(at_s), words.mark_words(text)] for at_s, text in proof.marks],
    }


def season_picture(season: Season | None, units: str) -> Mapping[str, Picture]:
    """Return the picture of the season under its name, nothing without a trend."""
    if season is None or season.trend is None:
        return {}
    words = "Watts per degree and heat into the oil, outing after outing. " + season.sentence
    wide, narrow = (
        Drawing(
            svg=inline_svg(_untitled_season(season.trend, units, size), f"season-{name}", words),
            left=0.0,
            right=100.0,
        )
        for name, size in (("wide", (9.0, 4.6)), ("narrow", (4.2, 5.6)))
    )
    return {"season": Picture(wide=wide, narrow=narrow, values={})}


def _untitled_season(trend: Trend, units: str, size: tuple[float, float]) -> "Axes":
    """Draw a season of which heading and caption of the page say what it is."""
    from matplotlib.figure import Figure

    drawn = Figure(figsize=size, layout="constrained")
    upper = plot_trend(trend, units=units, figure=drawn).axes[0]
    upper.set_title("", loc="left")
    return upper


def _has(proof: Proof, name: str) -> bool:
    wanted = {
        "outing": bool(proof.series_c) and proof.series_s.size > 1,
        "label": proof.k_w_k is not None,
        "ledger": proof.ledger is not None,
        "residuals": proof.model_c is not None,
    }
    return wanted[name]


def _outing_words(proof: Proof, units: str) -> str:
    peaks = [
        f"{words.spaced(name)} at most {words.figure(peak_c, 'temperature', units, both=False)}"
        f" after {words.clock_text(at_s)}"
        for name, (peak_c, at_s) in proof.peaks_c.items()
    ]
    return "Temperatures over the outing. " + _joined(peaks) + " Phases: " + _runs(proof.phases)


def _joined(parts: Sequence[str]) -> str:
    return "; ".join(parts) + "." if parts else ""


def _runs(phases: Sequence[Phase]) -> str:
    return _joined([f"{p.kind} to {words.clock_text(p.end_s)}" for p in phases])


def _label_words(proof: Proof, units: str) -> str:
    said = [
        f"{fact.name}: {fact.value} {fact.beside}".strip() for fact in words.facts(proof, units)
    ]
    return "Heat rejected against the oil-to-air difference, with the label. " + _joined(said[:3])


def _ledger_words(proof: Proof, units: str) -> str:
    rows = [f"{name} {value}" for name, value, _ in ledger_rows(proof.ledger, units)]
    return "Heat into the oil over the outing and where it went. " + _joined(rows)


def _residual_words(proof: Proof, units: str) -> str:
    if proof.diagnostics is None:
        return "Tank readings less the fitted model."
    rms = words.figure(proof.diagnostics.residual_rms_k, "temperature_difference", units)
    return f"Tank readings less the fitted model; root mean square {rms}."
