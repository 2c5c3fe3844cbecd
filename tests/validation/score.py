"""Fit drawn machines and hold every interval against the plant's truth."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import plain
from machines import U_FLOW, U_HEATER, U_METAL, U_OIL, Drawn, draw, guided, heated, short, work
from numpy.typing import NDArray

from wattsump_analysis.emulation import rehearsal
from wattsump_analysis.emulation.plant import Machine, Plant, cooler_conductance_w_k
from wattsump_analysis.emulation.rehearsal import Stage, Truth
from wattsump_analysis.model.fit import Fitted, ModelForm, fit_record
from wattsump_analysis.physics.oil import walther_from_grade
from wattsump_analysis.reading.machine import Knowledge
from wattsump_analysis.reading.record import Record, Switches, make_record

__all__ = (
    "HEAT_AT_LABEL",
    "PLAINER",
    "PROTOCOLS",
    "Protocol",
    "Rehearsed",
    "Score",
    "fit_one",
    "knowledge",
    "record_of",
    "rehearse",
)

FloatArray = NDArray[np.float64]

HEAT_AT_LABEL = "heat at label ETD"


@dataclass(frozen=True, slots=True, kw_only=True)
class Protocol:
    """What is done and which probes are there."""

    name: str
    stages: Sequence[Stage]
    oils: tuple[str, ...] = ("tank", "cooler_in", "cooler_out")
    flow: bool = False
    matched: bool = True
    plain: bool = False  # on the plainer plant


PROTOCOLS = {
    "guided, five probes": Protocol(name="guided, five probes", stages=guided()),
    "guided, five probes + flow": Protocol(
        name="guided, five probes + flow", stages=guided(), flow=True
    ),
    "guided, tank and ambient": Protocol(
        name="guided, tank and ambient", stages=guided(), oils=("tank",)
    ),
    "guided with heater": Protocol(name="guided with heater", stages=heated()),
    "ordinary work": Protocol(name="ordinary work", stages=work(), matched=False),
    "ordinary work + flow": Protocol(
        name="ordinary work + flow", stages=work(), flow=True, matched=False
    ),
    "short run": Protocol(name="short run", stages=short(), matched=False),
}
PLAINER = "plainer plant: "
PROTOCOLS |= {
    PLAINER + name: replace(protocol, name=PLAINER + name, plain=True)
    for name, protocol in PROTOCOLS.items()
    if name != "short run"
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """One machine: quantity -> (truth, value, low, high); nothing found where the fit refused."""

    machine: int
    found: dict[str, tuple[float, float, float, float]]
    effective_draws: float
    nodes: int


def soak_zero(
    readings: dict[str, FloatArray], truth: Truth, one: int, oils: Sequence[str]
) -> dict[str, float]:
    """Each probe's disagreement with the tank probe while all stood at one temperature."""
    still = np.cumsum(truth.engine[:, one]) == 0
    late = still & (truth.elapsed_s > 0.4 * still.sum())
    reference = np.nanmedian(readings["tank"][late, one])
    return {
        name: float(np.nanmedian(readings[name][late, one]) - reference)
        for name in (*oils, "ambient")
    }


def record_of(
    drawn: Drawn, truth: Truth, readings: dict[str, FloatArray], one: int, protocol: Protocol
) -> Record:
    """The record an owner would have logged of machine `one`."""
    run = truth.running[:, one]
    zero = (
        soak_zero(readings, truth, one, protocol.oils)
        if protocol.matched
        else dict.fromkeys((*protocol.oils, "ambient"), 0.0)
    )
    engine = truth.engine[run, one]
    stage = np.array([s.load_level for s in protocol.stages] + [0.0])[truth.stage[run, one]]
    work_kind = np.unique(stage, return_inverse=True)[1]
    rng = np.random.default_rng(one)
    flow = None
    if protocol.flow:
        # As `prove` does, a metered volume is taken with the heat capacity of its warmth.
        meter = drawn.machine.moved_w_k(truth.temps_c["cooler_in"][run])[:, one]
        meter = meter * drawn.flow_error[one]
        flow = meter * np.where(engine > 0, 1 + 0.01 * rng.standard_normal(engine.size), 0.0)
        flow = np.maximum(flow, 0.0)
    return make_record(
        truth.elapsed_s[run],
        {name: readings[name][run, one] - zero[name] for name in protocol.oils},
        readings["ambient"][run, one] - zero["ambient"],
        Switches(
            fan=truth.fan[run, one],
            engine=engine,
            moving=truth.moving[run, one],
            heater_w=truth.heater_w[run, one] * np.exp(U_HEATER * rng.standard_normal()),
            work=np.where(engine > 0, work_kind, -1),
        ),
        flow_w_k=flow,
    )


