"""The report of one outing: a single HTML file that needs nothing else to be read.

Numbers come from `words` and from the answers to the owner's questions, so page and screen
agree.
"""

from collections.abc import Mapping
from pathlib import Path

from wattsump_analysis.questions.givens import Givens, givens_of
from wattsump_analysis.reading.samples import Samples
from wattsump_analysis.results import Proof
from wattsump_analysis.show import words
from wattsump_analysis.show.hottest_day import hottest_line
from wattsump_analysis.show.report.glance import glance_at
from wattsump_analysis.show.report.pictures import pictures_of, season_picture
from wattsump_analysis.show.report.replies import Days, replies_to
from wattsump_analysis.show.report.season import Season
from wattsump_analysis.show.report.sheet import sheet
from wattsump_analysis.show.report.tables import (
    budget_rows,
    diagnostic_checks,
    fit_facts,
    ledger_line,
    ledger_rows,
    phase_fit_rows,
    season_rows,
    segment_rows,
)
from wattsump_logger.session.wholefile import write_whole

__all__ = ("render", "write_report")


def write_report(
    proof: Proof,
    path: Path,
    units: str = "si",
    *,
    samples: Samples | None = None,
    givens: Givens | None = None,
    days: Days | None = None,
    season: Season | None = None,
    made_with: Mapping[str, str] | None = None,
) -> None:
    """Write the report of `proof` to `path`; parameters as of `render`.

    Raises
    ------
    UsageError
        The file cannot be written.
    """
    page = render(
        proof,
        units,
        samples=samples,
        givens=givens,
        days=days,
        season=season,
        made_with=made_with,
    )
    write_whole(path, page)


def render(
    proof: Proof,
    units: str = "si",
    *,
    samples: Samples | None = None,
    givens: Givens | None = None,
    days: Days | None = None,
    season: Season | None = None,
    made_with: Mapping[str, str] | None = None,
) -> str:
    """Return the report as HTML; the same text for the same input.

    Parameters
    ----------
    proof : Proof
        The result of `prove`.
    units : {"si", "us"}
        Units of display.
    samples : Samples, optional
        Every reading behind the proof, for the picture of the outing; else its means.
    givens : Givens, optional
        From `givens.givens_of`, with session and profile; else the proof's own.
    days : Days, optional
        The hottest and the coldest day, and a heater, to answer for.
    season : Season, optional
        From `season.season_beside`.
    made_with : Mapping of str to str, optional
        Releases and checksums, shown beside what the proof says it comes from.
    """
    givens = givens_of(proof) if givens is None else givens
    values: dict[str, object] = {
        "proof": proof,
        "day": words.day_text(proof.provenance.get("start_utc", "")),
        "glance": glance_at(proof, hottest_line(givens, units), units),
        "facts": words.facts(proof, units),
        "peaks": _peaks(proof, units),
        "replies": replies_to(givens, days),
        "season": season,
        "season_rows": season_rows(season, units),
        "pictures": {
            **pictures_of(proof, units, samples),
            **season_picture(None if season is None else season.trend, units),
        },
        "budget": budget_rows(proof),
        "checks": diagnostic_checks(proof, units),
        "fit_facts": fit_facts(proof.diagnostics),
        "phase_fits": phase_fit_rows(proof.phase_fits, units),
        "segments": segment_rows(proof.segments, units),
        "ledger": ledger_rows(proof.ledger, units),
        "ledger_line": ledger_line(proof.ledger, units),
        "provenance": {
            name: value
            for name, value in {**proof.provenance, **(made_with or {})}.items()
            if value
        },
    }
    return sheet("report.html.jinja", units, values)


def _peaks(proof: Proof, units: str) -> str:
    """Return the highest reading of each channel, and the limits that any of them passed."""

    def temperature(value_c: float) -> str:
        return words.figure(value_c, "temperature", units, both=False)

    if not proof.peaks_c:
        return ""
    hottest = sorted(proof.peaks_c.items(), key=lambda item: -item[1][0])
    highest = ", ".join(f"{words.spaced(name)} {temperature(c)}" for name, (c, _) in hottest)
    over: dict[str, list[str]] = {}
    for name, (peak_c, _) in hottest:
        for key in words.limits_for(name, proof):
            if peak_c > proof.limits_c[key]:
                over.setdefault(key, []).append(words.spaced(name))
    passed = [
        f"the {words.limit_name(key)} of {temperature(proof.limits_c[key])} by {', '.join(names)}"
        for key, names in over.items()
    ]
    none = " No limit was passed." if proof.limits_c else ""
    return f"Highest: {highest}." + (f" Passed: {'; '.join(passed)}." if passed else none)
