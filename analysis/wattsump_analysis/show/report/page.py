"""The report of one outing: a single HTML file that needs nothing else to be read.

The template escapes everything by default; the drawings are our own SVG. Numbers come
from `words` and from the answers to the owner's questions, so page and screen say the same.
The one script reads values off the pictures; the page's policy names it by its hash and
forbids any other, and without it nothing is missing but that.
"""

import base64
import hashlib
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path

from wattsump_analysis.questions.answer import Figure, shown
from wattsump_analysis.questions.givens import Givens, givens_of
from wattsump_analysis.questions.writing import sentence
from wattsump_analysis.reading.samples import Samples
from wattsump_analysis.results import Interval, Proof
from wattsump_analysis.show import words
from wattsump_analysis.show.hottest_day import hottest_line
from wattsump_analysis.show.plots import outing
from wattsump_analysis.show.report.glance import glance_at
from wattsump_analysis.show.report.pictures import pictures_of, season_picture
from wattsump_analysis.show.report.replies import Days, replies_to
from wattsump_analysis.show.report.season import Season
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

_PARTS = ("report.html.jinja", "report.css.jinja", "answers.html.jinja", "report.js")


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
        What `prove` found.
    units : {"si", "us"}
        Units of display.
    samples : Samples, optional
        Every reading behind the proof, for the picture of the outing; else its means.
    givens : Givens, optional
        From `givens.givens_of`, with session and profile; else the proof's own.
    days : Days, optional
        The hottest and the coldest day, and a heater, to answer for.
    season : Season, optional
        From `report_season.season_beside`.
    made_with : Mapping of str to str, optional
        Releases and checksums, shown beside what the proof says it comes from.
    """
    from jinja2 import DictLoader, Environment, StrictUndefined

    folder = files("wattsump_analysis.show.report").joinpath("templates")
    parts = {name: folder.joinpath(name).read_text(encoding="utf-8") for name in _PARTS}
    environment = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=DictLoader(parts),
    )
    environment.filters |= _filters(units)
    givens = givens_of(proof) if givens is None else givens
    script = parts["report.js"]
    return environment.get_template(_PARTS[0]).render(
        proof=proof,
        script=script,
        script_hash=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
        day=words.day_text(proof.provenance.get("start_utc", "")),
        glance=glance_at(proof, hottest_line(givens, units), units),
        facts=words.facts(proof, units),
        peaks=_peaks(proof, units),
        replies=replies_to(givens, days),
        season=season,
        season_rows=season_rows(season, units),
        pictures={**pictures_of(proof, units, samples), **season_picture(season, units)},
        budget=budget_rows(proof),
        checks=diagnostic_checks(proof, units),
        fit_facts=fit_facts(proof.diagnostics),
        phase_fits=phase_fit_rows(proof.phase_fits, units),
        segments=segment_rows(proof.segments, units),
        ledger=ledger_rows(proof.ledger, units),
        ledger_line=ledger_line(proof.ledger, units),
        provenance={
            name: value
            for name, value in {**proof.provenance, **(made_with or {})}.items()
            if value
        },
        inks=outing.INKS,
    )


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


def _filters(units: str) -> dict[str, object]:
    def number(value: float | None, kind: str) -> str:
        return "not known" if value is None else words.figure(value, kind, units)

    def between(interval: Interval | None, kind: str) -> str:
        return "" if interval is None else words.span(interval, kind, units)

    def cell(value: str | Figure) -> str:
        return value if isinstance(value, str) else shown(value, units)

    return {
        "figure": number,
        "span": between,
        "cell": cell,
        "said": lambda remark: "" if remark is None else sentence(remark, units),
        "clock": words.clock_text,
        "sentence": words.sentence,
        "marked": words.mark_words,
        "spaced": words.spaced,
    }
