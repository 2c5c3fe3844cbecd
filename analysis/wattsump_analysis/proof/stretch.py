"""Fits one stretch of an outing: the network, the oil side, the exponentials."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.model.case import Gaussian
from wattsump_analysis.model.fit import Fitted, carried, fit_record, model_form, stated_tells
from wattsump_analysis.proof.diagnostics import SHORTEST_WINDOW_TAU
from wattsump_analysis.proof.phase_fits import LEAST_SPAN_K, fit_phases
from wattsump_analysis.proof.routes import KnownHeat, capacity_from_heat, conductance_from_capacity
from wattsump_analysis.reading.cooler_share import pump_varied
from wattsump_analysis.reading.machine import Knowledge
from wattsump_analysis.reading.oil_side import OilSide, oil_side, own_circuit
from wattsump_analysis.reading.phases import find_phases
from wattsump_analysis.reading.record import Record
from wattsump_analysis.results import Interval, Phase, PhaseFit, Route, Segment
from wattsump_analysis.statistics.intervals import draws_of, span_of
from wattsump_logger.remark import Remark
from wattsump_logger.units.measure import kelvins

__all__ = (
    "NO_TANK",
    "NO_TANK_STEP",
    "Scale",
    "Stretch",
    "fit_stretch",
    "longest_fit",
    "routes_of",
    "segment_of",
)

NO_TANK = Remark(
    code="no-tank-probe",
    text="there is no probe in the tank; without one the oil's flow, both probes at the cooler and "
    "the engine's times are needed",
)
NO_TANK_STEP = Remark(
    code="add-tank-probe",
    text="Put a probe into the tank; or log the oil flow or state it as oil_flow in [cooler], and "
    "log the engine or type its times.",
)


class Scale(StrEnum):
    """What the watts rest on, in words for the owner."""

    OIL_SIDE = "the oil's flow, heat capacity and temperature drop"
    STATED_FLOW = "the oil's stated flow, its heat capacity and temperatures"
    HEATER = "the metered heater"
    CAPACITY = "the heat capacity of the listed oil and metal"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """One stretch and all results of it.

    `scale` says what the watts rest on, None if there is nothing. `k_w_k` with its draws is the
    answer; None with `why` if there is none. `record` is the tank's alone if `is_pump_varied`.
    `label_draws` are compared with a label, which counts from the oil into the cooler. `alone` is
    why the oil side answered without the network, None if the network answered.
    """

    record: Record
    phases: tuple[Phase, ...]
    phase_fits: tuple[PhaseFit, ...]
    side: OilSide
    is_pump_varied: bool
    is_own_circuit: bool
    fitted: Fitted | None
    scale: Scale | None
    known_heat: KnownHeat | None
    k_w_k: Interval | None
    k_draws: FloatArray
    label_draws: FloatArray
    weights: FloatArray
    why: Remark | None
    alone: Remark | None

    @property
    def by_side(self) -> bool:
        """Whether K comes from the oil side and not from the network."""
        return self.side.k_w_k is not None and (self.is_own_circuit or self.alone is not None)


def fit_stretch(
    record: Record,
    know: Knowledge,
    rng: np.random.Generator,
    *,
    fan_known: bool,
    heater_metered: bool,
    has_tank: bool = True,
    before: Sequence["Stretch"] = (),
    progress: Callable[[str], None],
) -> Stretch:
    """Fit one stretch by every route its channels allow, given the stretches `before` it.

    If the pump's speed varied without being logged, the probes at the cooler give no watts.
    Without `has_tank` only the oil side is used: the network needs the tank's temperature.
    """
    is_pump_varied = has_tank and pump_varied(record)
    if is_pump_varied:
        record = record.tank_alone()
    side = oil_side(record, know)
    is_own_circuit = has_tank and own_circuit(record)
    phase_fits = fit_phases(record, fan_known) if has_tank else ()
    fitted, why = (
        _fit(
            record.tank_alone() if is_own_circuit else record,
            know,
            rng,
            progress,
            _left_by(before, record, know),
        )
        if has_tank
        else (None, NO_TANK)
    )
    scale = _scale(record, know, side, heater_metered)
    known_heat = None
    longest = longest_fit(phase_fits)
    if side.k_w_k is not None and longest is not None and know.oil_j_k is None:
        known_heat = capacity_from_heat(longest.tau_s, side.k_w_k, rng)
    alone = why if side.k_w_k is not None else None
    by_side = is_own_circuit or alone is not None
    k, draws, weights = _answer(fitted, side, by_side, rng)
    return Stretch(
        record=record,
        phases=find_phases(record, fan_known),
        phase_fits=phase_fits,
        side=side,
        is_pump_varied=is_pump_varied,
        is_own_circuit=is_own_circuit,
        fitted=fitted,
        scale=scale,
        known_heat=known_heat,
        k_w_k=k if scale is not None else None,
        k_draws=draws,
        label_draws=_label_draws(record, fitted, draws, by_side),
        weights=weights,
        why=why if alone is None else None,
        alone=alone,
    )


def longest_fit(fits: Sequence[PhaseFit]) -> PhaseFit | None:
    """The fit over most time constants of those whose time constant is bounded."""
    bounded = (fit for fit in fits if np.isfinite(fit.tau_s.high))
    return max(bounded, key=lambda fit: fit.window_tau, default=None)


def _left_by(before: Sequence[Stretch], record: Record, know: Knowledge) -> dict[str, Gaussian]:
    """Priors from the last stretch that was fitted to the same channels."""
    for stretch in reversed(before):
        same = set(stretch.record.oils_c) == set(record.oils_c) and not stretch.is_own_circuit
        if stretch.fitted is not None and stretch.why is None and same:
            return carried(stretch.fitted, model_form(stretch.record, know))
    return {}


def _fit(
    record: Record,
    know: Knowledge,
    rng: np.random.Generator,
    progress: Callable[[str], None],
    shared: Mapping[str, Gaussian] | None = None,
) -> tuple[Fitted | None, Remark | None]:
    tank = record.oils_c["tank"]
    moved = float(np.nanmax(tank) - np.nanmin(tank))
    if moved < LEAST_SPAN_K:
        only = "the oil moved by ", kelvins(moved), " only: there is no transient to learn from"
        return None, Remark(code="oil-never-moved", text=only)
    if not np.any(record.engine > 0.5):
        text = "the engine never ran: a stopped cool-down measures the shell, not the cooler"
        return None, Remark(code="engine-never-ran", text=text)
    if not np.any((record.fan > 0.5) & (record.engine > 0.5)):
        text = "the fan never ran: the cooler was not put to work"
        return None, Remark(code="fan-never-ran", text=text)
    try:
        # A trial far outside of any machine overflows and gets the weight 0.
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            fitted = fit_record(record, know, rng, progress, shared=shared)
    except (np.linalg.LinAlgError, ArithmeticError):
        fitted = None
    # Counted from the tank, K of an impossible machine comes out below zero.
    if fitted is None or not fitted.k_w_k.low > 0.0:
        text = "the fit of the thermal network found no solution"
        return None, Remark(code="fit-failed", text=text)
    rate = (fitted.k_w_k.value + fitted.shell_w_k.value) / fitted.capacity_j_k.value
    window = record.bins * record.bin_s * rate
    if window < SHORTEST_WINDOW_TAU:
        text = (
            f"the outing is only {window:.2f} time constants long ({1 / rate / 60:.0f} min each); "
            f"it takes {SHORTEST_WINDOW_TAU:g} or more"
        )
        return fitted, Remark(code="outing-too-short", text=text)
    return fitted, None


def _scale(record: Record, know: Knowledge, side: OilSide, heater_metered: bool) -> Scale | None:
    if side.k_w_k is not None:
        return Scale.OIL_SIDE
    if heater_metered and np.any(record.heater_w > 1.0):
        return Scale.HEATER
    if stated_tells(record, know):
        return Scale.STATED_FLOW
    if know.oil_j_k is not None:
        return Scale.CAPACITY
    return None


def _answer(
    fitted: Fitted | None, side: OilSide, by_side: bool, rng: np.random.Generator
) -> tuple[Interval | None, FloatArray, FloatArray]:
    if by_side and side.k_w_k is not None:
        draws = draws_of(side.k_w_k, rng)
        return side.k_w_k, draws, np.full(draws.size, 1.0 / draws.size)
    if fitted is None:
        return None, np.empty(0), np.empty(0)
    return fitted.k_w_k, fitted.k_draws, fitted.posterior.weights


def _label_draws(
    record: Record, fitted: Fitted | None, draws: FloatArray, tank_is_inlet: bool
) -> FloatArray:
    """Draws of K over the oil into the cooler; from the network's if only the tank was read."""
    if fitted is None or tank_is_inlet or "cooler_in" in record.oils_c:
        return draws
    return fitted.k_inlet_draws


