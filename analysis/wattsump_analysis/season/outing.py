"""An outing in a few numbers, the input of comparisons and trends.

K and heat of an outing are both scaled by its heat capacity (or flow). An error common to all
outings of a machine, such as a wrongly weighed tank, moves all of them alike and cancels from any
difference. Only the part that varies from outing to outing counts for a change.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.physics.oil import viscosity_mm2_s
from wattsump_analysis.reading.oil_side import FLOW_AND_HEAT, ON_PIPES
from wattsump_analysis.reading.samples import FIRED_RPM
from wattsump_analysis.results import Interval, Phase, Proof, Segment
from wattsump_analysis.season.events import Event, EventKind, event_kinds
from wattsump_analysis.statistics.intervals import NORMAL_95
from wattsump_logger.machine.parts import Limits
from wattsump_logger.machine.profile import Profile, Role, column_of
from wattsump_logger.session.reader import Session

__all__ = (
    "Outing",
    "outing_from",
    "outing_from_dict",
    "outing_to_dict",
    "outings_of_stretches",
    "start_of",
)

# Budget lines about the machine, the same in each of its outings.
ONE_FOR_ALL = frozenset(
    {
        *("oil_j_k", "metal_j_k", "oil_heat", "oil_flow_w_k", FLOW_AND_HEAT),
        *("contact_tank", "contact_in", "contact_out", ON_PIPES),
    }
)
# What the profile states of the heat capacity: other figures are another scale.
CAPACITY = ("oil.volume", "metal")
# Of a fan step: what is left out after the switch, and how much is looked at (Newton's law
# needs a few minutes; the first minute still moves warmth between oil and metal).
STEP_SKIP_S = 60.0
STEP_LOOK_S = 240.0
STEP_LEAST_BINS = 4


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Outing:
    """One outing of one machine.

    `u_k` and `u_heat` are relative standard uncertainties in all; `own_u_k` and `own_u_heat`
    the parts that vary from outing to outing. An unknown quantity is None.
    `fan_step_w_k` is K with the fan less K without, from switching it. `rise_k` is tank oil
    over air once settled at work, fan on. `oil_mm2_s` is the viscosity of the stated oil at
    `reference_oil_c`, `engine_rpm` the median speed of the running engine, `rests_on` what all
    watts of the outing go by: outings alike in it share that error. `facts` is what the profile
    states.
    """

    name: str
    key: str
    machine: str
    start_utc: str | None
    hours: float
    completeness: float
    k_w_k: float | None
    u_k: float | None
    own_u_k: float | None
    heat_w: float | None
    u_heat: float | None
    own_u_heat: float | None
    reference_oil_c: float | None
    fan_step_w_k: float | None
    rise_k: float | None
    ambient_c: float | None
    peak_oil_c: float | None
    peaks_c: Mapping[str, float] = field(default_factory=dict)
    minutes_above_warn: float = 0.0
    minutes_above_max: float = 0.0
    preheat_min: float = 0.0
    verdict: str = ""
    oil: str = ""
    oil_mm2_s: float | None = None
    engine_rpm: float | None = None
    rests_on: str = ""
    events: tuple[Event, ...] = ()
    marks: tuple[str, ...] = ()
    facts: Mapping[str, str] = field(default_factory=dict)

    def __repr__(self) -> str:
        k = "no K" if self.k_w_k is None else f"K {self.k_w_k:.0f} W/K"
        return f"<Outing {self.name}: {k}, {self.verdict or 'no verdict'}>"

    @property
    def usable(self) -> bool:
        """Whether both K and the heat are there, which a trend in causes needs."""
        return self.k_w_k is not None and self.heat_w is not None


def outing_from(proof: Proof, session: Session, profile: Profile | None, key: str) -> Outing:
    """Summarise an outing.

    Parameters
    ----------
    proof : Proof
        The proof of the session.
    session : Session
        The session itself, for its clock, its gaps and its marks.
    profile : Profile or None
        The machine; without it the usual limits count.
    key : str
        Identifies the session's content.

    Returns
    -------
    Outing
    """
    tank, air = proof.series_c.get("tank"), proof.series_c.get("ambient")
    marks = tuple(text for _, text in proof.marks)
    main = proof.main_segment
    heat = None if main is None else main.heat_in_w
    common = _common(proof)
    u_k, u_heat = _relative(proof.k_w_k), _relative(heat)
    limits = Limits() if profile is None else profile.limits
    return Outing(
        name=session.path.stem,
        key=key,
        machine="" if profile is None else profile.name,
        start_utc=None if session.start_utc is None else session.start_utc.isoformat(),
        hours=_hours(session.elapsed_s),
        completeness=_completeness(session),
        k_w_k=None if proof.k_w_k is None else proof.k_w_k.value,
        u_k=u_k,
        own_u_k=_own(u_k, common),
        heat_w=None if heat is None else heat.value,
        u_heat=u_heat,
        own_u_heat=_own(u_heat, common),
        reference_oil_c=proof.reference_oil_c,
        fan_step_w_k=_fan_step(proof),
        rise_k=_steady_rise(proof),
        ambient_c=None if air is None or not np.isfinite(air).any() else float(np.nanmean(air)),
        peak_oil_c=_peak(proof),
        peaks_c={name: float(peak[0]) for name, peak in proof.peaks_c.items()},
        minutes_above_warn=_minutes_above(proof.series_s, tank, limits.oil_warn_c),
        minutes_above_max=_minutes_above(proof.series_s, tank, limits.oil_max_c),
        preheat_min=sum(p.end_s - p.start_s for p in proof.phases if p.kind == "preheat") / 60.0,
        verdict=proof.verdict,
        oil="" if profile is None else profile.oil.grade,
        oil_mm2_s=_viscosity(proof, profile),
        engine_rpm=_running_rpm(session, profile),
        rests_on=_rests_on(proof, profile),
        events=tuple(Event(kind=kind, text=text) for text in marks for kind in event_kinds(text)),
        marks=marks,
        facts={} if profile is None else _facts(profile),
    )


def outings_of_stretches(
    proof: Proof, session: Session, profile: Profile | None, key: str
) -> tuple[Outing, ...]:
    """Split a session in which something was swapped: one outing for each stretch.

    Parameters
    ----------
    proof, session, profile, key
        As for `outing_from`.

    Returns
    -------
    tuple of Outing
        In order, named and keyed by their number; a mark belongs to the stretch it begins.
    """
    return tuple(
        replace(
            outing_from(_part(proof, segment), _rows(session, segment), profile, f"{key}#{number}"),
            name=f"{session.path.stem}#{number}",
        )
        for number, segment in enumerate(proof.segments, 1)
    )


def _rows(session: Session, segment: Segment) -> Session:
    """The rows of one stretch; its clock begins with it."""
    inside = (session.elapsed_s >= segment.start_s) & (session.elapsed_s < segment.end_s)
    start = session.start_utc
    return replace(
        session,
        elapsed_s=session.elapsed_s[inside],
        columns={name: values[inside] for name, values in session.columns.items()},
        start_utc=None if start is None else start + timedelta(seconds=segment.start_s),
    )


def _part(proof: Proof, segment: Segment) -> Proof:
    """The proof of one stretch, from its own rows only."""
    inside = (proof.series_s >= segment.start_s) & (proof.series_s < segment.end_s)
    series = {name: values[inside] for name, values in proof.series_c.items()}
    width_s = float(np.median(np.diff(proof.series_s))) if proof.series_s.size > 1 else 0.0
    first = segment is proof.segments[0]
    return replace(
        proof,
        k_w_k=segment.k_w_k,
        segments=(segment,),
        phases=tuple(p for p in proof.phases if segment.start_s - 1 <= p.start_s < segment.end_s),
        # A mark of a swap may come up to a bin before the next stretch begins.
        marks=tuple(
            (at_s, text)
            for at_s, text in proof.marks
            if segment.start_s - 2 * width_s <= at_s < segment.end_s or (first and at_s <= 0.0)
        ),
        peaks_c={
            name: (float(np.nanmax(values)), float(proof.series_s[inside][np.nanargmax(values)]))
            for name, values in series.items()
            if np.isfinite(values).any()
        },
        series_s=proof.series_s[inside],
        series_c=series,
    )


def outing_to_dict(outing: Outing) -> dict[str, object]:
    """Plain data that `outing_from_dict` reads to an equal outing."""
    return asdict(outing)


def outing_from_dict(raw: Mapping[str, Any]) -> Outing:
    """Read an outing from plain data.

    Raises
    ------
    TypeError, ValueError, KeyError
        The data are not those of an outing of this version.
    """
    names = {f.name for f in fields(Outing)}
    if set(raw) != names:
        raise ValueError(f"not an outing: {sorted(names ^ set(raw))} differ")
    values = dict(raw)
    values["events"] = tuple(
        Event(kind=EventKind(event["kind"]), text=event["text"]) for event in raw["events"]
    )
    values["marks"] = tuple(raw["marks"])
    return Outing(**values)


def start_of(outing: Outing) -> datetime | None:
    """Return when the outing began, None if there was no clock."""
    return None if outing.start_utc is None else datetime.fromisoformat(outing.start_utc)


def _relative(interval: Interval | None) -> float | None:
    return None if interval is None else interval.half_width_rel / NORMAL_95


def _common(proof: Proof) -> float:
    """Relative standard uncertainty of the scale that all outings of the machine share."""
    shared = [line.relative for line in proof.budget if line.source in ONE_FOR_ALL]
    return float(np.sqrt(np.sum(np.square(shared))))


def _own(u: float | None, common: float) -> float | None:
    # At least a tenth of the whole stays, since no outing repeats perfectly, even if the budget
    # gives more to the scale than there is in all.
    return None if u is None else float(np.sqrt(max(u**2 - common**2, (0.1 * u) ** 2)))


def _viscosity(proof: Proof, profile: Profile | None) -> float | None:
    if profile is None or proof.reference_oil_c is None:
        return None
    return float(viscosity_mm2_s(proof.reference_oil_c, profile.oil.line))


def _running_rpm(session: Session, profile: Profile | None) -> float | None:
    column = column_of(Role.ENGINE, session.columns, profile)
    if column is None or not column.endswith("_rpm"):
        return None
    running = session.columns[column][session.columns[column] >= FIRED_RPM]
    return float(np.median(running)) if running.size else None


def _rests_on(proof: Proof, profile: Profile | None) -> str:
    """The routes to watts, a metered heater, and what the profile states of the capacity."""
    routes = sorted({route.rests_on for route in proof.routes})
    heater = ["metered heater"] if any(p.kind == "preheat" for p in proof.phases) else []
    facts = {} if profile is None else _facts(profile)
    stated = [f"{name} {facts[name]}" for name in sorted(facts) if name.startswith(CAPACITY)]
    return "; ".join([*routes, *heater, *stated])


def _hours(elapsed_s: FloatArray) -> float:
    return float(elapsed_s[-1] - elapsed_s[0]) / 3600.0 if elapsed_s.size else 0.0


def _completeness(session: Session) -> float:
    """Share of temperature readings that should be there and are, gaps in time included."""
    temperatures = [v for name, v in session.columns.items() if name.endswith("_c")]
    t = session.elapsed_s
    if t.size < 2 or not temperatures:
        return 0.0
    usual_s = float(np.median(np.diff(t)))
    rows_due = max(round(float(t[-1] - t[0]) / usual_s) + 1, t.size)
    there = sum(int(np.isfinite(values).sum()) for values in temperatures)
    return there / (rows_due * len(temperatures))


def _peak(proof: Proof) -> float | None:
    tank = proof.series_c.get("tank")
    if "tank" in proof.peaks_c:
        return float(proof.peaks_c["tank"][0])
    return None if tank is None or not np.isfinite(tank).any() else float(np.nanmax(tank))


def _minutes_above(series_s: FloatArray, tank_c: FloatArray | None, limit_c: float) -> float:
    if tank_c is None or series_s.size < 2:
        return 0.0
    return float(np.sum(tank_c > limit_c) * np.median(np.diff(series_s))) / 60.0


def _settled(proof: Proof) -> NDArray[np.bool_]:
    """Where the oil had settled at work: steady work, or the last half of the fan's longest."""
    steady = [(p.start_s, p.end_s) for p in proof.phases if p.kind == "steady work"]
    if not steady:
        cooled = [p for p in proof.phases if p.kind == "fan on"]
        longest = max(cooled, key=lambda p: p.end_s - p.start_s, default=None)
        if longest is not None:
            steady = [(0.5 * (longest.start_s + longest.end_s), longest.end_s)]
    inside = np.zeros(proof.series_s.shape, dtype=bool)
    for start_s, end_s in steady:
        inside |= (proof.series_s >= start_s) & (proof.series_s < end_s)
    return inside


