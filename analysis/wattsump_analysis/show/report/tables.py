"""The report's tables: rows of text, worked out here so that the template only lays them out."""

import math
import re
from collections.abc import Sequence

from wattsump_analysis.results import Diagnostics, Interval, Ledger, PhaseFit, Proof, Segment
from wattsump_analysis.show import words
from wattsump_analysis.show.report.season import Season

__all__ = (
    "budget_rows",
    "diagnostic_rows",
    "ledger_rows",
    "phase_fit_rows",
    "season_rows",
    "segment_rows",
)

FELT = 0.5  # a correlation below this widens an interval by less than a sixth
MOST_CORRELATIONS = 8
SEASON_ROWS = 12  # the newest; the picture has them all
# Name of a parameter in the fit -> what the owner calls it.
_BUDGET_NAMES = {
    "oil_j_k": "heat capacity of the oil (volume stated)",
    "metal_j_k": "heat capacity of the metal (mass stated)",
    "oil_flow_w_k": "oil flow",
    "oil flow and heat": "oil flow and its heat capacity",
    "model form": "how far the model is from a machine",
    "offset_in_k": "cooler inlet probe against the tank's",
    "offset_out_k": "cooler outlet probe against the inlet's",
    "offset_ambient_k": "air probe against the oil's",
    "readings": "scatter of the readings, and what no input states",
}


def budget_rows(proof: Proof) -> list[tuple[str, str, str, float]]:
    """Return (source, type, relative, share of the variance) of each contribution."""
    total = sum(line.relative**2 for line in proof.budget) or 1.0
    return [
        (
            _BUDGET_NAMES.get(line.source, words.spaced(line.source)),
            line.kind,
            f"{100 * line.relative:.1f} %",
            line.relative**2 / total,
        )
        for line in proof.budget
    ]


def ledger_rows(ledger: Ledger | None, units: str) -> list[tuple[str, str, str]]:
    if ledger is None:
        return []
    joules = 3.6e6

    def energy(interval: Interval) -> tuple[str, str]:
        scaled = Interval(
            value=interval.value * joules, low=interval.low * joules, high=interval.high * joules
        )
        if units == "us":
            return words.figure(scaled.value, "energy", units, both=False), words.span(
                scaled, "energy", units
            )
        return f"{interval.value:.2f} kWh", f"{interval.low:.2f} to {interval.high:.2f} kWh"

    return [
        ("into the oil, in all", *energy(ledger.heat_in_kwh)),
        ("out by the cooler, in all", *energy(ledger.cooler_kwh)),
        ("out by the shell, in all", *energy(ledger.shell_kwh)),
        ("stored at the end", *energy(ledger.stored_kwh)),
        ("not accounted for", *energy(ledger.unexplained_kwh)),
        (
            "into the oil, middle of the working time",
            *_power(ledger.working_p50_range_w, units),
        ),
        (
            "into the oil, passed in a tenth of the working time",
            *_power(ledger.working_p90_range_w, units),
        ),
        ("into the oil, greatest mean of a minute", *_power(ledger.working_peak_w, units)),
    ]


def _power(interval: Interval | None, units: str) -> tuple[str, str]:
    if interval is None:
        return "", ""
    return words.figure(interval.value, "power", units), words.span(interval, "power", units)


