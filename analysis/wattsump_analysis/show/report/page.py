"""The report of one outing: a single HTML file that needs nothing else to be read.

The template escapes everything by default; the drawings are our own SVG. Numbers come
from `phrases` and from the answers to the owner's questions, so page and screen say the same.
"""

from importlib.resources import files
from pathlib import Path

from wattsump_analysis.questions.answer import Figure
from wattsump_analysis.questions.known import Known, known_of
from wattsump_analysis.questions.writing import said, shown
from wattsump_analysis.results import Interval, Proof
from wattsump_analysis.show import words
from wattsump_analysis.show.hottest_day import hottest_days
from wattsump_analysis.show.plots import outing
from wattsump_analysis.show.report.pictures import pictures_of, season_picture
from wattsump_analysis.show.report.replies import Days, replies_to
from wattsump_analysis.show.report.season import Season
from wattsump_analysis.show.report.tables import (
    budget_rows,
    diagnostic_rows,
    ledger_rows,
    phase_fit_rows,
    season_rows,
    segment_rows,
)
from wattsump_logger.session.wholefile import write_whole

__all__ = ("render", "write_report")

_PARTS = ("report.html.jinja", "report.css.jinja", "answers.html.jinja")


def write_report(
    proof: Proof,
    path: Path,
    units: str = "si",
    *,
    fan: outing.FanFlag | None = None,
    known: Known | None = None,
    days: Days | None = None,
    season: Season | None = None,
) -> None:
    """Write the report of `proof` to `path`; parameters as of `render`.

    Raises
    ------
    UsageError
        The file cannot be written.
    """
    write_whole(path, render(proof, units, fan=fan, known=known, days=days, season=season))


def render(
    proof: Proof,
    units: str = "si",
    *,
    fan: outing.FanFlag | None = None,
    known: Known | None = None,
    days: Days | None = None,
    season: Season | None = None,
) -> str:
    """Return the report as HTML; the same text for the same input.

    Parameters
    ----------
    proof : Proof
        What `prove` found.
    units : {"si", "us"}
        Units of display.
    fan : tuple of ndarray (n,), ndarray (n,), optional
        Times [s] and state of the fan, for the picture of the outing.
    known : Known, optional
        From `answers_known.known_of`, with session and profile; else the proof's own.
    days : Days, optional
        The hottest and the coldest day, and a heater, to answer for.
    season : Season, optional
        From `report_season.season_beside`.
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
    known = known_of(proof) if known is None else known
    replies = replies_to(known, days)
    forecast = next((reply.answer for reply in replies if reply.key == "forecast"), None)
    return environment.get_template(_PARTS[0]).render(
        proof=proof,
        facts=_first_facts(proof, hottest_days(forecast, known, units), units),
        replies=replies,
        season=season,
        season_rows=season_rows(season, units),
        pictures={**pictures_of(proof, units, fan), **season_picture(season, units)},
        budget=budget_rows(proof),
        diagnostics=diagnostic_rows(proof.diagnostics, units),
        phase_fits=phase_fit_rows(proof.phase_fits, units),
        segments=segment_rows(proof.segments, units),
        ledger=ledger_rows(proof.ledger, units),
        limits=[(words.limit_name(key), value) for key, value in proof.limits_c.items()],
        provenance={name: value for name, value in proof.provenance.items() if value},
        inks=outing.INKS,
    )


def _first_facts(
    proof: Proof, hottest: tuple[words.Fact, ...], units: str
) -> tuple[words.Fact, ...]:
    """Put the hottest days behind the label's lines, where a phone still shows them."""
    lines = words.facts(proof, units)
    names = [line.name for line in lines]
    at = names.index("Per degree") if "Per degree" in names else len(lines)
    return (*lines[:at], *hottest, *lines[at:])


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
        "said": lambda pieces: said(pieces, units),
        "clock": words.clock_text,
        "sentence": words.sentence,
        "spaced": words.spaced,
    }
