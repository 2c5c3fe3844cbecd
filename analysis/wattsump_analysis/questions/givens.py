"""The inputs of a question: typed values, a proof, a machine profile.

A typed value (`typed`) takes precedence over the proof, and the proof over the profile. Values
with an interval are drawn log-normal.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.physics.oil import USUAL_DENSITY_15_KG_M3
from wattsump_analysis.questions.answer import Figure
from wattsump_analysis.reading.machine import metal_capacity_j_k, oil_capacity_j_k
from wattsump_analysis.results import Interval, Proof, Segment
from wattsump_analysis.statistics.intervals import NORMAL_95
from wattsump_logger.errors import UsageError
from wattsump_logger.machine.profile import Cooler, Drive, Limits, Profile, column_of
from wattsump_logger.remark import Remark
from wattsump_logger.session.reader import Session

__all__ = (
    "DRAWS",
    "Givens",
    "MissingError",
    "capacity_of",
    "draws",
    "from_samples",
    "givens_from",
    "givens_of",
    "missing",
    "needed",
    "oil_limits_c",
    "with_session",
)

# Quantiles of 4000 draws scatter by about 2 % of an interval's half width.
DRAWS = 4000
_SEED = 20
_WORKING = frozenset({"warm-up", "steady work", "fan on", "fan off"})
_LIMIT_WORDS = {"oil_warn": "oil, advised", "oil_max": "oil, highest"}
CAPACITY_FROM_PROFILE = Remark(
    code="capacity-from-profile",
    text="Heat capacity from the profile's litres and kilograms, not measured.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Givens:
    """Values from an outing and a profile; None is unknown."""

    source: str = "typed values"
    k_w_k: Figure | None = None
    k_draws_w_k: FloatArray | None = None
    k_weights: FloatArray | None = None
    k_refers_to: str = ""
    shell_w_k: Figure | None = None
    capacity_j_k: Figure | None = None
    heat_w: Figure | None = None
    heat_p90_w: Figure | None = None
    label_heat_w: float | None = None
    label_etd_k: float | None = None
    ambients_c: tuple[float, float] | None = None
    limits_c: Mapping[str, float] = field(default_factory=dict)
    peaks_c: Mapping[str, float] = field(default_factory=dict)
    peak_ambients_c: Mapping[str, float] = field(default_factory=dict)
    elapsed_s: FloatArray | None = None
    tank_c: FloatArray | None = None
    idle_c: float | None = None
    inlet_above_tank_k: float = 0.0
    profile: Profile | None = None
    notes: tuple[Remark, ...] = ()

    @property
    def cooler(self) -> Cooler:
        return Cooler() if self.profile is None else self.profile.cooler

    @property
    def drive(self) -> Drive:
        return Drive() if self.profile is None else self.profile.drive

    @property
    def limits(self) -> Limits:
        return Limits() if self.profile is None else self.profile.limits

    @property
    def density_15_kg_m3(self) -> float:
        return USUAL_DENSITY_15_KG_M3 if self.profile is None else self.profile.oil.density_15_kg_m3

    @property
    def notes_without_capacity(self) -> tuple[Remark, ...]:
        """The notes of an answer that does not need the heat capacity."""
        return tuple(note for note in self.notes if note.code != CAPACITY_FROM_PROFILE.code)

    @classmethod
    def of(cls, proof: Proof, source: str = "proof") -> "Givens":
        """Return the values that a proof gives."""
        part, ledger, label = _part(proof), proof.ledger, proof.label
        heat = _figure(None if part is None else part.heat_in_w, "power")
        several = len(_fitted(proof))
        gave_k = proof.k_w_k is not None and part is proof.main_segment
        which = "one that gave K" if gave_k else "last"
        text = f"Of {several} stretches of the outing the {which} is used."
        return cls(
            source=source,
            # If the verdict is "cannot tell" the proof has no K to use, whatever its parts have.
            k_w_k=_figure(proof.k_w_k, "conductance"),
            k_draws_w_k=proof.k_draws_w_k,
            k_weights=proof.k_weights,
            k_refers_to=proof.k_refers_to,
            shell_w_k=_figure(None if part is None else part.shell_w_k, "conductance"),
            capacity_j_k=_figure(None if part is None else part.capacity_j_k, "heat_capacity"),
            heat_w=heat if ledger is None else _like(heat, ledger.working_p50_w),
            heat_p90_w=heat if ledger is None else _like(heat, ledger.working_p90_w),
            label_heat_w=None if label is None else label.label_heat_w,
            label_etd_k=None if label is None else label.label_etd_k,
            ambients_c=_span(proof.series_c.get("ambient")),
            limits_c={_LIMIT_WORDS.get(key, key): limit for key, limit in proof.limits_c.items()},
            peaks_c={name: peak_c for name, (peak_c, _) in proof.peaks_c.items()},
            peak_ambients_c=_ambients_at_peaks(proof),
            elapsed_s=proof.series_s,
            tank_c=proof.series_c.get("tank"),
            inlet_above_tank_k=_inlet_above_tank_k(proof),
            notes=(Remark(code="last-stretch-used", text=text),) if several > 1 else (),
        )


def givens_from(proof: Givens | None, profile: Profile | None) -> Givens:
    """Join the results of a proof with a profile, either or both."""
    givens = proof or Givens()
    if profile is None:
        return givens
    limits = oil_limits_c(profile.limits)
    channels = {
        name: channel.limit_c
        for name, channel in profile.channels.items()
        if channel.limit_c is not None
    }
    givens = replace(givens, profile=profile, limits_c=limits | channels | dict(givens.limits_c))
    if givens.capacity_j_k is None and (capacity := capacity_of(profile)) is not None:
        notes = (*givens.notes, CAPACITY_FROM_PROFILE)
        givens = replace(givens, capacity_j_k=capacity, notes=notes)
    return givens


def oil_limits_c(limits: Limits) -> dict[str, float]:
    """Return the two limits of the oil by the words that answers have for them."""
    return {"oil, advised": limits.oil_warn_c, "oil, highest": limits.oil_max_c}


def givens_of(
    proof: Proof, session: Session | None = None, profile: Profile | None = None
) -> Givens:
    """Return the values of an outing, with the session's own profile if none is given."""
    givens = Givens.of(proof, proof.provenance.get("session", "proof"))
    if session is None:
        return givens_from(givens, profile)
    givens = givens_from(givens, profile or session.profile())
    try:
        return with_session(givens, session)
    except UsageError:
        # Without a tank channel the proof reports it, and the other questions can be answered.
        return givens