def diagnostic_rows(found: Diagnostics | None, units: str) -> list[tuple[str, str, str]]:
    """Return (name, figure, what a good one looks like)."""
    if found is None:
        return []
    bin_text = f"{found.bins} of {found.bin_s:.0f} s"
    rms = words.figure(found.residual_rms_k, "temperature_difference", units)
    rows = [
        ("means fitted", bin_text, ""),
        ("heat capacities in the model", str(found.nodes), "as many as the evidence asks for"),
        ("layout of the machine", found.layout, "as the evidence tells"),
        ("log evidence for the finer model", f"{found.evidence_two_over_one:.1f}", "above 0"),
        ("residual, root mean square", rms, "near the probes' step"),
        (
            "errors one step ahead: correlation of neighbours",
            f"{found.innovation_lag1:.2f}",
            "near 0",
        ),
        ("errors one step ahead: Durbin-Watson", f"{found.innovation_durbin_watson:.2f}", "near 2"),
        (
            "errors one step ahead: cumulated periodogram off a line",
            f"{found.innovation_periodogram_excess:.1f}",
            "under 1.4",
        ),
        ("length in time constants", f"{found.window_tau:.2f}", "1 and more"),
        (
            "effective draws before levelling",
            f"{found.effective_draws:.0f}",
            "100 and more; fewer widen ranges",
        ),
    ]
    rows += [
        (f"correlation of {pair}", f"{value:.2f}", "far from 1 and -1")
        for pair, value in _strongest(found)
    ]
    rows += [
        (
            f"K without the {one.phase.kind} from {words.clock_text(one.phase.start_s)}",
            f"{one.k_change_rel:+.1%}",
            "well within K's range",
        )
        for one in found.influence
    ]
    if found.at_bounds:
        rows.append(("at the edge of its range", ", ".join(found.at_bounds), "nothing"))
    return rows


def _strongest(found: Diagnostics) -> list[tuple[str, float]]:
    """Return the correlations that are felt, the strongest first, in words."""
    felt = [(pair, value) for pair, value in found.correlations.items() if abs(value) >= FELT]
    felt.sort(key=lambda item: -abs(item[1]))
    return [
        (" and ".join(map(_parameter, re.split(r", | and ", pair))), value)
        for pair, value in felt[:MOST_CORRELATIONS]
    ]


def _parameter(name: str) -> str:
    return _BUDGET_NAMES.get(name) or words.spaced(re.sub(r"_(w_k|j_k|s|k)$", "", name))


def phase_fit_rows(fits: Sequence[PhaseFit], units: str) -> list[tuple[str, str, str, str, str]]:
    """Return (phase, time constant, range, where it heads, worth) of each transient.

    An exponential that the readings do not pin down gets no figures: they would be noise.
    """
    rows = []
    for fit in fits:
        pinned = fit.tau_s.low > 0.0 and math.isfinite(fit.tau_s.high)
        rows.append(
            (
                f"{fit.phase.kind} from {words.clock_text(fit.phase.start_s)}",
                words.figure(fit.tau_s.value, "duration", units) if pinned else "not told",
                words.span(fit.tau_s, "duration", units) if pinned else "",
                words.figure(fit.final_c, "temperature", units) if pinned else "not told",
                ("trusted" if fit.trusted else "not trusted") + (f": {fit.why}" if fit.why else ""),
            )
        )
    return rows


def segment_rows(segments: Sequence[Segment], units: str) -> list[dict[str, object]]:
    kinds = (
        ("cooler", "k_w_k", "conductance"),
        ("cooler, by the oil side", "oil_side_w_k", "conductance"),
        ("heat capacity", "capacity_j_k", "heat_capacity"),
        ("shell", "shell_w_k", "conductance"),
        ("heat into the oil at work", "heat_in_w", "power"),
    )
    return [
        {
            "when": f"{words.clock_text(part.start_s)} to {words.clock_text(part.end_s)}",
            "rows": [
                (
                    label,
                    words.figure(found.value, kind, units),
                    words.span(found, kind, units),
                )
                for label, name, kind in kinds
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


def season_rows(season: Season | None, units: str) -> list[tuple[str, str, str, bool]]:
    """Return (day, watts per degree, heat at work, whether it is this outing), oldest first."""
    if season is None:
        return []
    return [
        (
            (outing.start_utc or "")[:10] or outing.name,
            _or_nothing(outing.k_w_k, "conductance", units),
            _or_nothing(outing.heat_w, "power", units),
            outing.name == season.this,
        )
        for outing in season.outings[-SEASON_ROWS:]
    ]


def _or_nothing(value: float | None, kind: str, units: str) -> str:
    return "not told" if value is None else words.figure(value, kind, units, both=False)
