"""Cautions and notes beside the verdict."""

from collections.abc import Sequence

import numpy as np

from wattsump_analysis.model.fit import reference_oil_c, rests_on_layout
from wattsump_analysis.proof.implausible import late_probe
from wattsump_analysis.proof.routes import AGREE_REL, conductance, largest_disagreement
from wattsump_analysis.proof.stretch import Stretch
from wattsump_analysis.reading.machine import Knowledge, bare_pipes
from wattsump_analysis.reading.phases import Soak
from wattsump_analysis.reading.record import despike
from wattsump_analysis.reading.roles import roles_amiss
from wattsump_analysis.reading.samples import Samples
from wattsump_analysis.results import Route
from wattsump_analysis.statistics.draws import LEAST_DRAWS
from wattsump_logger.machine.profile import OIL_ROLES, SEVERAL, Profile
from wattsump_logger.remark import Remark
from wattsump_logger.session.reader import Session
from wattsump_logger.units.measure import degrees, kelvins, listed

__all__ = ("cautions_of", "limits_of", "notes_of", "peaks_of")

BACKWARDS_K = -1.0
SUNLIT_K = 2.0
THICK_BELOW_C = 40.0  # at which an oil's grade counts; common practice
COOL_DOWNS = frozenset({"idle cool-down", "stopped cool-down"})
STEPS = frozenset({"fan on", "fan off", "regulated"})


def peaks_of(samples: Samples) -> dict[str, tuple[float, float]]:
    """Highest temperature of each channel, spikes aside, and when it was."""
    peaks = {}
    for name, values in samples.seen_c.items():
        clean = despike(values, samples.elapsed_s)
        at = int(np.nanargmax(clean)) if np.isfinite(clean).any() else None
        if at is not None:
            peaks[name] = (float(clean[at]), float(samples.elapsed_s[at]))
    return peaks


def limits_of(profile: Profile | None) -> dict[str, float]:
    """The limits that apply, by role or name, as `peaks_of` names the channels."""
    if profile is None:
        return {}
    limits = {"oil_warn": profile.limits.oil_warn_c, "oil_max": profile.limits.oil_max_c}
    limits.update(
        (name if channel.role in SEVERAL else channel.role.value, channel.limit_c)
        for name, channel in profile.channels.items()
        if channel.limit_c is not None
    )
    return limits


def cautions_of(
    session: Session,
    samples: Samples,
    stretch: Stretch | None,
    routes: Sequence[Route],
    soak: Soak | None,
    profile: Profile | None,
    know: Knowledge | None = None,
) -> tuple[Remark, ...]:
    """Cautions: what may be wrong with file, machine, probes or result."""
    remarks = [
        *session.notes,
        *_too_hot(samples, profile),
        *_probes(samples, soak),
    ]
    unused = tuple(roles_amiss(session.columns, profile))  # least of all, so the last
    if stretch is None:
        return (*remarks, *unused)
    if samples.engine is None and samples.moving is None:
        text = (
            "neither engine nor drive was logged: a stop that passes for work makes K too high "
            "while the oil falls, and too low where it hardly does. Log the engine, or type its "
            "times"
        )
        remarks.append(Remark(code="engine-unlogged", text=text))
    if stretch.is_pump_varied:
        remarks.append(_share_varied(samples))
    if bare_pipes(profile) & set(samples.temps_c):
        text = (
            "the cooler's probes sit bare on their pipes and read too low by an unknown share of "
            "their rise, about a tenth: beside a tank probe they are left out. Put them under 20 "
            "mm of foam, or into the oil"
        )
        remarks.append(Remark(code="probes-bare", text=text))
    difference = largest_disagreement(routes)
    if difference > AGREE_REL:
        differ = (
            f"independent ways to the same figure differ by {100 * difference:.0f} %: ",
            *listed((f"{route.name} ", conductance(route.k_w_k)) for route in routes),
            ". One of the things they rest on is wrong",
        )
        remarks.append(Remark(code="routes-differ", text=differ))
    remarks.extend(_about_fit(stretch, know))
    return (*remarks, *unused)


def _share_varied(samples: Samples) -> Remark:
    """Why the probes at the cooler were left out."""
    times = {"fan": samples.fan, "engine": samples.engine}
    unknown = " and ".join(name for name, states in times.items() if states is None)
    if unknown:
        text = (
            f"the cooler's share of the oil's warmth changed, and the times of {unknown} are not "
            "known: what changed it cannot be told. The probes at the cooler were left out. Log "
            "these times, or type them with wattsump import FILE --was"
        )
        return Remark(code="share-varied", text=text)
    text = (
        "the cooler's share of the oil's warmth changed while nothing was switched: the "
        "engine's speed varied and was not logged, or a valve let oil past the core. The probes at "
        "the cooler were left out, as their differences depend on the flow. Log the engine's "
        "speed, or keep the throttle still"
    )
    return Remark(code="speed-varied-unlogged", text=text)


def _too_hot(samples: Samples, profile: Profile | None) -> list[Remark]:
    if profile is None:
        return []
    remarks = []
    for name, (peak_c, _) in peaks_of(samples).items():
        limit_c = _limit_of(name, profile)
        if limit_c is not None and peak_c > limit_c:
            where = name.replace("_", " ")
            harm = (
                ": hoses and seals suffer and hot oil burns; let it cool before opening anything"
                if name in OIL_ROLES
                else ""
            )
            reached = (
                f"{where} reached ",
                degrees(peak_c),
                ", over its limit of ",
                degrees(limit_c),
                harm,
            )
            remarks.append(Remark(code="over-limit", text=reached))
    return remarks


