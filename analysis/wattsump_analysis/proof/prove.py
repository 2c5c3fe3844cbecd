"""Proves a cooler from one outing: session in, verdict with range and reasons out.

The outing is cut where the cooler was changed, and each stretch is fitted by itself. The answer
is that of the last stretch with one, the cooler as it is now. If there is no answer, the proof
gives the reason and the next thing to do.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.model.fit import model_form, reference_oil_c
from wattsump_analysis.proof.diagnostics import diagnose
from wattsump_analysis.proof.ledger import join_ledgers, make_ledger
from wattsump_analysis.proof.refusals import LOG_LONGER, LOG_OFTENER, SELDOM_S, refusals_of
from wattsump_analysis.proof.remarks import cautions_of, limits_of, notes_of, peaks_of
from wattsump_analysis.proof.stretch import Scale, Stretch, fit_stretch, routes_of, segment_of
from wattsump_analysis.proof.verdict import Judgement, judge, undecided
from wattsump_analysis.reading.contradictions import contradictions, right_channels
from wattsump_analysis.reading.cuts import Cuts, cut_times, find_cuts, record_of, stretch_records
from wattsump_analysis.reading.machine import Knowledge, knowledge
from wattsump_analysis.reading.misplaced import misplaced_in
from wattsump_analysis.reading.phases import (
    Soak,
    find_phases,
    find_soak,
    flow_known_until,
    offsets_k_of,
    switches_of,
)
from wattsump_analysis.reading.record import Record, Switches, bin_means, despike, usual_bin_s
from wattsump_analysis.reading.samples import Samples, gather, metered_heat_j_m3k, without_bare
from wattsump_analysis.reading.suspects import capacity_unlike_listed, never_on, suspects_of
from wattsump_analysis.results import TANK_OIL, Proof, Route
from wattsump_logger.errors import SessionError
from wattsump_logger.machine.profile import Profile
from wattsump_logger.printable import printable
from wattsump_logger.remark import Remark
from wattsump_logger.session.reader import Session

__all__ = ("OIL_HEAT_KEY", "prove")

# A sidecar may state the heat capacity of a cubic metre of the oil, J/(m3 K), in place of
# the correlation for mineral oil.
OIL_HEAT_KEY = "oil_heat_j_m3k"
Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Outing:
    """The readings and what they show before any fit."""

    session: Session
    profile: Profile | None
    samples: Samples
    read: Samples  # of these, the ones that a fit may read
    switches: Switches
    soak: Soak | None
    guesses: tuple[Remark, ...]
    seed: int

    @property
    def flow_known_until_s(self) -> float:
        return flow_known_until(self.samples)

    @property
    def offsets_k(self) -> Mapping[str, float]:
        return offsets_k_of(self.soak, self.profile)

    @property
    def drift_k_min(self) -> float:
        return 0.0 if self.soak is None else self.soak.drift_k_min

    @property
    def fan_known(self) -> bool:
        return self.samples.fan is not None


def prove(
    session: Session,
    profile: Profile | None = None,
    *,
    seed: int = 0,
    progress: Progress | None = None,
) -> Proof:
    """Find the heat that the cooler rejects, and compare it with its label.

    Parameters
    ----------
    session : Session
        One outing; at least the tank's temperature.
    profile : Profile, optional
        The machine; the one in the session's sidecar if not given. Without a machine the
        channels' names are their roles, and temperatures give ratios only.
    seed : int
        Seed of every random draw; the same outing and seed give the same answer.
    progress : callable, optional
        Called with a few words on each step.

    Returns
    -------
    Proof

    Raises
    ------
    SessionError
        No rows, or no readings of the tank.
    ProfileError
        The sidecar holds a profile that cannot be read.
    """
    tell = progress or (lambda text: None)
    profile = profile or session.profile()
    samples = gather(session, profile)
    switches, guesses = switches_of(samples)
    outing = _Outing(
        session=session,
        profile=profile,
        samples=samples,
        read=without_bare(samples, profile),
        switches=switches,
        soak=find_soak(samples, switches.engine),
        guesses=guesses,
        seed=seed,
    )
    if "ambient" not in samples.temps_c:
        reason = Remark(
            code="no-air-temperature",
            text="there is no air temperature: heat per kelvin needs the air going in",
        )
        step = Remark(
            code="connect-air-probe",
            text="Connect a shaded probe in front of the cooler to the channel with the role "
            "ambient.",
        )
        return _unfitted(outing, (reason,), step)
    misplaced = misplaced_in(_records_without_flow(outing))
    if misplaced is not None:
        # Anything else that seems wrong with such readings may follow from it.
        step = Remark(
            code="check-probes",
            text="See that every probe reads °C and sits where its name says, warming them one "
            "by one by hand. If only names are wrong, import the outing again with --rename, a "
            "table with --column; else log it again.",
        )
        return _unfitted(outing, (misplaced,), step)
    return _prove(outing, np.random.default_rng(seed), tell)


def _records_without_flow(outing: _Outing) -> tuple[Record, ...]:
    """Records between gaps and marks, without flow: oil too hot has no properties to give it."""
    cuts = cut_times(outing.samples, outing.session.marks)
    until_s = outing.flow_known_until_s
    return stretch_records(
        outing.read, outing.switches, outing.offsets_k, None, cuts, until_s=until_s
    )[0]


def _prove(outing: _Outing, rng: np.random.Generator, tell: Progress) -> Proof:
    heat = _oil_heat(outing)
    whole = record_of(outing.read, outing.switches, outing.offsets_k, heat)
    # Switches can only be checked against readings while it is known whether oil was pumped.
    with_flow_known = whole.between(float(whole.elapsed_s[0]), outing.flow_known_until_s)
    contradicted = contradictions(with_flow_known, outing.read, matched=bool(outing.offsets_k))
    if contradicted:
        return _unfitted(outing, contradicted, right_channels())
    cuts = find_cuts(outing.read, outing.session.marks, whole)
    records, left_out = stretch_records(
        outing.read,
        outing.switches,
        outing.offsets_k,
        heat,
        cuts,
        until_s=outing.flow_known_until_s,
    )
    if not records:
        is_seldom = whole.bin_s > SELDOM_S
        lacks = "the outing was read too seldom" if is_seldom else "the outing is too short"
        text = f"{lacks}: {left_out[0] if left_out else 'no readings'}"
        step = LOG_OFTENER if is_seldom else LOG_LONGER
        return _unfitted(outing, (Remark(code="too-few-rows", text=text),), step)
    know = knowledge(
        outing.profile,
        reference_oil_c(whole),
        matched=bool(outing.offsets_k),
        drift_k_min=outing.drift_k_min,
    )
    stretches: list[Stretch] = []
    for number, record in enumerate(records, 1):
        tell(f"stretch {number} of {len(records)}")
        stretches.append(_fitted(outing, record, know, rng, tell, stretches))
    cut_notes = (*_cut_notes(cuts), *left_out)
    return _answer(outing, know, tuple(stretches), cut_notes, rng, tell)


def _cut_notes(cuts: Cuts) -> tuple[Remark, ...]:
    return tuple(
        Remark(
            code=why.code,
            text=f"the outing was cut at {at / 60:.0f} min ({why}): no fit runs across it",
        )
        for at, why in zip(cuts.times_s, cuts.notes, strict=True)
    )


def _fitted(
    outing: _Outing,
    record: Record,
    know: Knowledge,
    rng: np.random.Generator,
    tell: Progress,
    before: Sequence[Stretch],
) -> Stretch:
    heater = None if outing.profile is None else outing.profile.heater
    return fit_stretch(
        record,
        know,
        rng,
        fan_known=outing.fan_known,
        heater_metered=heater is not None and heater.metered,
        has_tank=outing.samples.has_tank,
        before=before,
        progress=tell,
    )


def _oil_heat(outing: _Outing) -> FloatArray | None:
    """Heat capacity of the oil in the flow meter, J/(m3 K), per sample."""
    if outing.samples.flow_m3_s is None:
        return None
    stated = outing.session.metadata.get(OIL_HEAT_KEY)
    if stated is not None:
        if isinstance(stated, bool) or not isinstance(stated, int | float) or stated <= 0:
            raise SessionError(
                expected="a positive number of J/(m3 K)",
                found=repr(stated),
                where=f"{outing.session.path}, sidecar, {OIL_HEAT_KEY}",
                do="correct it or remove it",
            )
        return np.full(outing.samples.elapsed_s.shape, float(stated))
    return metered_heat_j_m3k(outing.samples, outing.profile)


def _answer(
    outing: _Outing,
    know: Knowledge,
    stretches: tuple[Stretch, ...],
    cut_notes: tuple[Remark, ...],
    rng: np.random.Generator,
    tell: Progress,
) -> Proof:
    answered = [s for s in stretches if s.k_w_k is not None and not s.why]
    main = answered[-1] if answered else stretches[-1]
    routes: tuple[Route, ...] = ()
    if main.k_w_k is not None and not main.why:
        others = tuple(s for s in stretches if s is not main)
        routes = routes_of(main, others, know, rng, tell)
    refused = refusals_of(main, outing.profile, outing.fan_known, routes)
    judgement = judge(
        main,
        stretches,
        outing.profile,
        know,
        refused,
        is_flow_known=outing.samples.engine is not None or outing.samples.moving is not None,
        is_fan_known=outing.fan_known,
        is_idling_known=outing.samples.engine is None or outing.samples.moving is not None,
    )
    scaled = tuple(
        make_ledger(s.record, s.fitted)
        for s in stretches
        if s.fitted is not None and s.k_w_k is not None and not s.by_side and not s.why
    )
    segments = (segment_of(s, rng) for s in stretches)
    budget = main.side.budget if main.by_side else main.fitted.budget if main.fitted else ()
    return _proof(
        outing,
        judgement,
        cautions=(
            *cautions_of(
                outing.session, outing.samples, main, routes, outing.soak, outing.profile, know
            ),
            *suspects_of(main.record),
            *_never_on(outing.samples, main.record),
            *_unlike_listed(main, know),
        ),
        k_refers_to=(
            "oil into the cooler"
            if main.by_side
            or not outing.samples.has_tank
            or (not main.is_own_circuit and "cooler_in" in main.record.oils_c)
            else TANK_OIL
        ),
        reference_oil_c=reference_oil_c(main.record),
        segments=tuple(s for s in segments if s is not None),
        phases=tuple(p for s in stretches for p in s.phases),
        phase_fits=tuple(p for s in stretches for p in s.phase_fits),
        routes=routes,
        budget=budget if judgement.k_w_k is not None else (),
        k_draws_w_k=main.label_draws if judgement.k_w_k is not None else None,
        k_weights=main.weights if judgement.k_w_k is not None else None,
        ledger=join_ledgers(scaled),
        diagnostics=(
            None
            if main.fitted is None
            else diagnose(main.record, main.fitted, () if main.by_side else main.phases)
        ),
        notes=(*notes_of(outing.samples, outing.soak, outing.guesses, main), *cut_notes),
        model=[(s.record.elapsed_s, s.fitted.smooth.tank_c) for s in stretches if s.fitted],
    )


def _never_on(samples: Samples, record: Record) -> Iterator[Remark]:
    """Remarks on the channels that were off from end to end of the outing."""
    if samples.moving is None:  # loads of the drive cannot be told from a heater's
        return
    for name, states in (("drive", samples.moving), ("heater", samples.heater_w)):
        if states is not None and not np.any(states > 0.0) and (seen := never_on(record, name)):
            yield seen
            return


def _unlike_listed(stretch: Stretch, know: Knowledge) -> tuple[Remark, ...]:
    if stretch.fitted is None or stretch.is_own_circuit or stretch.why:
        return ()
    remark = capacity_unlike_listed(
        stretch.fitted.capacity_j_k.value,
        know,
        model_form(stretch.record).capacity,
        heat_measured=stretch.scale in (Scale.OIL_SIDE, Scale.HEATER),
    )
    return () if remark is None else (remark,)


def _unfitted(outing: _Outing, reasons: tuple[Remark, ...], next_step: Remark) -> Proof:
    """The proof of an outing that cannot be fitted."""
    temps = dict(outing.samples.temps_c)
    temps.setdefault("ambient", np.zeros_like(outing.samples.elapsed_s))
    with_air = replace(outing.samples, temps_c=temps)
    whole = record_of(with_air, outing.switches, outing.offsets_k, None)
    return _proof(
        outing,
        undecided(reasons, next_step),
        cautions=cautions_of(outing.session, outing.samples, None, (), outing.soak, outing.profile),
        k_refers_to="oil into the cooler" if "cooler_in" in temps else TANK_OIL,
        phases=find_phases(whole, outing.fan_known),
        notes=notes_of(outing.samples, outing.soak, outing.guesses, None),
        model=[],
    )


def _proof(
    outing: _Outing,
    judgement: Judgement,
    *,
    model: list[tuple[FloatArray, FloatArray]],
    **found: object,
) -> Proof:
    samples, session = outing.samples, outing.session
    series_s, series = _series(samples)
    defaults: dict[str, object] = {
        "reference_oil_c": None,
        "segments": (),
        "phase_fits": (),
        "routes": (),
        "budget": (),
        "ledger": None,
        "diagnostics": None,
    }
    return Proof(
        verdict=judgement.verdict,
        headline=judgement.headline,
        reasons=judgement.reasons,
        next_step=judgement.next_step,
        k_w_k=judgement.k_w_k,
        label=judgement.label,
        marks=tuple((mark.elapsed_s, mark.text) for mark in session.marks),
        peaks_c=peaks_of(samples),
        limits_c=limits_of(outing.profile),
        series_s=series_s,
        series_c=series,
        model_c=_model(series_s, model),
        provenance=_provenance(outing),
        **(defaults | found),  # type: ignore[arg-type]  # the keyword names are Proof's own
    )


def _series(samples: Samples) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Bin means of every temperature for plots."""
    t = samples.elapsed_s
    width = usual_bin_s(t)
    index = np.floor((t - t[0]) / width).astype(np.int64)
    bins = int(index[-1]) + 1
    means = {
        name: bin_means(despike(values, t), index, bins) for name, values in samples.seen_c.items()
    }
    return np.asarray(t[0] + (np.arange(bins) + 0.5) * width), means


def _model(series_s: FloatArray, parts: list[tuple[FloatArray, FloatArray]]) -> FloatArray | None:
    if not parts:
        return None
    model = np.full(series_s.size, np.nan)
    for at_s, tank_c in parts:
        inside = (series_s >= at_s[0]) & (series_s <= at_s[-1])
        model[inside] = np.interp(series_s[inside], at_s, tank_c)
    return model


def _provenance(outing: _Outing) -> dict[str, str]:
    session = outing.session
    start = "" if session.start_utc is None else session.start_utc.isoformat()
    return {
        "session": printable(session.path.name),
        "machine": "" if outing.profile is None else outing.profile.name,
        "start_utc": start,
        "rows": str(session.elapsed_s.size),
        "controller": str(session.metadata.get("controller", "")),
        "seed": str(outing.seed),
    }
