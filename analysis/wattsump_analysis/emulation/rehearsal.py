"""Run the emulated plant through the stages of an outing and read it with poor probes.

A stage holds the controls until a time or a tank temperature is reached, separately for
each machine. `run` returns what truly happened; `Probes.read` returns what a logger
would have seen: lag, offset, 0.25 K steps, spikes and missing readings.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.emulation.plant import Controls, Flows, Machine, Plant
from wattsump_logger.arrays import BoolArray

__all__ = ("CHANNELS", "Load", "Probes", "Running", "Stage", "Truth", "Weather", "run")

STEP_S = 0.5
SAMPLE_S = 1.0
CHANNELS = ("tank", "cooler_in", "cooler_out", "case_drain", "ambient")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """Controls held until `longest_s`, or until the tank passes `until_above_c`."""

    name: str
    longest_s: float
    shortest_s: float = 0.0
    until_above_c: float | None = None
    engine: bool = True
    moving: bool = False
    fan: bool = False
    load_level: float = 1.0
    heater_w: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """Heat of the drive: a level and a first-order wander about it, shape (m,)."""

    level_w: FloatArray
    wander: FloatArray
    memory_s: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Weather:
    """Air temperature: a start, a slow swing, and how much too warm the probe reads."""

    start_c: FloatArray
    swing_k: FloatArray
    period_s: FloatArray
    sun_k: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What happened: arrays of shape (n, m), one row per `SAMPLE_S`."""

    elapsed_s: FloatArray
    temps_c: dict[str, FloatArray]
    fan: FloatArray
    engine: FloatArray
    moving: FloatArray
    heater_w: FloatArray
    load_w: FloatArray
    cooler_w: FloatArray
    shell_w: FloatArray
    ambient_c: FloatArray
    stage: NDArray[np.int64]
    stage_names: tuple[str, ...]
    running: BoolArray


class Running(Protocol):
    """Anything that can be run through stages: tank, loop and metal temperatures lead the rows."""

    temps_c: FloatArray
    flows: Flows

    def step(self, controls: Controls, dt_s: float) -> Flows: ...


class _Schedule:
    """Which stage each machine is in, and its controls."""

    def __init__(self, stages: Sequence[Stage], machines: int) -> None:
        self.index = np.zeros(machines, dtype=np.int64)
        self.since_s = np.zeros(machines)
        self.column = {
            f.name: np.array([getattr(s, f.name) for s in stages] + [0.0], dtype=float)
            for f in fields(Stage)
            if f.name not in ("name", "until_above_c")
        }
        self.until_above_c = np.array(
            [np.inf if s.until_above_c is None else s.until_above_c for s in stages] + [np.inf]
        )
        self.count = len(stages)

    @property
    def running(self) -> BoolArray:
        return self.index < self.count

    def get(self, name: str) -> FloatArray:
        return np.asarray(self.column[name][self.index])

    def advance(self, tank_c: FloatArray, dt_s: float) -> None:
        self.since_s += dt_s
        over = self.since_s >= self.get("longest_s")
        warm = (tank_c >= self.until_above_c[self.index]) & (self.since_s >= self.get("shortest_s"))
        leave = self.running & (over | warm)
        self.index[leave] += 1
        self.since_s[leave] = 0.0


