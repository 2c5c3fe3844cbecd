"""A forecast's case: what was typed, completed from the outing, and how far it is trusted."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.physics import forecast
from wattsump_analysis.physics.harm import OIL_STANDS_C
from wattsump_analysis.questions.answer import Figure
from wattsump_analysis.questions.asked import ForecastAsked
from wattsump_analysis.questions.known import Known, draws, from_samples

__all__ = (
    "Case",
    "case_of",
    "measured_span",
    "oil_figure",
    "standing",
    "trust_of",
)

_USUAL_LIMITS_C = {"oil, advised": 66.0, "oil, highest": 82.0}
_USUAL_AIR_C = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Everything filled in; draws of shape (n,), W and W/K.

    Temperatures are those of oil into the cooler, `gap_k` above the tank. The shell loses from
    the tank, so by that much less: counted from the inlet, shell x gap adds to the heat.
    """

    ambient_c: float
    gap_k: float
    limits_c: Mapping[str, float]
    heat_w: FloatArray
    heavy_w: FloatArray | None
    cooler_w_k: FloatArray
    shell_w_k: FloatArray
    capacity_j_k: FloatArray | None
    air_factor: tuple[float, float, float]

    @property
    def loss_w_k(self) -> FloatArray:
        """Cooler and shell together [W/K]."""
        return self.cooler_w_k + self.shell_w_k

    @property
    def strictest(self) -> tuple[str, float]:
        """The limit met first, with its name."""
        return min(self.limits_c.items(), key=lambda item: item[1])


def case_of(asked: ForecastAsked, known: Known, k: Figure, heat: Figure, ambient_c: float) -> Case:
    """Fill a case: typed before measured before the usual."""
    nothing = Figure(value=0.0, kind="conductance")
    shell = asked.shell or known.shell_w_k or nothing
    capacity = asked.capacity or known.capacity_j_k
    heavy = asked.heavy_heat or (known.heat_p90_w if asked.heat is None else None)
    work = 1.0 if asked.work is None else asked.work.value
    # Values of one outing rest on one scale of watts; values typed by hand do not.
    measured = asked.measured is None and asked.heat is None and known.k_w_k is not None
    drawn = draws(k, heat, shell, capacity or nothing, one_scale=measured)
    # Heat goes with flow and gap alike, so the gap grows with the work rate.
    gap_k = known.inlet_above_tank_k * work if asked.measured is None else 0.0
    heat_w = drawn[1] * work
    factors = _factors(asked, known, ambient_c)
    return Case(
        ambient_c=ambient_c,
        limits_c=_limits(asked, known),
        gap_k=gap_k,
        heat_w=heat_w + drawn[2] * gap_k,
        # A quantile of the same load, so it moves with the draws of the load itself.
        heavy_w=None if heavy is None else (heat_w + drawn[2] * gap_k) * heavy.value / heat.value,
        cooler_w_k=drawn[0] * factors[1],
        shell_w_k=drawn[2],
        capacity_j_k=drawn[3] if capacity else None,
        air_factor=factors,
    )


def _limits(asked: ForecastAsked, known: Known) -> dict[str, float]:
    limits_c = {name: value for name, value in known.limits_c.items() if name.startswith("oil")}
    limits_c = limits_c or dict(_USUAL_LIMITS_C)
    return limits_c | ({} if asked.limit is None else {"typed limit": asked.limit.value})


def _factors(asked: ForecastAsked, known: Known, ambient_c: float) -> tuple[float, float, float]:
    """Cooler in the air of the asked-for altitude over the measured one: low, likely, high [-]."""
    if asked.altitude is None:
        return 1.0, 1.0, 1.0
    below, span = asked.measured_altitude, measured_span(asked, known)
    return forecast.conductance_at_altitude_w_k(
        1.0,
        measured_altitude_m=0.0 if below is None else below.value,
        altitude_m=asked.altitude.value,
        measured_temp_c=_USUAL_AIR_C if span is None else 0.5 * (span[0] + span[1]),
        temp_c=_USUAL_AIR_C if span is None else ambient_c,
    )


def oil_figure(samples_c: FloatArray) -> Figure:
    """Oil temperatures as a figure [°C]; what no oil stands is not told to the degree."""
    return replace(from_samples(samples_c, "temperature"), most=OIL_STANDS_C)


def trust_of(ambient_c: float, asked: ForecastAsked, known: Known) -> forecast.Trust | None:
    """Whether an ambient may be believed; None where nobody knows the air that was measured."""
    span = measured_span(asked, known)
    return None if span is None else forecast.ambient_trust(ambient_c, np.array(span))


def measured_span(asked: ForecastAsked, known: Known) -> tuple[float, float] | None:
    """Coolest and warmest air of the measurement [°C]."""
    typed = asked.measured_ambient
    if typed is None:
        return known.ambients_c
    low, high = typed.low, typed.high
    return typed.value if low is None else low, typed.value if high is None else high


def standing(ambient_c: float, asked: ForecastAsked, known: Known) -> str:
    """Flag of a figure at an ambient: "" where it is trusted."""
    trust = trust_of(ambient_c, asked, known)
    return "" if trust is None or trust.standing == "trusted" else trust.standing
