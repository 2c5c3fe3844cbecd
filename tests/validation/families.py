"""Families of machines that differ in structure, each a declaration of where its parts are.

A family says what is unlike in it; everything else is drawn from ranges that all share: small
hydrostatic machines of 10 to 30 litres, common practice, no source.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from parts import (
    Cooler,
    Hot,
    Link,
    Machine,
    Node,
    Path,
    Pump,
    Surface,
    oil_growth,
    volumetric_heat_j_m3k,
)

__all__ = ("FAMILIES", "Drawn", "Family", "Owner", "Site", "Work", "draw")

FloatArray = NDArray[np.float64]
Between = tuple[float, float]

WARM_C = 60.0
# kg/m3 at 20 °C and J/(kg K): as in `parts`, and handbook figures for metals (from memory).
IRON_J_KGK, STEEL_J_KGK, ALUMINIUM_J_KGK = 500.0, 470.0, 900.0
# Viscosities at 40 and 100 °C of mineral oils with an index near 100, mm2/s (from memory).
GRADES: Mapping[str, Between] = {
    "VG 32": (32.0, 5.4),
    "VG 46": (46.0, 6.8),
    "VG 68": (68.0, 8.7),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """What sets a family apart; `load_to` are weights of the places where work becomes heat."""

    load_to: Mapping[str, Between] = field(
        default_factory=lambda: {"drive": (0.5, 1.0), "metal": (0.2, 0.7), "tank": (0.0, 0.1)}
    )
    misses: Between = (0.0, 0.0)  # share of the pumped oil that goes home without the cooler
    cooler: Literal["return", "case drain", "one a side"] = "return"
    belt: bool = False
    thermostat: bool = False
    follows_oil: bool = False  # the fan's speed, from little at 45 °C to full at 80 °C
    throttle: Literal["steady", "varied"] = "steady"
    pauses: bool = False
    start: Literal["even", "shed", "night"] = "even"
    air_probe: Literal["shaded", "sun", "core"] = "shaded"
    tank: Literal["stirred", "corner", "baffle"] = "stirred"
    beside_engine: bool = False
    leaks: bool = False  # what the cooler gets is leakage, more under load and of thin oil
    size: float = 1.0  # of oil, metal, flow, heat and every conductance


FAMILIES: Mapping[str, Family] = {
    "heat in the lines": Family(load_to={"return": (0.5, 1.0), "drive": (0.2, 0.6)}),
    "heat in the metal": Family(load_to={"metal": (0.7, 1.0), "drive": (0.1, 0.4)}),
    "heat in the tank": Family(load_to={"tank": (0.4, 0.8), "drive": (0.4, 0.8)}),
    "part misses the cooler": Family(misses=(0.2, 0.5)),
    "two coolers": Family(cooler="one a side"),
    "cooler in the case drain": Family(
        cooler="case drain", load_to={"case": (0.3, 0.7), "drive": (0.3, 0.7), "metal": (0.1, 0.4)}
    ),
    "varied engine speed": Family(throttle="varied"),
    "fan on the belt": Family(belt=True, throttle="varied", pauses=True),
    "fan on a thermostat": Family(thermostat=True),
    "bursts and pauses": Family(pauses=True),
    "out of a warm shed": Family(start="shed"),
    "a night still cooling": Family(start="night"),
    "air probe in the sun": Family(air_probe="sun"),
    "air probe near the core": Family(air_probe="core"),
    "dead corner in the tank": Family(tank="corner"),
    "baffle in the tank": Family(tank="baffle"),
    "tank beside the engine": Family(beside_engine=True),
    "leakage through the cooler": Family(
        cooler="case drain",
        leaks=True,
        load_to={"case": (0.3, 0.7), "drive": (0.3, 0.7), "metal": (0.1, 0.4)},
    ),
    "three times the size": Family(size=3.0),
    "a third of the size": Family(size=1.0 / 3.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """How a machine is worked: heat at full load [W] and how it comes and goes, shape (m,)."""

    level_w: FloatArray
    charge_pa: FloatArray  # what the charge pump's flow drops to nothing while nothing is done
    wander: FloatArray
    memory_s: FloatArray
    idle: FloatArray
    droop: FloatArray
    burst_s: FloatArray
    pause_s: FloatArray
    idles: FloatArray  # 1 where the throttle is closed in a pause
    held_s: FloatArray  # of one position of the throttle where it is varied
    lowest: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Weather, the state at the start, and what warms the air probe, shape (m,)."""

    ambient_c: FloatArray
    swing_k: FloatArray
    period_s: FloatArray
    shed_k: FloatArray
    shed_left_s: FloatArray
    night_k: FloatArray
    night_s: FloatArray
    night_k_s: FloatArray  # how fast the air of a night falls
    sun_k: FloatArray
    core_share: FloatArray  # of the warmth of the air behind the core that the probe feels
    thermostat_c: FloatArray  # far above or below the oil where there is none