def run(
    machine: Machine,
    stages: Sequence[Stage],
    load: Load,
    weather: Weather,
    rng: np.random.Generator,
    make: Callable[[Machine, FloatArray], Running] = Plant,
) -> Truth:
    """Run m machines through `stages` from a cold soak; every random draw is `rng`'s.

    `make` builds the plant from the machines and the temperatures they start at.
    """
    count = load.level_w.size
    plant = make(machine, weather.start_c.copy())
    schedule = _Schedule(stages, count)
    phase = rng.uniform(0.0, 2 * np.pi, count)
    wander = rng.standard_normal(count)
    keep = np.exp(-SAMPLE_S / load.memory_s)
    rows: list[dict[str, FloatArray]] = []
    while schedule.running.any():
        swing = np.sin(phase + 2 * np.pi * len(rows) / weather.period_s) - np.sin(phase)
        ambient = weather.start_c + weather.swing_k * swing
        wander = keep * wander + np.sqrt(1 - keep**2) * rng.standard_normal(count)
        engine = schedule.get("engine")
        level = schedule.get("load_level") * load.level_w * engine
        controls = Controls(
            ambient_c=ambient,
            engine=engine,
            moving=schedule.get("moving"),
            fan=schedule.get("fan"),
            load_w=level * np.maximum(1.0 + load.wander * wander, 0.05),
            heater_w=schedule.get("heater_w"),
        )
        row = {
            "tank": plant.temps_c[0],
            "loop": plant.temps_c[1],
            "out": plant.flows.cooler_out_c,
            "case": 0.5 * (plant.temps_c[1] + plant.temps_c[2]),
            "fan": controls.fan,
            "engine": engine,
            "moving": controls.moving,
            "heater": controls.heater_w,
            "load": controls.load_w,
            "cooler": plant.flows.cooler_w,
            "shell": plant.flows.shell_w,
            "ambient": ambient,
            "stage": schedule.index.astype(float),
            "running": schedule.running.astype(float),
        }
        rows.append({name: np.array(value) for name, value in row.items()})
        for _ in range(round(SAMPLE_S / STEP_S)):
            plant.step(controls, STEP_S)
        schedule.advance(plant.temps_c[0], SAMPLE_S)
    table = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    return _truth(table, weather, stages)


def _truth(table: dict[str, FloatArray], weather: Weather, stages: Sequence[Stage]) -> Truth:
    """The recorded rows as what truly happened."""
    # Without flow the fitting at the outlet drifts half way from oil to air.
    stagnant = 0.5 * (table["loop"] + table["ambient"])
    return Truth(
        elapsed_s=np.asarray(np.arange(len(table["tank"])) * SAMPLE_S, dtype=float),
        temps_c={
            "tank": table["tank"],
            "cooler_in": table["loop"],
            "cooler_out": np.where(table["engine"] > 0, table["out"], stagnant),
            "case_drain": table["case"],
            "ambient": table["ambient"] + weather.sun_k,
        },
        fan=table["fan"],
        engine=table["engine"],
        moving=table["moving"],
        heater_w=table["heater"],
        load_w=table["load"],
        cooler_w=table["cooler"],
        shell_w=table["shell"],
        ambient_c=table["ambient"],
        stage=table["stage"].astype(np.int64),
        stage_names=tuple(stage.name for stage in stages),
        running=table["running"] > 0,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Probes:
    """Errors of the probes: arrays (channels, m) in the order of `CHANNELS`."""

    offset_k: FloatArray
    lag_s: FloatArray
    noise_k: float = 0.08
    step_k: float = 0.25
    spike_rate: float = 2e-4
    gap_rate: float = 1e-3

    def read(self, truth: Truth, rng: np.random.Generator) -> dict[str, FloatArray]:
        """Return readings (n, m) by channel; NaN is no reading."""
        readings = {}
        for row, name in enumerate(CHANNELS):
            clean = truth.temps_c[name]
            lagged = _lag(clean, self.lag_s[row])
            seen = lagged + self.offset_k[row] + self.noise_k * rng.standard_normal(clean.shape)
            spikes = rng.random(clean.shape) < self.spike_rate
            seen = np.where(spikes, seen + rng.normal(0.0, 30.0, clean.shape), seen)
            seen = np.round(seen / self.step_k) * self.step_k
            gaps = rng.random(clean.shape) < self.gap_rate
            readings[name] = np.where(gaps, np.nan, seen)
        return readings


def _lag(clean: FloatArray, lag_s: FloatArray) -> FloatArray:
    """First-order lag along the first axis, started settled."""
    keep = np.exp(-SAMPLE_S / lag_s)
    out = np.empty_like(clean)
    state = clean[0].copy()
    for row in range(clean.shape[0]):
        state = keep * state + (1 - keep) * clean[row]
        out[row] = state
    return out