def _limit_of(name: str, profile: Profile) -> float | None:
    """The limit of a channel, by role or name: its own, else the oil's if oil is in it."""
    for channel_name, channel in profile.channels.items():
        if channel.limit_c is not None and name in (channel_name, channel.role):
            return channel.limit_c
    return profile.limits.oil_max_c if name in OIL_ROLES else None


def _probes(samples: Samples, soak: Soak | None) -> list[Remark]:
    remarks = []
    temps = samples.temps_c
    if {"cooler_in", "cooler_out"} <= set(temps):
        drop = temps["cooler_in"] - temps["cooler_out"]
        if float(np.nanpercentile(drop, 75)) < BACKWARDS_K:
            text = (
                "oil seems to leave the cooler warmer than it enters: are the two probes swapped?"
            )
            remarks.append(Remark(code="drop-backwards", text=text))
    offsets = None if soak is None else soak.offsets_k
    if offsets is not None and offsets.get("ambient", 0.0) > SUNLIT_K:
        warm = (
            "the air probe read ",
            kelvins(offsets["ambient"]),
            " more than the oil after a rest: look for sun or warm air on it, as the probe itself "
            "may be right",
        )
        remarks.append(Remark(code="air-probe-warm", text=warm))
    return remarks


def _about_fit(stretch: Stretch, know: Knowledge | None) -> list[Remark]:
    remarks = []
    kinds = {phase.kind for phase in stretch.phases}
    if "stopped cool-down" in kinds and not kinds & (STEPS | {"idle cool-down"}):
        text = (
            "the only cool-down is with the engine stopped: it tells the shell's loss, not the "
            "cooler's"
        )
        remarks.append(Remark(code="stopped-cool-down-only", text=text))
    fitted = stretch.fitted
    if fitted is not None and not stretch.by_side and rests_on_layout(fitted.network.record, know):
        text = (
            "neither a fan step nor an oil flow was logged: watts then depend on where the metal "
            "of the machine is warmed, which temperatures hardly show, and on some machines are a "
            "sixth low or more. Make the guided run before you act on them"
        )
        remarks.append(Remark(code="rests-on-layout", text=text))
    few = fitted is not None and fitted.posterior.effective_draws < LEAST_DRAWS
    if few and not stretch.by_side:
        text = (
            "the search for the likeliest machines ended before it settled: the figure may be "
            "farther off than its range says. Log the outing again, longer or with a fan step"
        )
        remarks.append(Remark(code="search-unfinished", text=text))
    if (late := late_probe(stretch)) is not None:
        text = f"{late}, or hardly any oil flows there: the range is wider for it"
        remarks.append(Remark(code="probe-late", text=text))
    if fitted is not None and (oil_c := reference_oil_c(stretch.record)) < THICK_BELOW_C:
        thick = (
            "the figure is that of oil at ",
            degrees(oil_c),
            ", whose thickness lowers it; a label is meant for oil at work. Log with warmer oil "
            "before you act on it",
        )
        remarks.append(Remark(code="oil-thick", text=thick))
    if stretch.side.why is not None:
        backwards = (
            stretch.side.why,
            ", so the oil side gives no figure: are both probes in the oil, right way round, and "
            "is the core open to the air?",
        )
        remarks.append(Remark(code=stretch.side.why.code, text=backwards))
    if stretch.alone is not None:
        text = f"the figure is the oil side's alone: {stretch.alone}"
        remarks.append(Remark(code="oil-side-alone", text=text))
    if stretch.is_own_circuit:
        text = (
            "the tank is nearer to the oil going into the cooler than to the oil coming out: the "
            "cooler was taken to have a circuit of its own"
        )
        remarks.append(Remark(code="own-circuit", text=text))
        if stretch.side.k_w_k is not None and stretch.known_heat is None:
            text = (
                "the heat into the oil is unknown: the watts rest on the oil flow in the cooler's "
                "own circuit, and the tank's warmth is not in it. Give forecast its --heat"
            )
            remarks.append(Remark(code="heat-not-told", text=text))
    return remarks


def notes_of(
    samples: Samples,
    soak: Soak | None,
    guesses: Sequence[Remark],
    stretch: Stretch | None,
) -> tuple[Remark, ...]:
    """Notes: what was assumed, left out or changed in the readings."""
    notes = [*samples.notes, *guesses]
    if soak is None:
        text = "no rest before the start: the probes could not be matched, so their class counts"
        notes.append(Remark(code="no-rest", text=text))
    elif soak.reason is not None:
        why = ("the probes were not matched: ", soak.reason)
        notes.append(Remark(code=soak.reason.code, text=why))
    elif soak.offsets_k is not None:
        moved = listed(
            (f"{name.replace('_', ' ')} ", kelvins(-offset, "+.2f"))
            for name, offset in soak.offsets_k.items()
            if name != ("tank" if samples.has_tank else "cooler_in") and name in samples.seen_c
        )
        to = "tank's" if samples.has_tank else "cooler inlet's"
        matched = (f"probes matched to the {to} in the rest before the start: ", *moved)
        notes.append(Remark(code="probes-matched", text=matched))
    if stretch is not None and not {p.kind for p in stretch.phases} & (COOL_DOWNS | STEPS):
        text = (
            "no cool-down and no fan step: heat in and heat out are told apart by the warm-up alone"
        )
        notes.append(Remark(code="warm-up-only", text=text))
    return tuple(notes)
