"""Pages over several outings, of the report's family: a season, and two sides of a comparison."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from wattsump_analysis.results import Interval, Tone
from wattsump_analysis.season.causes import SURE
from wattsump_analysis.season.compare import Comparison
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.state import Standing, state_of
from wattsump_analysis.season.trend import SOON, Step, Trend
from wattsump_analysis.show import words
from wattsump_analysis.show.report.links import Links
from wattsump_analysis.show.report.pictures import comparison_picture, season_picture
from wattsump_analysis.show.report.sheet import sheet
from wattsump_analysis.show.season_screen import (
    capital,
    compare_sentence,
    drifts_in,
    headline,
    is_beyond,
    likely_text,
    next_steps,
    percent,
    put_down_to,
    row_of,
    settles,
    shown_lines,
    split_text,
    step_texts,
    trend_sentence,
    unsaid_split,
    warmer_text,
)
from wattsump_logger.remark import Remark, Worded
from wattsump_logger.units.quantities import rounded, shown_unit, to_shown

__all__ = ("TONES", "render_comparison", "render_season")

# So many of the newest outings are listed outright, the rest behind a line that opens.
_NEWEST = 12
_GO_ON = "Go on: log the same work every week or two, and note what is done to the machine"
_LOG_BOTH = "Log the same work once more on each side: the ranges narrow with every outing"
_NO_LINKS = Links()
# A state that is not here is good.
TONES: Mapping[Standing, Tone] = {
    Standing.TOO_HOT: "bad",
    Standing.WORSE: "bad",
    Standing.DRIFTS: "open",
    Standing.APART: "open",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """An outing in the list: numbers as text without their unit, and a remark."""

    day: str
    year: str
    href: str
    cells: tuple[str, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Change:
    """A change between two outings as text."""

    day: str
    texts: tuple[str, ...]
    causes: tuple[tuple[str, str], ...]


def render_season(
    trend: Trend,
    units: str = "si",
    *,
    links: Links = _NO_LINKS,
    made_with: Mapping[str, str] | None = None,
) -> str:
    """Return the page of a season as HTML; the same text for the same input.

    Parameters
    ----------
    trend : Trend
        From `trend_of`.
    units : {"si", "us"}
        Units of display.
    links : Links, optional
        To the reports that lie beside the sessions.
    made_with : Mapping of str to str, optional
        Releases and folder, for whoever makes the page again.
    """
    state = state_of(trend)
    title, lead = _head(trend, state.standing)
    rows = _rows(trend, units, links)
    values: dict[str, object] = {
        "trend": trend,
        "dates": f"{_dates(trend.outings)}, {_count(trend.outings)}",
        "title": title,
        "lead": lead,
        "tone": TONES.get(state.standing, "good"),
        "now": (
            f"K {words.figure(state.k_w_k.value, 'conductance', units, both=False)} "
            f"({words.span(state.k_w_k, 'conductance', units)}), heat into the oil "
            f"{words.figure(state.heat_w.value, 'power', units, both=False)} "
            f"({words.span(state.heat_w, 'power', units)})"
        ),
        "steps": next_steps(trend) or (_GO_ON,),
        "changes": [_change(step) for step in reversed(trend.steps)],
        "unchanged": trend_sentence(trend).text,
        "units": [
            _unit(trend, kind, at, units) for at, kind in enumerate(("conductance", "power"))
        ],
        "degree": shown_unit("temperature", units),
        "newest": rows[-_NEWEST:],
        "older": rows[:-_NEWEST],
        "years": _years(rows[-_NEWEST:]),
        "older_years": _years(rows[:-_NEWEST]),
        "facts": _method(trend),
        "pictures": season_picture(trend, units),
        "provenance": dict(made_with or {}),
    }
    return sheet("season.html.jinja", units, values)


def render_comparison(
    comparison: Comparison,
    units: str = "si",
    *,
    links: Links = _NO_LINKS,
    made_with: Mapping[str, str] | None = None,
) -> str:
    """Return the page of a comparison as HTML; parameters as of `render_season`."""
    title, lead, tone = _difference(comparison, units)
    values: dict[str, object] = {
        "comparison": comparison,
        "sides": [
            (name, _dates(side), [_compared(outing, units, links) for outing in side])
            for name, side in (("before", comparison.before), ("after", comparison.after))
        ],
        "title": title,
        "lead": lead,
        "tone": tone,
        "step": comparison.test or _after_all(comparison),
        "lines": [(line.name, *row_of(line, units)) for line in shown_lines(comparison)],
        "apart": _not_comparable(comparison),
        "causes": [(str(c.cause), words.chance(c.probability)) for c in comparison.causes],
        "pictures": comparison_picture(comparison, units),
        "provenance": dict(made_with or {}),
    }
    return sheet("compare.html.jinja", units, values)


def _head(trend: Trend, standing: Standing) -> tuple[str, str]:
    """Return the title of a season and the text below it."""
    if trend.steps:
        step = trend.steps[-1]
        day = words.day_text(step.start_utc or "") or step.name
        title, rest = headline(step.k, step.heat, f" from {day} on")
        return title, f"{rest}. {capital(likely_text(step.causes))}."
    if any(trend.drifting):
        return f"{capital(drifts_in(trend))} drifts", trend_sentence(trend).text
    k, heat = trend.would_have_seen
    lead = (
        f"Over {len(trend.outings)} outings. A loss of {percent(k)} of K, or {percent(heat)} more "
        f"heat, would have been seen within {SOON} outings (4 times in 5)."
    )
    return capital(standing) if standing is Standing.TOO_HOT else "No change", lead


def _difference(comparison: Comparison, units: str) -> tuple[str, str, Tone]:
    if comparison.k is None or comparison.heat is None:
        return "Cannot tell", compare_sentence(comparison, units).text, "open"
    title, rest = headline(comparison.k, comparison.heat)
    rise, cause = comparison.like_rise, put_down_to(comparison)
    warmer = "" if rise is None else f"{capital(warmer_text(rise, units))}. "
    lead = f"{capital(rest)}. {warmer}{capital(cause.text)}."
    if cause.code != "cause-known":
        return title, lead, "good" if cause.code == "no-change" else "open"
    return title, lead, "bad" if _is_harm(comparison.k, comparison.heat) else "good"


def _after_all(comparison: Comparison) -> object:
    """Return the next step where no test is named: what settles a cause that does harm."""
    k, heat, causes = comparison.k, comparison.heat, comparison.causes
    if k is None or heat is None or not (is_beyond(k) or is_beyond(heat)):
        return _LOG_BOTH
    if _is_harm(k, heat) and causes and causes[0].probability >= SURE:
        return settles(causes[0].cause)
    return _GO_ON


def _is_harm(k: Interval, heat: Interval) -> bool:
    """Tell whether the oil runs hotter by these changes, as by `turn_of` of a step."""
    return heat.value > k.value


def _change(step: Step) -> _Change:
    return _Change(
        day=words.day_text(step.start_utc or "") or step.name,
        texts=(*step_texts(step), *(() if step.cannot_split is None else (split_text(step),))),
        causes=tuple((str(c.cause), words.chance(c.probability)) for c in step.causes),
    )


def _dates(outings: Sequence[Outing]) -> str:
    """Return from when to when; how many outings, where none has a date."""
    days = [day for o in outings if (day := words.day_text(o.start_utc or ""))]
    if not days:
        return _count(outings)
    first, last = days[0], days[-1]
    if first == last:
        return first
    return f"{first[:-5] if first[-4:] == last[-4:] else first} to {last}"


def _count(outings: Sequence[Outing]) -> str:
    return f"{len(outings)} outing{'s' if len(outings) != 1 else ''}"


def _unit(trend: Trend, kind: str, at: int, units: str) -> str:
    return shown_unit(kind, units, largest=_largest(trend, at))


def _largest(trend: Trend, at: int) -> float:
    from numpy import exp

    return float(exp(trend.referred[:, at].max()))


def _rows(trend: Trend, units: str, links: Links) -> list[_Row]:
    from numpy import exp

    def cell(value: float | None, kind: str, largest: float) -> str:
        if value is None:
            return "not told"
        shown = float(to_shown(value, kind, units, largest=largest))
        return rounded(shown, 3)

    rows = []
    for at, (outing, like) in enumerate(zip(trend.outings, exp(trend.referred), strict=True)):
        cells = []
        for number, (kind, value) in enumerate(
            (("conductance", outing.k_w_k), ("power", outing.heat_w))
        ):
            largest = _largest(trend, number)
            cells += [cell(v, kind, largest) for v in (value, float(like[number]))]
        remarks = [words.mark_words(mark, units) for mark in outing.marks]
        if at in trend.odd:
            remarks.append("lies apart from its neighbours, counts for no level")
        rows.append(
            _Row(
                day=words.short_day(outing.start_utc) or outing.name,
                year=(outing.start_utc or "")[:4],
                href=links.of(outing),
                cells=(*cells, _hottest(outing, units)),
                remarks=tuple(remarks),
            )
        )
    return rows


def _years(rows: Sequence[_Row]) -> str:
    years = sorted({row.year for row in rows} - {""})
    return " to ".join(dict.fromkeys((years[0], years[-1]))) if years else ""


def _hottest(outing: Outing, units: str) -> str:
    if outing.peak_oil_c is None:
        return "not told"
    return f"{float(to_shown(outing.peak_oil_c, 'temperature', units)):.0f}"


def _compared(outing: Outing, units: str, links: Links) -> tuple[str, str, str, str]:
    def text(value: float | None, kind: str) -> str:
        return "not told" if value is None else words.figure(value, kind, units, both=False)

    day = words.day_text(outing.start_utc or "")
    name = outing.name if not day else f"{outing.name}, {day}"
    return name, links.of(outing), text(outing.k_w_k, "conductance"), text(outing.heat_w, "power")


def _not_comparable(comparison: Comparison) -> list[Remark | str]:
    """Return what differed besides, and what could not be told."""
    silent = [o.name for o in (*comparison.before, *comparison.after) if not o.usable]
    remarks: list[Remark | str] = [*comparison.also]
    if silent:
        remarks.append(
            f"not counted for K and heat, of which they tell not both: {', '.join(silent)}"
        )
    if (split := unsaid_split(comparison)) is not None:
        remarks.append(Worded("cannot be split: ", split))
    return remarks


def _method(trend: Trend) -> list[tuple[str, str]]:
    """Return the numbers behind a season."""
    sd = trend.scatter.sd
    k, heat = trend.would_have_seen
    rows = [
        ("K repeats to", f"{100 * sd[0]:.1f} % from outing to outing (one standard deviation)"),
        ("heat repeats to", f"{100 * sd[1]:.1f} %"),
        ("correlation of the two in one outing", f"{trend.scatter.correlation:.2f}"),
        ("outings of its own behind these", f"{trend.scatter.own_outings:.0f}"),
        ("correlation of neighbouring outings", f"{trend.stretches.levels.correlation:.2f}"),
        (
            f"smallest change seen within {SOON} outings, 4 times in 5",
            f"{percent(k)} less K, {percent(heat)} more heat",
        ),
    ]
    for name, slope in (("K", trend.slope_k), ("heat", trend.slope_heat)):
        if slope is not None:
            ends = f"{1000 * slope.low:+.1f} to {1000 * slope.high:+.1f} % in 10 outings"
            rows.append((f"slope of {name} between the changes", ends))
    return rows