def with_session(givens: Givens, session: Session) -> Givens:
    """Add the tank's temperature over the session, and the oil temperature at idle.

    Idle is the engine on and the drive off. Without a given profile that of the session is used.

    Raises
    ------
    UsageError
        The session has no tank channel.
    """
    profile = givens.profile or session.profile()
    tank, engine, work = (
        session.columns.get(column_of(role, session.columns, profile) or "")
        for role in ("tank", "engine", "drive")
    )
    if tank is None:
        raise UsageError(
            expected="a tank temperature",
            found="columns " + ", ".join(session.columns),
            where=str(session.path),
            do="name its channel's role in the profile and give --machine",
        )
    idle_c = None
    if engine is not None and work is not None:
        idle = tank[(engine > 0.0) & (work == 0.0) & np.isfinite(tank)]
        idle_c = float(np.median(idle)) if idle.size else None
    if givens.profile is None and profile is not None:
        givens = replace(givens, profile=profile)
    return replace(
        givens, elapsed_s=session.elapsed_s, tank_c=tank, idle_c=idle_c, source=session.path.name
    )


def capacity_of(profile: Profile, temp_c: float = 40.0) -> Figure | None:
    """Heat capacity of a profile's oil and metal [J/K] with its 95 % interval; None if unknown.

    References
    ----------
    `machine.oil_capacity_j_k`, `machine.metal_capacity_j_k`; JCGM 100:2008, equation 10.
    """
    oil, u_oil = oil_capacity_j_k(profile, temp_c)
    metal, u_metal = metal_capacity_j_k(profile)
    if oil is None or metal is None:
        return None
    total = oil + metal
    spread = math.exp(NORMAL_95 * math.hypot(oil * u_oil, metal * u_metal) / total)
    return Figure(total, "heat_capacity", low=total / spread, high=total * spread)


def _fitted(proof: Proof) -> list[Segment]:
    return [segment for segment in proof.segments if segment.capacity_j_k is not None]


def _part(proof: Proof) -> Segment | None:
    """The part that gave K; without a heat capacity there, the last part that has one."""
    fitted, main = _fitted(proof), proof.main_segment
    return main if main in fitted else fitted[-1] if fitted else None


def _figure(interval: Interval | None, kind: str) -> Figure | None:
    if interval is None or not math.isfinite(interval.value):
        return None
    if not math.isfinite(interval.low + interval.high):
        return Figure(interval.value, kind)
    return Figure(interval.value, kind, low=interval.low, high=interval.high)


