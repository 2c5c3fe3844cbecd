"""The report's tables as rows of text, which the template lays out."""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from wattsump_analysis.results import Diagnostics, Interval, Ledger, PhaseFit, Proof, Segment
from wattsump_analysis.show import words
from wattsump_analysis.show.report.season import Season

__all__ = (
    "Check",
    "budget_rows",
    "diagnostic_checks",
    "fit_facts",
    "ledger_line",
    "ledger_rows",
    "phase_fit_rows",
    "season_rows",
    "segment_rows",
)

# Common practice, no source: two steps of a thermocouple converter of a quarter kelvin.
MOST_RMS_K = 0.5
MOST_LAG = 0.2  # neighbours' correlation; Durbin-Watson is near 2 - 2 times it
MOST_EXCESS = 1.4  # of the cumulated periodogram, as docs/method.md has it
LEAST_DRAWS = 100
MOST_CORRELATION = 0.9
FELT = 0.5  # a correlation below this widens an interval by less than a sixth
MOST_CORRELATIONS = 8
SEASON_ROWS = 12  # the newest; the picture has them all
# Name of a parameter in the fit -> its name for the owner.
_BUDGET_NAMES = {
    "oil_j_k": "heat capacity of the oil (volume stated)",
    "oil_heat": "specific heat of the oil",
    "metal_j_k": "heat capacity of the metal (mass stated)",
    "oil_flow_w_k": "oil flow",
    "oil flow and heat": "oil flow and its heat capacity",
    "model form": "how far the model is from a machine",
    "offset_in_k": "cooler inlet probe against the tank's",
    "offset_out_k": "cooler outlet probe against the inlet's",
    "offset_ambient_k": "air probe against the oil's",
    "contact_tank": "contact of the tank probe",
    "contact_in": "contact of the cooler's inlet probe",
    "contact_out": "contact of the cooler's outlet probe",
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


def ledger_line(ledger: Ledger | None, units: str) -> str:
    """Return the ledger in a sentence, "" without one."""
    if ledger is None:
        return ""
    into = ledger.heat_in_kwh.value

    def energy(kwh: float) -> str:
        if units == "us":
            return words.figure(3.6e6 * kwh, "energy", units, both=False)
        return f"{kwh:.2f} kWh"

    def amount(kwh: float) -> str:
        share = f" ({100 * abs(kwh) / into:.0f} %)" if into > 0 else ""
        return energy(abs(kwh)) + share

    stored = ledger.stored_kwh.value
    rest = "is still in oil and metal" if stored >= 0 else "more came out of oil and metal"
    return (
        f"{energy(into)} went into the oil. "
        f"The cooler carried off {amount(ledger.cooler_kwh.value)}, "
        f"the shell (tank, hoses and housings) {amount(ledger.shell_kwh.value)}; "
        f"{amount(stored)} {rest} at the end."
    )


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
        return f"{interval.value:z.2f} kWh", f"{interval.low:z.2f} to {interval.high:z.2f} kWh"

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One diagnostic: its good range, whether it passes, and what follows if it fails."""

    name: str
    found: str
    good: str
    passed: bool
    otherwise: str

    @property
    def meaning(self) -> str:
        """The effect on the 95 % range."""
        return "the range stands" if self.passed else self.otherwise


def fit_facts(found: Diagnostics | None) -> str:
    """Return in one sentence what was fitted."""
    if found is None:
        return ""
    nodes = "one heat capacity" if found.nodes == 1 else f"{found.nodes} heat capacities"
    return (
        f"{found.bins} means of {found.bin_s:.0f} s, {nodes}, likelier layout of the machine: "
        f"{found.layout}, in {100 * found.layout_share:.0f} % of the draws."
    )


def diagnostic_checks(proof: Proof, units: str) -> list[Check]:
    """Return every diagnostic of the fit, with pass or fail."""
    found = proof.diagnostics
    if found is None:
        return []
    return [*_on_errors(found, units), *_on_knowledge(found), *_on_phases(proof, found)]


def _on_errors(found: Diagnostics, units: str) -> Iterator[Check]:
    follow = "the model misses something; its share of the range allows for that, if not enough"
    yield Check(
        name="residual, root mean square",
        found=words.figure(found.residual_rms_k, "temperature_difference", units),
        good=f"under {words.figure(MOST_RMS_K, 'temperature_difference', units)}",
        passed=found.residual_rms_k < MOST_RMS_K,
        otherwise="the model does not follow the tank: take the range as too narrow",
    )
    yield Check(
        name="errors one step ahead: correlation of neighbours",
        found=f"{found.innovation_lag1:.2f}",
        good=f"within {MOST_LAG} of 0",
        passed=abs(found.innovation_lag1) < MOST_LAG,
        otherwise=f"{follow}; up to 0.5 is usual",
    )
    yield Check(
        name="errors one step ahead: Durbin-Watson",
        found=f"{found.innovation_durbin_watson:.2f}",
        good=f"within {2 * MOST_LAG} of 2",
        passed=abs(found.innovation_durbin_watson - 2.0) < 2 * MOST_LAG,
        otherwise="as the line above",
    )
    yield Check(
        name="errors one step ahead: cumulated periodogram off a line",
        found=f"{found.innovation_periodogram_excess:.1f}",
        good=f"under {MOST_EXCESS}",
        passed=found.innovation_periodogram_excess < MOST_EXCESS,
        otherwise="a slow shape is left over: see the picture of the residuals",
    )


def _on_knowledge(found: Diagnostics) -> Iterator[Check]:
    yield Check(
        name="length in time constants",
        found=f"{found.window_tau:.2f}",
        good="1 and more",
        passed=found.window_tau >= 1.0,
        otherwise="short: the range leans on litres, kilograms and usual values",
    )
    yield Check(
        name="effective draws before tempering",
        found=f"{found.effective_draws:.0f}",
        good=f"{LEAST_DRAWS} and more",
        passed=found.effective_draws >= LEAST_DRAWS,
        otherwise="few: the range was widened for that",
    )
    for pair, value in _strongest(found):
        yield Check(
            name=f"correlation of {pair}",
            found=f"{value:.2f}",
            good=f"within {MOST_CORRELATION} of 0",
            passed=abs(value) < MOST_CORRELATION,
            otherwise="hardly separated; both ranges are wide for that",
        )
    if found.at_bounds:
        yield Check(
            name="at the edge of its prior range",
            found=", ".join(map(_parameter, found.at_bounds)),
            good="nothing",
            passed=False,
            otherwise="a stated value may be wrong, and the range does not allow for that",
        )


def _on_phases(proof: Proof, found: Diagnostics) -> Iterator[Check]:
    k = proof.k_w_k
    if k is None:
        return
    for one in found.influence:
        yield Check(
            name=f"K without the {one.phase.kind} from {words.clock_text(one.phase.start_s)}",
            found=f"{100 * one.k_change_rel:+.1f} %",
            good=f"within {100 * k.half_width_rel:.1f} %",
            passed=abs(one.k_change_rel) < k.half_width_rel,
            otherwise="the answer depends on this phase alone: repeat it",
        )


def _strongest(found: Diagnostics) -> list[tuple[str, float]]:
    """Return the strong correlations in words, the strongest first."""
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

    An exponential that the readings do not determine gets no figures.
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
        ("heat into the oil, mean of all work", "heat_in_w", "power"),
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
    """Return cooler over capacity as a rate, which temperatures alone can give."""
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
            words.day_text(outing.start_utc or "") or outing.name,
            _or_nothing(outing.k_w_k, "conductance", units),
            _or_nothing(outing.heat_w, "power", units),
            outing.name == season.this,
        )
        for outing in season.outings[-SEASON_ROWS:]
    ]


def _or_nothing(value: float | None, kind: str, units: str) -> str:
    return "not told" if value is None else words.figure(value, kind, units, both=False)