def knowledge(drawn: Drawn, one: int, protocol: Protocol) -> Knowledge:
    """What the owner of machine `one` states."""
    class_sd = float(np.hypot(drawn.class_c[one] / np.sqrt(3), 0.4))
    return Knowledge(
        oil_j_k=float(drawn.stated_oil_j_k[one]) * 1.07,
        u_oil_rel=U_OIL,
        metal_j_k=float(drawn.stated_metal_j_k[one]),
        u_metal_rel=U_METAL,
        walther=walther_from_grade(drawn.grades[one]),
        u_flow_rel=U_FLOW,
        u_heater_rel=U_HEATER,
        u_match_k=0.08 if protocol.matched else class_sd * np.sqrt(2),
        u_ambient_k=0.4 if protocol.matched else float(np.hypot(class_sd * np.sqrt(2), 0.7)),
        sun_k=0.0 if protocol.matched else 0.5,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsed:
    """Drawn machines, what happened to them, and what their probes read."""

    protocol: Protocol
    drawn: Drawn
    truth: Truth
    readings: dict[str, FloatArray]


def true_values(rehearsed: Rehearsed, one: int, record: Record, fitted: Fitted) -> dict[str, float]:
    """The plant's own K, C, Q of machine `one` as the fit defines them."""
    drawn, truth, machine = rehearsed.drawn, rehearsed.truth, rehearsed.drawn.machine
    conductance_w_k, capacity_j_k = (
        (plain.conductance_w_k, plain.capacity_j_k)
        if rehearsed.protocol.plain
        else (cooler_conductance_w_k, Machine.capacity_j_k)
    )
    count = drawn.flow_lpm.size
    run = truth.running[:, one]
    inlet = float(conductance_w_k(machine, np.full(count, fitted.reference_c))[one])
    k = inlet
    if "cooler_in" not in record.oils_c:
        tank = truth.temps_c["tank"][:, one]
        on = run & (truth.fan[:, one] > 0) & (truth.engine[:, one] > 0)
        warm = on & (tank >= np.median(tank[on]))
        # Settled heat, as the label's: what the core takes up or gives back comes on top.
        loop = truth.temps_c["cooler_in"][warm]
        settled = np.array([conductance_w_k(machine, at)[one] for at in loop])
        settled *= loop[:, one] - truth.ambient_c[warm, one]
        over = tank[warm] - truth.ambient_c[warm, one]
        k = float(settled.sum() / over.sum())
    loaded = run & (truth.engine[:, one] > 0) & (truth.heater_w[:, one] < 1.0)
    return {
        "K": k,
        "C": float(capacity_j_k(machine, fitted.reference_c)[one]),
        "Q": float(truth.load_w[loaded, one].mean()),
        HEAT_AT_LABEL: inlet,
    }


def rehearse(protocol: Protocol, count: int, seed: int) -> Rehearsed:
    """Run `count` machines drawn with `seed` through one protocol."""
    rng = np.random.default_rng(seed)
    drawn = draw(count, rng)
    make = plain.PlainPlant if protocol.plain else Plant
    truth = rehearsal.run(drawn.machine, protocol.stages, drawn.load, drawn.weather, rng, make)
    readings = drawn.probes.read(truth, rng)
    return Rehearsed(protocol=protocol, drawn=drawn, truth=truth, readings=readings)


def fit_one(rehearsed: Rehearsed, one: int, form: ModelForm | None = None) -> Score:
    """Fit machine `one` as its owner would and hold it against the plant.

    `form` stands in for the model form that the fit would take.
    """
    protocol, drawn, truth = rehearsed.protocol, rehearsed.drawn, rehearsed.truth
    readings = rehearsed.readings
    record = record_of(drawn, truth, readings, one, protocol)
    try:
        know, rng = knowledge(drawn, one, protocol), np.random.default_rng(one)
        fitted = fit_record(record, know, rng, form=form)
    except (np.linalg.LinAlgError, ArithmeticError):
        return Score(machine=one, found={}, effective_draws=0.0, nodes=0)
    true = true_values(rehearsed, one, record, fitted)
    found = {
        "K": fitted.k_w_k,
        "C": fitted.capacity_j_k,
        "Q": fitted.heat_in_w,
        HEAT_AT_LABEL: fitted.k_inlet_w_k,
    }
    return Score(
        machine=one,
        found={
            name: (true[name], found[name].value, found[name].low, found[name].high)
            for name in found
        },
        effective_draws=fitted.posterior.effective_draws,
        nodes=fitted.nodes,
    )
