"""A second plant, plainer than the fitted network and of another form.

Oil, tank wall and core are one stirred mass, the drive's metal another that is warmed by the
oil alone; the heat of work goes straight into the passing oil, whose few seconds in the hoses
are its only storage outside the tank. Conductances of cooler and shell are constant: neither
viscosity nor motion nor radiation changes them. Only the model form knows it, by other machines.
"""

import numpy as np
from numpy.typing import NDArray

from wattsump_analysis.emulation.plant import REFERENCE_OIL_C, Controls, Flows, Machine
from wattsump_analysis.emulation.plant import cooler_conductance_w_k as finer_conductance_w_k

__all__ = ("PlainPlant", "capacity_j_k", "conductance_w_k")

FloatArray = NDArray[np.float64]

HOSE_S = 6.0
CAPACITY_AT_C = 60.0


def conductance_w_k(machine: Machine, loop_c: FloatArray) -> FloatArray:
    """Heat of the cooler over (oil in - air in) with the fan on, W/K, shape (m,)."""
    return finer_conductance_w_k(machine, np.full_like(loop_c, REFERENCE_OIL_C))


def capacity_j_k(machine: Machine, _temp_c: float) -> FloatArray:
    """Heat capacity of oil and metal, hoses included, J/K, shape (m,), at any temperature."""
    return machine.capacity_j_k(CAPACITY_AT_C)


class PlainPlant:
    """The running state of m machines; `step` moves all of them by `dt_s`."""

    def __init__(self, machine: Machine, start_c: FloatArray) -> None:
        self.machine = machine
        self.temps_c = np.repeat(start_c[np.newaxis, :], 3, axis=0).astype(float)
        self.flows = Flows(
            cooler_w=np.zeros_like(start_c),
            shell_w=np.zeros_like(start_c),
            cooler_out_c=start_c.astype(float),
        )
        self.full_w_k = conductance_w_k(machine, start_c)
        self.hose_j_k = HOSE_S * machine.flow_w_k
        self.stirred_j_k = (
            capacity_j_k(machine, CAPACITY_AT_C) - machine.drive_metal_j_k - self.hose_j_k
        )

    def step(self, controls: Controls, dt_s: float) -> Flows:
        """Advance by `dt_s` (s, at most 1) and return the flows."""
        machine, (tank, loop, metal) = self.machine, self.temps_c
        moved = machine.flow_w_k * controls.engine
        air = controls.fan + (1.0 - controls.fan) * machine.still_air_fraction
        cooled = self.full_w_k * air * controls.engine * (loop - controls.ambient_c)
        out = loop - cooled / np.maximum(moved, 1e-9)
        wet = machine.drive_film_w_k * (0.2 + 0.8 * controls.engine) * (tank - metal)
        shell_tank = machine.shell_wall_w_k * (tank - controls.ambient_c)
        shell_metal = machine.shell_drive_w_k * (metal - controls.ambient_c)
        rest = machine.rest_link_w_k * (loop - tank)
        rates = (
            (moved * (out - tank) + rest - wet - shell_tank + controls.heater_w) / self.stirred_j_k,
            (moved * (tank - loop) - rest + controls.load_w) / self.hose_j_k,
            (wet - shell_metal) / machine.drive_metal_j_k,
        )
        self.temps_c = self.temps_c + dt_s * np.stack(rates)
        self.flows = Flows(cooler_w=cooled, shell_w=shell_tank + shell_metal, cooler_out_c=out)
        return self.flows
