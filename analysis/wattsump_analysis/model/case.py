"""What the priors of a record depend on: its channels, the machine's profile, and a layout."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from wattsump_analysis.model.activity import HEATING_W, speed_of, standing_of
from wattsump_analysis.reading.machine import Knowledge
from wattsump_analysis.reading.record import Record

__all__ = ("LAYOUTS", "USUAL_METAL_J_K", "USUAL_OIL_J_K", "Case", "Gaussian", "Layout")

LEAST_U_REL = 0.005
THICK_MM2_S = 80.0  # below it a core passes its whole flow; common practice, no source
# Heat capacities of the machine that the weak priors are for; common practice, no source.
USUAL_OIL_J_K, USUAL_METAL_J_K = 35e3, 30e3


@dataclass(frozen=True, slots=True, kw_only=True)
class Gaussian:
    """Prior of a parameter's transform: its logarithm, its logit, or itself.

    `stated` marks knowledge from outside the readings (a type B contribution). `replaced` is
    the prior before all readings, if an earlier piece of the outing has narrowed it since.
    """

    mean: float
    sd: float
    stated: bool = False
    replaced: "Gaussian | None" = None

    @property
    def original(self) -> "Gaussian":
        """The prior before all readings."""
        return self.replaced or self


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Where a machine's heat and metal are; spreads are of logits, that of the wall of its log.

    The plumbing hardly shows in the temperatures, yet it decides how many watts they mean: whether
    the oil around the warm metal goes to the cooler or to the tank, and whether the tank's wall has
    the temperature of its oil. The prior is an even mixture of layouts, wide enough to overlap.
    Figures are common practice, no source.
    """

    name: str
    loop_oil: tuple[float, float]
    metal_heat: tuple[float, float]
    link_in_loop: tuple[float, float]
    wall_w_k: tuple[float, float]


LAYOUTS = (
    Layout(
        name="metal in the lines",
        loop_oil=(0.25, 0.6),
        metal_heat=(0.32, 1.2),
        link_in_loop=(0.8, 1.0),
        wall_w_k=(300.0, 1.0),
    ),
    Layout(
        name="one stirred tank",
        loop_oil=(0.12, 0.5),
        metal_heat=(0.1, 1.2),
        link_in_loop=(0.15, 1.0),
        wall_w_k=(1000.0, 1.0),
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What priors depend on: the record, the other knowledge, and a layout."""

    record: Record
    know: Knowledge
    layout: Layout
    viscosity_mm2_s: Any

    def has(self, probe: str) -> bool:
        return probe in self.record.oils_c

    @property
    def size(self) -> float:
        """The machine's stated heat capacity over the usual one; 1 if none is stated.

        Flow, conductances and heat grow with it about in proportion: a machine of three times the
        oil and metal runs at the same temperatures with three times the cooler.
        """
        each = ((self.know.oil_j_k, USUAL_OIL_J_K), (self.know.metal_j_k, USUAL_METAL_J_K))
        stated = [(own, usual) for own, usual in each if own is not None]
        if not stated:
            return 1.0
        return sum(own for own, _ in stated) / sum(usual for _, usual in stated)

    @property
    def shares_oil_heat(self) -> bool:
        """Whether the oil's specific heat enters twice: in the oil's mass and in its flow."""
        flows = self.record.flow_w_k is not None or self.know.oil_flow_w_k is not None
        return flows and self.know.oil_j_k is not None and self.has("cooler_in")

    def less_oil_heat(self, u_rel: float) -> float:
        """A relative uncertainty without its part from the oil's specific heat."""
        if not self.shares_oil_heat:
            return u_rel
        return float(np.sqrt(max(u_rel**2 - self.know.u_oil_heat_rel**2, LEAST_U_REL**2)))

    @property
    def still(self) -> bool:
        """Whether oil ever passed the core without its fan."""
        return bool(np.any((self.record.fan < 0.5) & (self.record.engine > 0.5)))

    @property
    def moving(self) -> bool:
        return bool(np.any(self.record.moving > 0.5))

    @property
    def stopped(self) -> bool:
        return bool(np.any(self.record.engine < 0.5))

    @property
    def varied(self) -> bool:
        """Whether the engine was seen to run at more than one speed."""
        return bool(np.any(speed_of(self.record) < 0.9))

    @property
    def stands(self) -> bool:
        """Whether it may have run at another speed that was not logged."""
        return bool(np.any(standing_of(self.record) > 0.5))

    @property
    def heated(self) -> bool:
        return bool(np.any(self.record.heater_w > HEATING_W))

    @property
    def thick(self) -> bool:
        cooled = (self.record.fan > 0.5) & (self.record.engine > 0.5)
        return bool(np.any(self.viscosity_mm2_s[cooled] > THICK_MM2_S))
