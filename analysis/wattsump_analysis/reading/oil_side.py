"""K from the oil's own flow and temperature drop, without any heat capacity of the machine."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.reading.machine import Knowledge
from wattsump_analysis.reading.phases import slopes_k_min
from wattsump_analysis.reading.record import Record
from wattsump_analysis.results import BudgetLine, Interval
from wattsump_analysis.statistics.intervals import NORMAL_95
from wattsump_logger.arrays import BoolArray
from wattsump_logger.remark import Remark
from wattsump_logger.units.measure import kelvins

__all__ = ("FLOW_AND_HEAT", "ON_PIPES", "OilSide", "jumps_s", "oil_side", "own_circuit")

PIPES = ("cooler_in", "cooler_out")
ON_PIPES = "probes on the pipes"  # the budget's name for how they sit
FLOW_AND_HEAT = "oil flow and heat"  # the budget's name for what a flow meter carries
LEAST_EXCESS_K = 5.0  # oil over air, below which the quotient is mostly error
LEAST_BINS = 5
WELL_ABOVE = 0.5  # of the largest excess
JUMP_REL = 0.15
JUMP_SIDE = 5
JUMP_GAP = 2
STEADY_FLOW_REL = 0.1  # an engine that changes its speed moves the flow, and with it K, by more
SETTLING_BINS = 3  # core and pipes after a change of flow
# Oil that goes home without the cooler, and heat of the tank's own, bring it to a half; a rig
# whose cooler has a pump of its own (sample-data/rig) stands at 0.62 to 0.75.
OWN_CIRCUIT_SHARE = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class OilSide:
    """K where the oil was settled; None, with or without a reason, if there is none."""

    k_w_k: Interval | None
    heat_w: float = float("nan")  # mean over the usable bins
    budget: tuple[BudgetLine, ...] = ()
    why: Remark | None = None  # there is no value although flow and both temperatures were read


def _series(record: Record) -> FloatArray:
    empty = np.full(record.bins, np.nan)
    if record.flow_w_k is None or not record.reads_both_pipes:
        return empty
    excess = record.excess_k
    usable = (record.engine > 0.99) & (record.fan > 0.99) & (excess > LEAST_EXCESS_K)
    heat = record.flow_w_k * record.drop_k
    return np.asarray(np.divide(heat, excess, out=empty, where=usable & np.isfinite(heat)))


def oil_side(record: Record, know: Knowledge) -> OilSide:
    """Conductance from W (T_in - T_out) / (T_in - T_air).

    Parameters
    ----------
    record : Record
        n bins; without flow and both cooler temperatures there is no value.
    know : Knowledge
        Uncertainties of flow times heat capacity and of the probes.

    Returns
    -------
    OilSide
        Without a value, with the reason, if the oil does not leave cooler than it enters.

    Notes
    -----
    The value is the median over the quarter of the bins, with fan and flow and well above
    the air, in which the oil changed least: then the core stores no heat. Its
    uncertainty is that of the flow, of the small difference in to out, of how the probes sit on
    their pipes, of the air, and the scatter of the bins taken as fully correlated, added in
    squares.

    References
    ----------
    Heat balance of the oil; JCGM 100:2008, eq. (12).
    """
    record = _in_oil(record, know)
    k = _series(record)
    seen = np.flatnonzero(np.isfinite(k))
    if seen.size < LEAST_BINS:
        return OilSide(k_w_k=None)
    warm = _settled(record, seen)
    value = float(np.median(k[warm]))
    drop = float(np.median(record.drop_k[warm]))
    excess = float(np.median(record.excess_k[warm]))
    if not (value > 0.0 and drop > 0.0):
        text = "with fan and flow the oil leaves ", kelvins(drop, ".2f"), " cooler than it enters"
        return OilSide(k_w_k=None, why=Remark(code="oil-side-backwards", text=text))
    scatter = 1.4826 * float(np.median(np.abs(k[warm] - value))) / value
    u_contact = math.hypot(*(know.contact.get(name, (0.0, 0.0))[1] for name in PIPES))
    budget = (
        BudgetLine(source=FLOW_AND_HEAT, kind="B", relative=know.u_flow_rel),
        BudgetLine(
            source="cooler probes", kind="B", relative=float(np.sqrt(2.0)) * know.u_match_k / drop
        ),
        BudgetLine(source=ON_PIPES, kind="B", relative=u_contact * excess / drop),
        BudgetLine(source="air probe", kind="B", relative=know.u_ambient_k / excess),
        BudgetLine(source="readings", kind="A", relative=scatter),
    )
    half = NORMAL_95 * float(np.linalg.norm([line.relative for line in budget])) * value
    return OilSide(
        k_w_k=Interval(value=value, low=value - half, high=value + half),
        heat_w=float(np.mean(k[seen] * record.excess_k[seen])),
        budget=tuple(sorted(budget, key=lambda line: -line.relative)),
    )


def _in_oil(record: Record, know: Knowledge) -> Record:
    """The record with the cooler's probes put right by their usual contact error."""
    oils = dict(record.oils_c)
    for name in set(PIPES) & set(oils):
        mean, _ = know.contact.get(name, (0.0, 0.0))
        oils[name] = oils[name] + mean * (oils[name] - record.ambient_c)
    return replace(record, oils_c=oils)


