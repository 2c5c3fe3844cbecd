"""Trends and comparisons in words: one sentence each, and a screen of 80 columns.

Plain lines without markup: every difference is in words, none in colour alone.
"""

import math
import textwrap
from collections.abc import Iterator, Sequence

from wattsump_analysis.results import Interval
from wattsump_analysis.season.causes import SURE, Cause, Likely
from wattsump_analysis.season.compare import Comparison, Line
from wattsump_analysis.season.events import Event
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.state import Standing, newest_stretch, state_of, turn_of
from wattsump_analysis.season.trend import SOON, Step, Trend
from wattsump_analysis.show.words import chance, figure
from wattsump_analysis.statistics.change import Shape
from wattsump_logger.remark import Remark, Worded, shown_in
from wattsump_logger.units.quantities import shown_unit, to_shown
from wattsump_logger.width import USUAL, columns, fitted

__all__ = (
    "COOL_DOWN",
    "WIDTH",
    "capital",
    "compare_screen",
    "compare_sentence",
    "drifts_in",
    "headline",
    "is_beyond",
    "likely_text",
    "next_steps",
    "percent",
    "put_down_to",
    "row_of",
    "settles",
    "shown_lines",
    "split_text",
    "step_texts",
    "trend_screen",
    "trend_sentence",
    "unsaid_split",
    "warmer_text",
)

WIDTH = USUAL
# A change that could be as small as this either way may be called "the same".
SAME = 0.15
_SETTLES = {
    Cause.COOLER: Remark(code="wash-the-core", text="wash the core and see whether K comes back"),
    Cause.FAN: Remark(
        code="try-the-fan",
        text="at working heat switch the fan off for five minutes: if the oil warms no faster, "
        "the fan hardly blows",
    ),
    Cause.DRIVE: Remark(
        code="measure-case-drain", text="measure the case-drain flow, hot and loaded"
    ),
    Cause.BOTH: Remark(
        code="wash-then-case-drain",
        text="wash the core and see whether K comes back, then measure the case-drain flow",
    ),
    Cause.OTHER: Remark(
        code="check-oil-and-probes",
        text="check level and grade of the oil, and all probes in one warm bucket",
    ),
}
COOL_DOWN = Remark(
    code="keep-below-the-limit",
    text="the oil passed its limit: work less hard or in shorter stretches until it stays below, "
    "and look at the oil level, the core and the fan",
)
_NOW = (
    "Now: K and heat under like conditions (air, oil, season), the rest the mean since the newest "
    "change. Newest: as run."
)


def trend_sentence(trend: Trend) -> Remark:
    """Return a trend in one sentence: its newest change, or the change that could be missed."""
    if trend.steps:
        return _sentence_of(trend.steps[-1])
    if any(trend.drifting):
        which = drifts_in(trend)
        text = f"{which} of the newest outings has left the limits without a clear step: a drift."
        return Remark(code="season-drifts", text=text)
    k, heat = trend.would_have_seen
    text = (
        f"Nothing has changed over {len(trend.outings)} outings; a loss of {percent(k)} of K or "
        f"{percent(heat)} more heat would have been seen within {SOON} outings (4 times in 5)."
    )
    return Remark(code="season-unchanged", text=text)


def drifts_in(trend: Trend) -> str:
    """Return what drifts: "K", "the heat", "K and the heat", or nothing."""
    names = zip(("K", "the heat"), trend.drifting, strict=True)
    return " and ".join(name for name, out in names if out)


def trend_screen(trend: Trend, units: str = "si") -> str:
    """Return a trend as lines of at most `WIDTH` columns."""
    blocks = [
        [trend.machine, *_wrapped(trend_sentence(trend).text)],
        [*_table(list(_recent(trend, units))), *_wrapped(_NOW)],
        [line for step in trend.steps for line in _step_lines(step, units)],
        list(_standing(trend, units)),
        [line for step in next_steps(trend) for line in _item("Next", step, units)],
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block)


def compare_sentence(comparison: Comparison, units: str = "si") -> Remark:
    """Return the one sentence of a comparison."""
    rise = comparison.like_rise
    parts = []
    if rise is not None:
        parts.append(warmer_text(rise, units))
    if comparison.k is None or comparison.heat is None:
        parts.append(_without_heat(comparison))
        text = f"{capital('; '.join(parts))}; so the cause cannot be told."
        return Remark(code="cause-unknown", text=text)
    parts.append(f"K {share_text(comparison.k)}, heat {share_text(comparison.heat)}")
    cause = put_down_to(comparison)
    return Remark(code=cause.code, text=f"{capital('; '.join(parts))}: {cause}.")


