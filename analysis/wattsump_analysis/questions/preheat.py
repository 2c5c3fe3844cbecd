"""Preheat: minutes to a target, power to hold, how far it gets, battery, lead time."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from wattsump_analysis.arrays import FloatArray, require
from wattsump_analysis.physics import preheat
from wattsump_analysis.physics.harm import OIL_STANDS_C
from wattsump_analysis.physics.lumps import OneNode, TwoNode
from wattsump_analysis.physics.oil import viscosity_mm2_s
from wattsump_analysis.questions.answer import ESTIMATE, Answer, Figure, Row, Section, temperature
from wattsump_analysis.questions.asked import PreheatAsked
from wattsump_analysis.questions.givens import Givens, draws, from_samples, needed
from wattsump_analysis.questions.limits import TOO_THICK
from wattsump_analysis.statistics.intervals import NORMAL_95
from wattsump_logger.remark import Remark

__all__ = ("warm_up",)

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
# A tank on a 125 W strip heater differs by about 10 K from side to side after 20 minutes. With
# half of that power crossing the tank, 6 W/K couple its halves; common practice, one
# observation, so a factor of two either way is carried along.
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
    """Answer how long a heater takes from a cold soak, and what it can and costs.

    Raises
    ------
    UsageError
        Heater power, target, soak, heat capacity or loss are not known.
    RangeError
        A value out of its formula's range.
    """
    case = _case(asked, givens)
    minutes = _minutes(case)
    return Answer(
        question="preheat",
        headline=tuple(_headline(case, minutes)),
        cautions=_CAUTIONS,
        sections=(
            _whole(case, minutes),
            _zones(case, asked),
            _power(case, asked, givens),
            *_energy(case, asked),
            *_thickness(case, givens),
        ),
        assumed=tuple(_assumed(asked, givens)),
    )


def _case(asked: PreheatAsked, givens: Givens) -> _Case:
    heater, target, soak, capacity, loss = needed(
        "preheat",
        heater=asked.heater or _fitted_heater(givens),
        target=asked.target,
        soak=asked.soak,
        capacity=asked.capacity or givens.capacity_j_k,
        loss=asked.loss or givens.shell_w_k,
    )
    return _Case(
        heater=heater,
        target_c=target.value,
        soak_c=soak.value,
        ambient_c=soak.value if asked.ambient is None else asked.ambient.value,
        capacity=capacity,
        loss=loss,
    )


def _fitted_heater(givens: Givens) -> Figure | None:
    fitted = None if givens.profile is None else givens.profile.heater
    if fitted is None:
        return None
    spread = math.exp(NORMAL_95 * fitted.u_power_rel)
    power = fitted.power_w
    return Figure(value=power, kind="power", low=power / spread, high=power * spread)


def _drawn(case: _Case) -> tuple[FloatArray, FloatArray, FloatArray]:
    # Heater power is metered apart from the outing; capacity and loss are on one scale, whose
    # ratio is known best, but a loss typed by hand is not: the careful choice is no sharing.
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
    yield Remark(code="heater-takes", text=(
        case.heater, " takes ", minutes, " from ", temperature(case.soak_c), " to ",
        temperature(case.target_c), ", oil stirred.",
    ))  # fmt: skip
    if math.isinf(minutes.value):
        yield Remark(
            code="target-out-of-reach",
            text="It does not get there: a larger heater, a lagged tank or a lower target.",
        )


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
        Row(key="time_s", label="time to target, stirred", figure=minutes),
        Row(
            key="lead_s",
            label="switch on before start",
            figure=Figure(value=lead, kind="duration"),
            note=Remark(code="lead-is-safe", text="warm 19 times in 20"),
        ),
        Row(key="first_rate_k_s", label="initial rate of warming", figure=rate),
        Row(
            key="highest_rise_k",
            label="highest rise above the air",
            figure=from_samples(rises, "temperature_difference"),
        ),
        Row(
            key="highest_c",
            label="settles at, heater left on",
            figure=replace(from_samples(highest, "temperature"), most=OIL_STANDS_C),
            flag=None
            if float(np.quantile(highest, 0.975)) < 80.0
            else Remark(code="cut-out-needed", text="cut-out needed"),
        ),
    )
    return Section(title="The whole machine, one temperature", rows=rows)


def _zones(case: _Case, asked: PreheatAsked) -> Section:
    """The heated side and the far side, with the coupling between them as a range."""
    share = _NEAR_SHARE if asked.near_share is None else asked.near_share.value
    require(share, 0.02, 0.98, unit="of 1", where="--near-share")
    couplings = _couplings(asked)
    targets = [_at_coupling(case, share, coupling) for coupling in couplings]
    near = [target.near.seconds for target in targets]
    far = [target.far.seconds for target in targets]
    gain = [preheat.circulation_gain(target, "far from it") for target in targets]
    flag = None if asked.coupling else ESTIMATE
    rows = (
        Row(key="near_s", label="beside the heater, oil still", figure=_span(near), flag=flag),
        Row(key="far_s", label="far side, oil still", figure=_span(far), flag=flag),
        Row(
            key="circulation_gain_s",
            label="stirring saves at a far inlet",
            figure=_span(gain),
            flag=flag,
        ),
    )
    remark = Remark(
        code="trust-the-far-probe",
        text="A probe beside the heater reads warm long before the pump inlet is: trust the far "
        "one.",
    )
    return Section(title="Local against whole", rows=rows, remarks=(remark,))


def _couplings(asked: PreheatAsked) -> tuple[float, float, float]:
    typed = asked.coupling
    if typed is None:
        return _COUPLING_W_K
    low = typed.value if typed.low is None else typed.low
    high = typed.value if typed.high is None else typed.high
    return low, typed.value, high


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
    """The middle of three with the outer two as bounds; alike, a plain figure."""
    low, middle, high = sorted(values)
    if low == high or math.isnan(middle):
        return Figure(value=middle, kind="duration")
    return Figure(value=middle, kind="duration", low=low, high=high)


def _power(case: _Case, asked: PreheatAsked, givens: Givens) -> Section:
    _, loss, _ = _drawn(case)
    hold = preheat.power_to_hold_w(loss, hold_c=case.target_c, ambient_c=case.ambient_c)
    rows = [Row(key="hold_w", label="to hold the target", figure=from_samples(hold, "power"))]
    density = _density(case, asked, givens)
    remarks: list[Remark] = []
    if density is not None:
        passed = preheat.watt_density_judgement(density)
        figure = Figure(value=density, kind="heat_flux")
        flag = Remark(code="above-a-limit", text="above a limit") if passed else None
        rows.append(
            Row(key="watt_density_w_m2", label="heater power per area", figure=figure, flag=flag)
        )
        for limit in passed:
            top = Figure(value=limit.limit_w_m2, kind="heat_flux")
            text = (f"Above {limit.name}: ", top, f" ({limit.source}).")
            remarks.append(Remark(code="above-density-limit", text=text))
    share = case.heater.value / _WATER_HEATER_W
    remarks.append(
        Remark(
            code="heater-for-scale",
            text=f"For scale: {share * 100:.0f} % of a household water heater (common practice, "
            "no source).",
        )
    )
    return Section(title="Heater", rows=tuple(rows), remarks=tuple(remarks))


def _density(case: _Case, asked: PreheatAsked, givens: Givens) -> float | None:
    if asked.watt_density is not None:
        return asked.watt_density.value
    if asked.heater_area is not None:
        require(
            asked.heater_area.value, 0.0, 100.0, unit="m²", where="--heater-area", open_low=True
        )
        return case.heater.value / asked.heater_area.value
    # The profile's density is that of its own heater, not of another one typed.
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
            key="energy_j",
            label="at the heater",
            figure=Figure(value=preheat.energy_j(case.heater.value, seconds), kind="energy"),
        )
    ]
    if asked.voltage is not None:
        battery = preheat.battery_for(
            case.heater.value,
            seconds,
            voltage_v=asked.voltage.value,
            inverter_efficiency=0.85 if asked.inverter is None else asked.inverter.value,
            usable_share=0.5 if asked.usable is None else asked.usable.value,
        )
        rows += [
            Row(
                key="battery_j",
                label="from the battery",
                figure=Figure(value=battery.energy_j, kind="energy"),
            ),
            Row(
                key="charge_ah",
                label="charge drawn",
                figure=Figure(value=battery.charge_ah, kind="charge"),
            ),
            Row(
                key="battery_ah",
                label="battery that allows it",
                figure=Figure(value=battery.size_ah, kind="charge"),
            ),
            Row(
                key="current_a",
                label="current",
                figure=Figure(value=battery.current_a, kind="current"),
            ),
        ]
    yield Section(title="Energy", rows=tuple(rows))


def _thickness(case: _Case, givens: Givens) -> Iterator[Section]:
    """How thick the oil is at the soak and at the target; only where the oil is known."""
    if givens.profile is None:
        return
    line = givens.profile.oil.line
    most = givens.profile.limits.viscosity_max_start_mm2_s
    soak, target = (viscosity_mm2_s(at, line) for at in (case.soak_c, case.target_c))
    rows = (
        Row(
            key="soak_mm2_s",
            label="oil at the soak",
            figure=Figure(value=soak, kind="viscosity"),
            flag=TOO_THICK if soak > most else None,
        ),
        Row(
            key="target_mm2_s",
            label="oil at the target",
            figure=Figure(value=target, kind="viscosity"),
            flag=TOO_THICK if target > most else None,
        ),
    )
    yield Section(title="Viscosity", rows=rows)


def _assumed(asked: PreheatAsked, givens: Givens) -> Iterator[Remark]:
    if asked.ambient is None:
        yield Remark(code="air-as-soak", text="Air as cold as the soak.")
    if asked.coupling is None:
        low, _, high = (Figure(value=value, kind="conductance") for value in _COUPLING_W_K)
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
    yield from givens.notes
