"""Fan thermostats on drawn machines at ordinary work: seen unlogged, and no harm where logged.

    python tests/validation/thermostat.py [machines] [healthy]

Each thermostat switches 2 K about a setting above what the machine would settle at with the
fan always on, so that it switches for as long as the work lasts. `machines` of them are drawn,
and `healthy` machines without one.
"""

import os
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial

import numpy as np
from machines import draw
from numpy.typing import NDArray

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from score import PROTOCOLS, Rehearsed, Score, fit_one, record_of, rehearse

from wattsump_analysis.emulation import rehearsal
from wattsump_analysis.emulation.plant import (
    Controls,
    Flows,
    Machine,
    Plant,
    cooler_conductance_w_k,
)
from wattsump_analysis.reading.phases import hidden_switchings, saw_tooth

__all__ = ("healthy_accused", "seen_unlogged", "switched", "with_thermostats")

FloatArray = NDArray[np.float64]

PROTOCOL = PROTOCOLS["ordinary work"]
SEED, HEALTHY_SEED = 31, 32
BAND_K = 2.0
WARM_C = 60.0
SHELL_W_K = 15.0  # about the middle of those drawn
STEPS = round(rehearsal.SAMPLE_S / rehearsal.STEP_S)


class Thermostatted(Plant):
    """The plant with a fan that a thermostat in the tank switches while the stage lets it."""

    def __init__(self, machine: Machine, start_c: FloatArray, setting_c: FloatArray) -> None:
        super().__init__(machine, start_c)
        self.setting_c = setting_c
        self.on = np.zeros_like(start_c)
        self.blown: list[FloatArray] = []

    def step(self, controls: Controls, dt_s: float) -> Flows:
        """Switch the fan by the tank's temperature, then advance."""
        over = self.temps_c[0] - self.setting_c
        self.on = np.where(over > BAND_K, 1.0, np.where(over < -BAND_K, 0.0, self.on))
        fan = controls.fan * self.on
        self.blown.append(fan)
        return super().step(replace(controls, fan=fan), dt_s)


def with_thermostats(count: int, seed: int = SEED) -> Rehearsed:
    """Run `count` drawn machines, each with a thermostat; the truth's fan is what it blew."""
    rng = np.random.default_rng(seed)
    drawn = draw(count, rng)
    full_w_k = cooler_conductance_w_k(drawn.machine, np.full(count, WARM_C))
    rise_k = drawn.load.level_w / (full_w_k + SHELL_W_K)
    setting_c = drawn.weather.start_c + rise_k + np.maximum(8.0, 0.25 * rise_k)
    built: list[Thermostatted] = []

    def make(machine: Machine, start_c: FloatArray) -> Thermostatted:
        built.append(Thermostatted(machine, start_c, setting_c))
        return built[-1]

    truth = rehearsal.run(drawn.machine, PROTOCOL.stages, drawn.load, drawn.weather, rng, make)
    (plant,) = built
    truth = replace(truth, fan=np.array(plant.blown[::STEPS]))
    readings = drawn.probes.read(truth, rng)
    return Rehearsed(protocol=PROTOCOL, drawn=drawn, truth=truth, readings=readings)


def seen_unlogged(rehearsed: Rehearsed) -> list[bool]:
    """Of each machine, whether the switching shows in a record whose fan nobody logged."""
    found = []
    for one in range(rehearsed.drawn.flow_lpm.size):
        record = record_of(rehearsed.drawn, rehearsed.truth, rehearsed.readings, one, PROTOCOL)
        found.append(hidden_switchings(replace(record, fan=np.ones(record.bins))) > 0)
    return found


def healthy_accused(count: int, seed: int = HEALTHY_SEED) -> int:
    """How many of `count` machines whose fan always blows are said to have one that switches."""
    return sum(seen_unlogged(rehearse(PROTOCOL, count, seed)))


def switched(rehearsed: Rehearsed) -> list[int]:
    """The machines whose logged fan is recognised as a thermostat's."""
    drawn, truth, readings = rehearsed.drawn, rehearsed.truth, rehearsed.readings
    return [
        one
        for one in range(drawn.flow_lpm.size)
        if np.any(saw_tooth(record_of(drawn, truth, readings, one, PROTOCOL)))
    ]


def _held(scores: Sequence[Score]) -> int:
    return sum(low <= truth <= high for truth, _, low, high in (s.found["K"] for s in scores))


def main() -> None:
    words = [int(word) for word in sys.argv[1:]]
    count, healthy = (*words, *(30, 300)[len(words) :])
    rehearsed = with_thermostats(count)
    seen = seen_unlogged(rehearsed)
    print(f"unlogged: {sum(seen)} of {count} thermostats seen", flush=True)
    print(f"healthy: {healthy_accused(healthy)} of {healthy} machines accused", flush=True)
    saws = switched(rehearsed)
    with ProcessPoolExecutor() as pool:
        scores = [s for s in pool.map(partial(fit_one, rehearsed), range(count)) if s.found]
    print(
        f"logged: {len(saws)} of {count} saw-tooth plateaux recognised; "
        f"K held by {_held(scores)} of {len(scores)} intervals"
    )


if __name__ == "__main__":
    main()
