"""The report of one outing: a single HTML file that needs nothing else to be read.

The template escapes everything by default; the drawings are our own SVG. Numbers come
from `phrases`, so page and screen say the same.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from wattsump_analysis import phrases, plots
from wattsump_analysis.drawing import inline_svg
from wattsump_analysis.results import Diagnostics, Interval, Ledger, Phase, Proof, Segment
from wattsump_logger.errors import UsageError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ("render", "write_report")

# Name of a parameter in the fit -> what the owner calls it.
_BUDGET_NAMES = {
    "oil_j_k": "heat capacity of the oil (volume stated)",
    "metal_j_k": "heat capacity of the metal (mass stated)",
    "flow_w_k": "oil flow",
    "oil flow and heat": "oil flow and its heat capacity",
    "model form": "how far the model is from a machine",
    "offset_in_k": "cooler inlet probe against the tank's",
    "offset_out_k": "cooler outlet probe against the inlet's",
    "offset_ambient_k": "air probe against the oil's",
    "readings": "scatter of the readings, and what no input states",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Picture:
    """One drawing at the two sizes a page needs; `Markup`-safe by construction."""

    wide: str
    narrow: str


def write_report(
    proof: Proof, path: Path, units: str = "si", *, fan: plots.FanFlag | None = None
) -> None:
    """Write the report of `proof` to `path`.

    Raises
    ------
    UsageError
        The file cannot be written.
    """
    page = render(proof, units, fan=fan)
    try:
        path.write_text(page, encoding="utf-8", newline="\n")
    except OSError as error:
        raise UsageError(
            expected="a place to write the report to",
            found=error.strerror or str(error),
            where=str(path),
            do="choose another folder or name",
        ) from error


def render(proof: Proof, units: str = "si", *, fan: plots.FanFlag | None = None) -> str:
    """Return the report as HTML; the same text for the same proof.

    Parameters
    ----------
    proof : Proof
        What `prove` found.
    units : {"si", "us"}
        Units of display.
    fan : tuple of ndarray (n,), ndarray (n,), optional
        Times [s] and state of the fan, for the picture of the outing.
    """
    from jinja2 import Environment, StrictUndefined

    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters |= _filters(units)
    source = files("wattsump_analysis").joinpath("templates/report.html.jinja")
    template = environment.from_string(source.read_text(encoding="utf-8"))
    return template.render(
        proof=proof,
        verdict_word=phrases.VERDICT_WORDS.get(proof.verdict, proof.verdict),
        verdict_class=proof.verdict.replace(" ", "-"),
        facts=phrases.facts(proof, units),
        pictures=_pictures(proof, units, fan),
        budget=_budget(proof),
        diagnostics=_diagnostics(proof.diagnostics, units),
        segments=_segments(proof.segments, units),
        ledger=_ledger_rows(proof.ledger, units),
        limits=[(phrases.limit_name(key), value) for key, value in proof.limits_c.items()],
        provenance={name: value for name, value in proof.provenance.items() if value},
        inks=plots.INKS,
    )


def _filters(units: str) -> dict[str, object]:
    def number(value: float | None, kind: str) -> str:
        return "not known" if value is None else phrases.figure(value, kind, units)

    def between(interval: Interval | None, kind: str) -> str:
        return "" if interval is None else phrases.span(interval, kind, units)

    return {
        "figure": number,
        "span": between,
        "clock": phrases.clock_text,
        "sentence": phrases.sentence,
        "spaced": phrases.spaced,
        "plain": lambda value: f"{value:.3g}",
    }


def _pictures(proof: Proof, units: str, fan: plots.FanFlag | None) -> Mapping[str, _Picture]:
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
        name: _Picture(
            wide=inline_svg(draw(plots.new_axes(*wide)), f"{name}-wide", words),
            narrow=inline_svg(draw(plots.new_axes(*narrow)), f"{name}-narrow", words),
        )
        for name, (draw, wide, narrow, words) in wanted.items()
        if _has(proof, name)
    }


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
        f"{phrases.spaced(name)} at most {phrases.figure(peak_c, 'temperature', units, both=False)}"
        f" after {phrases.clock_text(at_s)}"
        for name, (peak_c, at_s) in proof.peaks_c.items()
    ]
    return "Temperatures over the outing. " + _joined(peaks) + " Phases: " + _runs(proof.phases)


def _joined(parts: Sequence[str]) -> str:
    return "; ".join(parts) + "." if parts else ""


def _runs(phases: Sequence[Phase]) -> str:
    return _joined([f"{p.kind} to {phrases.clock_text(p.end_s)}" for p in phases])


def _label_words(proof: Proof, units: str) -> str:
    said = [
        f"{fact.name}: {fact.value} {fact.beside}".strip() for fact in phrases.facts(proof, units)
    ]
    return "Heat rejected against the oil-to-air difference, with the label. " + _joined(said[:3])


def _ledger_words(proof: Proof, units: str) -> str:
    rows = [f"{name} {value}" for name, value, _ in _ledger_rows(proof.ledger, units)]
    return "Heat into the oil over the outing and where it went. " + _joined(rows)


def _residual_words(proof: Proof, units: str) -> str:
    if proof.diagnostics is None:
        return "Tank readings less the fitted model."
    rms = phrases.figure(proof.diagnostics.residual_rms_k, "temperature_difference", units)
    return f"Tank readings less the fitted model; root mean square {rms}."


def _budget(proof: Proof) -> list[tuple[str, str, str, float]]:
    """Return (source, type, relative, share of the variance) of each contribution."""
    total = sum(line.relative**2 for line in proof.budget) or 1.0
    return [
        (
            _BUDGET_NAMES.get(line.source, phrases.spaced(line.source)),
            line.kind,
            f"{100 * line.relative:.1f} %",
            line.relative**2 / total,
        )
        for line in proof.budget
    ]


def _ledger_rows(ledger: Ledger | None, units: str) -> list[tuple[str, str, str]]:
    if ledger is None:
        return []
    joules = 3.6e6

    def energy(interval: Interval) -> tuple[str, str]:
        scaled = Interval(
            value=interval.value * joules, low=interval.low * joules, high=interval.high * joules
        )
        if units == "us":
            return phrases.figure(scaled.value, "energy", units, both=False), phrases.span(
                scaled, "energy", units
            )
        return f"{interval.value:.2f} kWh", f"{interval.low:.2f} to {interval.high:.2f} kWh"

    return [
        ("into the oil, in all", *energy(ledger.heat_in_kwh)),
        ("out by the cooler, in all", *energy(ledger.cooler_kwh)),
        ("into the oil, middle of the working time", _power(ledger.working_p50_w, units), ""),
        (
            "into the oil, passed in a tenth of the working time",
            _power(ledger.working_p90_w, units),
            "",
        ),
    ]


def _power(watts: float, units: str) -> str:
    return phrases.figure(watts, "power", units)


def _diagnostics(found: Diagnostics | None, units: str) -> list[tuple[str, str, str]]:
    """Return (name, figure, what a good one looks like)."""
    if found is None:
        return []
    bin_text = f"{found.bins} of {found.bin_s:.0f} s"
    rms = phrases.figure(found.residual_rms_k, "temperature_difference", units)
    rows = [
        ("means fitted", bin_text, ""),
        ("heat capacities in the model", str(found.nodes), "as many as the evidence asks for"),
        ("log evidence for the finer model", f"{found.evidence_two_over_one:.1f}", "above 0"),
        ("residual, root mean square", rms, "near the probes' step"),
        ("correlation of neighbours", f"{found.residual_lag1:.2f}", "near 0"),
        ("Durbin-Watson", f"{found.durbin_watson:.2f}", "near 2"),
        (
            "cumulated periodogram off a straight line",
            f"{found.periodogram_excess:.1f}",
            "under 1.4",
        ),
        ("length in time constants", f"{found.window_tau:.2f}", "1 and more"),
        ("effective draws", f"{found.effective_draws:.0f}", "100 and more"),
    ]
    rows += [
        (f"correlation of {phrases.spaced(pair)}", f"{value:.2f}", "far from 1")
        for pair, value in found.correlations.items()
    ]
    if found.at_bounds:
        rows.append(("at the edge of its range", ", ".join(found.at_bounds), "nothing"))
    return rows


def _segments(segments: Sequence[Segment], units: str) -> list[dict[str, object]]:
    kinds = (
        ("cooler", "k_w_k", "conductance"),
        ("cooler, by the oil side", "oil_side_w_k", "conductance"),
        ("heat capacity", "capacity_j_k", "heat_capacity"),
        ("shell", "shell_w_k", "conductance"),
        ("heat into the oil at work", "heat_in_w", "power"),
    )
    return [
        {
            "when": f"{phrases.clock_text(part.start_s)} to {phrases.clock_text(part.end_s)}",
            "rows": [
                (
                    words,
                    phrases.figure(found.value, kind, units),
                    phrases.span(found, kind, units),
                )
                for words, name, kind in kinds
                if (found := getattr(part, name)) is not None
            ]
            + [_ratio(part)],
        }
        for part in segments
    ]


def _ratio(part: Segment) -> tuple[str, str, str]:
    """Return cooler over capacity: what temperatures alone can tell, as a rate."""
    ratio = part.k_over_c_per_s
    return (
        "cooler over heat capacity (needs no known heat)",
        f"{3600 * ratio.value:.2f} per hour",
        f"{3600 * ratio.low:.2f} to {3600 * ratio.high:.2f} per hour",
    )
