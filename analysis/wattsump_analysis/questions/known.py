"""What is known before a question is answered: typed values, a proof, a machine profile.

A typed value (`answers_typed`) wins over the proof, the proof over the profile. What has an
interval is drawn log-normal.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.proof.proof_json import SCHEMA, proof_data
from wattsump_analysis.questions.answer import Figure
from wattsump_analysis.reading.machine import metal_capacity_j_k, oil_capacity_j_k
from wattsump_analysis.results import Proof
from wattsump_analysis.statistics.intervals import NORMAL_95
from wattsump_logger.errors import UsageError
from wattsump_logger.machine.profile import Profile, column_of
from wattsump_logger.session.reader import Session

__all__ = (
    "DRAWS",
    "Known",
    "capacity_of",
    "draws",
    "from_samples",
    "known_from",
    "known_from_proof",
    "known_of",
    "needed",
    "proof_from_file",
    "with_session",
)

# Quantiles of 4000 draws scatter by about 2 % of an interval's half width.
DRAWS = 4000
_SEED = 20
_WORKING = frozenset({"warm-up", "steady work", "fan on", "fan off"})
_LIMIT_WORDS = {"oil_warn": "oil, advised", "oil_max": "oil, highest"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What an outing and a profile left known; None is unknown."""

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
    notes: tuple[str, ...] = ()


def known_from(proof: Known | None, profile: Profile | None) -> Known:
    """Join what a proof found and what a profile says, either or both."""
    known = proof or Known()
    if profile is None:
        return known
    limits = {
        "oil, advised": profile.limits.oil_warn_c,
        "oil, highest": profile.limits.oil_max_c,
    }
    channels = {
        name: channel.limit_c
        for name, channel in profile.channels.items()
        if channel.limit_c is not None
    }
    known = replace(known, profile=profile, limits_c=limits | channels | dict(known.limits_c))
    if known.capacity_j_k is None and (capacity := capacity_of(profile)) is not None:
        note = "Heat capacity from the profile's litres and kilograms, not measured."
        known = replace(known, capacity_j_k=capacity, notes=(*known.notes, note))
    return known


def known_of(proof: Proof, session: Session | None = None, profile: Profile | None = None) -> Known:
    """Return what an outing left known; without a profile by hand, the session's own."""
    known = known_from_proof(proof_data(proof), proof.provenance.get("session", "proof"))
    if session is None:
        return known_from(known, profile)
    known = known_from(known, profile or session.profile())
    try:
        return with_session(known, session)
    except UsageError:
        # No tank channel: the proof's own words say so, and the other questions remain.
        return known


def with_session(known: Known, session: Session) -> Known:
    """Add what a session itself says of the tank: its course, and the oil at idle.

    Idle is the engine on and the drive off. The profile of the session stands in for one that
    was not given.

    Raises
    ------
    UsageError
        The session has no tank channel.
    """
    profile = known.profile or session.profile()
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
    if known.profile is None and profile is not None:
        known = replace(known, profile=profile)
    return replace(
        known, elapsed_s=session.elapsed_s, tank_c=tank, idle_c=idle_c, source=session.path.name
    )


def capacity_of(profile: Profile, temp_c: float = 40.0) -> Figure | None:
    """Heat capacity of a profile's oil and metal [J/K] with its 95 % interval; None if unknown.

    References
    ----------
    `capacity.oil_capacity_j_k`, `capacity.metal_capacity_j_k`; JCGM 100:2008, equation 10.
    """
    oil, u_oil = oil_capacity_j_k(profile, temp_c)
    metal, u_metal = metal_capacity_j_k(profile)
    if oil is None or metal is None:
        return None
    total = oil + metal
    spread = math.exp(NORMAL_95 * math.hypot(oil * u_oil, metal * u_metal) / total)
    return Figure(value=total, kind="heat_capacity", low=total / spread, high=total * spread)


