"""From the answer of a stretch to a verdict, its reasons and the next step.

All sentences about a verdict are here; its words and headings are in `results.Verdict`.
"""

from collections.abc import Sequence
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
from wattsump_analysis.proof.implausible import denied_prior, slow_probe
from wattsump_analysis.proof.routes import conductance, contradiction
from wattsump_analysis.proof.stretch import NO_TANK, NO_TANK_STEP, Scale, Stretch, longest_fit
from wattsump_analysis.reading.cooler_share import fan_followed
from wattsump_analysis.reading.machine import Knowledge
from wattsump_analysis.reading.phases import hidden_switchings, saw_tooth
from wattsump_analysis.reading.record import Record
from wattsump_analysis.results import Interval, LabelCheck, Route, Verdict
from wattsump_analysis.statistics.intervals import interval
from wattsump_logger.machine.profile import Cooler, Profile
from wattsump_logger.remark import Remark, Worded
from wattsump_logger.units.measure import Measure, degrees, kelvins, listed

__all__ = (
    "SELDOM_S",
    "Judgement",
    "Refusal",
    "check_label",
    "judge",
    "log_longer",
    "log_oftener",
    "refusals_of",
    "undecided",
    "what_decides",
)

MOSTLY = 0.5
SELDOM = 0.1  # share of time over the setting that still counts as held at it
THERMOSTAT_BAND_K = 4.0
LEAST_PLATEAU_S = 600.0
OPEN_OVER_K = 10.0  # over its setting an oil thermostat is open; common practice, no source
SELDOM_S = 120.0  # between readings: at more, an outing of usual length has too few
FAN_PHASES = 3  # on, off and on again: less than that is no guided run
_MORE_LOGGING = frozenset({"log-guided-run", "log-oftener", "weigh-and-repeat"})
USUAL_ETD_K = 40.0  # usual difference to state watts at; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Why a K is not to be used, and what would help."""

    reason: Remark
    next_step: Remark


_NO_FLOW = Refusal(
    reason=Remark(
        code="flow-unlogged",
        text="neither engine nor drive nor oil flow was logged, and a stop that passes for work "
        "moves the figure either way",
    ),
    next_step=Remark(
        code="log-engine",
        text="Log the engine; for another logger's file type when it ran, as in "
        "wattsump import FILE --was 'engine on 09:10 to 10:20', and prove the outing again.",
    ),
)
_NO_FAN = Refusal(
    reason=Remark(
        code="fan-unlogged",
        text="the fan was not logged, and a cooler whose fan was off for a while looks too small",
    ),
    next_step=Remark(
        code="log-fan",
        text="Log the fan; for another logger's file type when it ran, as in wattsump import FILE "
        "--was 'fan on 09:10 to 09:40'. If it turns whenever the engine does, write "
        "fan_with_engine = true in [cooler].",
    ),
)
_LOG_UNREGULATED = Remark(
    code="log-unregulated",
    text="Log a run in which the thermostat does not act: with the fan switched by hand and "
    "logged, or working harder.",
)
FAN_FOLLOWED = Refusal(
    reason=Remark(
        code="fan-follows-oil",
        text="the fan speeds up with the oil: the profile says so, or the cooler's share of the "
        "oil's warmth grew with temperature, as it also does where a valve lets oil past the core. "
        "The figure is that of this outing, and the label is for full speed and flow",
    ),
    next_step=Remark(
        code="log-at-full-fan",
        text="Have the fan run at its full speed, by its override or with hotter oil within the "
        "limits, name a valve in the oil's way as bypass in [cooler], and log the outing again.",
    ),
)
_HALF_OPEN = Refusal(
    reason=Remark(
        code="bypass-half-open",
        text=(
            "by the profile a bypass opens the way to the core as the oil warms, and for most of "
            "the time with the fan on the oil was not ",
            kelvins(OPEN_OVER_K, ".0f"),
            " over its setting: some of it may have gone past the core",
        ),
    ),
    next_step=_LOG_UNREGULATED,
)
_NO_DRIVE = Refusal(
    reason=Remark(
        code="drive-unlogged",
        text="it is known when the engine ran, but neither its speed nor when the drive turned: "
        "idling that passes for work makes the figure wrong by more than its range says",
    ),
    next_step=Remark(
        code="log-drive",
        text="Log the drive; for another logger's file type when it turned, as in "
        "wattsump import FILE --was 'drive on 09:10 to 10:05' or --was 'drive on throughout', and "
        "prove the outing again.",
    ),
)


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


