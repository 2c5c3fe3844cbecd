"""Cab heat: what the air behind the cooler offers, and what a duct costs the cooler."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.physics import air, cab, sizing
from wattsump_analysis.physics.oil import volumetric_heat_j_m3k
from wattsump_analysis.questions.answer import ESTIMATE, Answer, Figure, Row, Section, temperature
from wattsump_analysis.questions.asked import CabAsked
from wattsump_analysis.questions.givens import Givens, draws, from_samples, needed
from wattsump_analysis.questions.rating_case import ranged
from wattsump_analysis.questions.typed import value_of
from wattsump_logger.errors import RangeError
from wattsump_logger.remark import Remark

__all__ = ("warm_cab",)

_CAUTIONS = (
    Remark(
        code="oil-mist-in-cab",
        text="A leaking core puts oil mist, and smoke, into the cab: fit a shut-off flap that "
        "closes to outside and can be reached from the seat.",
    ),
    Remark(
        code="fire-rated-duct",
        text="Use fire-rated duct and keep it clear of exhaust, fuel and chaff.",
    ),
    Remark(
        code="no-exhaust-air",
        text="Draw no air from where exhaust or battery gas can come, and fit a carbon-monoxide "
        "alarm.",
    ),
    Remark(
        code="fit-duct-cold",
        text="Fit duct and flap with the engine stopped and the core cold. Local codes and "
        "licensed practice come first.",
    ),
    Remark(
        code="fresh-air-share",
        text="Keep a share of fresh air: a closed cab on recirculated air tires its driver.",
    ),
    Remark(
        code="duct-back-pressure",
        text="A duct is back pressure: measure the cooler again with the duct on.",
    ),
    Remark(
        code="guard-in-duct",
        text="Warm air needs a guard: fan blades and core are within reach of a hand in the duct.",
    ),
)

_USUAL_CAB_C = 20.0
# A duct of the core's own area leaves most of the air, a long small one half: common practice,
# no source.
_AIR_LEFT = 0.7
_OIL_C = 60.0
_SEED = 21


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """Everything filled in; draws of shape (n,)."""

    heat_w: FloatArray
    k_w_k: FloatArray
    shell_w_k: FloatArray
    k: Figure
    ambient_c: float
    cab_c: float
    air_w_k: float
    oil_w_k: float | None
    duct: float
    air_left: float

    @property
    def cooler_w(self) -> FloatArray:
        """The part of the heat that the cooler rejects, not the shell [W]."""
        return self.heat_w * self.k_w_k / (self.k_w_k + self.shell_w_k)


def warm_cab(asked: CabAsked, givens: Givens) -> Answer:
    """Answer how many watts a cab can get, and how much the duct costs the cooler.

    Raises
    ------
    UsageError
        Heat, cooler, air flow or ambient is unknown.
    RangeError
        A value out of its formula's range.
    """
    case = _case(asked, givens)
    return Answer(
        question="cab",
        headline=tuple(_headline(case)),
        cautions=_CAUTIONS,
        is_hands_on=False,
        sections=(_offered(case), *_cost(case)),
        assumed=tuple(_assumed(asked, case, givens)),
    )


def _case(asked: CabAsked, givens: Givens) -> _Case:
    flow = value_of(asked.air_flow, givens.cooler.air_flow_m3_s)
    oil_flow = value_of(asked.oil_flow, givens.cooler.oil_flow_m3_s)
    heat, k, air_flow, ambient = needed(
        "cab heat",
        heat=asked.heat or givens.heat_w,
        measured=asked.measured or givens.k_w_k,
        air_flow=None if flow is None else Figure(flow, "air_flow"),
        ambient=asked.ambient,
    )
    shell = asked.shell or givens.shell_w_k or Figure(0.0, "conductance")
    one_scale = asked.measured is None and asked.heat is None
    heat_w, k_w_k, shell_w_k = draws(heat, k, shell, one_scale=one_scale)
    here_pa = air.pressure_pa(value_of(asked.altitude, 0.0))
    ambient_c, cab_c = ambient.value, value_of(asked.cab, _USUAL_CAB_C)
    if ambient_c >= cab_c:
        raise RangeError(
            expected=f"air colder than the cab, {cab_c:g} degC",
            found=f"{ambient_c:g} degC",
            where="--ambient",
            do="ask for the cold day: on this one the cab needs no heat",
        )
    return _Case(
        heat_w=heat_w,
        k_w_k=k_w_k,
        shell_w_k=shell_w_k,
        k=k,
        ambient_c=ambient_c,
        cab_c=cab_c,
        air_w_k=air.capacity_rate_w_k(air_flow.value, ambient_c, here_pa),
        oil_w_k=None if oil_flow is None else oil_flow * volumetric_heat_j_m3k(_OIL_C),
        duct=value_of(asked.duct, 1.0),
        air_left=value_of(asked.air_left, _AIR_LEFT),
    )


def _behind(case: _Case, heat_w: float, air_left: float = 1.0) -> cab.CabHeat:
    return cab.behind_cooler(
        heat_w=heat_w,
        air_rate_w_k=case.air_w_k * air_left,
        ambient_c=case.ambient_c,
        cab_c=case.cab_c,
        ducted_share=case.duct,
    )


def _to_cab(case: _Case) -> Figure:
    watts = [_behind(case, float(heat), case.air_left).to_cab_w for heat in case.cooler_w[:800]]
    return from_samples(np.array(watts), "power")


def _headline(case: _Case) -> Iterator[Remark]:
    cab_c = temperature(case.cab_c)
    watts = _to_cab(case)
    if watts.value <= 0.0:
        yield Remark(
            code="cab-gets-nothing",
            text=("Nothing for a cab at ", cab_c, ": the air behind the cooler is no warmer."),
        )
    else:
        yield Remark(
            code="cab-gets", text=("About ", watts, " for a cab at ", cab_c, ", with the duct on.")
        )


def _offered(case: _Case) -> Section:
    open_c = case.ambient_c + case.cooler_w / case.air_w_k
    ducted_c = case.ambient_c + case.cooler_w / (case.air_w_k * case.air_left)
    rows = (
        Row("cooler_w", "heat the cooler rejects", from_samples(case.cooler_w, "power")),
        Row("air_off_c", "air behind it, no duct", from_samples(open_c, "temperature")),
        Row("air_off_duct_c", "air behind it, duct on", from_samples(ducted_c, "temperature")),
        Row("to_cab_w", "to the cab", _to_cab(case)),
        Row(
            "above_outside_w",
            "above outside, fresh air",
            from_samples(case.duct * case.cooler_w, "power"),
            note=Remark(code="against-fresh-air", text="set against a heater that warms fresh air"),
        ),
    )
    remark = Remark(code="duct-losses-in", text="Duct losses not taken off.")
    return Section(title="Behind the cooler", rows=rows, remarks=(remark,))


def _cost(case: _Case) -> Iterator[Section]:
    """The duct's cost in cooler conductance, and the resulting oil temperature."""
    if case.oil_w_k is None:
        return
    lost = cab.ducting_cost_w_k(
        case.k.value,
        air_rate_w_k=case.air_w_k,
        oil_rate_w_k=case.oil_w_k,
        air_left=case.air_left,
    )
    rows = (
        Row("duct_cost_w_k", "cooler loses", ranged(lost), flag=ESTIMATE),
        Row(
            "oil_without_duct_c",
            "oil settles, no duct",
            from_samples(_settles(case, np.zeros_like(case.k_w_k)), "temperature"),
        ),
        Row("oil_with_duct_c", "oil settles, duct on", _oil_with_duct(case, lost), flag=ESTIMATE),
    )
    remark = Remark(
        code="duct-off-in-summer", text="Acceptable in the cold season; remove the duct in summer."
    )
    yield Section(title="What the duct costs", rows=rows, remarks=(remark,))