def proof_from_file(path: Path) -> Known:
    """Read a proof's JSON.

    Raises
    ------
    UsageError
        The file is missing, is no JSON or has another schema.
    """
    where = str(path)
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise _no_proof(where, error.strerror or str(error)) from error
    except ValueError as error:
        raise _no_proof(where, "no JSON") from error
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        found = data.get("schema") if isinstance(data, dict) else type(data).__name__
        raise _no_proof(where, f"schema {found!r}")
    return known_from_proof(data, path.name)


def _no_proof(where: str, found: str) -> UsageError:
    return UsageError(
        expected=f"a proof, JSON of schema {SCHEMA!r}",
        found=found,
        where=where,
        do="write one with: wattsump prove SESSION --json > proof.json",
    )


def known_from_proof(data: Mapping[str, Any], name: str = "proof") -> Known:
    """Read what a proof found; keys as the attributes of `results.Proof`.

    Raises
    ------
    UsageError
        A key has a form that is not the schema's.
    """
    try:
        return _known(data, name)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError) as error:
        raise _no_proof(name, f"an unreadable part ({error})") from error


def _known(data: Mapping[str, Any], name: str) -> Known:
    segments = [part for part in data.get("segments") or () if part.get("capacity_j_k")]
    last: Mapping[str, Any] = segments[-1] if segments else {}
    heat = _figure(last.get("heat_in_w"), "power")
    ledger = data.get("ledger") or {}
    series = data.get("series_c") or {}
    label = data.get("label") or {}
    notes = []
    if len(segments) > 1:
        notes.append(f"Of {len(segments)} stretches of the outing the last is used.")
    return Known(
        source=name,
        # A proof that could not tell has no K to answer with, whatever a stretch of it says.
        k_w_k=_figure(data.get("k_w_k"), "conductance"),
        k_draws_w_k=_array(data.get("k_draws_w_k")),
        k_weights=_array(data.get("k_weights")),
        k_refers_to=data.get("k_refers_to") or "",
        shell_w_k=_figure(last.get("shell_w_k"), "conductance"),
        capacity_j_k=_figure(last.get("capacity_j_k"), "heat_capacity"),
        heat_w=_like(heat, ledger.get("working_p50_w")),
        heat_p90_w=_like(heat, ledger.get("working_p90_w")),
        label_heat_w=label.get("label_heat_w"),
        label_etd_k=label.get("label_etd_k"),
        ambients_c=_span(series.get("ambient")),
        limits_c={
            _LIMIT_WORDS.get(key, key): float(value)
            for key, value in (data.get("limits_c") or {}).items()
        },
        peaks_c={key: float(value[0]) for key, value in (data.get("peaks_c") or {}).items()},
        peak_ambients_c=_ambients_at(data, series),
        elapsed_s=_array(data.get("series_s")),
        tank_c=_array(series.get("tank")),
        inlet_above_tank_k=_inlet_above_tank_k(data, series),
        notes=tuple(notes),
    )


def _figure(raw: Mapping[str, float | None] | None, kind: str) -> Figure | None:
    if raw is None or raw["value"] is None:
        return None
    low, high = raw["low"], raw["high"]
    if low is None or high is None:
        return Figure(value=float(raw["value"]), kind=kind)
    return Figure(value=float(raw["value"]), kind=kind, low=float(low), high=float(high))


def _like(model: Figure | None, value: float | None) -> Figure | None:
    """A quantile of the load with the relative interval of the mean heat."""
    if value is None or model is None or model.value <= 0.0 or value <= 0.0:
        return model
    ratio = value / model.value
    low, high = (None if end is None else end * ratio for end in (model.low, model.high))
    return Figure(value=value, kind="power", low=low, high=high)


def _array(raw: object) -> FloatArray | None:
    if not isinstance(raw, list):
        return None
    return np.array([math.nan if value is None else value for value in raw], dtype=np.float64)


