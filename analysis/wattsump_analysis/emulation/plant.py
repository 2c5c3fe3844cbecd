"""An emulated hydrostatic machine, finer than any model that is fitted to it.

Five nodes (tank oil, loop oil, drive metal, tank wall, cooler core) with oil carried
round by the pump. What the fitted network leaves out is here on purpose: a core between
oil and air, an oil side that thickens when cold and is bypassed when very cold, shell
loss that grows with radiation and motion, heat capacity that grows with temperature,
and a load that wanders. So neither the demo nor the validation can flatter the method.

Every parameter and state is an array over machines, so a thousand machines cost hardly
more than one. The figures are invented; their ranges are those of small machines.
"""

from dataclasses import dataclass

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.physics.oil import viscosity_mm2_s
from wattsump_logger.machine.oil_line import Walther

__all__ = ("NODES", "Controls", "Flows", "Machine", "Plant", "cooler_conductance_w_k")

NODES = ("tank", "loop", "drive_metal", "tank_wall", "core")

KELVIN = 273.15
REFERENCE_OIL_C = 70.0
# Linear rise of a mineral oil's heat capacity and fall of its density about 20 degC;
# slopes of the Cragoe correlation and of the 0.0007 /K expansion rule.
CP_SLOPE_PER_K = 0.0019
RHO_CP_SLOPE_PER_K = 0.0011


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """Parameters of m machines, each an array of shape (m,).

    Capacities are at 20 degC; conductances of the cooler's two sides are those at
    `REFERENCE_OIL_C` with the fan on.
    """

    oil_tank_j_k: FloatArray
    oil_loop_j_k: FloatArray
    drive_metal_j_k: FloatArray
    tank_wall_j_k: FloatArray
    core_j_k: FloatArray
    flow_w_k: FloatArray
    core_oil_side_w_k: FloatArray
    core_air_side_w_k: FloatArray
    still_air_fraction: FloatArray
    viscosity_exponent: FloatArray
    bypass_mm2_s: FloatArray
    drive_film_w_k: FloatArray
    wall_film_w_k: FloatArray
    rest_link_w_k: FloatArray
    shell_drive_w_k: FloatArray
    shell_wall_w_k: FloatArray
    motion_gain: FloatArray
    heat_to_oil_fraction: FloatArray
    walther_a: FloatArray
    walther_b: FloatArray

    def capacity_j_k(self, temp_c: float) -> FloatArray:
        """Whole heat capacity with the oil at `temp_c` degC, shape (m,)."""
        oil = (self.oil_tank_j_k + self.oil_loop_j_k) * (1 + CP_SLOPE_PER_K * (temp_c - 20))
        return oil + self.drive_metal_j_k + self.tank_wall_j_k + self.core_j_k

    def moved_w_k(self, loop_c: FloatArray) -> FloatArray:
        """Heat capacity [W/K] of the litres that the pump moves, with the oil at `loop_c`."""
        return np.asarray(self.flow_w_k * (1 + RHO_CP_SLOPE_PER_K * (loop_c - 60.0)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Controls:
    """What is switched on during one step, each of shape (m,)."""

    ambient_c: FloatArray
    engine: FloatArray
    moving: FloatArray
    fan: FloatArray
    load_w: FloatArray
    heater_w: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Flows:
    """Heat flows and oil temperatures of one step, each of shape (m,)."""

    cooler_w: FloatArray
    shell_w: FloatArray
    cooler_out_c: FloatArray


def _oil_side(machine: Machine, loop_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Oil-side conductance (W/K) and the share of the flow that passes the core."""
    walther = Walther(a=machine.walther_a, b=machine.walther_b)
    nu = viscosity_mm2_s(np.clip(loop_c, -40.0, 150.0), walther)
    nu_ref = viscosity_mm2_s(np.full_like(loop_c, REFERENCE_OIL_C), walther)
    conductance = machine.core_oil_side_w_k * (nu / nu_ref) ** -machine.viscosity_exponent
    return conductance, 1.0 / (1.0 + (nu / machine.bypass_mm2_s) ** 2)


def cooler_conductance_w_k(
    machine: Machine, loop_c: FloatArray, fan: FloatArray | float = 1.0
) -> FloatArray:
    """Settled heat of the cooler over (oil in - air in), W/K, shape (m,).

    Oil side and air side in series; the oil side is an exchanger against one core
    temperature, so its effectiveness is 1 - exp(-NTU) (Incropera, eq. 11.35a).
    """
    oil_side, share = _oil_side(machine, loop_c)
    through = machine.moved_w_k(loop_c) * share
    oil = through * (1.0 - np.exp(-oil_side / through))
    air = machine.core_air_side_w_k * (fan + (1.0 - fan) * machine.still_air_fraction)
    return oil * air / (oil + air)


class Plant:
    """The running state of m machines; `step` moves all of them by `dt_s`."""

    def __init__(self, machine: Machine, start_c: FloatArray) -> None:
        self.machine = machine
        self.temps_c = np.repeat(start_c[np.newaxis, :], len(NODES), axis=0).astype(float)
        self.flows = Flows(
            cooler_w=np.zeros_like(start_c),
            shell_w=np.zeros_like(start_c),
            cooler_out_c=start_c.astype(float),
        )

    def step(self, controls: Controls, dt_s: float) -> Flows:
        """Advance by `dt_s` (s, at most 0.5 for the fastest node) and return the flows."""
        machine, temps = self.machine, self.temps_c
        tank, loop, drive, wall, core = temps
        rest = machine.rest_link_w_k * (1.0 - controls.engine)
        moved = machine.moved_w_k(loop) * controls.engine
        oil_side, share = _oil_side(machine, loop)
        through = np.maximum(moved * share, 1e-9)
        to_core = through * (1.0 - np.exp(-oil_side / through)) * (loop - core)
        fan = controls.fan + (1.0 - controls.fan) * machine.still_air_fraction * (
            1.0 + controls.moving
        )
        air_side = machine.core_air_side_w_k * np.minimum(fan, 1.0)
        to_air = air_side * (core - controls.ambient_c)
        out = loop - to_core / np.maximum(moved, 1e-9)
        shell_drive = self._shell(machine.shell_drive_w_k, drive, controls)
        shell_wall = self._shell(machine.shell_wall_w_k, wall, controls)
        film = machine.drive_film_w_k * (0.15 + 0.85 * controls.engine) * (loop - drive)
        wet = machine.wall_film_w_k * (0.3 + 0.7 * controls.engine) * (tank - wall)
        mixing = moved * (out - tank)
        between = rest * (loop - tank)
        warm = 1 + CP_SLOPE_PER_K * (np.stack([tank, loop]) - 20)
        share_oil = machine.heat_to_oil_fraction
        rates = (
            (mixing + between - wet + controls.heater_w) / (machine.oil_tank_j_k * warm[0]),
            (moved * (tank - loop) - between + share_oil * controls.load_w - film)
            / (machine.oil_loop_j_k * warm[1]),
            ((1 - share_oil) * controls.load_w + film - shell_drive) / machine.drive_metal_j_k,
            (wet - shell_wall) / machine.tank_wall_j_k,
            (to_core - to_air) / machine.core_j_k,
        )
        self.temps_c = temps + dt_s * np.stack(rates)
        self.flows = Flows(cooler_w=to_core, shell_w=shell_drive + shell_wall, cooler_out_c=out)
        return self.flows

    def _shell(
        self, still_w_k: FloatArray, surface_c: FloatArray, controls: Controls
    ) -> FloatArray:
        """Loss of a surface: a third radiation, the rest natural or forced convection, W.

        `still_w_k` is the conductance at 40 K over a 20 degC ambient, at rest.
        """
        rise_k = surface_c - controls.ambient_c
        hot, cold = surface_c + KELVIN, controls.ambient_c + KELVIN
        at_60_over_20 = (333.15**2 + 293.15**2) * (333.15 + 293.15)
        radiation = (hot**2 + cold**2) * (hot + cold) / at_60_over_20
        convection = (np.maximum(np.abs(rise_k), 0.5) / 40.0) ** 0.25
        motion = 1.0 + self.machine.motion_gain * controls.moving
        return still_w_k * rise_k * (0.35 * radiation + 0.65 * convection * motion)