@dataclass(frozen=True, slots=True, kw_only=True)
class Owner:
    """What an owner would state, with errors as large as the uncertainties that are typed."""

    grades: tuple[str, ...]
    litres: FloatArray
    parts_kg: Mapping[str, tuple[str, FloatArray]]
    turn_m3: FloatArray  # of the pump, for a turn of the engine, as on its plate
    bucket_lpm: FloatArray  # caught without load at an idle
    u_bucket: FloatArray
    class_k: FloatArray
    meter: FloatArray
    heater: FloatArray


U_LITRES, U_PART, U_PLATE, U_METER, U_HEATER = 0.04, 0.13, 0.01, 0.03, 0.02
WORKING_RPM = 2400.0
TIGHT = 0.97  # of what it displaces a pump without load delivers


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """The machines of a family and everything around them."""

    family: Family
    machine: Machine
    work: Work
    site: Site
    owner: Owner
    metal_j_k: FloatArray
    oil_j_k: FloatArray

    @property
    def count(self) -> int:
        return int(self.work.level_w.size)

    def capacity_j_k(self, oil_c: float) -> FloatArray:
        """Heat capacity of oil and metal [J/K]."""
        return np.asarray(self.oil_j_k * oil_growth(np.array(oil_c)) + self.metal_j_k)


Draw = Callable[[float, float], FloatArray]


def draw(family: Family, count: int, rng: np.random.Generator, heater: str = "circulated") -> Drawn:
    """Draw `count` machines of a family; `heater` is circulated, standing or pad."""

    def between(low: float, high: float) -> FloatArray:
        return rng.uniform(low, high, count)

    def normal(sd: float) -> FloatArray:
        return np.exp(sd * rng.standard_normal(count))

    def log_between(low: float, high: float) -> FloatArray:
        return np.exp(between(np.log(low), np.log(high)))

    size = family.size
    litres = size * between(10, 30)
    oil_heat = normal(0.03)
    oil_j_k = litres / 1000.0 * oil_heat * volumetric_heat_j_m3k(np.full(count, 20.0))
    kg = {
        "drive": size * between(18, 45),
        "tank": size * between(8, 22),
        "core": size * between(2, 6),
    }
    heat_of = {"drive": IRON_J_KGK, "tank": STEEL_J_KGK, "core": ALUMINIUM_J_KGK}
    specific = normal(0.04)
    metal = {name: kg[name] * heat_of[name] * specific for name in kg}
    flow_m3_s = size * between(12, 40) / 60000.0
    misses = between(*family.misses)
    grades = tuple(str(grade) for grade in rng.choice(list(GRADES), count))
    paths, cores = _paths(family, misses, flow_m3_s * oil_heat, between)
    names = _volumes(paths)
    nodes = _nodes(names, oil_j_k, metal, cores, between, size * LINE_LEAST_J_K)
    nodes, extra, hot = _around_the_tank(family, nodes, between)
    load_to = _shares(family, names, between)
    shell = size * between(8, 22)
    motion = between(0.2, 0.8)
    drive_shell = between(0.25, 0.6)
    surfaces = (
        Surface(node="metal", w_k=shell * drive_shell, motion=motion),
        Surface(node="wall", w_k=shell * (0.9 - drive_shell), motion=motion),
        Surface(node=names[1], w_k=shell * 0.1, motion=motion),
    )
    links = (
        Link(one="drive", other="metal", w_k=size * between(100, 350), standing=0.15),
        Link(one="tank", other="wall", w_k=size * between(150, 600), standing=0.3),
        Link(
            one="tank",
            other="metal",
            w_k=size * np.exp(between(np.log(3), np.log(60))),
            standing=0.5,
        ),
        *(Link(one="tank", other=name, w_k=size * between(1, 4)) for name in names[1:]),
        *(
            Link(one=path.cooler.core, other=path.before[-1], w_k=size * between(1, 3))
            for path in paths
            if path.cooler is not None
        ),
        *extra,
    )
    back = between(0.1, 0.25)
    machine = Machine(
        nodes=nodes,
        links=links,
        surfaces=surfaces,
        paths=paths,
        pump=Pump(flow_m3_s=flow_m3_s, slip=between(0.02, 0.1)),
        load_to=load_to,
        heater_to={"wall": 1.0 - back} if heater == "pad" else {"tank": np.ones(count)},
        oil_heat=oil_heat,
        walther=_walther(grades),
        hot=hot,
    )
    rise_k = between(15, 45)
    level_w = rise_k * (machine.settled_w_k(np.full(count, WARM_C)) + shell)
    work = Work(
        level_w=level_w,
        charge_pa=between(10e5, 25e5),
        wander=between(0.05, 0.30),
        memory_s=np.exp(between(np.log(10), np.log(300))),
        idle=between(0.35, 0.60),
        droop=between(0.02, 0.08),
        burst_s=between(60, 300),
        pause_s=between(30, 150) if family.pauses else np.zeros(count),
        idles=(between(0, 1) < 0.7).astype(float),
        held_s=between(60, 400),
        lowest=between(0.55, 0.8) if family.throttle == "varied" else np.ones(count),
    )
    ambient = between(-15, 32)
    off = {"night_s": between(7200, 13000), "night_k_s": between(0.4, 1.5) / 3600.0}
    site = Site(
        ambient_c=ambient,
        swing_k=between(-2.5, 2.5),
        period_s=between(7200, 20000),
        shed_k=between(4, 15) if family.start == "shed" else np.zeros(count),
        shed_left_s=between(30, 120),
        night_k=between(15, 35) if family.start == "night" else np.zeros(count),
        **off,
        sun_k=between(1, 4) if family.air_probe == "sun" else np.abs(0.5 * rng.normal(size=count)),
        core_share=between(0.05, 0.2) if family.air_probe == "core" else np.zeros(count),
        thermostat_c=(
            ambient + rise_k + np.maximum(8.0, 0.25 * rise_k)
            if family.thermostat
            else np.full(count, -200.0)
        ),
    )
    cooled = sum((path.share for path in machine.cooled), np.zeros(count))
    u_bucket = between(0.02, 0.04)
    idled_lpm = flow_m3_s * work.idle * 60000.0
    unloaded = 1.0 - max(path.leaks for path in paths)
    owner = Owner(
        grades=grades,
        litres=litres * normal(U_LITRES),
        parts_kg={
            "drive": ("cast iron", kg["drive"] * normal(U_PART)),
            "tank": ("steel", kg["tank"] * normal(U_PART)),
            "core": ("aluminium", kg["core"] * normal(U_PART)),
        },
        turn_m3=flow_m3_s / TIGHT * 60.0 / WORKING_RPM * normal(U_PLATE),
        bucket_lpm=idled_lpm * cooled * unloaded * np.exp(u_bucket * rng.standard_normal(count)),
        u_bucket=u_bucket,
        class_k=rng.choice([1.5, 2.5], count),
        meter=normal(U_METER),
        heater=normal(U_HEATER),
    )
    return Drawn(
        family=family,
        machine=machine,
        work=work,
        site=site,
        owner=owner,
        metal_j_k=sum(metal.values(), np.zeros(count)),
        oil_j_k=oil_j_k,
    )


