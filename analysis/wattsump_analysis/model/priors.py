"""What is known before the readings: of the machine at hand, and of small machines at large.

A machine's plumbing is not seen in its temperatures, yet it decides what they mean in watts:
whether the metal that work warms bathes in oil on its way to the cooler or in the tank, and
whether the tank's own wall is one with its oil. Two layouts stand for it, each wide enough to
reach into the other; `fit` asks both and weighs them by their evidence.
"""

from dataclasses import dataclass

import numpy as np

from wattsump_analysis.model.network import HEATING_W, Network
from wattsump_analysis.model.posterior import Gaussian
from wattsump_analysis.reading.machine import Knowledge

__all__ = (
    "IN_LINES",
    "LAID_OUT",
    "LAYOUTS",
    "STIRRED_TANK",
    "TOGETHER",
    "Layout",
    "priors",
)

UNKNOWN_SD = 0.8  # of a logarithm: any value from a fifth to fivefold
THICK_MM2_S = 80.0  # below it a core passes its whole flow; common practice, no source
# A link this strong holds metal and oil together within a bin.
TOGETHER = Gaussian(mean=float(np.log(3000.0)), sd=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Where a machine's heat and metal are; spreads are of logits, that of the wall of its log.

    Figures are common practice, no source.
    """

    name: str
    loop_oil: tuple[float, float]
    metal_heat: tuple[float, float]
    link_in_loop: tuple[float, float]
    wall_w_k: tuple[float, float]


IN_LINES = Layout(
    name="metal in the lines",
    loop_oil=(0.25, 0.6),
    metal_heat=(0.32, 0.9),
    link_in_loop=(0.8, 1.0),
    wall_w_k=(300.0, 1.0),
)
STIRRED_TANK = Layout(
    name="one stirred tank",
    loop_oil=(0.12, 0.5),
    metal_heat=(0.1, 1.2),
    link_in_loop=(0.15, 1.0),
    wall_w_k=(1000.0, 1.0),
)
LAYOUTS = (IN_LINES, STIRRED_TANK)
LAID_OUT = ("loop_oil", "metal_heat", "link_in_loop", "wall_w_k")


def _log(value: float, spread: float) -> Gaussian:
    return Gaussian(mean=float(np.log(value)), sd=spread)


def _share(value: float, spread: float) -> Gaussian:
    return Gaussian(mean=float(np.log(value / (1.0 - value))), sd=spread)


def _capacity(value: float | None, relative: float, usual: float) -> Gaussian:
    if value is None:
        return _log(usual, UNKNOWN_SD)
    return Gaussian(mean=float(np.log(value)), sd=relative, stated=True)


def _oil_flow(network: Network, know: Knowledge) -> Gaussian:
    """Prior of the oil flow, or of the factor on a recorded one."""
    if network.record.flow_w_k is not None:
        return Gaussian(mean=0.0, sd=know.u_flow_rel, stated=True)
    if know.oil_flow_w_k is not None:
        return Gaussian(mean=float(np.log(know.oil_flow_w_k)), sd=know.u_flow_rel, stated=True)
    return _log(600.0, 0.6)


def priors(
    network: Network, know: Knowledge, layout: Layout, *, metal_apart: bool = True
) -> dict[str, Gaussian]:
    """Priors of every parameter; weak ones are ranges of small machines (common practice)."""
    record = network.record
    cooled = (record.fan > 0.5) & (record.engine > 0.5)
    thick = bool(np.any(network.viscosity_mm2_s[cooled] > THICK_MM2_S))
    inlet = "cooler_in" in record.oils_c
    outlet = "cooler_out" in record.oils_c
    # Means of a bin are far quieter than these, but the network is not that true: probe
    # lag, mixing and the core put tenths of a kelvin between it and the pipes. A flow meter
    # makes their differences watts, so there less must be asked of them; both figures are
    # those with the least bias on the plant of tests/validation.
    noise = _log(0.1, 0.0)
    pipe = _log(0.2 if record.flow_w_k is None else 0.3, 0.0)
    still = bool(np.any((record.fan < 0.5) & (record.engine > 0.5)))
    moving = bool(np.any(record.moving > 0.5))
    stopped = bool(np.any(record.engine < 0.5))
    heated = bool(np.any(record.heater_w > HEATING_W))
    bath, spread = layout.link_in_loop
    return {
        "oil_j_k": _capacity(know.oil_j_k, know.u_oil_rel, 35e3),
        "metal_j_k": _capacity(know.metal_j_k, know.u_metal_rel, 30e3),
        "loop_oil": _share(*layout.loop_oil),
        # A tank alone cannot tell its own wall, which follows it within a minute, from oil.
        "tank_metal": _share(0.45, 0.8 if inlet else 0.4),
        "core_metal": _log(0.1, 0.4),
        "cooler_w_k": _log(90.0, 1.2),
        "still_air": _log(0.09, 0.4 if still else 0.0),
        "oil_side": _log(0.25, 0.4),
        "viscosity_exponent": Gaussian(mean=0.15, sd=0.08),
        "bypass_mm2_s": _log(800.0, 0.5 if thick else 0.0),
        "shell_w_k": _log(13.0, 0.5 if stopped or still else 0.4),
        "motion_gain": Gaussian(mean=0.3, sd=0.25 if moving else 0.0),
        "link_w_k": _log(220.0, 0.6) if metal_apart else TOGETHER,
        "oil_flow_w_k": _oil_flow(network, know),
        "wander_w": _log(300.0, 1.0),
        "memory_s": _log(60.0, 1.2),
        "noise_tank_k": noise,
        "noise_in_k": pipe,
        "noise_out_k": pipe,
        "model_error_w": _log(25.0, 0.7),
        "offset_ambient_k": Gaussian(mean=know.sun_k, sd=know.u_ambient_k, stated=True),
        "offset_in_k": Gaussian(mean=0.0, sd=know.u_match_k if inlet else 0.0, stated=True),
        "offset_out_k": Gaussian(
            mean=0.0, sd=know.u_match_k if inlet and outlet else 0.0, stated=True
        ),
        "lag_tank_s": Gaussian(mean=8.0, sd=4.0 if inlet else 0.0),
        "lag_in_s": Gaussian(mean=8.0, sd=4.0 if inlet else 0.0),
        "lag_out_s": Gaussian(mean=8.0, sd=4.0 if inlet and outlet else 0.0),
        "metal_heat": _share(*layout.metal_heat),
        "link_in_loop": _share(bath, spread if inlet else 0.0),
        "wall_w_k": _log(*layout.wall_w_k),
        "heater_gain": Gaussian(mean=0.0, sd=know.u_heater_rel if heated else 0.0, stated=True),
    }
