"""Machines, loads, weather and probes drawn for the validation of the method."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wattsump_analysis.emulation.plant import Machine
from wattsump_analysis.emulation.rehearsal import CHANNELS, Load, Probes, Stage, Weather
from wattsump_analysis.physics.oil import walther_from_grade

__all__ = ("Drawn", "draw", "guided", "heated", "short", "work")

FloatArray = NDArray[np.float64]

OIL_J_L_K = 870.0 * 0.9871 * 1880.0 / 1000.0  # at 20 degC
STEEL_J_KG_K = 470.0
ALUMINIUM_J_KG_K = 900.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """Drawn machines with what their owners would state about them, arrays (m,)."""

    machine: Machine
    load: Load
    weather: Weather
    probes: Probes
    flow_lpm: FloatArray
    grades: tuple[str, ...]
    stated_oil_j_k: FloatArray
    stated_metal_j_k: FloatArray
    flow_error: FloatArray
    class_c: FloatArray


U_OIL = 0.04
U_METAL = 0.12
U_FLOW = 0.03
U_HEATER = 0.02


def draw(count: int, rng: np.random.Generator) -> Drawn:
    """Draw `count` machines over the ranges of small hydrostatic machines."""

    def between(low: float, high: float) -> FloatArray:
        return rng.uniform(low, high, count)

    litres, steel, aluminium = between(10, 30), between(25, 60), between(6, 18)
    flow_lpm = between(12, 40)
    flow_w_k = flow_lpm / 60.0 * 0.87 * 0.96 * 2000.0
    cooler = np.exp(between(np.log(40), np.log(180)))
    # The oil side of a core cannot carry more than its flow does.
    share = np.maximum(between(0.15, 0.4), 1.25 * cooler / flow_w_k)
    share = np.minimum(share, 0.8)
    cooler = np.minimum(cooler, share * flow_w_k / 1.25)
    oil_series = cooler / share
    ntu = -np.log1p(-oil_series / flow_w_k)
    grades = tuple(str(g) for g in rng.choice(["VG 32", "VG 46", "VG 68"], count))
    lines = [walther_from_grade(g) for g in grades]
    shell = between(8, 22)
    drive_share = between(0.4, 0.65)
    core_share = between(0.25, 0.45)
    tank_share = between(0.6, 0.8)
    metal = steel * STEEL_J_KG_K + aluminium * ALUMINIUM_J_KG_K
    core = core_share * aluminium * ALUMINIUM_J_KG_K
    machine = Machine(
        oil_tank_j_k=litres * tank_share * OIL_J_L_K,
        oil_loop_j_k=litres * (1 - tank_share) * OIL_J_L_K,
        drive_metal_j_k=(metal - core) * drive_share,
        tank_wall_j_k=(metal - core) * (1 - drive_share),
        core_j_k=core,
        flow_w_k=flow_w_k,
        core_oil_side_w_k=ntu * flow_w_k,
        core_air_side_w_k=cooler / (1 - share),
        still_air_fraction=between(0.04, 0.14),
        viscosity_exponent=between(0.1, 0.3),
        bypass_mm2_s=between(150, 400),
        drive_film_w_k=between(120, 350),
        wall_film_w_k=between(120, 350),
        rest_link_w_k=between(4, 12),
        shell_drive_w_k=shell * 0.5,
        shell_wall_w_k=shell * 0.5,
        motion_gain=between(0.2, 0.8),
        heat_to_oil_fraction=between(0.5, 0.85),
        walther_a=np.array([line.a for line in lines]),
        walther_b=np.array([line.b for line in lines]),
    )
    load = Load(
        level_w=between(1500, 5000),
        wander=between(0.05, 0.30),
        memory_s=np.exp(between(np.log(10), np.log(300))),
    )
    weather = Weather(
        start_c=between(-20, 35),
        swing_k=between(-2.5, 2.5),
        period_s=between(7200, 20000),
        sun_k=np.abs(rng.normal(0, 0.7, count)),
    )
    class_c = rng.choice([1.5, 2.5], count)
    board = rng.normal(0.0, 0.4, (len(CHANNELS), count))
    probes = Probes(
        offset_k=rng.uniform(-1, 1, (len(CHANNELS), count)) * class_c + board,
        lag_s=rng.uniform(2, 15, (len(CHANNELS), count)),
        noise_k=0.1,
    )
    return Drawn(
        machine=machine,
        load=load,
        weather=weather,
        probes=probes,
        flow_lpm=flow_lpm,
        grades=grades,
        stated_oil_j_k=litres * OIL_J_L_K * np.exp(rng.normal(0, U_OIL, count)),
        stated_metal_j_k=metal * np.exp(rng.normal(0, U_METAL, count)),
        flow_error=np.exp(rng.normal(0, U_FLOW, count)),
        class_c=class_c,
    )


def guided(hot_c: float = 65.0) -> Sequence[Stage]:
    """Soak, fan-off rise, three fan steps at working load, work loop, stopped cool-down."""
    steps = []
    for number in (1, 2, 3):
        steps.append(Stage(name=f"fan on {number}", longest_s=300, fan=True))
        if number < 3:
            steps.append(
                Stage(
                    name=f"fan off {number}",
                    longest_s=300,
                    shortest_s=90,
                    until_above_c=hot_c + 12,
                )
            )
    return [
        Stage(name="soak", longest_s=600, engine=False),
        Stage(name="fan-off rise", longest_s=2700, shortest_s=240, until_above_c=hot_c),
        *steps,
        Stage(name="work loop", longest_s=1500, fan=True, moving=True, load_level=0.8),
        Stage(name="stopped cool-down", longest_s=1500, engine=False),
    ]


def heated() -> Sequence[Stage]:
    """The guided run with a metered heater before it, oil circulated without load."""
    soak, *rest = guided()
    heater = Stage(name="heater", longest_s=1800, load_level=0.0, heater_w=1500.0)
    return [soak, heater, *rest]


def work() -> Sequence[Stage]:
    """An ordinary outing: started cold, fan on throughout, no test of any kind."""
    return [
        Stage(name="work", longest_s=4200, fan=True, moving=True),
        Stage(name="idle", longest_s=420, fan=True, load_level=0.25),
        Stage(name="stopped cool-down", longest_s=1200, engine=False),
    ]


def short() -> Sequence[Stage]:
    """Twenty-five minutes of work and nothing else."""
    return [Stage(name="work", longest_s=1500, fan=True, moving=True)]


def still(weather: Weather) -> Weather:
    """The same weather without sun on the probe."""
    return replace(weather, sun_k=np.zeros_like(weather.sun_k))
