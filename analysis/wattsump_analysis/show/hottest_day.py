"""The air outside up to which the oil stays below its limits, as lines of the answer."""

from wattsump_analysis.questions.answer import Answer, Figure, Row
from wattsump_analysis.questions.asked import ForecastAsked
from wattsump_analysis.questions.forecast import foresee
from wattsump_analysis.questions.givens import Givens
from wattsump_analysis.questions.rating_case import USUAL_HOTTEST_C
from wattsump_analysis.show.words import Fact
from wattsump_logger.errors import WattsumpError
from wattsump_logger.units.quantities import shown_unit, to_shown

__all__ = ("hottest_line", "on_hottest_day")

# Air there is, rounded outwards, and the widest range of it anybody can plan by: common practice,
# no source.
_AIR_C = (-40.0, 60.0)
_WIDEST_K = 40.0
# By the code of the forecast's remark: what was not measured.
_BASES = {
    "label-taken-as-true": "an ESTIMATE, the label taken as true",
    "heat-from-drive": "an ESTIMATE, the heat of pump and motor not measured",
}


def on_hottest_day(givens: Givens, hottest: Figure | None = None) -> Answer:
    """Return the forecast for the hottest day, the usual one where none was named.

    Raises
    ------
    UsageError
        The outing gave no heat or no conductance.
    RangeError
        A value out of its formula's range.
    """
    day = hottest or Figure(USUAL_HOTTEST_C, "temperature")
    return foresee(ForecastAsked(hottest=day), givens)


def hottest_line(givens: Givens, units: str = "si") -> tuple[Fact, ...]:
    """Return the line on the air at the lowest limit, empty if unknown.

    Only the advised limit: the highest is no target, but a single line would look like one. What
    rests on an estimate says so, and a range of no use is "not told", with the reason.
    """
    try:
        answer = on_hottest_day(givens)
    except WattsumpError:
        return ()
    rows = {row.key: row for section in answer.sections for row in section.rows}
    for word in ("advised", "highest"):
        row = rows.get(f"limiting_oil_{word}_p50_c")
        if row is not None:
            return (_line(word, row, answer, givens, units),)
    return ()


def _line(word: str, row: Row, answer: Answer, givens: Givens, units: str) -> Fact:
    air = row.figure
    low, high = (
        air.value if air.low is None else air.low,
        air.value if air.high is None else air.high,
    )
    ends = f"{_whole_degrees(low, units)} to {_whole_degrees(high, units)} (95 %)"
    why = _of_no_use(low, high, units)
    if why:
        value, parts = "not told", [f"{ends if high > low else _whole_degrees(low, units)} {why}"]
    else:
        limit_c = givens.limits_c.get(f"oil, {word}")
        limit = "its limit" if limit_c is None else _whole_degrees(limit_c, units)
        value = f"about {_whole_degrees(air.value, units)} outside"
        parts = [ends] if high > low else []
        parts.append(f"at this work the oil then settles at {limit} ({word})")
        if row.flag:
            parts.append(f"{row.flag}: far from the air of this outing")
    bases = [_BASES[remark.code] for remark in answer.assumed if remark.code in _BASES]
    return Fact(name="Hottest day", value=value, beside="; ".join((*bases, *parts)))


def _of_no_use(low_c: float, high_c: float, units: str) -> str:
    """Return why a range of air helps nobody, "" if it does help."""
    coldest, hottest = (_whole_degrees(end, units) for end in _AIR_C)
    # Not the other way round: an end that is no number is of no use either.
    if not (_AIR_C[0] <= low_c and high_c <= _AIR_C[1]):
        return f"reaches beyond air of {coldest} to {hottest}"
    if high_c - low_c > _WIDEST_K:
        widest = float(to_shown(_WIDEST_K, "temperature_difference", units))
        unit = shown_unit("temperature_difference", units)
        return f"is wider than {widest:.0f} {unit}, too wide to plan by"
    return ""


def _whole_degrees(temp_c: float, units: str) -> str:
    degrees = float(to_shown(temp_c, "temperature", units))
    return f"{degrees:z.0f} {shown_unit('temperature', units)}"
