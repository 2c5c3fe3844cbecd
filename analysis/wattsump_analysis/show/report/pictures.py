"""The report's pictures: each wide and narrow, with a description in words."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.reading.samples import Samples
from wattsump_analysis.results import Phase, Proof
from wattsump_analysis.season.compare import Comparison
from wattsump_analysis.season.trend import Trend
from wattsump_analysis.show import words
from wattsump_analysis.show.plots import outing as plots
from wattsump_analysis.show.plots.files import across, inline_svg
from wattsump_analysis.show.plots.pens import new_figure
from wattsump_analysis.show.plots.season import plot_comparison, plot_trend
from wattsump_analysis.show.report.tables import ledger_rows
from wattsump_analysis.show.season_screen import compare_sentence, trend_sentence
from wattsump_logger.units.quantities import shown_unit, to_shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ("Drawing", "Picture", "comparison_picture", "pictures_of", "season_picture")


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """One drawing; its first time lies at `left`, its last at `right`, in per cent of its width.

    `unnamed` are the marks it has no room to name.
    """

    svg: str
    left: float
    right: float
    unnamed: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One picture at the two sizes a page needs, with the values a finger asks it for.

    `values` is plain data: `times_s`, `lines` (name, unit, decimals, one value for each time),
    `phases` and `marks` (time and words), and `names` where times have their own; empty where
    the picture has no axis of time.
    """

    wide: Drawing
    narrow: Drawing
    values: Mapping[str, object]


