"""A machine composed of declared parts, and its heat balance integrated for many at once.

Nodes store heat; links, surfaces, paths of the pumped oil and coolers carry it; sources put it
in. Every figure is an array of shape (m,) over machines. Nothing here is shared with the fitted
network: the oil goes round as capacity rates between stirred volumes, a cooler is two exchangers
against one core (both with an effectiveness of 1 - exp(-NTU)), and all of it follows engine speed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

__all__ = (
    "Controls",
    "Cooler",
    "Hot",
    "Link",
    "Machine",
    "Node",
    "Path",
    "Pump",
    "Surface",
    "advance",
)

FloatArray = NDArray[np.float64]

KELVIN = 273.15
TANK = "tank"
RATED_OIL_C = 70.0
# T. L. Bergman and A. S. Lavine, Fundamentals of Heat and Mass Transfer, table 7.2 (crossflow over
# a cylinder at Re of some thousands, from memory): h goes with velocity to the 0.6.
AIR_POWER = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """Something that stores heat [J/K at 20 °C]; that of oil grows with its temperature."""

    j_k: FloatArray
    oil: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """Conductance between two nodes [W/K]; `standing` is the share of it without oil flow."""

    one: str
    other: str
    w_k: FloatArray
    standing: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """Loss to the air [W/K at 40 K over 20 °C, at rest], more by `motion` while driving."""

    node: str
    w_k: FloatArray
    motion: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Cooler:
    """A core between oil and air: conductances of its sides at full flow, `RATED_OIL_C`, fan on.

    `air_flow_w_k` is the air's capacity rate, `still` the share of it without a fan. Of thick oil
    a bypass takes what is over `bypass_mm2_s`.
    """

    core: str
    oil_side_w_k: FloatArray
    air_side_w_k: FloatArray
    air_flow_w_k: FloatArray
    still: FloatArray
    flow_power: FloatArray
    viscosity_power: FloatArray
    bypass_mm2_s: FloatArray
    belt: FloatArray  # 1 where the engine drives the fan, 0 where it has a motor

    def sides_w_k(
        self, through_w_k: FloatArray, full_w_k: FloatArray, thickness: FloatArray, air: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Heat per kelvin from oil to core and from core to air, shape (m,) each."""
        turned = np.maximum(through_w_k, 1e-6)
        oil = (
            self.oil_side_w_k
            * (turned / full_w_k) ** self.flow_power
            * (thickness**-self.viscosity_power)
        )
        blown = self.air_flow_w_k * air
        side = self.air_side_w_k * air**AIR_POWER
        return turned * -np.expm1(-oil / turned), blown * -np.expm1(-side / blown)


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """Volumes that a share of the pumped oil passes from the tank to the tank.

    A cooler, if any, sits between `before` and `after`; the last of `before` is its inlet.
    """

    before: tuple[str, ...]
    share: FloatArray
    cooler: Cooler | None = None
    after: tuple[str, ...] = ()
    leaks: float = 0.0  # how much of its flow is leakage, more under load and of thin oil