def compare_screen(comparison: Comparison, units: str = "si") -> str:
    """Return a comparison as lines of at most `WIDTH` columns."""
    sides = f"{_names(comparison.before)}  ->  {_names(comparison.after)}"
    rows = [(line.name, *row_of(line, units)) for line in shown_lines(comparison)]
    blocks = [
        [comparison.machine, *_wrapped(sides), *_wrapped(compare_sentence(comparison, units).text)],
        _sides([("", "before", "after", "change"), *rows]),
        [line for remark in comparison.also for line in _item("Also", remark, units)],
        [
            *_item("Cannot split", unsaid_split(comparison) or "", units),
            *_item("Next", comparison.test or "", units),
        ],
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block)


def shown_lines(comparison: Comparison) -> list[Line]:
    """Return the lines of a comparison, without minutes that neither side had."""
    lines = (comparison.like_rise, *comparison.lines)
    return [line for line in lines if line is not None and (line.before or line.after)]


def unsaid_split(comparison: Comparison) -> Remark | None:
    """Return which causes cannot be told apart, unless the sentence of the comparison says it."""
    is_said = put_down_to(comparison).code == "cause-split"
    return None if is_said else comparison.cannot_split


def _without_heat(comparison: Comparison) -> str:
    """Return what a comparison without the heat has of K, and which sides lack which."""
    if comparison.k is not None:
        return f"K {share_text(comparison.k)}, but a side has no outing that tells the heat"
    sides = {"before": comparison.before, "after": comparison.after}
    lacking = [name for name, side in sides.items() if all(o.k_w_k is None for o in side)]
    return f"no outing {' or '.join(lacking)} tells K"


def _sentence_of(step: Step) -> Remark:
    when = _day(step.start_utc) or step.name
    noted = f" Noted then: {noted_text(step.events)}." if step.events else ""
    text = (
        f"From {when} on K is {share_text(step.k)} and the heat into the oil "
        f"{share_text(step.heat)}: {likely_text(step.causes)}.{noted}"
    )
    return Remark(code="season-changed", text=text)


def headline(k: Interval, heat: Interval, since: str = "") -> tuple[str, str]:
    """Return the larger change as a title, and its range with the other of the two."""
    named = [("K", k), ("Heat", heat)]
    named.sort(key=lambda item: (not is_beyond(item[1]), -abs(item[1].value)))
    (first, share), (second, other) = named
    rest = f"{second if second == 'K' else 'the heat'} {share_text(other)}"
    if not is_beyond(share):
        return "No clear change", f"{first} {share_text(share)}{since}, {rest}"
    low, high = sorted((abs(share.low), abs(share.high)))
    way = "up" if share.value > 0.0 else "down"
    title = f"{first} {way} {percent(abs(share.value))}"
    return title, f"{100 * low:.0f} to {percent(high)} (95 %){since}; {rest}"


def likely_text(causes: Sequence[Likely]) -> str:
    """Return the likely cause with its odds, or two if they are not settled."""
    first, second = causes[0], causes[1]
    if first.probability >= SURE:
        return f"{first.cause}, {chance(first.probability)}"
    return (
        f"{first.cause} ({chance(first.probability)}) or {second.cause} "
        f"({chance(second.probability)}), not settled"
    )


def put_down_to(comparison: Comparison) -> Remark:
    """Return what a difference between two sides is put down to."""
    k, heat = comparison.k, comparison.heat
    least = percent(comparison.smallest_k)
    if k is None or heat is None or (_same(k) and _same(heat)):
        text = f"no change; a loss of {least} of K would have been seen"
        return Remark(code="no-change", text=text)
    if not (is_beyond(k) or is_beyond(heat)):
        text = (
            f"no change can be told yet; a loss under {least} of K can hide between so few outings"
        )
        return Remark(code="no-change-yet", text=text)
    if comparison.cannot_split is not None:
        return Remark(code="cause-split", text=f"cannot be split ({comparison.cannot_split})")
    first = comparison.causes[0]
    text = f"{first.cause} changed, {chance(first.probability)}"
    return Remark(code="cause-known", text=text)


def is_beyond(share: Interval) -> bool:
    """Tell whether a range excludes zero."""
    return share.low > 0.0 or share.high < 0.0