def _steady_rise(proof: Proof) -> float | None:
    tank, air = proof.series_c.get("tank"), proof.series_c.get("ambient")
    if tank is None or air is None:
        return None
    over = (tank - air)[_settled(proof)]
    return float(np.nanmean(over)) if np.isfinite(over).any() else None


def _fan_step(proof: Proof) -> float | None:
    """K with the fan less K without: capacity times the change of slope over the rise.

    Load, shell and stored heat are the same on both sides of a switch, so what changes in
    C dT/dt is the fan's part of the cooler alone.
    """
    tank, air = proof.series_c.get("tank"), proof.series_c.get("ambient")
    main = proof.main_segment
    if tank is None or air is None or main is None or main.capacity_j_k is None:
        return None
    steps = [
        step
        for first, second in zip(proof.phases[:-1], proof.phases[1:], strict=True)
        if {"fan off", "fan on"} == {first.kind, second.kind}
        and (step := _one_step(proof.series_s, tank, air, first, second)) is not None
    ]
    return main.capacity_j_k.value * float(np.mean(steps)) if steps else None


def _one_step(
    series_s: FloatArray, tank_c: FloatArray, air_c: FloatArray, first: Phase, second: Phase
) -> float | None:
    """Change of conductance over capacity at one switch of the fan, 1/s, fan on counted up."""
    at = second.start_s
    before = (series_s >= max(first.start_s + STEP_SKIP_S, at - STEP_LOOK_S)) & (series_s < at)
    after = (series_s >= at + STEP_SKIP_S) & (series_s < min(second.end_s, at + STEP_LOOK_S))
    slopes, rises = [], []
    for part in (before, after):
        seen = part & np.isfinite(tank_c) & np.isfinite(air_c)
        if seen.sum() < STEP_LEAST_BINS:
            return None
        slopes.append(float(np.polyfit(series_s[seen], tank_c[seen], 1)[0]))
        rises.append(float(np.mean(tank_c[seen] - air_c[seen])))
    rise = 0.5 * (rises[0] + rises[1])
    if rise <= 1.0:
        return None
    change = (slopes[0] - slopes[1]) / rise
    return change if second.kind == "fan on" else -change


def _facts(profile: Profile) -> dict[str, str]:
    """The profile as typed, flat: "oil.grade" -> "VG 46"."""
    flat: dict[str, str] = {}

    def walk(prefix: str, value: object) -> None:
        if isinstance(value, Mapping):
            for name, inner in value.items():
                walk(f"{prefix}.{name}" if prefix else str(name), inner)
        elif isinstance(value, list | tuple):
            for number, inner in enumerate(value, 1):
                walk(f"{prefix} {number}", inner)
        else:
            flat[prefix] = str(value)

    walk("", profile.to_dict())
    return flat