def _paths(
    family: Family, misses: FloatArray, flow_oil: FloatArray, between: Draw
) -> tuple[tuple[Path, ...], tuple[str, ...]]:
    """The ways of the oil, and the names of the cores."""
    one = np.ones_like(misses)
    rate_w_k = flow_oil * volumetric_heat_j_m3k(np.full_like(misses, WARM_C))
    whole_w_k = family.size * np.exp(between(np.log(40), np.log(180)))
    if family.cooler == "return":
        share = 1.0 - misses
        cooler = _cooler("core", whole_w_k, rate_w_k * share, family.belt, between)
        after = ("outlet", "chamber") if family.tank == "baffle" else ("outlet",)
        cooled = Path(before=("drive", "inlet"), share=share, cooler=cooler, after=after)
        rest = (Path(before=("drive",), share=misses),) if misses.any() else ()
        return (cooled, *rest), ("core",)
    if family.cooler == "case drain":
        share = between(0.35, 0.7)
        cooler = _cooler("core", whole_w_k, rate_w_k * share, family.belt, between)
        leaks = 0.7 if family.leaks else 0.0
        return (
            Path(
                before=("drive", "case"), share=share, cooler=cooler, after=("outlet",), leaks=leaks
            ),
            Path(before=("drive", "inlet"), share=one - share),
        ), ("core",)
    left = between(0.42, 0.58)
    sides = []
    for side, share in (("left", left), ("right", one - left)):
        cooler = _cooler(f"core {side}", 0.5 * whole_w_k, rate_w_k * share, family.belt, between)
        sides.append(
            Path(
                before=("drive", f"inlet {side}"),
                share=share,
                cooler=cooler,
                after=(f"outlet {side}",),
            )
        )
    return tuple(sides), ("core left", "core right")