def log_longer() -> Remark:
    """Return the next step after an outing that was too short."""
    text = "Log a longer outing: from cold until the oil settles, then a cool-down."
    return Remark(code="log-longer", text=text)


def log_oftener() -> Remark:
    """Return the next step after an outing that was read too seldom."""
    text = (
        "Log a reading every half minute or oftener, or write down all probes every minute or two: "
        "from cold until the oil settles, then a cool-down."
    )
    return Remark(code="log-oftener", text=text)


def regulated_reason(stretch: Stretch, profile: Profile | None, fan_known: bool) -> Remark | None:
    """Why a plateau measures a thermostat and not the cooler; None if there is none.

    A logged fan that goes on and off is a row of fan steps and can be fitted; a plateau held by
    an unlogged thermostat cannot.
    """
    record = stretch.record
    swings = 0 if fan_known else hidden_switchings(record)
    if swings:
        return Remark(
            code="unlogged-switching",
            text=f"the cooler went from cooling to idling and back, {swings} changes in all, and "
            "no fan channel says when: a fan thermostat or a valve was at work, so a mean over "
            "both is not the cooler's",
        )
    if profile is None:
        return None
    cooler = profile.cooler
    tank = record.oils_c["tank"]
    working = (record.engine > 0.5) & np.isfinite(tank)
    if fan_known:
        working &= ~saw_tooth(record)
    settings = [("bypass", cooler.bypass_c)]
    if not fan_known:
        settings.insert(0, ("fan thermostat", cooler.fan_thermostat_c))
    for name, setting in settings:
        if setting is None or not working.any():
            continue
        held = working & (np.abs(tank - setting) < THERMOSTAT_BAND_K)
        bins = np.count_nonzero(held)
        over = np.count_nonzero(working & (tank > setting + THERMOSTAT_BAND_K))
        if (
            bins > MOSTLY * np.count_nonzero(working)
            and over < SELDOM * bins
            and bins * record.bin_s > LEAST_PLATEAU_S
        ):
            return Remark(
                code="held-at-setting",
                text=(
                    "the oil was held at ",
                    degrees(float(np.nanmean(tank[held]))),
                    f", where the {name} is set (",
                    degrees(setting),
                    f"): such a plateau measures the {name}, not the cooler",
                ),
            )
    return None


def refusals_of(
    stretch: Stretch, profile: Profile | None, fan_known: bool, routes: Sequence[Route]
) -> tuple[Refusal, ...]:
    """Reasons against a K that the readings gave."""
    found = (
        (regulated_reason(stretch, profile, fan_known), _LOG_UNREGULATED),
        (denied_prior(stretch), _CHECK_STATED),
        (slow_probe(stretch), _QUICKEN_PROBE),
        (contradiction(routes), _CHECK_FLOW_AND_MASSES),
    )
    return tuple(Refusal(reason=why, next_step=step) for why, step in found if why is not None)