def _ambients_at(data: Mapping[str, Any], series: Mapping[str, Any]) -> dict[str, float]:
    """Air [°C] when each channel was at its hottest."""
    ambient, elapsed_s = _array(series.get("ambient")), _array(data.get("series_s"))
    if ambient is None or elapsed_s is None:
        return {}
    seen = np.isfinite(ambient) & np.isfinite(elapsed_s)
    if not seen.any():
        return {}
    return {
        name: float(np.interp(float(peak[1]), elapsed_s[seen], ambient[seen]))
        for name, peak in (data.get("peaks_c") or {}).items()
    }


def _inlet_above_tank_k(data: Mapping[str, Any], series: Mapping[str, Any]) -> float:
    """How much hotter oil into the cooler was than the tank at warm work [K].

    0 where K counts from tank oil, or where nobody saw both.
    """
    inlet, tank, elapsed_s = (
        _array(raw) for raw in (series.get("cooler_in"), series.get("tank"), data.get("series_s"))
    )
    if data.get("k_refers_to") != "oil into the cooler":
        return 0.0
    if inlet is None or tank is None or elapsed_s is None:
        return 0.0
    working = np.zeros(elapsed_s.shape, dtype=bool)
    for phase in data.get("phases") or ():
        if phase["kind"] in _WORKING:
            working |= (elapsed_s >= phase["start_s"]) & (elapsed_s < phase["end_s"])
    working &= np.isfinite(inlet) & np.isfinite(tank)
    if not working.any():
        return 0.0
    warm = working & (tank >= np.median(tank[working]))
    return max(float(np.median((inlet - tank)[warm])), 0.0)


def _span(raw: object) -> tuple[float, float] | None:
    values = _array(raw)
    if values is None or not np.isfinite(values).any():
        return None
    return float(np.nanmin(values)), float(np.nanmax(values))


def needed(*values: tuple[Figure | None, str], what: str) -> None:
    """Refuse to answer without what the answer rests on.

    Raises
    ------
    UsageError
        Naming each value that is missing and how to give it.
    """
    missing = [how for value, how in values if value is None]
    if missing:
        raise UsageError(
            expected=", ".join(missing),
            found="nothing",
            where=what,
            do="give it; a proof (--from) or a profile (--machine) will do where it holds it",
        )


def draws(*figures: Figure, one_scale: bool = True) -> tuple[FloatArray, ...]:
    """Draw from figures, log-normal where they have an interval, each of shape (`DRAWS`,).

    Parameters
    ----------
    *figures : Figure
        Positive values.
    one_scale : bool
        Of one outing: K, C, Q and shell loss all rest on one scale of watts, so the smallest
        relative uncertainty among those that have one is drawn once for all of them and only
        the rest of each by itself. A temperature, which is a ratio of two of them, is then as
        well known as it was measured. False draws each by itself, as for typed values.

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
    known = [u for u in spread if u > 0.0]
    common = min(known) if one_scale and len(known) > 1 else 0.0
    shared = rng.standard_normal(DRAWS)
    result = []
    for figure, u in zip(figures, spread, strict=True):
        own = math.sqrt(max(u**2 - common**2, 0.0)) if u > 0.0 else 0.0
        log = (common if u > 0.0 else 0.0) * shared + own * rng.standard_normal(DRAWS)
        result.append(figure.value * np.exp(log))
    return tuple(result)


def from_samples(samples: FloatArray, kind: str) -> Figure:
    """Median and 95 % interval of draws; a figure without interval when all are alike."""
    # "higher" and "lower" keep infinite draws (never) from making NaN between two of them.
    low = float(np.quantile(samples, 0.025, method="lower"))
    high = float(np.quantile(samples, 0.975, method="higher"))
    value = float(np.quantile(samples, 0.5, method="lower"))
    if low == high:
        return Figure(value=value, kind=kind)
    return Figure(value=value, kind=kind, low=low, high=high)