def _same(share: Interval) -> bool:
    return -SAME < share.low < 0.0 < share.high < SAME


def share_text(share: Interval) -> str:
    """Return a change with its interval: "down 34 % (27 to 40)", or "the same (-4 to +6 %)"."""
    low, high = round(100 * share.low), round(100 * share.high)
    if not is_beyond(share):
        word = "the same" if _same(share) else "not known to differ"
        return f"{word} ({low:+d} to {high:+d} %)"
    if share.value > 0.0:
        return f"up {percent(share.value)} ({low} to {high})"
    return f"down {percent(-share.value)} ({-high} to {-low})"


def percent(share: float) -> str:
    """Return a share as a whole number of per cent."""
    return f"{100.0 * share:.0f} %"


def warmer_text(rise: Line, units: str) -> str:
    """Return how much warmer or cooler the oil runs, with the range."""
    change = rise.change
    if not rise.beyond:
        ends = " to ".join(_difference(end, units, sign=True) for end in (change.low, change.high))
        return f"not known to be cooler or warmer at the same air and work ({ends})"
    word = "warmer" if change.value > 0.0 else "cooler"
    low, high = sorted((abs(change.low), abs(change.high)))
    ends = f"{_difference(low, units)} to {_difference(high, units)}"
    return f"about {_difference(abs(change.value), units)} {word} at the same air and work, {ends}"


def _difference(value_k: float, units: str, *, sign: bool = False) -> str:
    kind = "temperature_difference"
    shown = float(to_shown(value_k, kind, units))
    return f"{shown:{'+' if sign else ''}.0f} {shown_unit(kind, units)}"


def _recent(trend: Trend, units: str) -> Iterator[tuple[str, str, str]]:
    """K and heat now, means of the newest stretch without odd ones out, and the newest outing."""
    inside, newest, state = newest_stretch(trend), trend.outings[-1], state_of(trend)
    like = {"k_w_k": state.k_w_k.value, "heat_w": state.heat_w.value}
    yield "", "now", "newest"
    rows = (
        ("K of the cooler", "conductance", "k_w_k"),
        ("heat into the oil", "power", "heat_w"),
        ("oil over air, steady", "temperature_difference", "rise_k"),
        ("hottest oil", "temperature", "peak_oil_c"),
    )
    for name, kind, field in rows:
        numbers = [value for o in inside if (value := getattr(o, field)) is not None]
        if numbers:
            level = like.get(field, math.fsum(numbers) / len(numbers))
            now = figure(level, kind, units, both=False)
            of_newest = getattr(newest, field)
            last = "-" if of_newest is None else figure(of_newest, kind, units, both=False)
            yield name, now, last
    warm = sum(o.minutes_above_warn for o in inside) / max(sum(o.hours for o in inside), 1e-9)
    yield "too warm, minutes an hour", f"{warm:.1f}", ""
    whole = min(o.completeness for o in inside)
    yield "least share of readings", percent(whole), ""


def _step_lines(step: Step, units: str) -> Iterator[str]:
    yield from _item(_day(step.start_utc) or step.name, "; ".join(step_texts(step)))
    if step.cannot_split is not None:
        yield from _item("", split_text(step), units)


def split_text(step: Step) -> Worded:
    """Return which causes of a change cannot be told apart, and the test that would."""
    test = () if step.test is None else ("; what would tell: ", step.test)
    return Worded("Cannot be split: ", step.cannot_split, *test)


def step_texts(step: Step) -> Iterator[str]:
    """Yield a change in words: sizes with ranges, cause with odds, what was noted then."""
    yield f"K {share_text(step.k)}, heat {share_text(step.heat)}"
    yield likely_text(step.causes)
    if step.chance < SURE:
        yield f"that anything changed, {100 * step.chance:.0f} in 100"
    if step.shape in (Shape.SLOPE, Shape.EITHER):
        yield "a slow drift would fit as well"
    if step.events:
        yield f"noted: {noted_text(step.events)}"