_CHECK_STATED = Remark(
    code="check-stated",
    text="Check that value and its uncertainty in the profile, and that every channel is what "
    "its name says; log the engine's speed if it changes at work. Then prove the outing again.",
)
_QUICKEN_PROBE = Remark(
    code="quicken-probe",
    text="Let the oil touch the probe's tip: no empty well, no thick sheath; outside a pipe, "
    "bare metal, paste and foam. Then log the outing again.",
)
_CHECK_FLOW_AND_MASSES = Remark(
    code="check-flow-and-masses",
    text="Check the oil flow, and the litres and kilograms in the profile: one of them is "
    "wrong. Then prove the outing again.",
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
        refused = (*refused, _NO_DRIVE)
    refusals = _refusals(stretch, cooler, know, refused)
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
    follows = cooler.fan_follows_oil or fan_followed(stretch.record, know.u_match_k)
    if judgement.verdict is Verdict.FALLS_SHORT and follows:
        return _in_doubt(judgement, FAN_FOLLOWED)
    if judgement.verdict is Verdict.FALLS_SHORT and _is_half_open(stretch.record, cooler):
        return _in_doubt(judgement, _HALF_OPEN)
    return _withheld(judgement, is_flow_known=is_flow_known, is_fan_known=is_fan_known)


def _is_half_open(record: Record, cooler: Cooler) -> bool:
    """Whether a bypass let oil past the core for most of the time that its fan ran."""
    if cooler.bypass_c is None:
        return False
    oil_c = record.oils_c.get("cooler_in", record.oils_c["tank"])
    cooled_c = oil_c[(record.engine > 0.5) & (record.fan > 0.5) & np.isfinite(oil_c)]
    return bool(np.mean(cooled_c > cooler.bypass_c + OPEN_OVER_K) < MOSTLY)


def _withheld(judgement: Judgement, *, is_flow_known: bool, is_fan_known: bool) -> Judgement:
    """The judgement, or "cannot tell" if it rests on something that was not logged."""
    withheld = None
    if judgement.verdict is not Verdict.CANNOT_TELL and not is_flow_known:
        withheld = _NO_FLOW
    elif judgement.verdict is Verdict.FALLS_SHORT and not is_fan_known:
        withheld = _NO_FAN
    if withheld is None:
        if judgement.next_step.code in _MORE_LOGGING and not (is_flow_known and is_fan_known):
            # To type times costs less than another outing.
            missing = _NO_FAN if is_flow_known else _NO_FLOW
            return replace(judgement, next_step=missing.next_step)
        return judgement
    return _in_doubt(judgement, withheld)


def _in_doubt(judgement: Judgement, why: Refusal) -> Judgement:
    return replace(
        judgement,
        verdict=Verdict.CANNOT_TELL,
        headline=Worded(f"{Verdict.CANNOT_TELL.heading}, because ", why.reason, "."),
        reasons=(why.reason, *judgement.reasons),
        next_step=why.next_step,
    )


def _to_narrow(stretch: Stretch) -> Remark:
    """What narrows the range: more readings, a guided run, or better inputs if there was one."""
    if stretch.record.bin_s > SELDOM_S:
        return log_oftener()
    kinds = [phase.kind for phase in stretch.phases]
    if "soak" in kinds and kinds.count("fan on") + kinds.count("fan off") >= FAN_PHASES:
        return Remark(
            code="weigh-and-repeat",
            text="Weigh or look up what the profile only estimates, log the oil flow through the "
            "cooler or measure it once with a bucket, and log the same run again.",
        )
    return Remark(
        code="log-guided-run",
        text="Log a guided run: soak before the start, fan-off rise, three fan steps, and weigh or "
        "look up what the profile only estimates.",
    )


def _refusals(
    stretch: Stretch, cooler: Cooler | None, know: Knowledge, refused: tuple[Refusal, ...]
) -> tuple[Refusal, ...]:
    """All reasons against giving K, each with what would help."""
    refusals = []
    if cooler is not None and not cooler.fitted:
        refusals.append(
            Refusal(
                reason=Remark(
                    code="no-cooler-fitted", text="the profile says that no cooler is fitted"
                ),
                next_step=Remark(
                    code="fit-a-cooler",
                    text="Set fitted = true in [cooler] once it is, and log an outing.",
                ),
            )
        )
    if stretch.why is not None:
        step = NO_TANK_STEP if stretch.why.code == NO_TANK.code else log_longer()
        refusals.append(Refusal(reason=stretch.why, next_step=step))
    refusals.extend(refused)
    if stretch.scale is None and stretch.why is None:
        refusals.append(_WITHOUT_SCALE)
    if not refusals and know.metal_j_k is None and stretch.scale is Scale.CAPACITY:
        refusals.append(_METAL_NOT_LISTED)
    return tuple(refusals)


_WITHOUT_SCALE = Refusal(
    reason=Remark(
        code="no-scale",
        text="temperatures alone give ratios, not watts: neither the heat capacity of oil and "
        "metal nor an oil flow nor a metered heater is known",
    ),
    next_step=Remark(
        code="state-capacity",
        text="State the litres of oil and the kilograms of metal in the machine profile, or log "
        "the oil flow, or run the metered heater.",
    ),
)
_METAL_NOT_LISTED = Refusal(
    reason=Remark(
        code="metal-not-listed",
        text="the metal that warms with the oil is not listed, and it holds about half of the heat",
    ),
    next_step=Remark(
        code="list-metal",
        text="List the metal parts with their kilograms as [[metal]] in the machine profile.",
    ),
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
            next_step=_KEEP if word is Verdict.MEETS else _CLEAN,
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
        next_step=_to_narrow(stretch),
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
            label_etd_k=None,
            heat_at_etd_w=None,
            share_of_label=None,
            probability_met=None,
        )
    heat = k_draws * label_etd_k
    return LabelCheck(
        label_heat_w=label_heat_w,
        label_etd_k=label_etd_k,
        heat_at_etd_w=interval(heat, weights),
        share_of_label=interval(heat / label_heat_w, weights),
        probability_met=float(np.sum(weights[heat >= label_heat_w])),
    )
