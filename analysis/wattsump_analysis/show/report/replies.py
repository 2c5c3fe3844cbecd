"""Answers the owner's questions for the report, by the functions behind the commands.

A question that cannot be answered from this outing keeps the reason, and what to give.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from wattsump_analysis.questions.answer import Answer, Figure, Section
from wattsump_analysis.questions.asked import (
    CabAsked,
    LinesAsked,
    OilAsked,
    PreheatAsked,
    RatingAsked,
)
from wattsump_analysis.questions.cab import warm_cab
from wattsump_analysis.questions.givens import Givens, MissingError
from wattsump_analysis.questions.limits import remarks_on
from wattsump_analysis.questions.lines import plumb
from wattsump_analysis.questions.oil import PEAK_TITLE, compare_oils
from wattsump_analysis.questions.preheat import USUAL_SOAK_C, warm_up
from wattsump_analysis.questions.rating import rate
from wattsump_analysis.questions.rating_case import USUAL_HOTTEST_C
from wattsump_analysis.questions.typed import Quantity, option
from wattsump_analysis.show.hottest_day import on_hottest_day
from wattsump_logger.errors import WattsumpError
from wattsump_logger.remark import Remark

__all__ = ("Days", "Reply", "replies_to")

# A missing option in the page's words, and where it is given.
_MISSING: Mapping[str, str] = {
    "measured": "the cooler's watts per degree, which this outing did not give",
    "heat": "the heat into the oil at work, which this outing did not give",
    "label_heat": "the label: label_heat under [cooler] in the profile",
    "capacity": "the heat capacity: litres and kilograms in the profile",
    "loss": "what tank and lines lose by themselves: a cool-down at standstill gives it",
    "heater": "a heater: power under [heater] in the profile, or --heater '500 W' here",
    "air_flow": "the air through the core: air_flow under [cooler] in the profile",
    "grade": "the oil's grade: grade under [oil] in the profile",
    "flow": "the oil flow: oil_flow under [cooler] in the profile",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Days:
    """Days and heater of the report's questions; usual values if not typed."""

    hottest: Quantity = option("temperature")
    coldest: Quantity = option("temperature")
    heater: Quantity = option("power")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """A question and its answer, or the reason why there is none and what to give."""

    key: str
    title: str
    answer: Answer | None
    why_not: str = ""
    give: tuple[str, ...] = ()
    more: str = ""

    @property
    def finding(self) -> Remark | None:
        """The answer in one line; None where there is none."""
        if self.answer is None:
            return None
        rows = {row.key: row for section in self.answer.sections for row in section.rows}
        for row in (rows[key] for key in _ASKED_FOR if key in rows):
            note = (" ", *row.note.pieces) if row.note else ()
            return Remark(code="finding", text=(f"{row.label} ", row.figure, *note))
        return self.answer.headline[0] if self.answer.headline else None


# Rows that say what a question is asked for, where its first sentence does not.
_ASKED_FOR = ("needed_w_k", "oil_life")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Question:
    key: str
    title: str
    answer: Callable[[Givens, Days], Answer]
    more: str


def replies_to(givens: Givens, days: Days | None = None) -> tuple[Reply, ...]:
    """Answer every question from what is known.

    Parameters
    ----------
    givens : Givens
        From `givens.givens_of`.
    days : Days, optional
        The owner's own hottest and coldest day and heater.

    Returns
    -------
    tuple of Reply
        In the order of the page, with those that cannot be answered.
    """
    days = days or Days()
    replies = [_ask(question, givens, days) for question in _QUESTIONS]
    at = next(i for i, reply in enumerate(replies) if reply.key == "oil")
    replies[at], limits = _separate_limits(replies[at], givens)
    return (*replies, limits)


def _ask(question: _Question, givens: Givens, days: Days) -> Reply:
    reply = Reply(key=question.key, title=question.title, answer=None, more=question.more)
    try:
        return replace(reply, answer=question.answer(givens, days))
    except MissingError as error:
        give = tuple(_MISSING[option] for option in error.options if option in _MISSING)
        return replace(reply, give=give, why_not="" if give else str(error))
    except WattsumpError as error:
        return replace(reply, why_not=str(error))


def _separate_limits(oil: Reply, givens: Givens) -> tuple[Reply, Reply]:
    """Move the effects of the peak on oil, seals and skin from the oil's answer to their own."""
    reply = Reply(key="limits", title="What the heat does", answer=None)
    if oil.answer is not None:
        peak = [part for part in oil.answer.sections if part.title == PEAK_TITLE]
        rest = tuple(part for part in oil.answer.sections if part.title != PEAK_TITLE)
        oil = replace(oil, answer=replace(oil.answer, sections=rest))
    else:
        tank_c = givens.peaks_c.get("tank")
        remarks = () if tank_c is None else tuple(remarks_on(tank_c))
        peak = [Section(title=PEAK_TITLE, remarks=remarks)] if remarks else []
    if not any(part.rows or part.remarks for part in peak):
        return oil, replace(reply, why_not="the outing stayed too cool to speak of, or saw no oil")
    return oil, replace(reply, answer=Answer(question="limits", headline=(), sections=tuple(peak)))


def _temperature(typed: Figure | None, usual_c: float) -> Figure:
    return typed or Figure(usual_c, "temperature")


def _rating(givens: Givens, days: Days) -> Answer:
    return rate(RatingAsked(hottest=_temperature(days.hottest, USUAL_HOTTEST_C)), givens)


def _forecast(givens: Givens, days: Days) -> Answer:
    return on_hottest_day(givens, days.hottest)


def _preheat(givens: Givens, days: Days) -> Answer:
    asked = PreheatAsked(
        heater=days.heater,
        soak=days.coldest,
    )
    return warm_up(asked, givens)


def _oil(givens: Givens, days: Days) -> Answer:
    return compare_oils(OilAsked(), givens)


def _cab(givens: Givens, days: Days) -> Answer:
    return warm_cab(CabAsked(ambient=_temperature(days.coldest, USUAL_SOAK_C)), givens)


def _lines(givens: Givens, days: Days) -> Answer:
    answer = plumb(LinesAsked(), givens)
    # The table of flare sizes does not depend on the outing.
    rest = (part for part in answer.sections if part.table is None or part.table.key != "flares")
    return replace(answer, sections=tuple(rest))


_QUESTIONS = (
    _Question(
        key="rating",
        title="The next cooler",
        answer=_rating,
        more="another peak, altitude or air flow: wattsump rating",
    ),
    _Question(
        key="forecast",
        title="The hottest day",
        answer=_forecast,
        more="another day, load or altitude: wattsump forecast",
    ),
    _Question(
        key="preheat",
        title="The coldest start",
        answer=_preheat,
        more="another heater, target, or a battery: wattsump preheat",
    ),
    _Question(key="oil", title="The oil", answer=_oil, more="other grades: wattsump oil"),
    _Question(
        key="cab",
        title="Heat for a cab",
        answer=_cab,
        more="another duct or temperature: wattsump cab",
    ),
    _Question(
        key="lines",
        title="Lines and fill",
        answer=_lines,
        more="what hoses hold and bear, flare sizes: wattsump lines --hose '-8 x 3 m', or with "
        "'-8 x 10 ft'",
    ),
)
