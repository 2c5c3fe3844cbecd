"""From the answer of a stretch to a verdict, its reasons and the next step.

Its words and headings are in `results.Verdict`, what speaks against it in `refusals`.
"""

from dataclasses import dataclass, replace

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.physics.label import (
    SURE,
    WIDEST_REL,
    label_verdict,
    verdict_from_samples,
    word_of,
)
from wattsump_analysis.proof.refusals import (
    NO_DRIVE,
    NO_FAN,
    NO_FLOW,
    Refusal,
    against_k,
    against_verdict,
    to_narrow,
)
from wattsump_analysis.proof.routes import conductance
from wattsump_analysis.proof.stretch import Scale, Stretch, longest_fit
from wattsump_analysis.reading.machine import Knowledge
from wattsump_analysis.results import Interval, LabelCheck, Verdict
from wattsump_analysis.statistics.intervals import interval
from wattsump_logger.machine.profile import Profile
from wattsump_logger.remark import Remark, Worded
from wattsump_logger.units.measure import Measure, kelvins, listed

__all__ = (
    "Judgement",
    "check_label",
    "judge",
    "undecided",
    "what_decides",
)

_MORE_LOGGING = frozenset({"log-guided-run", "log-oftener", "weigh-and-repeat"})
USUAL_ETD_K = 40.0  # usual difference to state watts at; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """Verdict, headline, reasons and the next thing to do; `k_w_k` None if not to be used.

    The headline of "cannot tell" gives the first reason.
    """

    verdict: Verdict
    headline: str
    reasons: tuple[Remark, ...]
    next_step: Remark
    label: LabelCheck | None
    k_w_k: Interval | None


def undecided(reasons: tuple[Remark, ...], next_step: Remark, *, more: str = "") -> Judgement:
    """Judgement of an outing that has no usable K; `more` is added to the headline."""
    return Judgement(
        verdict=Verdict.CANNOT_TELL,
        headline=Worded(
            f"{Verdict.CANNOT_TELL.heading}, because ", reasons[0], f". {more}".rstrip()
        ),
        reasons=reasons,
        next_step=next_step,
        label=None,
        k_w_k=None,
    )


def judge(
    stretch: Stretch,
    stretches: tuple[Stretch, ...],
    profile: Profile | None,
    know: Knowledge,
    refused: tuple[Refusal, ...],
    *,
    is_flow_known: bool = True,
    is_fan_known: bool = True,
    is_idling_known: bool = True,
) -> Judgement:
    """Verdict of the stretch against the label, if there is one.

    Without a log of when oil was pumped there is no verdict. Without a log of the fan there is
    no "falls short": the fan may have stood for a while. Unless idling is known from work, by
    drive or engine speed, only a measured oil flow gives watts.
    """
    cooler = None if profile is None else profile.cooler
    if not is_idling_known and stretch.scale not in (None, Scale.OIL_SIDE):
        refused = (NO_DRIVE, *refused)  # it may be behind the others
    elif not is_flow_known and any(why.next_step.code == "check-stated" for why in refused):
        refused = (NO_FLOW, *refused)  # rather than the machine's description
    refusals = against_k(stretch, cooler, know, refused)
    k = stretch.k_w_k
    if refusals or k is None:
        reasons = tuple(refusal.reason for refusal in refusals)
        return undecided(reasons, refusals[0].next_step, more=_ratio_words(stretches))
    if cooler is None or cooler.label_heat_w is None:
        return _withheld(_measured(k), is_flow_known=is_flow_known, is_fan_known=is_fan_known)
    label = check_label(
        cooler.label_heat_w, cooler.label_etd_k, stretch.label_draws, stretch.weights
    )
    judgement = _against(label, k, stretch)
    doubt = against_verdict(judgement.verdict, stretch.record, cooler, know)
    if doubt is not None:
        return _in_doubt(judgement, doubt)
    return _withheld(judgement, is_flow_known=is_flow_known, is_fan_known=is_fan_known)


def _withheld(judgement: Judgement, *, is_flow_known: bool, is_fan_known: bool) -> Judgement:
    """The judgement, or "cannot tell" if it rests on something that was not logged."""
    if judgement.verdict is not Verdict.CANNOT_TELL and not is_flow_known:
        return _in_doubt(judgement, NO_FLOW)
    if judgement.verdict is Verdict.FALLS_SHORT and not is_fan_known:
        return _in_doubt(judgement, NO_FAN)
    if judgement.next_step.code in _MORE_LOGGING and not (is_flow_known and is_fan_known):
        # To type times costs less than another outing.
        missing = NO_FAN if is_flow_known else NO_FLOW
        return replace(judgement, next_step=missing.next_step)
    return judgement


def _in_doubt(judgement: Judgement, why: Refusal) -> Judgement:
    return replace(
        judgement,
        verdict=Verdict.CANNOT_TELL,
        headline=Worded(f"{Verdict.CANNOT_TELL.heading}, because ", why.reason, "."),
        reasons=(why.reason, *judgement.reasons),
        next_step=why.next_step,
    )


def _ratio_words(stretches: tuple[Stretch, ...]) -> str:
    """The time constants, which temperatures alone can give."""
    times = []
    for stretch in stretches:
        if (fit := longest_fit(stretch.phase_fits)) is not None:
            times.append(f"{fit.tau_s.value / 60:.1f} min over the {fit.phase.kind}")
    if not times:
        return ""
    return f"The oil's time constant was {', then '.join(times)}: to compare with other outings."


def _percent(share: Interval, whole: str) -> str:
    low, high = 100 * share.low, 100 * share.high
    return f"{100 * share.value:.0f} % of {whole}, {low:.0f} to {high:.0f}"


def _rejects(k: Interval) -> tuple[object, ...]:
    return "The cooler rejects ", conductance(k)


def _measured(k: Interval) -> Judgement:
    """The judgement of watts without a label."""
    heat_w, low_w, high_w = (USUAL_ETD_K * end for end in (k.value, k.low, k.high))
    return Judgement(
        verdict=Verdict.MEASURED,
        headline=Worded(
            *_rejects(k),
            ": ",
            Measure(value=heat_w, kind="power", low=low_w, high=high_w),
            " with the oil ",
            kelvins(USUAL_ETD_K, ".0f"),
            " over the air.",
        ),
        reasons=(Remark(code="no-label", text="the machine profile names no label heat"),),
        next_step=Remark(
            code="enter-label",
            text="Enter label_heat and label_etd in [cooler] of the machine profile, if the "
            "cooler has a label.",
        ),
        label=None,
        k_w_k=k,
    )


def _against(label: LabelCheck, k: Interval, stretch: Stretch) -> Judgement:
    rejects = _rejects(k)
    if label.label_etd_k is None or label.share_of_label is None or label.probability_met is None:
        return _without_etd(label, k, rejects, stretch)
    word = word_of(label.probability_met, label.share_of_label.half_width_rel)
    if stretch.label_draws is not stretch.k_draws:
        rejects = (
            *rejects,
            ", counted from the tank; the share of the label is counted from the oil into the "
            "cooler, which is warmer; no probe saw by how much, and the range allows for that",
        )
    if word is not Verdict.CANNOT_TELL:
        claims_w_k = label.label_heat_w / label.label_etd_k
        claims = Measure(value=claims_w_k, kind="conductance", spec=".0f")
        share = _percent(label.share_of_label, "it")
        return Judgement(
            verdict=word,
            headline=f"{_of_cooler(word)}: {share}. {what_decides(label, word)}".rstrip(),
            reasons=(
                Remark(
                    code="rejects-against-label",
                    text=(*rejects, "; the label stands for ", claims),
                ),
            ),
            next_step=_next(word, label.share_of_label),
            label=label,
            k_w_k=k,
        )
    if label.share_of_label.half_width_rel > WIDEST_REL:
        text = f"the range is wider than {100 * WIDEST_REL:.0f} % either way"
        reason = Remark(code="range-too-wide", text=text)
    else:
        reason = Remark(code="label-inside-range", text="the odds are too even for a verdict")
    share = _percent(label.share_of_label, "its label")
    return Judgement(
        verdict=word,
        headline=f"{word.heading}, because {reason}: {share}. {what_decides(label, word)}".rstrip(),
        reasons=(reason, Remark(code="rejects", text=rejects)),
        next_step=to_narrow(stretch),
        label=label,
        k_w_k=k,
    )


def what_decides(label: LabelCheck, word: Verdict) -> str:
    """Return what made the word where the range beside it seems to deny it, else "".

    The range leaves out 2.5 chances in 100 at each end, a verdict 5 at one.
    """
    share, met = label.share_of_label, label.met_in_100
    if share is None or met is None or share.half_width_rel > WIDEST_REL:
        return ""
    least = f"{100 * SURE:.0f} chances in 100"
    side, odds = ("below", 100 - met) if met < 50 else ("at or above", met)
    if word is Verdict.CANNOT_TELL:
        return f"A verdict takes {least}; that it is {side} its label has {odds}."
    if not share.low <= 1.0 <= share.high:
        return ""
    return f"What decides: at least {least} that it is {side} its label, here {odds}."


# No maker gives away so much; litres typed as gallons do. Common practice, no source.
_FAR_ABOVE = 1.25
_CHECK_LISTED = Remark(
    code="check-listed",
    text="Check the profile's litres and kilograms and the label's heat and difference, with their "
    "units: hardly any cooler is so far above its label.",
)
_KEEP = Remark(
    code="keep-to-compare", text="Keep this outing as the one to compare later ones with."
)
_CLEAN = Remark(
    code="clean-and-repeat",
    text="Clean core and fan, check belt and shroud, and log the same outing again.",
)
_ASK = Remark(
    code="ask-for-difference",
    text="Ask the maker for the oil-in to air-in difference of the rating, and enter it.",
)


def _next(word: Verdict, share: Interval) -> Remark:
    if word is not Verdict.MEETS:
        return _CLEAN
    return _CHECK_LISTED if share.low > _FAR_ABOVE else _KEEP


def _of_cooler(word: Verdict) -> str:
    return f"The cooler {word.heading[0].lower()}{word.heading[1:]}"


def _without_etd(
    label: LabelCheck, k: Interval, rejects: tuple[object, ...], stretch: Stretch
) -> Judgement:
    """The label at every basis of the trade: a verdict only if all agree."""
    weighed = label_verdict(
        label.label_heat_w,
        k.value,
        lambda claim: verdict_from_samples(claim, stretch.label_draws, stretch.weights),
    )
    word = weighed.word
    each = listed(
        (kelvins(reading.etd_k, ".0f"), f": {100 * check.share:.0f} %")
        for reading, check in weighed.each
        if reading.etd_k is not None
    )
    reasons: tuple[Remark, ...] = (
        Remark(code="rejects", text=rejects),
        Remark(
            code="share-at-usual-differences",
            text=("its share at the trade's usual differences would be ", *each),
        ),
    )
    true_at = (
        "; the label would be true at ",
        kelvins(weighed.true_etd_k, ".0f"),
        " oil in over air in.",
    )
    headline = Worded(f"{_of_cooler(word)} at every difference the trade rates at", *true_at)
    if word is Verdict.CANNOT_TELL:
        text = "the label does not print the temperature difference it is stated at"
        reasons = (Remark(code="label-without-difference", text=text), *reasons)
        headline = Worded(f"{word.heading}, because {text}", *true_at)
    return Judgement(
        verdict=word, headline=headline, reasons=reasons, next_step=_ASK, label=label, k_w_k=k
    )


def check_label(
    label_heat_w: float, label_etd_k: float | None, k_draws: FloatArray, weights: FloatArray
) -> LabelCheck:
    """Compare weighted draws of K with a label.

    Parameters
    ----------
    label_heat_w, label_etd_k : float
        Heat [W] at a difference oil in over air in [K]; None if that is not printed.
    k_draws, weights : ndarray, shape (m,)
        Draws of K [W/K] and their weights, which sum to one.

    Returns
    -------
    LabelCheck

    References
    ----------
    JCGM 101:2008, clause 7; JCGM 106:2012, clause 7.2.
    """
    if label_etd_k is None:
        return LabelCheck(
            label_heat_w=label_heat_w,
        )
    heat = k_draws * label_etd_k
    return LabelCheck(
        label_heat_w=label_heat_w,
        label_etd_k=label_etd_k,
        heat_at_etd_w=interval(heat, weights),
        share_of_label=interval(heat / label_heat_w, weights),
        probability_met=float(np.sum(weights[heat >= label_heat_w])),
    )