def _standing(trend: Trend, units: str) -> Iterator[str]:
    sd = 100 * trend.scatter.sd
    yield from _item(
        "Repeats to",
        f"K {sd[0]:.0f} %, heat {sd[1]:.0f} % from outing to outing (one standard deviation; "
        f"on {trend.scatter.own_outings:.0f} outings of its own)",
    )
    for name, slope in (("K", trend.slope_k), ("Heat", trend.slope_heat)):
        if slope is not None:
            ends = f"{1000 * slope.low:+.1f} to {1000 * slope.high:+.1f} % in 10 outings"
            word = "drifts" if slope.low * slope.high > 0.0 else "no slope"
            yield from _item(name, f"{word} between the steps: {ends}")
    # The newest may yet be the first of a change, which `next_steps` says.
    odd = [i for i in trend.odd if i < len(trend.outings) - 1]
    if odd:
        names = ", ".join(trend.outings[i].name for i in odd)
        yield from _item("Odd ones out", f"{names}: alone unlike the outings around")
    if trend.left_out:
        first = "; ".join(
            f"{left.name} ({shown_in(left.why, units)})" for left in trend.left_out[:3]
        )
        more = len(trend.left_out) - 3
        yield from _item("Not counted", first + (f" and {more} more" if more > 0 else ""))


def next_steps(trend: Trend) -> tuple[Remark, ...]:
    """Return what to do next, if anything."""
    steps = []
    if trend.newest_is_odd:
        text = "the newest outing differs; one or two more like it would make it a change"
        steps.append(Remark(code="newest-lies-apart", text=text))
    too_hot = state_of(trend).standing is Standing.TOO_HOT
    if too_hot and (not trend.steps or turn_of(trend.steps[-1]) <= 0.0):
        # No change explains the heat, so no test of a cause is about it.
        steps.insert(0, COOL_DOWN)
    if not trend.steps:
        return tuple(steps)
    step = trend.steps[-1]
    test = settles(step.cause)
    if step.further is None:
        text = f"more outings will not settle it: {test}"
        steps.append(Remark(code=test.code, text=text))
    elif step.further > 0:
        text = f"about {step.further} more outings to settle the cause"
        steps.append(Remark(code="log-more-outings", text=text))
    elif step.k.value < 0.0 or step.heat.value > 0.0:
        steps.append(test)
    return tuple(steps)


def settles(cause: Cause) -> Remark:
    """Return the test that shows whether a cause is the right one."""
    return _SETTLES[cause]


def row_of(line: Line, units: str) -> tuple[str, str, str]:
    """Return before, after and the change of a line, with its range where there is one."""

    def text(value: float) -> str:
        return (
            f"{value:.1f}"
            if line.kind == "minutes"
            else figure(value, line.kind, units, both=False)
        )

    change = line.change
    ends = [change.value, change.low, change.high]
    unit, digits = "", 1
    if line.kind != "minutes":  # a change of a temperature is a difference
        unit, digits = f" {shown_unit('temperature_difference', units)}", 0
        ends = [float(to_shown(end, "temperature_difference", units)) for end in ends]
    texts = [f"{end:+z.{digits}f}" for end in ends]
    has_range = not math.isnan(change.low)
    tail = f"{texts[0]}{unit}" + (f" ({texts[1]} to {texts[2]})" if has_range else " (one a side)")
    return text(line.before), text(line.after), tail


def _sides(rows: Sequence[tuple[str, str, str, str]]) -> list[str]:
    lines = [
        f"{name:<32}{before:>12}{after:>12}  {change}".rstrip()
        for name, before, after, change in rows
    ]
    return fitted(lines, rows)


def _table(rows: Sequence[tuple[str, str, str]]) -> list[str]:
    # The widest value, "175 BTU/(h °F)", and a space.
    lines = [f"{name:<32}{now:>16}{newest:>16}".rstrip() for name, now, newest in rows]
    return fitted(lines, rows)


def _item(name: str, remark: Remark | str, units: str = "si") -> list[str]:
    return textwrap.wrap(
        shown_in(remark, units),
        columns(),
        initial_indent=f"{name:<14}",
        subsequent_indent=" " * 14,
        break_on_hyphens=False,
    )


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, columns(), break_on_hyphens=False)


def _names(outings: Sequence[Outing]) -> str:
    names = [outing.name for outing in outings]
    return names[0] if len(names) == 1 else f"{names[0]} .. {names[-1]} ({len(names)} outings)"


def noted_text(events: Sequence[Event]) -> str:
    """Return the notes, in quotes, each once."""
    return ", ".join(dict.fromkeys(f'"{event.text}"' for event in events))


def _day(start_utc: str | None) -> str:
    return "" if start_utc is None else start_utc[:10]


def capital(text: str) -> str:
    """Return a text with a capital first."""
    return text[:1].upper() + text[1:]