def segment_of(stretch: Stretch, rng: np.random.Generator) -> Segment | None:
    """The stretch as a plain result; None if there are not even ratios."""
    record, fitted, heat = stretch.record, stretch.fitted, stretch.known_heat
    if fitted is None:
        return None
    half = 0.5 * record.bin_s
    # Where the cooler's own circuit has no flow, K is that of the tank's fit, and so is the heat.
    by_flow = stretch.is_own_circuit and stretch.side.k_w_k is not None
    scaled = stretch.scale is not None and not by_flow
    return Segment(
        start_s=float(record.elapsed_s[0]) - half,
        end_s=float(record.elapsed_s[-1]) + half,
        k_w_k=stretch.k_w_k,
        capacity_j_k=(
            fitted.capacity_j_k if scaled else None if heat is None else span_of(heat.capacity_j_k)
        ),
        heat_in_w=(
            fitted.heat_in_w if scaled else None if heat is None else _heat_in(stretch, heat, rng)
        ),
        shell_w_k=(
            fitted.shell_w_k if scaled else None if heat is None else span_of(heat.shell_w_k)
        ),
        k_over_c_per_s=fitted.k_over_c_per_s,
        oil_side_w_k=stretch.side.k_w_k,
        nodes=fitted.nodes,
    )


def _heat_in(stretch: Stretch, heat: KnownHeat, rng: np.random.Generator) -> Interval | None:
    """Mean heat into the oil where the cooler's heat is measured: cooler, shell and stored."""
    side, record = stretch.side, stretch.record
    if side.k_w_k is None:
        return None
    tank = record.oils_c["tank"]
    seen = np.flatnonzero(np.isfinite(tank))
    excess = float(np.nanmean(tank - record.ambient_c))
    seconds = float(record.elapsed_s[seen[-1]] - record.elapsed_s[seen[0]])
    rate = float(tank[seen[-1]] - tank[seen[0]]) / seconds
    cooler = side.heat_w * draws_of(side.k_w_k, rng) / side.k_w_k.value
    return span_of(cooler + heat.shell_w_k * excess + heat.capacity_j_k * rate)


