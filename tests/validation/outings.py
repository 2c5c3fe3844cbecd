"""Outings of drawn machines: what is done with them, what happens, and what an owner logs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
from families import (
    U_HEATER,
    U_LITRES,
    U_METER,
    U_PART,
    WORKING_RPM,
    Drawn,
    Family,
    draw,
)
from numpy.typing import NDArray
from parts import Balance, Controls, advance, balance
from scipy.signal import lfilter

from wattsump_logger.machine.profile import Profile, profile_from_dict
from wattsump_logger.session.reader import Session

__all__ = ("PROTOCOLS", "Happened", "Protocol", "Stage", "outing", "profile_of", "session_of")

FloatArray = NDArray[np.float64]

CHANNELS = ("tank", "cooler_in", "cooler_out", "case_drain", "ambient")
AT_COOLER = ("cooler_in", "cooler_out")
LABEL_ETD_K = 55.0
FAN_FROM_C, FAN_FULL_C = 45.0, 80.0
NIGHT_STEP_S = 10.0
STEEL_J_M3K = 3.6e6  # 7800 kg/m3 x 460 J/(kg K)
OUTSIDE_OVER_BORE = 1.1  # half of the wall's thickness over a bore of 19 mm, and round


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """Controls held until `longest_s`, or until the tank passes `until_above_c`.

    `fan` "by itself" is left to the thermostat of a machine that has one. `worked` lets load and
    throttle come and go as the machine's work has it; else both are held.
    """

    longest_s: float
    shortest_s: float = 0.0
    until_above_c: float = np.inf
    engine: Literal["off", "idle", "full"] = "full"
    worked: bool = False
    load: float = 1.0
    moving: bool = False
    fan: Literal["off", "on", "by itself"] = "off"
    heater_w: float = 0.0


SOAK = Stage(longest_s=600, engine="off")
COOL_DOWN = Stage(longest_s=1500, engine="off")
WORK = Stage(longest_s=4200, worked=True, moving=True, fan="by itself")


def steps(hot_c: float = 65.0) -> tuple[Stage, ...]:
    """A rise without the fan, three fan steps under load, a loop of work, and a cool-down."""
    on = Stage(longest_s=300, fan="on")
    off = Stage(longest_s=300, shortest_s=90, until_above_c=hot_c + 12)
    return (
        Stage(longest_s=2700, shortest_s=240, until_above_c=hot_c),
        *(on, off, on, off, on),
        Stage(longest_s=1500, worked=True, load=0.8, moving=True, fan="on"),
        COOL_DOWN,
    )


GUIDED = (SOAK, *steps())
# Oil circulated in neutral with the heater and then without: the difference is the heater's alone.
CIRCULATED = (
    SOAK,
    Stage(longest_s=1800, until_above_c=60.0, load=0.0, heater_w=1500.0),
    Stage(longest_s=600, until_above_c=65.0, load=0.0),
    *steps(),
)
STANDING = (SOAK, Stage(longest_s=2400, engine="off", heater_w=1000.0), *steps())
ORDINARY = (
    WORK,
    Stage(longest_s=420, engine="idle", load=0.1, fan="by itself"),
    replace(COOL_DOWN, longest_s=1200),
)
FAN_OFF = (
    replace(WORK, longest_s=2400),
    replace(WORK, longest_s=300, shortest_s=120, until_above_c=85.0, fan="off"),
    replace(WORK, longest_s=1500),
    *ORDINARY[1:],
)
STOPPED = Stage(longest_s=900, engine="off")
BREAKS = (
    replace(WORK, longest_s=1800),
    STOPPED,
    replace(WORK, longest_s=1500),
    replace(STOPPED, longest_s=400),
    *FAN_OFF[1:],
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Protocol:
    """What is done, which probes are there, and what is known of the oil's flow."""

    stages: Sequence[Stage]
    oils: tuple[str, ...] = CHANNELS[:4]
    flow: Literal["unknown", "metered", "bucket", "displacement"] = "unknown"
    heater: Literal["", "circulated", "standing", "pad"] = ""
    rpm: bool = True
    mount: Literal["in oil", "insulated"] = "in oil"
    pauses: bool = False  # whatever the family