def _cooler(
    core: str, wanted_w_k: FloatArray, rate_w_k: FloatArray, belt: bool, between: Draw
) -> Cooler:
    """A cooler that settles at what is wanted, as far as the oil that passes can carry it."""
    # The oil side cannot carry more than 0.85 of its capacity rate, whatever the core.
    share = np.minimum(np.maximum(between(0.15, 0.4), wanted_w_k / (0.85 * rate_w_k)), 0.75)
    settled = np.minimum(wanted_w_k, 0.85 * share * rate_w_k)
    oil, air = settled / share, settled / (1.0 - share)
    blown = air / between(0.35, 0.75)
    return Cooler(
        core=core,
        oil_side_w_k=-np.log1p(-oil / rate_w_k) * rate_w_k,
        air_side_w_k=-np.log1p(-air / blown) * blown,
        air_flow_w_k=blown,
        still=between(0.02, 0.08),
        flow_power=between(0.3, 0.6),
        viscosity_power=between(0.1, 0.3),
        bypass_mm2_s=between(150, 400),
        belt=np.full_like(oil, float(belt)),
    )


def _volumes(paths: tuple[Path, ...]) -> tuple[str, ...]:
    """Names of all oil volumes, the tank first."""
    names = ["tank"]
    for path in paths:
        names += [name for name in (*path.before, *path.after) if name not in names]
    return tuple(names)


LINE_LEAST_J_K = 1800.0  # oil and steel of a metre or two of hose and fittings


def _nodes(
    names: tuple[str, ...],
    oil_j_k: FloatArray,
    metal_j_k: Mapping[str, FloatArray],
    cores: tuple[str, ...],
    between: Draw,
    least_j_k: float,
) -> dict[str, Node]:
    """Oil shared out over its volumes, and the metal."""
    lines = [name for name in names[2:] if name != "chamber"]
    line_j_k = {name: np.maximum(between(0.015, 0.04) * oil_j_k, least_j_k) for name in lines}
    drive = between(0.08, 0.25) * oil_j_k
    tank = oil_j_k - drive - sum(line_j_k.values(), np.zeros_like(oil_j_k))
    nodes = {"tank": Node(j_k=tank, oil=True), "drive": Node(j_k=drive, oil=True)}
    nodes |= {name: Node(j_k=line_j_k[name], oil=True) for name in lines}
    nodes |= {"metal": Node(j_k=metal_j_k["drive"]), "wall": Node(j_k=metal_j_k["tank"])}
    return nodes | {name: Node(j_k=metal_j_k["core"] / len(cores)) for name in cores}


def _around_the_tank(
    family: Family, nodes: dict[str, Node], between: Draw
) -> tuple[dict[str, Node], tuple[Link, ...], tuple[Hot, ...]]:
    """A tank that is not stirred throughout, or that a warm engine stands beside."""
    if family.tank != "stirred":
        name = "corner" if family.tank == "corner" else "chamber"
        apart = between(0.2, 0.5)
        whole = nodes["tank"].j_k
        nodes = nodes | {
            "tank": Node(j_k=(1.0 - apart) * whole, oil=True),
            name: Node(j_k=apart * whole, oil=True),
        }
        w_k = np.exp(between(np.log(15), np.log(150)))
        return nodes, (Link(one="tank", other=name, w_k=w_k, standing=0.3),), ()
    if family.beside_engine:
        engine = Node(j_k=between(25e3, 50e3))
        link = Link(one="engine", other="wall", w_k=between(2, 7))
        hot = Hot(node="engine", at_c=85.0, w_k=engine.j_k / between(200, 500))
        return nodes | {"engine": engine}, (link,), (hot,)
    return nodes, (), ()


def _shares(family: Family, names: tuple[str, ...], between: Draw) -> dict[str, FloatArray]:
    """Where the heat of work goes in: the drawn weights, made to add up to one."""
    weights: dict[str, FloatArray] = {}
    for place, (low, high) in family.load_to.items():
        weight = between(low, high)
        if place == "return":
            sides = [name for name in names if name.startswith("inlet")]
            weights |= {name: weight / len(sides) for name in sides}
        else:
            weights[place] = weight
    if "inlet left" in names:  # the motors of the two sides seldom do the same work
        left = between(0.1, 0.3)
        weights |= {"inlet left": left, "inlet right": 0.4 - left}
    total = sum(weights.values(), np.zeros_like(next(iter(weights.values()))))
    return {name: weight / total for name, weight in weights.items()}


def _walther(grades: tuple[str, ...]) -> tuple[FloatArray, FloatArray]:
    warm, hot = np.log10(313.15), np.log10(373.15)
    at = np.array([GRADES[grade] for grade in grades])
    level = np.log10(np.log10(at + 0.7))
    slope = (level[:, 0] - level[:, 1]) / (hot - warm)
    return level[:, 0] + slope * warm, slope