def routes_of(
    stretch: Stretch,
    others: tuple[Stretch, ...],
    know: Knowledge,
    rng: np.random.Generator,
    progress: Callable[[str], None],
) -> tuple[Route, ...]:
    """K of a stretch by each independent route."""
    routes = []
    side = stretch.side.k_w_k
    if side is not None:
        routes.append(
            Route(
                name="oil side",
                rests_on="measured oil flow, its heat capacity, and in minus out",
                k_w_k=side,
            )
        )
    has_tank = NO_TANK not in (stretch.alone, stretch.why)
    if has_tank and know.oil_j_k is not None and know.metal_j_k is not None:
        thermal = stretch.fitted
        if side is not None and not stretch.is_own_circuit:
            progress("without the flow")
            thermal, _ = _fit(replace(stretch.record, flow_w_k=None), know, rng, progress)
        if thermal is not None:
            routes.append(
                Route(
                    name="temperatures and capacity",
                    rests_on="heat capacity of the listed oil and metal, and rates of change",
                    k_w_k=thermal.k_w_k,
                )
            )
    routes.extend(_from_other(stretch, others, rng))
    return tuple(routes)


def _from_other(
    stretch: Stretch, others: tuple[Stretch, ...], rng: np.random.Generator
) -> list[Route]:
    """K from the temperatures of this stretch with the capacity from another."""
    longest = longest_fit(stretch.phase_fits)
    heats = [other.known_heat for other in others if other.known_heat is not None]
    if longest is None or not heats:
        return []
    return [
        Route(
            name="temperatures, capacity from the oil side",
            rests_on="heat capacity found from the cooler's own heat in another stretch",
            k_w_k=conductance_from_capacity(longest.tau_s, heats[0], rng),
        )
    ]
