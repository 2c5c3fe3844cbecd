"""The air outside up to which the oil stays below its limits, as lines of the answer."""

from collections.abc import Iterator
from dataclasses import dataclass

from wattsump_analysis.questions.answer import Answer, Figure
from wattsump_analysis.questions.asked import ForecastAsked
from wattsump_analysis.questions.forecast import foresee
from wattsump_analysis.questions.givens import Givens
from wattsump_analysis.questions.rating_case import USUAL_HOTTEST_C
from wattsump_analysis.show.words import Fact
from wattsump_logger.errors import WattsumpError
from wattsump_logger.units.quantities import shown_unit, to_shown

__all__ = ("hottest_line", "on_hottest_day")


def on_hottest_day(givens: Givens, hottest: Figure | None = None) -> Answer:
    """Return the forecast for the hottest day, the usual one where none was named.

    Raises
    ------
    UsageError
        The outing gave no heat or no conductance.
    RangeError
        A value out of its formula's range.
    """
    day = hottest or Figure(value=USUAL_HOTTEST_C, kind="temperature")
    return foresee(ForecastAsked(ambient=day, hottest=day), givens)


def hottest_line(givens: Givens, units: str = "si") -> tuple[Fact, ...]:
    """Return the line on the air at the lowest limit, empty if unknown.

    Only the advised limit: the highest is no target, but a single line would look like one.
    """
    try:
        answer = on_hottest_day(givens)
    except WattsumpError:
        return ()
    return tuple(
        Fact(
            name="Hottest day",
            value=f"about {air.value} outside",
            beside="; ".join(
                (
                    *air.span,
                    f"at this work the oil then settles at {air.limit} ({air.word})",
                    *air.flag,
                )
            ),
        )
        for air in _airs(answer, givens, units)
    )[:1]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Air:
    """Air at which one limit is reached, in words; the last two are empty or hold one."""

    word: str
    limit: str
    value: str
    span: tuple[str, ...]
    flag: tuple[str, ...]


def _airs(answer: Answer, givens: Givens, units: str) -> Iterator[_Air]:
    rows = {row.key: row for section in answer.sections for row in section.rows}
    for word in ("advised", "highest"):
        row = rows.get(f"limiting_oil_{word}_p50_c")
        if row is None:
            continue
        limit_c = givens.limits_c.get(f"oil, {word}")
        low, high = (_whole_degrees(end, units) for end in (row.figure.low, row.figure.high))
        yield _Air(
            word=word,
            limit="its limit" if limit_c is None else _whole_degrees(limit_c, units),
            value=_whole_degrees(row.figure.value, units),
            span=(f"{low} to {high} (95 %)",) if low and high else (),
            flag=(f"{row.flag}: far from the air of this outing",) if row.flag else (),
        )


def _whole_degrees(temp_c: float | None, units: str) -> str:
    if temp_c is None:
        return ""
    degrees = float(to_shown(temp_c, "temperature", units))
    return f"{degrees:.0f} {shown_unit('temperature', units)}"