def _settled(record: Record, seen: NDArray[np.intp]) -> NDArray[np.intp]:
    """The quarter of the usable bins in which the oil changed least."""
    excess = record.excess_k[seen]
    well = seen[excess >= WELL_ABOVE * excess.max()]
    rate = np.abs(slopes_k_min(record.elapsed_s, record.oils_c["cooler_in"]))[well]
    count = max(LEAST_BINS, well.size // 4)
    return np.sort(well[np.argsort(rate, kind="stable")[:count]])


def jumps_s(record: Record) -> tuple[float, ...]:
    """Times at which the oil-side conductance steps because the cooler was changed.

    Both sides of a step must be flat by comparison, unlike the slow start of a cold cooler. Only
    bins with the usual flow count, because less oil takes less heat from the same cooler. Engine
    speed stands for a flow that was not recorded: only the step's share of the whole matters.
    """
    if record.flow_w_k is None:
        record = replace(record, flow_w_k=record.engine_rpm)
    k = _series(record)
    seen = np.flatnonzero(np.isfinite(k) & _usual_flow(record, np.isfinite(k)))
    values = k[seen]
    steps: list[tuple[float, int]] = []
    for i in range(JUMP_SIDE, seen.size - JUMP_SIDE - JUMP_GAP + 1):
        window = record.elapsed_s[seen[[i - JUMP_SIDE, i + JUMP_GAP + JUMP_SIDE - 1]]]
        if np.diff(window)[0] > 2.0 * record.bin_s * (2 * JUMP_SIDE + JUMP_GAP):
            continue  # there are no readings between
        before, after = values[i - JUMP_SIDE : i], values[i + JUMP_GAP : i + JUMP_GAP + JUMP_SIDE]
        step = abs(float(np.median(after) - np.median(before)))
        spread = max(float(np.ptp(before)), float(np.ptp(after)))
        if step > JUMP_REL * abs(float(np.median(values))) and step > 3.0 * spread:
            steps.append((step, i))
    edges: list[int] = []
    for _, i in sorted(steps, reverse=True):
        if all(abs(i - other) > JUMP_SIDE + JUMP_GAP for other in edges):
            edges.append(i)
    half = 0.5 * record.bin_s
    return tuple(float(record.elapsed_s[seen[i]]) - half for i in sorted(edges))


def _usual_flow(record: Record, seen: BoolArray) -> BoolArray:
    """Bins that have had the usual flow for `SETTLING_BINS`, shape (n,)."""
    flow = record.flow_w_k
    if flow is None or not seen.any():
        return seen
    usual = float(np.median(flow[seen]))
    steady = np.abs(flow - usual) < STEADY_FLOW_REL * usual
    return np.asarray(np.convolve(steady, np.ones(SETTLING_BINS + 1))[: flow.size] > SETTLING_BINS)


def own_circuit(record: Record) -> bool:
    """Whether the cooler sits in a circuit of its own instead of in the return to the tank.

    In the return line the tank takes the oil that leaves the cooler; with a pump of its
    own the cooler takes the tank's oil, so the tank is nearer to its inlet.
    """
    if not record.reads_both_pipes:
        return False
    drop = record.drop_k
    usable: BoolArray = (record.engine > 0.99) & (record.fan > 0.99) & (drop > 2.0)
    if np.count_nonzero(usable) < 2 * LEAST_BINS:
        return False
    late = np.flatnonzero(usable)[-(np.count_nonzero(usable) // 2) :]
    share = (record.oils_c["tank"] - record.oils_c["cooler_out"])[late] / drop[late]
    return bool(np.nanmedian(share) > OWN_CIRCUIT_SHARE)
