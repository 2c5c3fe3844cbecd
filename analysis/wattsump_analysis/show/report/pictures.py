"""The report's pictures: each drawn wide and narrow, with words for who cannot see it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from wattsump_analysis.results import Phase, Proof
from wattsump_analysis.season.trend import Trend
from wattsump_analysis.show import words
from wattsump_analysis.show.plots import outing as plots
from wattsump_analysis.show.plots.files import inline_svg
from wattsump_analysis.show.plots.season import plot_trend
from wattsump_analysis.show.report.season import Season
from wattsump_analysis.show.report.tables import ledger_rows

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ("Picture", "pictures_of", "season_picture")


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One drawing at the two sizes a page needs; `Markup`-safe by construction."""

    wide: str
    narrow: str


def pictures_of(proof: Proof, units: str, fan: plots.FanFlag | None) -> Mapping[str, Picture]:
    def outing(axes: "Axes") -> "Axes":
        return plots.plot_outing(proof, axes, units=units, fan=fan)

    def ledger(axes: "Axes") -> "Axes":
        return plots.plot_ledger(proof, axes, units=units)

    def label(axes: "Axes") -> "Axes":
        return plots.plot_label(proof, axes, units=units)

    def residuals(axes: "Axes") -> "Axes":
        return plots.plot_residuals(proof, axes, units=units)

    wanted = {
        "outing": (outing, (9.0, 5.0), (4.2, 5.2), _outing_words(proof, units)),
        "label": (label, (7.2, 4.0), (4.2, 3.8), _label_words(proof, units)),
        "ledger": (ledger, (9.0, 4.2), (4.2, 4.4), _ledger_words(proof, units)),
        "residuals": (residuals, (9.0, 2.8), (4.2, 2.8), _residual_words(proof, units)),
    }
    return {
        name: Picture(
            wide=inline_svg(draw(plots.new_axes(*wide)), f"{name}-wide", words),
            narrow=inline_svg(draw(plots.new_axes(*narrow)), f"{name}-narrow", words),
        )
        for name, (draw, wide, narrow, words) in wanted.items()
        if _has(proof, name)
    }


def season_picture(season: Season | None, units: str) -> Mapping[str, Picture]:
    """Return the picture of the season under its name, nothing without a trend."""
    if season is None or season.trend is None:
        return {}
    words = "Watts per degree and heat into the oil, outing after outing. " + season.sentence
    wide, narrow = (
        inline_svg(_untitled_season(season.trend, units, size), f"season-{name}", words)
        for name, size in (("wide", (9.0, 5.2)), ("narrow", (4.2, 5.6)))
    )
    return {"season": Picture(wide=wide, narrow=narrow)}


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