@dataclass(frozen=True, slots=True, kw_only=True)
class Hot:
    """A node that coolant keeps near `at_c` by `w_k` while the engine runs."""

    node: str
    at_c: float
    w_k: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """Flow at full speed [m3/s], and the share of it that slips at full load."""

    flow_m3_s: FloatArray
    slip: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """Parts by name; `load_to` and `heater_to` say where the heat of work and heater goes.

    The shares of `heater_to` may miss one: the rest is lost to the air. `oil` is the factor of its
    heat capacity, `walther` the two constants of its viscosity.
    """

    nodes: Mapping[str, Node]
    links: tuple[Link, ...]
    surfaces: tuple[Surface, ...]
    paths: tuple[Path, ...]
    pump: Pump
    load_to: Mapping[str, FloatArray]
    heater_to: Mapping[str, FloatArray]
    oil_heat: FloatArray
    walther: tuple[FloatArray, FloatArray]
    hot: tuple[Hot, ...] = ()
    row: Mapping[str, int] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "row", {name: i for i, name in enumerate(self.nodes)})

    @property
    def cooled(self) -> tuple[Path, ...]:
        """The paths with a cooler."""
        return tuple(path for path in self.paths if path.cooler is not None)

    def thickness(self, oil_c: FloatArray) -> FloatArray:
        """Viscosity of the oil [mm2/s] (ASTM D341, equation of Walther)."""
        a, b = self.walther
        kelvin = np.clip(oil_c, -45.0, 160.0) + KELVIN
        return np.asarray(10.0 ** (10.0 ** (a - b * np.log10(kelvin))) - 0.7)

    def moved_w_k(self, oil_c: FloatArray, speed: FloatArray, load: FloatArray) -> FloatArray:
        """Capacity rate of the pumped oil [W/K] at a share of full speed and of full load."""
        flow = self.pump.flow_m3_s * speed * (1.0 - self.pump.slip * load)
        return np.asarray(flow * self.oil_heat * volumetric_heat_j_m3k(oil_c))

    def passing_w_k(self, path: Path, tank_c: FloatArray, c: "Controls") -> FloatArray:
        """Capacity rate that goes through a path [W/K]."""
        rate = self.moved_w_k(tank_c, c.speed, c.load) * path.share
        thin = np.sqrt(self.thickness(np.full_like(tank_c, RATED_OIL_C)) / self.thickness(tank_c))
        return np.asarray(rate * (1.0 + path.leaks * (np.minimum(c.load * thin, 1.5) - 1.0)))

    def settled_w_k(
        self, oil_c: FloatArray, speed: FloatArray | float = 1.0, load: FloatArray | float = 1.0
    ) -> FloatArray:
        """Settled heat of all coolers over oil in less air in [W/K], fan on, shape of `oil_c`."""
        speed, load = np.broadcast_to(speed, oil_c.shape), np.broadcast_to(load, oil_c.shape)
        total = np.zeros(oil_c.shape)
        for path in self.cooled:
            oil, air = _sides(self, path, oil_c, Controls.fan_on(speed, load))
            total += oil * air / (oil + air)
        return total


@dataclass(frozen=True, slots=True, kw_only=True)
class Controls:
    """What drives the machines, each of shape (m,): `speed` and `load` are shares of full."""

    ambient_c: FloatArray
    speed: FloatArray
    load: FloatArray
    moving: FloatArray
    fan: FloatArray
    load_w: FloatArray
    heater_w: FloatArray

    @classmethod
    def fan_on(cls, speed: FloatArray, load: FloatArray) -> "Controls":
        """A working machine as far as its cooler minds."""
        none = np.zeros_like(speed)
        return cls(
            ambient_c=none,
            speed=speed,
            load=load,
            moving=none,
            fan=np.ones_like(speed),
            load_w=none,
            heater_w=none,
        )


def volumetric_heat_j_m3k(oil_c: FloatArray) -> FloatArray:
    """Heat of a cubic metre of mineral oil [J/(m3 K)].

    References
    ----------
    C. S. Cragoe, Thermal Properties of Petroleum Products, NBS Misc. Publ. 97 (1929), specific
    heat (0.388 + 0.00045 t/°F)/sqrt(s) Btu/(lb °F) (from memory); density falls by 0.00065 kg/L
    per kelvin from 870 kg/m3 at 15 °C, common practice, no source.
    """
    specific = 4186.8 * (0.388 + 0.00045 * (1.8 * oil_c + 32.0)) / np.sqrt(0.870)
    return np.asarray(specific * (870.0 - 0.65 * (oil_c - 15.0)))


def oil_growth(oil_c: FloatArray) -> FloatArray:
    """Heat capacity of a mass of oil over that at 20 °C; the mass stays when it expands."""
    return np.asarray((0.388 + 0.00045 * (1.8 * oil_c + 32.0)) / (0.388 + 0.00045 * 68.0))


def _sides(
    machine: Machine, path: Path, oil_c: FloatArray, c: Controls
) -> tuple[FloatArray, FloatArray]:
    cooler = path.cooler
    assert cooler is not None
    nu = machine.thickness(oil_c)
    rated_c = np.full_like(oil_c, RATED_OIL_C)
    one = np.ones_like(oil_c)
    full = machine.moved_w_k(rated_c, one, one) * path.share
    passing = 1.0 / (1.0 + (nu / cooler.bypass_mm2_s) ** 2)
    through = machine.passing_w_k(path, oil_c, c) * passing
    blown = c.fan * (1.0 - cooler.belt + cooler.belt * c.speed)
    air = cooler.still + (1.0 - cooler.still) * blown
    return cooler.sides_w_k(through, full, nu / machine.thickness(rated_c), air)


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """Heat balance at one moment: `inflow_w` = `rates_w_k` @ temps + `given_w`, over `j_k`.

    The rest is what is recorded: heat of all coolers and of all surfaces [W], and the oil's
    temperature behind the first cooler.
    """

    rates_w_k: FloatArray
    given_w: FloatArray
    j_k: FloatArray
    cooler_w: FloatArray
    shell_w: FloatArray
    outlet_c: FloatArray

    def slope(self, temps_c: FloatArray) -> FloatArray:
        """Kelvins per second, shape (nodes, m)."""
        flow = np.einsum("ijm,jm->im", self.rates_w_k, temps_c) + self.given_w
        return np.asarray(flow / self.j_k)


