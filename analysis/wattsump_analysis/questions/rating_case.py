"""A rating's inputs: typed values, completed from the outing and the profile."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from wattsump_analysis.physics import air, drive, label, sizing
from wattsump_analysis.physics.oil import volumetric_heat_j_m3k
from wattsump_analysis.questions.answer import Figure
from wattsump_analysis.questions.asked import RatingAsked
from wattsump_analysis.questions.givens import Givens, missing
from wattsump_analysis.questions.typed import value_of
from wattsump_analysis.results import TANK_OIL
from wattsump_analysis.statistics.intervals import interval

__all__ = (
    "OIL_C",
    "USUAL_HOTTEST_C",
    "USUAL_MARGIN",
    "Case",
    "case_of",
    "conductance",
    "drive_loss",
    "label_conductance",
    "ranged",
    "wanted_peak_c",
)

# Oil in a working cooler, for its capacity rate only: 30 K up or down changes that by 3 %.
OIL_C = 60.0
_USUAL_AIR_C = 20.0
# The default hot day, as most woodlots have; stated in the answer.
USUAL_HOTTEST_C = 35.0
USUAL_MARGIN = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """The question with all available values filled in."""

    label_w: float | None
    etd_k: float | None
    k: Figure | None
    # Of the oil into the cooler, from which label and streams count; `k` may be the tank's.
    k_inlet: Figure | None
    air_w_k: float | None
    oil_w_k: float | None
    air_c: float
    altitude_m: float
    heat: Figure | None
    heat_is_estimate: bool
    # From a claimed conductance [W/K] to the verdict on it; None without an interval.
    weigh: Callable[[float], label.Verdict] | None

    @property
    def too_wide(self) -> bool:
        """Whether the measured range is too wide for a verdict."""
        k = self.k_inlet
        if k is None or k.low is None or k.high is None:
            return False
        return 0.5 * (k.high - k.low) / k.value > label.WIDEST_REL


def case_of(asked: RatingAsked, givens: Givens) -> Case:
    """Fill a case: typed values first, then measured, then the profile's, then an estimate."""
    cooler = givens.cooler
    # A typed label does not inherit the difference of the profile's label.
    label_w, printed_k = cooler.label_heat_w, cooler.label_etd_k
    if label_w is None:
        label_w, printed_k = givens.label_heat_w, givens.label_etd_k
    if asked.label_heat is not None:
        printed_k = None
    air_flow = value_of(asked.air_flow, cooler.air_flow_m3_s)
    oil_flow = value_of(asked.oil_flow, cooler.oil_flow_m3_s)
    oil_j_m3k = volumetric_heat_j_m3k(OIL_C, givens.density_15_kg_m3)
    air_c = value_of(asked.air_temp, _USUAL_AIR_C)
    altitude = value_of(asked.altitude, 0.0)
    heat = asked.heat or givens.heat_p90_w or givens.heat_w
    k = asked.measured or givens.k_w_k
    return Case(
        label_w=value_of(asked.label_heat, label_w),
        etd_k=value_of(asked.label_etd, printed_k),
        k=k,
        k_inlet=k if asked.measured or k is None else _at_inlet(k, givens),
        air_w_k=None
        if air_flow is None
        else air.capacity_rate_w_k(air_flow, air_c, air.pressure_pa(altitude)),
        oil_w_k=None if oil_flow is None else oil_flow * oil_j_m3k,
        air_c=air_c,
        altitude_m=altitude,
        heat=heat or drive_loss(asked, givens),
        heat_is_estimate=heat is None,
        weigh=None if k is None or k.u_log == 0.0 else _weigh(k, asked, givens),
    )


def _at_inlet(k: Figure, givens: Givens) -> Figure:
    """K over the oil into the cooler, which a proof's draws are of."""
    draws, weights = givens.k_draws_w_k, givens.k_weights
    if givens.k_refers_to != TANK_OIL or draws is None or weights is None:
        return k
    span = interval(draws, weights)
    return Figure(span.value, "conductance", low=span.low, high=span.high)


def _weigh(k: Figure, asked: RatingAsked, givens: Givens) -> Callable[[float], label.Verdict]:
    """The proof's own draws, so that both verdicts agree; for a typed interval, log-normal."""
    tolerance = value_of(asked.tolerance, 0.0)
    samples = None if asked.measured else givens.k_draws_w_k
    if samples is None:
        return lambda claim: label.verdict(claim, k.value, k.u_log, tolerance_rel=tolerance)
    return lambda claim: label.verdict_from_samples(
        claim, samples, givens.k_weights, tolerance_rel=tolerance
    )


def conductance(value: float) -> Figure:
    """Return a conductance [W/K] as a figure."""
    return Figure(value, "conductance")


def ranged(span: sizing.Range, kind: str = "conductance") -> Figure:
    """Return a range as a figure: its bounds in place of an interval."""
    return Figure(span.likely, kind, low=span.low, high=span.high)


def label_conductance(givens: Givens) -> Figure | None:
    """Return the claim of the profile's label [W/K]; None without label or difference."""
    cooler = givens.cooler
    if cooler.label_heat_w is None or cooler.label_etd_k is None:
        return None
    return conductance(cooler.label_heat_w / cooler.label_etd_k)


def wanted_peak_c(asked: RatingAsked, givens: Givens) -> float:
    """Return the oil temperature not to be exceeded [°C]: typed, else the advised limit."""
    return value_of(asked.peak, givens.limits.oil_warn_c)


def drive_loss(asked: RatingAsked, givens: Givens) -> Figure | None:
    """Estimate the heat of a pump and motor at full power, with rules of thumb as bounds."""
    fitted = givens.drive
    power = value_of(asked.power, fitted.power_w)
    pump = value_of(asked.pump_efficiency, fitted.pump_efficiency)
    motor = value_of(asked.motor_efficiency, fitted.motor_efficiency)
    if power is None:
        return None
    if asked.pump_efficiency or asked.motor_efficiency:
        shares = (asked.pump_efficiency, asked.motor_efficiency)
        drive.loss_share(*(share.value for share in shares if share is not None))
        if pump is None or motor is None:
            absent = "pump_efficiency" if pump is None else "motor_efficiency"
            raise missing("drive loss", absent)
    low = power * min(share.low for share in drive.HEAT_SHARES)
    high = power * max(share.high for share in drive.HEAT_SHARES)
    if pump is None or motor is None:
        return Figure(math.sqrt(low * high), "power", low=low, high=high)
    loss = drive.drive_loss_w(power, pump, motor)
    return Figure(loss, "power", low=min(low, loss), high=max(high, loss))
