"""The emulated plant keeps its energy, and its probes err as they are told to."""

import numpy as np

from wattsump_analysis.emulation.bracken import STAGES, demo_machine, demo_profile, rehearse
from wattsump_analysis.emulation.plant import (
    CP_SLOPE_PER_K,
    Controls,
    Plant,
    cooler_conductance_w_k,
)


def controls(count: int, **changed: float) -> Controls:
    usual = {
        "ambient_c": 15.0,
        "engine": 1.0,
        "moving": 0.0,
        "fan": 1.0,
        "load_w": 3000.0,
        "heater_w": 0.0,
    }
    return Controls(**{n: np.full(count, v) for n, v in {**usual, **changed}.items()})


def test_what_goes_into_the_plant_is_stored_or_leaves_by_core_and_shell() -> None:
    machine = demo_machine(demo_profile())
    plant = Plant(machine, np.full(1, 15.0))
    held = controls(1)
    for _ in range(600):
        plant.step(held, 0.5)
    before = plant.temps_c.copy()
    flows = plant.step(held, 0.5)
    warm = 1 + CP_SLOPE_PER_K * (before[:2] - 20)
    capacity = np.stack(
        [
            machine.oil_tank_j_k * warm[0],
            machine.oil_loop_j_k * warm[1],
            machine.drive_metal_j_k,
            machine.tank_wall_j_k,
            machine.core_j_k,
        ]
    )
    stored = np.sum(capacity * (plant.temps_c - before), axis=0) / 0.5
    core_to_air = machine.core_air_side_w_k * (before[4] - 15.0)
    np.testing.assert_allclose(stored, 3000.0 - core_to_air - flows.shell_w, rtol=1e-6)


def test_a_settled_cooler_rejects_what_its_conductance_says() -> None:
    machine = demo_machine(demo_profile())
    plant = Plant(machine, np.full(1, 15.0))
    held = controls(1)
    for _ in range(20_000):
        flows = plant.step(held, 0.5)
    loop = plant.temps_c[1]
    said = cooler_conductance_w_k(machine, loop) * (loop - 15.0)
    # The closed form takes the flow's heat capacity at 60 °C; the plant's moves with heat.
    np.testing.assert_allclose(flows.cooler_w, said, rtol=0.04)


def test_a_rehearsed_run_ends_and_is_read_in_quarter_degrees() -> None:
    run = rehearse(demo_profile())
    assert run.truth.stage[-1] == len(STAGES) - 1
    tank = run.readings["tank"][np.isfinite(run.readings["tank"])]
    np.testing.assert_allclose(tank * 4, np.round(tank * 4))
