"""Why a K is not to be used or not held against a label, and what to do about it.

Each reason is a remark and so is each next step; `verdict` decides which of them apply.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wattsump_analysis.proof.implausible import denied_prior, late_probe, slow_probe
from wattsump_analysis.proof.routes import contradiction
from wattsump_analysis.proof.stretch import NO_TANK, NO_TANK_STEP, Scale, Stretch
from wattsump_analysis.reading.cooler_share import fan_followed
from wattsump_analysis.reading.machine import Knowledge
from wattsump_analysis.reading.phases import hidden_switchings, saw_tooth
from wattsump_analysis.reading.record import Record
from wattsump_analysis.reading.suspects import air_with_fan_k
from wattsump_analysis.results import Route, Verdict
from wattsump_logger.machine.profile import Cooler, Profile
from wattsump_logger.remark import Remark
from wattsump_logger.units.measure import degrees, kelvins

__all__ = (
    "LOG_LONGER",
    "LOG_OFTENER",
    "NO_DRIVE",
    "NO_FAN",
    "NO_FLOW",
    "SELDOM_S",
    "Refusal",
    "against_k",
    "against_verdict",
    "refusals_of",
    "to_narrow",
)

MOSTLY = 0.5
SELDOM = 0.1  # share of time over the setting that still counts as held at it
THERMOSTAT_BAND_K = 4.0
LEAST_PLATEAU_S = 600.0
HOT_AIR_SHARE = 0.1  # of oil over air: K is then as much too high; common practice, no source
OPEN_OVER_K = 10.0  # over its setting an oil thermostat is open; common practice, no source
SELDOM_S = 120.0  # between readings: at more, an outing of usual length has too few
FAN_PHASES = 3  # on, off and on again: less than that is no guided run


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Why a K is not to be used, and what would help."""

    reason: Remark
    next_step: Remark


NO_FLOW = Refusal(
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
NO_FAN = Refusal(
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
_FAN_FOLLOWED = Refusal(
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
_HOT_AIR = Refusal(
    reason=Remark(
        code="hot-air-measured",
        text="the air at the probe warmed by more than a tenth of the oil's warmth while the fan "
        "blew: where the probe stands in the core's own air, the air going in is colder than it "
        "read, and the cooler smaller than it looks",
    ),
    next_step=Remark(
        code="move-air-probe",
        text="Put the air probe half a metre or more before the core, in the shade, close gaps "
        "around the core, and log the outing again.",
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
NO_DRIVE = Refusal(
    reason=Remark(
        code="drive-unlogged",
        text="it is known when the engine ran, but neither its speed nor when the drive turned: "
        "idling that passes for work makes the figure wrong by more than its range says",
    ),
    next_step=Remark(
        code="log-drive",
        text="Log the drive; an input that is never on counts as none. For this outing type when "
        "it turned, as in wattsump import FILE.csv --was 'drive on 09:10 to 10:05' or --was 'drive "
        "on throughout', and prove the session that this makes.",
    ),
)
LOG_LONGER = Remark(
    code="log-longer",
    text="Log a longer outing: from cold until the oil settles, then a cool-down.",
)
LOG_OFTENER = Remark(
    code="log-oftener",
    text="Log a reading every half minute or oftener, or write down all probes every minute or "
    "two: from cold until the oil settles, then a cool-down.",
)
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
_NO_COOLER = Refusal(
    reason=Remark(code="no-cooler-fitted", text="the profile says that no cooler is fitted"),
    next_step=Remark(
        code="fit-a-cooler", text="Set fitted = true in [cooler] once it is, and log an outing."
    ),
)


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


def _is_air_hot(record: Record) -> bool:
    """Whether the air probe warms with the fan by too large a share of the oil's warmth."""
    blown = (record.fan > 0.5) & (record.engine > 0.5)
    excess_k = (record.oils_c["tank"] - record.ambient_c)[blown]
    if not np.isfinite(excess_k).any():
        return False
    return bool(air_with_fan_k(record) > HOT_AIR_SHARE * float(np.nanmedian(excess_k)))


def against_verdict(
    verdict: Verdict, record: Record, cooler: Cooler, know: Knowledge
) -> Refusal | None:
    """What speaks against a verdict, though the K it rests on is good; None if nothing does."""
    if verdict is Verdict.FALLS_SHORT:
        if cooler.fan_follows_oil or fan_followed(record, know.u_match_k):
            return _FAN_FOLLOWED
        if _is_half_open(record, cooler):
            return _HALF_OPEN
    if verdict is Verdict.MEETS and _is_air_hot(record):
        return _HOT_AIR
    return None


def _is_half_open(record: Record, cooler: Cooler) -> bool:
    """Whether a bypass let oil past the core for most of the time that its fan ran."""
    if cooler.bypass_c is None:
        return False
    oil_c = record.oils_c.get("cooler_in", record.oils_c["tank"])
    cooled_c = oil_c[(record.engine > 0.5) & (record.fan > 0.5) & np.isfinite(oil_c)]
    return bool(np.mean(cooled_c > cooler.bypass_c + OPEN_OVER_K) < MOSTLY)


def to_narrow(stretch: Stretch) -> Remark:
    """What narrows the range: readings, quicker probes, a guided run, or else better inputs."""
    if stretch.record.bin_s > SELDOM_S:
        return LOG_OFTENER
    if late_probe(stretch) is not None:
        return _QUICKEN_PROBE
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


def against_k(
    stretch: Stretch, cooler: Cooler | None, know: Knowledge, refused: tuple[Refusal, ...]
) -> tuple[Refusal, ...]:
    """All reasons against giving K, each with what would help."""
    refusals = []
    if cooler is not None and not cooler.fitted:
        refusals.append(_NO_COOLER)
    if stretch.why is not None:
        step = NO_TANK_STEP if stretch.why.code == NO_TANK.code else LOG_LONGER
        refusals.append(Refusal(reason=stretch.why, next_step=step))
    refusals.extend(refused)
    if stretch.scale is None and stretch.why is None:
        refusals.append(_WITHOUT_SCALE)
    if not refusals and know.metal_j_k is None and stretch.scale is Scale.CAPACITY:
        refusals.append(_METAL_NOT_LISTED)
    return tuple(refusals)