def _like(model: Figure | None, value: float) -> Figure | None:
    """A quantile of the load with the relative interval of the mean heat."""
    if model is None or not (model.value > 0.0 and value > 0.0):
        return model
    ratio = value / model.value
    low, high = (None if end is None else end * ratio for end in (model.low, model.high))
    return Figure(value, "power", low=low, high=high)


def _ambients_at_peaks(proof: Proof) -> dict[str, float]:
    """Air [°C] when each channel was at its hottest."""
    ambient = proof.series_c.get("ambient")
    if ambient is None or not (seen := np.isfinite(ambient)).any():
        return {}
    return {
        name: float(np.interp(at_s, proof.series_s[seen], ambient[seen]))
        for name, (_, at_s) in proof.peaks_c.items()
    }


def _inlet_above_tank_k(proof: Proof) -> float:
    """How much hotter oil into the cooler was than the tank at warm work [K].

    0 if K refers to the tank, or if either of the two was not logged.
    """
    inlet, tank = (proof.series_c.get(name) for name in ("cooler_in", "tank"))
    if proof.k_refers_to != "oil into the cooler" or inlet is None or tank is None:
        return 0.0
    working = np.zeros(proof.series_s.shape, dtype=bool)
    for phase in proof.phases:
        if phase.kind in _WORKING:
            working |= (proof.series_s >= phase.start_s) & (proof.series_s < phase.end_s)
    working &= np.isfinite(inlet) & np.isfinite(tank)
    if not working.any():
        return 0.0
    warm = working & (tank >= np.median(tank[working]))
    return max(float(np.median((inlet - tank)[warm])), 0.0)


def _span(values: FloatArray | None) -> tuple[float, float] | None:
    if values is None or not np.isfinite(values).any():
        return None
    return float(np.nanmin(values)), float(np.nanmax(values))


class MissingError(UsageError):
    """A question that cannot be answered without the options named in `options`."""

    options: tuple[str, ...] = ()


def missing(what: str, *options: str, text: str = "") -> MissingError:
    """Return the error for missing options; `text` replaces the list of them."""
    error = MissingError(
        expected=text or ", ".join("--" + option.replace("_", "-") for option in options),
        found="nothing",
        where=what,
        do="give it, or a proof (--from) or a profile (--machine) that has it",
    )
    error.options = options
    return error


def needed(what: str, **values: Figure | None) -> tuple[Figure, ...]:
    """Return the values, by the name of their option, if none of them is missing.

    Raises
    ------
    MissingError
        Naming each option whose value is missing.
    """
    absent = [option for option, value in values.items() if value is None]
    if absent:
        raise missing(what, *absent)
    return tuple(value for value in values.values() if value is not None)


def draws(*figures: Figure, one_scale: bool = True) -> tuple[FloatArray, ...]:
    """Draw from figures, log-normal where they have an interval, each of shape (`DRAWS`,).

    Parameters
    ----------
    *figures : Figure
        Positive values.
    one_scale : bool
        For values of the same outing. K, C, Q and shell loss share an error of scale in watts, so
        the smallest of their relative uncertainties is drawn once for all, and only the rest for
        each separately. A temperature, which is a ratio of two of them, is then as certain as it
        was measured. False draws each separately, as for typed values.

    Returns
    -------
    tuple of arrays, each (n,)
        In the order given; a figure without an interval is constant.

    References
    ----------
    JCGM 101:2008, clause 7 (propagation of distributions); clause 6.4.8 for joint draws.
    """
    rng = np.random.default_rng(_SEED)
    spread = [figure.u_log for figure in figures]
    givens = [u for u in spread if u > 0.0]
    common = min(givens) if one_scale and len(givens) > 1 else 0.0
    shared = rng.standard_normal(DRAWS)
    result = []
    for figure, u in zip(figures, spread, strict=True):
        own = math.sqrt(max(u**2 - common**2, 0.0)) if u > 0.0 else 0.0
        log = (common if u > 0.0 else 0.0) * shared + own * rng.standard_normal(DRAWS)
        result.append(figure.value * np.exp(log))
    return tuple(result)


def from_samples(samples: FloatArray, kind: str) -> Figure:
    """Median and 95 % interval of draws; no interval if all are equal."""
    # "higher" and "lower" keep infinite draws (never) from making NaN between two of them.
    low = float(np.quantile(samples, 0.025, method="lower"))
    high = float(np.quantile(samples, 0.975, method="higher"))
    value = float(np.quantile(samples, 0.5, method="lower"))
    if low == high:
        return Figure(value, kind)
    return Figure(value, kind, low=low, high=high)