def pictures_of(proof: Proof, units: str, samples: Samples | None) -> Mapping[str, Picture]:
    """Return the pictures that this proof has data for, by name."""
    return {
        name: _picture(name, plan, proof, units, samples)
        for name, plan in _PLANS.items()
        if plan.has_data(proof)
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """How a picture is made: sizes in inches, its description, values to show under a finger."""

    draw: "Callable[[Proof, Axes, str, Samples | None], Axes]"
    wide: tuple[float, float]
    narrow: tuple[float, float]
    has_data: Callable[[Proof], bool]
    words: Callable[[Proof, str], str]
    values: Callable[[Proof, str], Mapping[str, object]] = lambda proof, units: {}
    names_marks: bool = False


def _picture(name: str, plan: _Plan, proof: Proof, units: str, samples: Samples | None) -> Picture:
    def draw(axes: "Axes") -> "Axes":
        return plan.draw(proof, axes, units, samples)

    alt, marks = plan.words(proof, units), proof.marks if plan.names_marks else ()
    marks = tuple((at_s, words.mark_words(text, units)) for at_s, text in marks)
    return Picture(
        wide=_drawing(draw, plan.wide, f"{name}-wide", alt, marks),
        narrow=_drawing(draw, plan.narrow, f"{name}-narrow", alt, marks),
        values=plan.values(proof, units),
    )


def _drawing(
    draw: "Callable[[Axes], Axes]",
    size: tuple[float, float],
    name: str,
    alt: str,
    marks: tuple[tuple[float, str], ...],
) -> Drawing:
    axes = draw(plots.new_axes(*size))
    svg = inline_svg(axes, name, alt)
    left, right = across(axes, *axes.get_xlim())  # after the drawing, which settles the layout
    unnamed = tuple(plots.unnamed_marks(axes, marks))
    return Drawing(svg=svg, left=left, right=right, unnamed=unnamed)


def _temperatures(proof: Proof, units: str) -> dict[str, object]:
    lines = {
        words.spaced(name): to_shown(values, "temperature", units)
        for name, values in proof.series_c.items()
    }
    unit = shown_unit("temperature", units)
    return _values(proof, units, proof.series_s, unit, lines, 1)


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
    decimals = 0 if unit.startswith("BTU") else 2
    return _values(proof, units, ledger.elapsed_s, unit, lines, decimals)


def _values(
    proof: Proof,
    units: str,
    times_s: FloatArray,
    unit: str,
    lines: Mapping[str, FloatArray],
    decimals: int,
) -> dict[str, object]:
    last = len(lines) - 1
    return {
        "times_s": [round(float(t)) for t in times_s],
        "lines": [
            [name, unit if at == last else "", decimals, _plain(values, decimals)]
            for at, (name, values) in enumerate(lines.items())
        ],
        "phases": [[round(p.start_s), p.kind] for p in proof.phases],
        "marks": [[round(at_s), words.mark_words(text, units)] for at_s, text in proof.marks],
    }


def _plain(values: FloatArray, decimals: int) -> list[float | None]:
    return [round(float(v), decimals) if np.isfinite(v) else None for v in values]


def season_picture(trend: Trend | None, units: str) -> Mapping[str, Picture]:
    """Return the picture of a season under its name, nothing without a trend."""
    if trend is None:
        return {}
    alt = "Watts per degree and heat into the oil, outing after outing. "
    alt += trend_sentence(trend).text
    last = len(trend.outings) - 1

    def drawing(name: str, size: tuple[float, float]) -> Drawing:
        upper = plot_trend(trend, units=units, figure=new_figure(*size)).axes[0]
        svg = inline_svg(upper, f"season-{name}", alt)
        left, right = across(upper, 0, last)
        return Drawing(svg=svg, left=left, right=right)

    return {
        "season": Picture(
            wide=drawing("wide", (9.0, 4.6)),
            narrow=drawing("narrow", (4.2, 3.8)),
            values=_outing_values(trend, units),
        )
    }


def comparison_picture(comparison: Comparison, units: str) -> Mapping[str, Picture]:
    """Return the picture of a comparison, nothing where no side tells K or heat."""
    if not any(o.usable for o in (*comparison.before, *comparison.after)):
        return {}
    alt = "K and heat into the oil before and after. " + compare_sentence(comparison, units).text

    def drawing(name: str, size: tuple[float, float]) -> Drawing:
        first = plot_comparison(comparison, units=units, figure=new_figure(*size)).axes[0]
        return Drawing(svg=inline_svg(first, f"both-{name}", alt), left=0.0, right=100.0)

    wide, narrow = drawing("wide", (9.0, 3.4)), drawing("narrow", (4.2, 3.0))
    return {"both": Picture(wide=wide, narrow=narrow, values={})}


def _outing_values(trend: Trend, units: str) -> dict[str, object]:
    referred = np.exp(trend.referred)
    lines = []
    for name, kind, like, raw in (
        ("K", "conductance", referred[:, 0], [o.k_w_k for o in trend.outings]),
        ("heat", "power", referred[:, 1], [o.heat_w for o in trend.outings]),
    ):
        largest = float(like.max())
        unit = shown_unit(kind, units, largest=largest)
        decimals = 2 if unit == "kW" else 0 if unit.startswith("BTU") else 1
        for what, values in (("under like conditions", like), ("as run", np.array(raw))):
            shown = np.asarray(to_shown(values, kind, units, largest=largest))
            lines.append([f"{name} {what}", unit, decimals, _plain(shown, decimals)])
    return {
        "times_s": list(range(len(trend.outings))),
        "names": [words.day_text(o.start_utc or "") or o.name for o in trend.outings],
        "lines": lines,
        "phases": [],
        "marks": [
            [i, words.mark_words(mark, units)]
            for i, o in enumerate(trend.outings)
            for mark in o.marks
        ],
    }


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
    texts = [
        f"{fact.name}: {fact.value} {fact.beside}".strip() for fact in words.facts(proof, units)
    ]
    return "Heat rejected against the oil-to-air difference, with the label. " + _joined(texts[:3])


def _ledger_words(proof: Proof, units: str) -> str:
    rows = [f"{name} {value}" for name, value, _ in ledger_rows(proof.ledger, units)]
    return "Heat into the oil over the outing and where it went. " + _joined(rows)


def _residual_words(proof: Proof, units: str) -> str:
    if proof.diagnostics is None:
        return "Tank readings less the fitted model."
    rms = words.figure(proof.diagnostics.residual_rms_k, "temperature_difference", units)
    return f"Tank readings less the fitted model; root mean square {rms}."


_PLANS: Mapping[str, _Plan] = {
    "outing": _Plan(
        draw=lambda proof, axes, units, samples: plots.plot_outing(
            proof, axes, units=units, samples=samples
        ),
        wide=(9.0, 4.5),
        narrow=(4.2, 5.6),
        has_data=lambda proof: bool(proof.series_c) and proof.series_s.size > 1,
        words=_outing_words,
        values=_temperatures,
        names_marks=True,
    ),
    "ledger": _Plan(
        draw=lambda proof, axes, units, _: plots.plot_ledger(proof, axes, units=units),
        wide=(9.0, 2.9),
        narrow=(4.2, 4.0),
        has_data=lambda proof: proof.ledger is not None,
        words=_ledger_words,
        values=_heats,
    ),
    "label": _Plan(
        draw=lambda proof, axes, units, _: plots.plot_label(proof, axes, units=units),
        wide=(7.2, 3.6),
        narrow=(4.2, 3.6),
        has_data=lambda proof: proof.k_w_k is not None,
        words=_label_words,
    ),
    "residuals": _Plan(
        draw=lambda proof, axes, units, _: plots.plot_residuals(proof, axes, units=units),
        wide=(9.0, 2.8),
        narrow=(4.2, 3.2),
        has_data=lambda proof: proof.model_c is not None,
        words=_residual_words,
    ),
}