def balance(machine: Machine, temps_c: FloatArray, c: Controls) -> Balance:
    """The balance with every conductance at the temperatures of the moment."""
    row, count = machine.row, temps_c.shape[0]
    rates = np.zeros((count, count, temps_c.shape[1]))
    given = np.zeros_like(temps_c)
    pumped = c.speed > 0.0

    def join(into: int, source: int, w_k: FloatArray) -> None:
        rates[into, source] += w_k
        rates[into, into] -= w_k

    for link in machine.links:
        w_k = link.w_k * np.where(pumped, 1.0, link.standing)
        join(row[link.one], row[link.other], w_k)
        join(row[link.other], row[link.one], w_k)
    shell_w = np.zeros_like(c.speed)
    for surface in machine.surfaces:
        at = row[surface.node]
        w_k = surface.w_k * _surface_factor(temps_c[at], c.ambient_c, surface.motion * c.moving)
        rates[at, at] -= w_k
        given[at] += w_k * c.ambient_c
        shell_w += w_k * (temps_c[at] - c.ambient_c)
    for hot in machine.hot:
        at = row[hot.node]
        rates[at, at] -= hot.w_k * pumped
        given[at] += hot.w_k * pumped * hot.at_c
    cooler_w, outlets = np.zeros_like(c.speed), []
    for path in machine.paths:
        through = machine.passing_w_k(path, temps_c[row[TANK]], c)
        places = [row[name] for name in (TANK, *path.before, *path.after, TANK)]
        for source, into in pairwise(places):
            join(into, source, through)
        if path.cooler is None:
            continue
        inlet, core = row[path.before[-1]], row[path.cooler.core]
        behind = row[(*path.after, TANK)[0]]
        oil, air = _sides(machine, path, temps_c[inlet], c)
        oil = np.where(pumped, oil, 0.0)
        # What the oil loses in the core is missing where it arrives.
        rates[behind, inlet] -= oil
        rates[behind, core] += oil
        join(core, inlet, oil)
        rates[core, core] -= air
        given[core] += air * c.ambient_c
        drop_w = oil * (temps_c[inlet] - temps_c[core])
        cooler_w += air * (temps_c[core] - c.ambient_c)
        outlets.append(temps_c[inlet] - drop_w / np.maximum(through, 1e-6))
    for name, share in machine.load_to.items():
        given[row[name]] += share * c.load_w
    for name, share in machine.heater_to.items():
        given[row[name]] += share * c.heater_w
    j_k = np.array(
        [
            node.j_k * (oil_growth(temps_c[i]) if node.oil else 1.0)
            for i, node in enumerate(machine.nodes.values())
        ]
    )
    return Balance(
        rates_w_k=rates,
        given_w=given,
        j_k=j_k,
        cooler_w=cooler_w,
        shell_w=shell_w,
        outlet_c=outlets[0],
    )


def _surface_factor(surface_c: FloatArray, ambient_c: FloatArray, motion: FloatArray) -> FloatArray:
    """Radiation (four tenths) and natural or forced convection, 1 at 60 °C in air of 20 °C."""
    hot, cold = surface_c + KELVIN, ambient_c + KELVIN
    rated = (333.15**2 + 293.15**2) * (333.15 + 293.15)
    radiation = (hot**2 + cold**2) * (hot + cold) / rated
    natural = (np.abs(surface_c - ambient_c) / 40.0 + 0.01) ** 0.25
    return np.asarray(0.4 * radiation + 0.6 * natural * (1.0 + motion))


def advance(moment: Balance, temps_c: FloatArray, dt_s: float) -> FloatArray:
    """Temperatures after `dt_s`, by the classical fourth-order step of Runge and Kutta."""
    k1 = moment.slope(temps_c)
    k2 = moment.slope(temps_c + 0.5 * dt_s * k1)
    k3 = moment.slope(temps_c + 0.5 * dt_s * k2)
    k4 = moment.slope(temps_c + dt_s * k3)
    return np.asarray(temps_c + dt_s / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4))
