"""Preheat: minutes to a target, power to hold it, final temperature, battery, lead time."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from wattsump_analysis.arrays import FloatArray, require
from wattsump_analysis.physics import preheat
from wattsump_analysis.physics.harm import OIL_STANDS_C
from wattsump_analysis.physics.lumps import OneNode, TwoNode
from wattsump_analysis.physics.oil import (
    USUAL_DENSITY_15_KG_M3,
    viscosity_mm2_s,
    volumetric_heat_j_m3k,
)
from wattsump_analysis.questions.answer import ESTIMATE, Answer, Figure, Row, Section, temperature
from wattsump_analysis.questions.asked import PreheatAsked
from wattsump_analysis.questions.givens import Givens, draws, from_samples, missing, needed
from wattsump_analysis.questions.limits import TOO_THICK
from wattsump_analysis.questions.typed import value_of
from wattsump_analysis.reading.machine import METAL_J_KGK, USUAL_TAU_S
from wattsump_analysis.statistics.intervals import NORMAL_95
from wattsump_logger.remark import Remark

__all__ = ("USUAL_SOAK_C", "USUAL_TARGET_C", "warm_up")

# A cold night, and a start that suits most oils: the defaults, stated in the answer.
USUAL_SOAK_C, USUAL_TARGET_C = -10.0, 15.0
# Machines of one size lose half or twice as much; common practice, no source.
_LOSS_FACTOR = 2.0
# Litres off a dipstick and kilograms off a brochure: common practice, no source.
_OIL_FACTOR, _STEEL_FACTOR = 1.1, 1.25
_WARM_C = 20.0

_CAUTIONS = (
    Remark(
        code="mains-protected",
        text="A mains heater on a wet, moving machine needs a residual-current device, bonded "
        "metal, strain relief and a check by a licensed person; local codes decide, not this "
        "program.",
    ),
    Remark(
        code="heater-cut-out",
        text="Fit an over-temperature cut-out on the heater that works without a computer.",
    ),
    Remark(
        code="wall-wetted",
        text="Never heat an empty or low tank: the heated wall must stay wetted inside.",
    ),
    Remark(
        code="no-driving-plugged-in",
        text="Interlock the supply so that the machine cannot be driven while plugged in.",
    ),
    Remark(
        code="fire-watch",
        text="Keep fuel, chaff and bark off the heater and never leave the first run unattended.",
    ),
    Remark(
        code="battery-fuse",
        text="A heater on a battery needs a fuse at the battery and cable for its full current.",
    ),
    Remark(
        code="start-slowly",
        text="The tank may be warm while the pump, motor and lines are still cold: start slowly.",
    ),
)

_COUNTDOWNS = 800
# A tank on a 125 W strip heater differs by about 10 K from side to side after 20 minutes. With half
# of that power crossing the tank, its halves are coupled by 6 W/K; common practice, a single
# observation, so a factor of two either way is allowed.
_COUPLING_W_K = (3.0, 6.0, 12.0)
_NEAR_SHARE = 0.5
# Household water heaters, for scale; common practice, no source.
_WATER_HEATER_W = 4650.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """Everything filled in."""

    heater: Figure
    target_c: float
    soak_c: float
    ambient_c: float
    capacity: Figure
    loss: Figure

    @property
    def node(self) -> OneNode:
        """The machine as one lump, at the middle of its intervals."""
        return OneNode(capacity_j_k=self.capacity.value, loss_w_k=self.loss.value)


def warm_up(asked: PreheatAsked, givens: Givens) -> Answer:
    """Answer how long a heater takes from a cold soak, how far it gets, and what it costs.

    Raises
    ------
    UsageError
        Heater power, target, soak, heat capacity or loss is unknown.
    RangeError
        A value out of its formula's range.
    """
    case = _case(asked, givens)
    minutes = _minutes(case)
    return Answer(
        question="preheat",
        headline=tuple(_headline(case, minutes)),
        cautions=_CAUTIONS,
        is_hands_on=False,
        sections=(
            _whole(case, minutes),
            _zones(case, asked),
            _power(case, asked, givens),
            *_energy(case, asked),
            *_thickness(case, givens),
        ),
        assumed=tuple(_assumed(asked, givens, case)),
    )


def _case(asked: PreheatAsked, givens: Givens) -> _Case:
    (heater,) = needed("preheat", heater=asked.heater or _fitted_heater(givens))
    capacity = asked.capacity or _of_oil_and_steel(asked) or givens.capacity_j_k
    if capacity is None:
        raise missing("preheat", "capacity", text="--oil and --steel, or --capacity")
    soak_c = value_of(asked.soak, USUAL_SOAK_C)
    return _Case(
        heater=replace(heater, in_watts=True),
        target_c=value_of(asked.target, USUAL_TARGET_C),
        soak_c=soak_c,
        ambient_c=value_of(asked.ambient, soak_c),
        capacity=capacity,
        loss=asked.loss or givens.shell_w_k or _usual_loss(capacity),
    )


def _of_oil_and_steel(asked: PreheatAsked) -> Figure | None:
    """Return the heat capacity of typed litres and kilograms [J/K]; None if neither was typed."""
    if asked.oil is None and asked.steel is None:
        return None
    oil, steel = needed("preheat", oil=asked.oil, steel=asked.steel)
    parts = (
        (_ranged(oil, _OIL_FACTOR), volumetric_heat_j_m3k(_WARM_C, USUAL_DENSITY_15_KG_M3)),
        (_ranged(steel, _STEEL_FACTOR), METAL_J_KGK["steel"]),
    )
    value, low, high = (
        sum(heat * getattr(amount, end) for amount, heat in parts)
        for end in ("value", "low", "high")
    )
    return Figure(value, "heat_capacity", low=low, high=high)


def _ranged(figure: Figure, factor: float) -> Figure:
    """Return a typed amount with its range, or with the usual range if none was typed."""
    if figure.low is not None:
        return figure
    return replace(figure, low=figure.value / factor, high=figure.value * factor)


def _usual_loss(capacity: Figure) -> Figure:
    """Estimate the loss of a small machine at rest from its heat capacity [W/K]."""
    return _ranged(Figure(capacity.value / USUAL_TAU_S, "conductance"), _LOSS_FACTOR)


def _fitted_heater(givens: Givens) -> Figure | None:
    fitted = None if givens.profile is None else givens.profile.heater
    if fitted is None:
        return None
    spread = math.exp(NORMAL_95 * fitted.u_power_rel)
    power = fitted.power_w
    return Figure(power, "power", low=power / spread, high=power * spread, in_watts=True)


def _drawn(case: _Case) -> tuple[FloatArray, FloatArray, FloatArray]:
    # Heater power is metered separately. Capacity and loss of an outing share an error of scale, so
    # their ratio is more certain, but a typed loss does not: draw both separately, to be cautious.
    capacity, loss, heater = draws(case.capacity, case.loss, case.heater, one_scale=False)
    return capacity, loss, heater


def _minutes(case: _Case) -> Figure:
    capacity, loss, heater = _drawn(case)
    seconds = [
        preheat.time_to_target(
            OneNode(capacity_j_k=float(capacity[at]), loss_w_k=float(loss[at])),
            start_c=case.soak_c,
            ambient_c=case.ambient_c,
            heater_w=float(heater[at]),
            target_c=case.target_c,
        ).seconds
        for at in range(_COUNTDOWNS)
    ]
    return from_samples(np.array(seconds), "duration")


def _headline(case: _Case, minutes: Figure) -> Iterator[Remark]:
    if case.soak_c >= case.target_c:
        yield Remark(code="warm-already", text=(
            "Nothing to switch on: after such a night the oil is at ",
            temperature(case.soak_c), ", no colder than the ", temperature(case.target_c),
            " wanted.",
        ))  # fmt: skip
        return
    if math.isinf(minutes.value):
        yield Remark(code="target-out-of-reach", text=(
            case.heater, " never reaches ", temperature(case.target_c),
            ": left on, the oil ends at ", _highest(case),
            ". A larger heater, a lagged tank or a lower target.",
        ))  # fmt: skip
        return
    yield Remark(code="heater-takes", text=(
        case.heater, " takes ", minutes, " from ", temperature(case.soak_c), " to ",
        temperature(case.target_c), ", oil stirred.",
    ))  # fmt: skip
    if minutes.high is not None and math.isinf(minutes.high):
        yield Remark(code="target-perhaps-out-of-reach", text=(
            "Perhaps never: left on, the oil ends at ", _highest(case), ".",
        ))  # fmt: skip


def _highest(case: _Case) -> Figure:
    """Return where the oil settles with the heater left on."""
    _, loss, heater = _drawn(case)
    highest = case.ambient_c + preheat.highest_rise_k(loss, heater)
    return replace(from_samples(highest, "temperature"), most=OIL_STANDS_C)


def _whole(case: _Case, minutes: Figure) -> Section:
    capacity, loss, heater = _drawn(case)
    rises = preheat.highest_rise_k(loss, heater)
    highest = case.ambient_c + rises
    lead = preheat.switch_on_lead_s(
        case.node,
        start_c=case.soak_c,
        ambient_c=case.ambient_c,
        heater_w=case.heater.value,
        target_c=case.target_c,
        u_capacity_rel=math.hypot(case.capacity.u_log, case.heater.u_log),
        u_loss_rel=case.loss.u_log,
    )
    rate = from_samples(heater / capacity, "rate")
    rows = (
        Row("time_s", "time to target, stirred", minutes),
        Row(
            "lead_s",
            "switch on before start",
            Figure(lead, "duration"),
            note=Remark(code="lead-is-safe", text="warm 19 times in 20"),
        ),
        Row("first_rate_k_s", "initial rate of warming", rate),
        Row(
            "highest_rise_k",
            "highest rise above the air",
            from_samples(rises, "temperature_difference"),
        ),
        Row(
            "highest_c",
            "settles at, heater left on",
            _highest(case),
            flag=None
            if float(np.quantile(highest, 0.975)) < 80.0
            else Remark(code="cut-out-needed", text="cut-out needed"),
        ),
    )
    return Section(title="The whole machine, one temperature", rows=rows)


def _zones(case: _Case, asked: PreheatAsked) -> Section:
    """The heated side and the far side, with the coupling between them as a range."""
    share = value_of(asked.near_share, _NEAR_SHARE)
    require(share, 0.02, 0.98, unit="of 1", where="--near-share")
    couplings = _couplings(asked)
    targets = [_at_coupling(case, share, coupling) for coupling in couplings]
    near = [target.near.seconds for target in targets]
    far = [target.far.seconds for target in targets]
    gain = [preheat.circulation_gain(target, "far from it") for target in targets]
    flag = None if asked.coupling else ESTIMATE
    rows = (
        Row("near_s", "beside the heater, oil still", _span(near), flag=flag),
        Row("far_s", "far side, oil still", _span(far), flag=flag),
        Row("circulation_gain_s", "stirring saves at a far inlet", _span(gain), flag=flag),
    )
    remark = Remark(
        code="trust-the-far-probe",
        text="A probe beside the heater reads warm long before the pump inlet is: trust the far "
        "one.",
    )
    return Section(title="Local against whole", rows=rows, remarks=(remark,))


def _couplings(asked: PreheatAsked) -> tuple[float, float, float]:
    if asked.coupling is None:
        return _COUPLING_W_K
    low, high = asked.coupling.ends
    return low, asked.coupling.value, high


def _at_coupling(case: _Case, share: float, coupling_w_k: float) -> preheat.Zones:
    capacity, loss = case.capacity.value, case.loss.value
    nodes = TwoNode(
        capacities_j_k=(share * capacity, (1.0 - share) * capacity),
        losses_w_k=(share * loss, (1.0 - share) * loss),
        coupling_w_k=coupling_w_k,
    )
    return preheat.zones(
        nodes,
        start_c=case.soak_c,
        ambient_c=case.ambient_c,
        heater_w=case.heater.value,
        target_c=case.target_c,
    )


def _span(values: list[float]) -> Figure:
    """The middle of three with the outer two as bounds; a plain figure if all are equal."""
    low, middle, high = sorted(values)
    if low == high or math.isnan(middle):
        return Figure(middle, "duration")
    return Figure(middle, "duration", low=low, high=high)


def _power(case: _Case, asked: PreheatAsked, givens: Givens) -> Section:
    _, loss, _ = _drawn(case)
    hold = preheat.power_to_hold_w(loss, hold_c=case.target_c, ambient_c=case.ambient_c)
    to_hold = replace(from_samples(hold, "power"), in_watts=True)
    is_usual = asked.loss is None and givens.shell_w_k is None
    flag = ESTIMATE if is_usual else None
    rows = [
        Row("loss_w_k", "lost at rest", case.loss, flag=flag),
        Row("hold_w", "to hold the target", to_hold),
    ]
    density = _density(case, asked, givens)
    remarks: list[Remark] = []
    if density is not None:
        passed = preheat.watt_density_judgement(density)
        figure = Figure(density, "heat_flux")
        flag = Remark(code="above-a-limit", text="above a limit") if passed else None
        rows.append(Row("watt_density_w_m2", "heater power per area", figure, flag=flag))
        for limit in passed:
            top = Figure(limit.limit_w_m2, "heat_flux")
            text = (f"Above {limit.name}: ", top, f" ({limit.source}).")
            remarks.append(Remark(code="above-density-limit", text=text))
    share = case.heater.value / _WATER_HEATER_W
    remarks.append(
        Remark(
            code="heater-for-scale",
            text=f"For scale: {_share_words(share)} of a household water heater (common "
            "practice, no source).",
        )
    )
    return Section(title="Heater", rows=tuple(rows), remarks=tuple(remarks))


def _share_words(share: float) -> str:
    """Return a share in words, to the nearest tenth."""
    tenths = round(share * 10.0)
    return {0: "less than a twentieth", 1: "about a tenth"}.get(tenths, f"about {tenths * 10} %")


def _density(case: _Case, asked: PreheatAsked, givens: Givens) -> float | None:
    if asked.watt_density is not None:
        return asked.watt_density.value
    if asked.heater_area is not None:
        require(
            asked.heater_area.value, 0.0, 100.0, unit="m²", where="--heater-area", open_low=True
        )
        return case.heater.value / asked.heater_area.value
    # The profile's density is of its own heater, not of a typed one.
    fitted = None if givens.profile is None or asked.heater else givens.profile.heater
    return None if fitted is None else fitted.watt_density_w_m2


def _energy(case: _Case, asked: PreheatAsked) -> Iterator[Section]:
    seconds = preheat.time_to_target(
        case.node,
        start_c=case.soak_c,
        ambient_c=case.ambient_c,
        heater_w=case.heater.value,
        target_c=case.target_c,
    ).seconds
    if math.isinf(seconds):
        return
    rows = [
        Row(
            "energy_j",
            "at the heater",
            Figure(preheat.energy_j(case.heater.value, seconds), "energy"),
        )
    ]
    if asked.voltage is not None:
        battery = preheat.battery_for(
            case.heater.value,
            seconds,
            voltage_v=asked.voltage.value,
            inverter_efficiency=value_of(asked.inverter, 0.85),
            usable_share=value_of(asked.usable, 0.5),
        )
        rows += [
            Row("battery_j", "from the battery", Figure(battery.energy_j, "energy")),
            Row("charge_ah", "charge drawn", Figure(battery.charge_ah, "charge")),
            Row("battery_ah", "battery that allows it", Figure(battery.size_ah, "charge")),
            Row("current_a", "current", Figure(battery.current_a, "current")),
        ]
    yield Section(title="Energy", rows=tuple(rows))


def _thickness(case: _Case, givens: Givens) -> Iterator[Section]:
    """Viscosity of the oil at the soak and at the target, if the oil is known."""
    if givens.profile is None:
        return
    line = givens.profile.oil.line
    most = givens.profile.limits.viscosity_max_start_mm2_s
    rows = []
    for name, temp_c in (("soak", case.soak_c), ("target", case.target_c)):
        found = viscosity_mm2_s(temp_c, line)
        note = Remark(code="soak-or-target-at", text=("at ", temperature(temp_c)))
        flag = TOO_THICK if found > most else None
        figure = Figure(found, "viscosity")
        rows.append(Row(f"{name}_mm2_s", f"oil at the {name}", figure, note=note, flag=flag))
    yield Section(title="Viscosity", rows=tuple(rows))


def _assumed(asked: PreheatAsked, givens: Givens, case: _Case) -> Iterator[Remark]:
    loss, capacity = case.loss, case.capacity
    if asked.loss is None and givens.shell_w_k is None:
        yield Remark(
            code="loss-estimated",
            text=(
                "At rest it loses ",
                loss,
                ", as machines of its size do; or --loss.",
            ),
        )
    if asked.oil is not None and asked.capacity is None:
        yield Remark(
            code="capacity-from-typed",
            text=("Oil and steel hold ", capacity, "; a hydraulic oil of usual density."),
        )
    if asked.soak is None:
        yield Remark(
            code="soak-usual", text=("A cold start at ", temperature(USUAL_SOAK_C), "; or --soak.")
        )
    if asked.target is None:
        yield Remark(
            code="target-usual", text=("Wanted ", temperature(USUAL_TARGET_C), "; or --target.")
        )
    if asked.ambient is None:
        yield Remark(code="air-as-soak", text="Air as cold as the soak.")
    if asked.coupling is None:
        low, _, high = (Figure(value, "conductance") for value in _COUPLING_W_K)
        yield Remark(
            code="coupling-usual",
            text=(
                "Coupling across a still tank ",
                low,
                " to ",
                high,
                ": common practice, no source.",
            ),
        )
    if asked.near_share is None:
        yield Remark(
            code="share-guessed",
            text=f"{_NEAR_SHARE * 100:.0f} % of the warmth is stored beside the heater: a guess.",
        )
    if asked.voltage is not None and (asked.inverter is None or asked.usable is None):
        yield Remark(
            code="battery-usual",
            text="Inverter 85 %, half of the battery usable: common practice, less in the cold.",
        )
    is_typed = asked.capacity is not None or asked.oil is not None
    yield from givens.notes_without_capacity if is_typed else givens.notes
