"""The demonstration: one proving run of Bracken, an invented log carrier.

The machine is the finer plant, not the model that is fitted, and it is not quite what its
profile states: 2 % less oil and 6 % more metal. Its cooler rejects about 78 W/K with the
oil at 70 degC, 71 % of what its label of 6 kW at 55 K stands for.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files

import numpy as np

from wattsump_analysis.emulation.plant import Machine
from wattsump_analysis.emulation.rehearsal import CHANNELS, Load, Probes, Stage, Truth, Weather, run
from wattsump_analysis.physics.oil import volumetric_heat_j_m3k
from wattsump_analysis.reading.machine import metal_capacity_j_k
from wattsump_logger.machine.profile import Profile, profile_from_dict
from wattsump_logger.wire.events import WireChannel

__all__ = (
    "STAGES",
    "WIRE_CHANNELS",
    "Rehearsal",
    "demo_machine",
    "demo_profile",
    "demo_text",
    "rehearse",
)

SEED = 46
# Of what the profile states, which is near the machine and never it.
OIL_SHARE, METAL_SHARE, FLOW_SHARE = 0.98, 1.06, 0.93
COOLER_W_K = 78.0  # settled, oil at 70 degC, fan on
OIL_SIDE_SHARE = 0.4  # of the cooler's resistance
WORKING_RPM = 2200.0
BOARD_C = 24.0

STAGES = (
    Stage(name="soak", longest_s=600, engine=False),
    Stage(name="fan-off rise", longest_s=2700, shortest_s=240, until_above_c=62.0),
    Stage(name="fan on 1", longest_s=300, fan=True),
    Stage(name="fan off 1", longest_s=300, shortest_s=90, until_above_c=74.0),
    Stage(name="fan on 2", longest_s=300, fan=True),
    Stage(name="fan off 2", longest_s=300, shortest_s=90, until_above_c=74.0),
    Stage(name="fan on 3", longest_s=300, fan=True),
    Stage(name="work loop", longest_s=1500, fan=True, moving=True),
    Stage(name="stopped cool-down", longest_s=1500, engine=False),
)

WIRE_CHANNELS = (
    *(WireChannel(name=name, source="max31855", detail="K") for name in CHANNELS),
    WireChannel(name="fan", source="state"),
    WireChannel(name="engine", source="value", detail="rpm"),
    WireChannel(name="drive", source="state"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsal:
    """What happened, and what the probes made of it: arrays (n, 1) by channel."""

    truth: Truth
    readings: Mapping[str, np.ndarray[tuple[int, ...], np.dtype[np.float64]]]

    @property
    def length_s(self) -> float:
        """Length of the outing [s]."""
        return float(self.truth.elapsed_s[-1]) + 1.0

    def stage_at(self, elapsed_s: float) -> str:
        """Return the name of the stage at a time of the outing."""
        names = self.truth.stage_names
        return names[min(int(self.truth.stage[self._row(elapsed_s), 0]), len(names) - 1)]

    @property
    def last_row(self) -> int:
        """Number of the last row."""
        return self.truth.elapsed_s.size - 1

    def _row(self, elapsed_s: float) -> int:
        return min(int(elapsed_s), self.last_row)

    def values(self, elapsed_s: float) -> dict[str, float | str | None]:
        """Return what the controller's channels are at a time; None is no reading."""
        row, truth = self._row(elapsed_s), self.truth
        seen = {name: float(values[row, 0]) for name, values in self.readings.items()}
        return {
            **{name: None if np.isnan(value) else value for name, value in seen.items()},
            "fan": float(truth.fan[row, 0]),
            "engine": WORKING_RPM * float(truth.engine[row, 0]),
            "drive": float(truth.moving[row, 0]),
            "board": BOARD_C,
        }


def demo_text(engine_unit: str = "rpm") -> str:
    """Return Bracken's profile as its owner wrote it (TOML).

    `engine_unit` is "on" where the engine is known by a sense input alone.
    """
    path = files("wattsump_analysis.emulation").joinpath("bracken.toml")
    return path.read_text(encoding="utf-8").replace('unit = "rpm"', f'unit = "{engine_unit}"')


def demo_profile(engine_unit: str = "rpm") -> Profile:
    """Return Bracken's profile; see `demo_text`."""
    import tomllib

    where = "bracken.toml of the demonstration"
    return profile_from_dict(tomllib.loads(demo_text(engine_unit)), where)


def demo_machine(profile: Profile, cooler_w_k: float = COOLER_W_K) -> Machine:
    """Return the plant behind the demonstration: near its profile, and not the same."""
    oil = profile.oil
    oil_j_k = OIL_SHARE * oil.volume_m3 * volumetric_heat_j_m3k(20.0, oil.density_15_kg_m3)
    stated_metal_j_k, _ = metal_capacity_j_k(profile)
    assert stated_metal_j_k is not None, "the demonstration's profile lists its metal"
    flow_m3_s = profile.cooler.oil_flow_m3_s
    assert flow_m3_s is not None, "the demonstration's profile states its oil flow"
    metal_j_k = METAL_SHARE * stated_metal_j_k
    flow_w_k = FLOW_SHARE * flow_m3_s * volumetric_heat_j_m3k(60.0, oil.density_15_kg_m3)
    # The oil side is an exchanger against one core temperature (see `plant`).
    oil_side_w_k = cooler_w_k / OIL_SIDE_SHARE
    figures = {
        "oil_tank_j_k": 0.7 * oil_j_k,
        "oil_loop_j_k": 0.3 * oil_j_k,
        "drive_metal_j_k": 0.50 * metal_j_k,
        "tank_wall_j_k": 0.38 * metal_j_k,
        "core_j_k": 0.12 * metal_j_k,
        "flow_w_k": flow_w_k,
        "core_oil_side_w_k": -np.log1p(-oil_side_w_k / flow_w_k) * flow_w_k,
        "core_air_side_w_k": cooler_w_k / (1.0 - OIL_SIDE_SHARE),
        "still_air_fraction": 0.08,
        "viscosity_exponent": 0.2,
        "bypass_mm2_s": 300.0,
        "drive_film_w_k": 220.0,
        "wall_film_w_k": 220.0,
        "rest_link_w_k": 8.0,
        "shell_drive_w_k": 6.5,
        "shell_wall_w_k": 6.5,
        "motion_gain": 0.5,
        "heat_to_oil_fraction": 0.7,
        "walther_a": oil.line.a,
        "walther_b": oil.line.b,
    }
    return Machine(**{name: np.array([value]) for name, value in figures.items()})


def rehearse(profile: Profile, seed: int = SEED, stages: Sequence[Stage] = STAGES) -> Rehearsal:
    """Run the outing and read it with one set of class 2 type K probes."""
    rng = np.random.default_rng(seed)
    truth = run(
        demo_machine(profile),
        stages,
        Load(level_w=np.array([3600.0]), wander=np.array([0.12]), memory_s=np.array([40.0])),
        Weather(
            start_c=np.array([19.0]),
            swing_k=np.array([1.0]),
            period_s=np.array([12000.0]),
            sun_k=np.array([0.2]),
        ),
        rng,
    )
    probes = Probes(
        offset_k=np.array([[0.9], [-0.7], [0.4], [1.1], [-0.5]]),
        lag_s=np.array([[8.0], [4.0], [4.0], [6.0], [10.0]]),
    )
    return Rehearsal(truth=truth, readings=probes.read(truth, rng))