PROTOCOLS: Mapping[str, Protocol] = {
    "guided": Protocol(stages=GUIDED),
    "guided, no engine speed": Protocol(stages=GUIDED, rpm=False),
    "guided, probes on the pipes": Protocol(stages=GUIDED, mount="insulated"),
    "guided, metered flow": Protocol(stages=GUIDED, flow="metered"),
    "guided, flow by bucket": Protocol(stages=GUIDED, flow="bucket"),
    "guided, displacement": Protocol(stages=GUIDED, flow="displacement"),
    "guided, tank and ambient": Protocol(stages=GUIDED, oils=("tank",)),
    "guided, circulated heater": Protocol(stages=CIRCULATED, heater="circulated"),
    "guided, standing heater": Protocol(stages=STANDING, heater="standing"),
    "guided, heater pad": Protocol(stages=STANDING, heater="pad"),
    "ordinary work": Protocol(stages=ORDINARY),
    "ordinary work, no engine speed": Protocol(stages=ORDINARY, rpm=False),
    "ordinary work, one fan-off": Protocol(stages=FAN_OFF),
    "ordinary work, fan-off, no speed": Protocol(stages=FAN_OFF, rpm=False),
    "ordinary work, fan-off, on pipes": Protocol(stages=FAN_OFF, mount="insulated"),
    "ordinary work, fan-off, breaks": Protocol(stages=BREAKS),
    "ordinary work, metered, pauses": Protocol(stages=ORDINARY, flow="metered", pauses=True),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Happened:
    """What truly happened, arrays (n, m), one row a second; NaN once a machine's outing is over.

    `seen_c` is what each probe's metal is at; `flow_lpm` passes all coolers together.
    """

    drawn: Drawn
    protocol: Protocol
    seen_c: Mapping[str, FloatArray]
    inlet_c: FloatArray
    controls: Mapping[str, FloatArray]
    cooler_w: FloatArray
    shell_w: FloatArray
    flow_lpm: FloatArray
    last_row: NDArray[np.int64]

    def rows(self, one: int) -> slice:
        """Rows of machine `one`'s outing."""
        return slice(0, int(self.last_row[one]) + 1)


class _Operator:
    """Goes through the stages with each machine and works it; every random draw is `rng`'s."""

    def __init__(self, drawn: Drawn, stages: Sequence[Stage], rng: np.random.Generator) -> None:
        self.drawn, self.stages, self.rng = drawn, [*stages, COOL_DOWN], rng
        count = drawn.count
        self.index = np.zeros(count, dtype=np.int64)
        self.since_s = np.zeros(count)
        self.busy = np.ones(count)
        self.wander = rng.standard_normal(count)
        self.throttle = np.ones(count)
        self.fan = np.zeros(count)
        self.left_shed_s = np.zeros(count)
        self.phase = rng.uniform(0.0, 2.0 * np.pi, count)

    @property
    def running(self) -> NDArray[np.bool_]:
        return self.index < len(self.stages) - 1

    def of_stage(self, read: str) -> FloatArray:
        values = np.array([float(getattr(stage, read)) for stage in self.stages])
        return np.asarray(values[self.index])

    def is_stage(self, read: str, word: str) -> FloatArray:
        values = np.array([float(getattr(stage, read) == word) for stage in self.stages])
        return np.asarray(values[self.index])

    def _work(self) -> None:
        """One second of bursts and pauses, of a wandering load and a hand on the throttle."""
        work, rng = self.drawn.work, self.rng
        keep = np.exp(-1.0 / work.memory_s)
        draws = rng.standard_normal(work.level_w.size)
        self.wander = keep * self.wander + np.sqrt(1.0 - keep**2) * draws
        chance, moved = rng.random((2, work.level_w.size))
        stay_s = np.where(self.busy > 0.0, work.burst_s, work.pause_s)
        flips = (work.pause_s > 0.0) & (chance < 1.0 / np.maximum(stay_s, 1.0))
        self.busy = np.where(flips, 1.0 - self.busy, self.busy)
        to = rng.uniform(work.lowest, 1.0)
        self.throttle = np.where(moved < 1.0 / work.held_s, to, self.throttle)

    def controls(self, second: int, tank_c: FloatArray) -> Controls:
        work, machine = self.drawn.work, self.drawn.machine
        self._work()
        worked = self.of_stage("worked")
        busy = worked * self.busy + (1.0 - worked)
        open_ = worked * self.throttle + (1.0 - worked)
        rests = (1.0 - busy) * work.idles
        open_ = (1.0 - rests) * open_ + rests * work.idle
        open_ = np.where(self.is_stage("engine", "idle") > 0.0, work.idle, open_)
        wander = np.maximum(1.0 + work.wander * self.wander, 0.05)
        load = self.of_stage("load") * busy * wander
        running = 1.0 - self.is_stage("engine", "off")
        speed = running * open_ * (1.0 - work.droop * np.minimum(load, 1.0))
        circulated_w = work.charge_pa * machine.pump.flow_m3_s * speed
        # The heat of work is pressure times flow lost: with a slower engine there is less of it.
        load_w = running * (work.level_w * load * open_) + circulated_w
        over_k = tank_c - self.drawn.site.thermostat_c
        self.fan = np.where(over_k > 2.0, 1.0, np.where(over_k < -2.0, 0.0, self.fan))
        by_itself = self.is_stage("fan", "by itself") * self.fan
        fan = self.is_stage("fan", "on") + by_itself
        if self.drawn.family.follows_oil:
            fan = fan * np.clip((tank_c - FAN_FROM_C) / (FAN_FULL_C - FAN_FROM_C), 0.15, 1.0)
        return Controls(
            ambient_c=self.air_c(second),
            speed=speed,
            load=np.minimum(load, 1.0),
            moving=self.of_stage("moving") * busy,
            fan=fan,
            load_w=load_w,
            heater_w=self.of_stage("heater_w"),
        )

    def air_c(self, second: int) -> FloatArray:
        site = self.drawn.site
        swing = np.sin(self.phase + 2 * np.pi * second / site.period_s) - np.sin(self.phase)
        indoors = np.exp(-self.left_shed_s / site.shed_left_s)
        night = np.where(site.night_k > 0.0, -site.night_k_s * second, site.swing_k * swing)
        return np.asarray(site.ambient_c + night + site.shed_k * indoors)

    def go_on(self, tank_c: FloatArray) -> None:
        # A machine leaves the shed when its engine has started.
        self.left_shed_s += (self.is_stage("engine", "off") == 0.0) | (self.left_shed_s > 0.0)
        self.since_s += 1.0
        warm = (tank_c >= self.of_stage("until_above_c")) & (
            self.since_s >= self.of_stage("shortest_s")
        )
        leave = self.running & (warm | (self.since_s >= self.of_stage("longest_s")))
        self.index[leave] += 1
        self.since_s[leave] = 0.0


def _at_start(drawn: Drawn) -> FloatArray:
    """Temperatures of the nodes when logging begins: as the air, or still cooling in the night."""
    site, machine = drawn.site, drawn.machine
    count = len(machine.nodes)
    temps = np.repeat((site.ambient_c + site.shed_k)[np.newaxis], count, axis=0)
    if drawn.family.start != "night":
        return temps
    temps = temps + site.night_k
    none = np.zeros(drawn.count)
    for second in np.arange(0.0, site.night_s.max(), NIGHT_STEP_S):
        air = site.ambient_c + site.night_k_s * np.maximum(site.night_s - second, 0.0)
        still = Controls(
            ambient_c=air,
            speed=none,
            load=none,
            moving=none,
            fan=none,
            load_w=none,
            heater_w=none,
        )
        later = advance(balance(machine, temps, still), temps, NIGHT_STEP_S)
        temps = np.where(second < site.night_s, later, temps)
    return temps


def outing(family: Family, protocol: Protocol, count: int, seed: int) -> Happened:
    """Run `count` machines of a family through a protocol."""
    rng = np.random.default_rng(seed)
    family = replace(family, pauses=True) if protocol.pauses else family
    drawn = draw(family, count, rng, protocol.heater)
    operator = _Operator(drawn, protocol.stages, rng)
    machine, temps = drawn.machine, _at_start(drawn)
    rows: list[tuple[FloatArray, ...]] = []
    last = np.zeros(count, dtype=np.int64)
    second = 0
    while operator.running.any():
        last[operator.running] = second
        c = operator.controls(second, temps[machine.row["tank"]])
        moment = balance(machine, temps, c)
        rows.append(_row(drawn, temps, moment, c))
        temps = advance(moment, temps, 1.0)
        operator.go_on(temps[machine.row["tank"]])
        second += 1
    columns = zip(_ROW, zip(*rows, strict=True), strict=True)
    table = {name: np.array(values) for name, values in columns}
    return Happened(
        drawn=drawn,
        protocol=protocol,
        seen_c={name: table[name] for name in CHANNELS},
        inlet_c=table["cooler_in"],
        controls={name: table[name] for name in _CONTROLS},
        cooler_w=table["cooler_w"],
        shell_w=table["shell_w"],
        flow_lpm=table["flow_lpm"],
        last_row=last,
    )


_CONTROLS = ("air", "speed", "moving", "fan", "load_w", "heater_w")
_ROW = (*CHANNELS, *_CONTROLS, "cooler_w", "shell_w", "flow_lpm")


def _row(drawn: Drawn, temps: FloatArray, moment: Balance, c: Controls) -> tuple[FloatArray, ...]:
    """What there is to see and to know of one second, in the order of `_ROW`."""
    machine, site = drawn.machine, drawn.site
    row, cooled = machine.row, machine.cooled
    inlet = temps[row[cooled[0].before[-1]]]
    pumped = c.speed > 0.0
    # A fitting without flow drifts half way to the air.
    outlet = np.where(pumped, temps[row[cooled[0].after[0]]], 0.5 * (inlet + c.ambient_c))
    case = temps[row["case"]] if "case" in row else temps[row["drive"]]
    cooler = cooled[0].cooler
    assert cooler is not None
    behind_k = np.where(
        pumped | (c.fan > 0.0), moment.cooler_w / cooler.air_flow_w_k / len(cooled), 0.0
    )
    ambient = c.ambient_c + site.sun_k + site.core_share * np.minimum(behind_k, 40.0)
    tank = temps[row["tank"]]
    share = sum((machine.passing_w_k(path, tank, c) for path in cooled), np.zeros_like(inlet))
    share = share / np.maximum(machine.moved_w_k(tank, c.speed, c.load), 1e-6)
    volume = machine.pump.flow_m3_s * c.speed * (1.0 - machine.pump.slip * c.load) * share * 60000.0
    values = (
        *(temps[row["tank"]], inlet, outlet, 0.5 * (case + temps[row["metal"]]), ambient),
        *(c.ambient_c, c.speed, c.moving, c.fan, c.load_w, c.heater_w),
        *(moment.cooler_w, moment.shell_w, volume),
    )
    return tuple(np.array(value, dtype=float) for value in values)


def _late(seen_c: FloatArray, lag_s: float) -> FloatArray:
    """What follows a temperature by a lag, a row a second."""
    keep = np.exp(-1.0 / lag_s)
    slow, _ = lfilter([1.0 - keep], [1.0, -keep], seen_c, zi=[keep * seen_c[0]])
    return np.asarray(slow)


def _read(
    seen_c: FloatArray, lag_s: float, offset_k: float, rng: np.random.Generator
) -> FloatArray:
    """A probe's readings: lag, offset, noise, quarter-degree steps, spikes, and some missing."""
    read = _late(seen_c, lag_s) + offset_k + 0.1 * rng.standard_normal(seen_c.size)
    spikes = rng.random(seen_c.size) < 2e-4
    read = np.where(spikes, read + 30.0 * rng.standard_normal(seen_c.size), read)
    read = np.round(read / 0.25) * 0.25
    return np.where(rng.random(seen_c.size) < 1e-3, np.nan, read)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pipe:
    """A probe under foam on its pipe: what it misses of its oil's rise, and its wall's lag [s]."""

    missed: float
    lag_s: float

    def wall_c(self, oil_c: FloatArray, air_c: FloatArray) -> FloatArray:
        """Temperature of the probe's bead, a row a second."""
        return _late(oil_c - self.missed * (oil_c - air_c), self.lag_s)


def _pipes(one: int) -> dict[str, _Pipe]:
    """The two pipes at the cooler, with a probe under foam on each.

    The foam passes 2.5 to 5 W/(m2 K), the oil's film 80 to 320 (Nusselt numbers of 12 to 47 in a
    bore of 19 mm, laminar and developing, worked out by hand), and the bead is not quite at the
    wall's temperature. The film warms 1.5 to 2.5 mm of steel, 3.6 MJ/(m3 K): in 18 to 140 s.
    """
    rng = np.random.default_rng([11, one])
    film = float(np.exp(rng.uniform(np.log(80.0), np.log(320.0))))
    found, walls = {}, np.random.default_rng([12, one]).uniform(1.5e-3, 2.5e-3, len(AT_COOLER))
    for name, wall_m in zip(AT_COOLER, walls, strict=True):
        foam, bead, own = rng.uniform(2.5, 5.0), rng.uniform(0.0, 0.01), rng.uniform(0.9, 1.1)
        found[name] = _Pipe(
            missed=foam / (foam + film * own) + bead,
            lag_s=STEEL_J_M3K * wall_m * OUTSIDE_OVER_BORE / (film * own),
        )
    return found


def session_of(happened: Happened, one: int, slow: float = 1.0) -> Session:
    """What the owner of machine `one` logged, by probes `slow` times as slow as usual."""
    rng = np.random.default_rng([7, one])
    rows, protocol, drawn = happened.rows(one), happened.protocol, happened.drawn
    controls = {name: values[rows, one] for name, values in happened.controls.items()}
    class_k, pipes = float(drawn.owner.class_k[one]), _pipes(one)
    columns: dict[str, FloatArray] = {}
    for name in (*protocol.oils, "ambient"):
        offset_k = rng.uniform(-class_k, class_k) + 0.4 * rng.standard_normal()
        seen = happened.seen_c[name][rows, one]
        if name in AT_COOLER and protocol.mount == "insulated":
            seen = pipes[name].wall_c(seen, controls["air"])
        columns[f"{name}_c"] = _read(seen, slow * rng.uniform(2, 15), offset_k, rng)
    speed = controls["speed"]
    if protocol.rpm:
        rpm = WORKING_RPM * speed * (1.0 + 0.005 * rng.standard_normal(speed.size))
        columns["engine_rpm"] = np.round(rpm / 10.0) * 10.0
    else:
        columns["engine_on"] = (speed > 0.0).astype(float)
    belt = drawn.family.belt
    # A switch's wire tells whether a fan turns, not how fast.
    columns["fan_on"] = ((controls["fan"] > 0.0) & ((speed > 0.0) | (not belt))).astype(float)
    columns["drive_on"] = controls["moving"]
    if protocol.heater:
        columns["heater_w"] = controls["heater_w"] * float(drawn.owner.heater[one])
    if protocol.flow == "metered":
        noise = 1.0 + 0.01 * rng.standard_normal(speed.size)
        columns["flow_lpm"] = happened.flow_lpm[rows, one] * float(drawn.owner.meter[one]) * noise
    return Session(
        path=Path(f"machine-{one}.csv"),
        elapsed_s=np.arange(speed.size, dtype=float),
        columns=columns,
    )


def profile_of(happened: Happened, one: int, label_w_k: float) -> Profile:
    """What the owner of machine `one` typed; the label stands for `label_w_k`."""
    drawn, protocol = happened.drawn, happened.protocol
    owner = drawn.owner

    def half_width(u_rel: float) -> str:
        return f"{200.0 * u_rel:.4g} %"

    cooler: dict[str, object] = {
        "label_heat": f"{label_w_k * LABEL_ETD_K:.6g} W",
        "label_etd": f"{LABEL_ETD_K:g} K",
        "oil_flow_uncertainty": half_width(U_METER),
    }
    drive: dict[str, object] = {}
    if protocol.flow == "bucket":
        cooler["oil_flow"] = f"{owner.bucket_lpm[one]:.6g} L/min"
        cooler["oil_flow_rpm"] = float(WORKING_RPM * drawn.work.idle[one])
        cooler["oil_flow_uncertainty"] = half_width(float(owner.u_bucket[one]))
    elif protocol.flow == "displacement" and drawn.family.cooler != "case drain":
        # What a case drain passes is not what its pump displaces.
        drive["pump_displacement"] = f"{1000.0 * owner.turn_m3[one]:.6g} L"
    sensor = f"K class {1 if owner.class_k[one] < 2.0 else 2}"
    raw: dict[str, object] = {
        "name": "drawn machine",
        "oil": {
            "grade": owner.grades[one],
            "volume": f"{owner.litres[one]:.6g} L",
            "volume_uncertainty": half_width(U_LITRES),
        },
        "metal": [
            {
                "name": name,
                "material": material,
                "mass": f"{kg[one]:.6g} kg",
                "mass_uncertainty": half_width(U_PART),
            }
            for name, (material, kg) in owner.parts_kg.items()
        ],
        "cooler": cooler,
        "drive": drive,
        "channels": {
            **{name: {"sensor": sensor} for name in (*protocol.oils, "ambient")},
            **{
                name: {"sensor": sensor, "mount": protocol.mount}
                for name in AT_COOLER
                if name in protocol.oils
            },
            "engine": {"unit": "rpm" if protocol.rpm else "on"},
        },
    }
    if protocol.heater:
        raw["heater"] = {
            "power": f"{max(stage.heater_w for stage in protocol.stages):g} W",
            "power_uncertainty": half_width(U_HEATER),
            "metered": True,
            "bonded": protocol.heater == "pad",
        }
    return profile_from_dict(raw, "drawn machine")