def _oil_with_duct(case: _Case, lost: sizing.Range) -> Figure:
    """Draws of heat and cooler, with the cost drawn uniformly over its range."""
    rng = np.random.default_rng(_SEED)
    low, high = lost.low / case.k.value, lost.high / case.k.value
    cost = case.k_w_k * rng.uniform(low, high, case.k_w_k.shape)
    return from_samples(_settles(case, cost), "temperature")


def _settles(case: _Case, cost_w_k: FloatArray) -> FloatArray:
    return cab.oil_temp_with_duct_c(
        heat_w=case.heat_w,
        ambient_c=case.ambient_c,
        shell_w_k=case.shell_w_k,
        measured_w_k=case.k_w_k,
        cost_w_k=cost_w_k,
    )


def _assumed(asked: CabAsked, case: _Case, givens: Givens) -> Iterator[Remark]:
    if asked.air_left is None:
        yield Remark(
            code="duct-leaves-air",
            text=f"The duct leaves {_AIR_LEFT * 100:.0f} % of the air: common practice, no source; "
            "measure it.",
        )
    if asked.duct is None:
        yield Remark(code="duct-takes-all", text="The duct takes all of the core's air.")
    if not case.shell_w_k.any():
        yield Remark(
            code="shell-loss-unknown",
            text="Shell loss unknown: all the heat counted as the cooler's.",
        )
    if case.oil_w_k is None:
        yield Remark(
            code="duct-cost-unknown",
            text="Oil flow unknown, so the duct's cost is not worked out: type --oil-flow.",
        )
    if asked.cab is None:
        yield Remark(code="cab-held-at", text=("Cab held at ", temperature(_USUAL_CAB_C), "."))
    yield from givens.notes_without_capacity
