"""The machine that is fitted, declared once: nodes, links, sources, probes, unknowns.

Nodes are listed here only. From these tables `network.Network` computes the likelihood, its slope,
the smoother and the ledger, `equations.py` the text in docs/method.md, and the tests their
references. To add a node, a link or a parameter, add a line here.

Every heat flow is a quantity times a difference of node temperatures; it leaves a node and enters
another. Every quantity is a function of the parameters and of the record's series, shape (n,).
Parameters may be columns of shape (trials, 1), so quantities use only operations that broadcast.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from wattsump_analysis.model.activity import idle_of, usual_rpm
from wattsump_analysis.model.case import USUAL_METAL_J_K, USUAL_OIL_J_K, Case, Gaussian
from wattsump_analysis.model.core import conductance, followed, metal_lags_s, stored_share

__all__ = (
    "AIR",
    "ENGINE",
    "GAINS",
    "HEATER",
    "LEVEL",
    "LINEAR",
    "LINKS",
    "LOAD",
    "NODES",
    "NODE_ERROR",
    "PARAMETERS",
    "PROBES",
    "QUANTITIES",
    "SOURCES",
    "STORES",
    "UNKNOWNS",
    "Link",
    "Parameter",
    "Probe",
    "Quantity",
    "Seen",
    "Source",
    "Store",
    "Unknown",
)

Given = Any  # parameters by name as attributes: floats, or arrays (trials, 1)
Seen = Any  # `network.Series`: what the record has at each bin, shape (n,)
Quantity = Callable[[Given, Seen], Any]

TANK, LOOP, METAL, WALL = NODES = ("tank", "loop", "metal", "wall")
AIR = "air"
LOAD, HEATER, ENGINE = "load", "heater", "engine"
# The unknown by which a recorded heat, or the engine's excess over the tank, is multiplied, and the
# factor where there is none.
GAINS = {HEATER: ("heater_gain", 1.0), ENGINE: ("engine_w_k", 0.0)}
# Error of each node's balance, over `model_error_w`.
NODE_ERROR = {TANK: 1.0, LOOP: 0.5, METAL: 0.5, WALL: 0.5}
STILL_LINK_W_K = 8.0  # tank to loop without circulation; small beside the shell's loss
LEAST_FLOW_W_K = 1.0


# positional: each is one line of a table
@dataclass(frozen=True, slots=True)
class Store:
    """The balance of node `at` stores heat: `quantity` [J/K] times the rise of node `of`."""

    quantity: str
    of: str
    at: str


# positional: the same
@dataclass(frozen=True, slots=True)
class Link:
    """Heat `quantity` x (hot - cold) that leaves a node and enters another, or the air.

    `booked` is the ledger's row for what enters the air.
    """

    quantity: str
    hot: str
    cold: str
    leaves: str
    enters: str
    booked: str = ""


# positional: the same
@dataclass(frozen=True, slots=True)
class Source:
    """The share `quantity` of a heat, of load, heater or engine, that enters a node."""

    quantity: str
    heat: str
    enters: str


# positional: the same
@dataclass(frozen=True, slots=True)
class Probe:
    """A reading of a node, late by `lag`, with the unknowns that are its offset and contact error.

    The contact error is the share of its rise over the air that a probe outside the oil misses.
    With a `flow`, the probe reads the node's oil after it lost `cooled` times its excess over the
    air, and the heat that warms the capacity `stored`.
    """

    name: str
    node: str
    noise: str
    lag: str
    offset: str = ""
    contact: str = ""
    cooled: str = ""
    stored: str = ""
    flow: str = ""


STORES = (
    Store("tank_oil", TANK, TANK),
    Store("loop_oil", LOOP, LOOP),
    Store("drive_metal", METAL, METAL),
    Store("tank_wall", WALL, WALL),
    # The oil that returns to the tank has lost the heat that warms the core.
    Store("core", LOOP, TANK),
)
LINKS = (
    Link("flow", LOOP, TANK, LOOP, TANK),
    Link("cooler", LOOP, AIR, TANK, AIR, booked="cooler"),
    Link("bath_in_loop", LOOP, METAL, LOOP, METAL),
    Link("bath_in_tank", TANK, METAL, TANK, METAL),
    Link("film", TANK, WALL, TANK, WALL),
    Link("half_shell", METAL, AIR, METAL, AIR, booked="shell"),
    Link("half_shell", WALL, AIR, WALL, AIR, booked="shell"),
)
SOURCES = (
    Source("into_loop", LOAD, LOOP),
    Source("into_metal", LOAD, METAL),
    Source("into_tank", LOAD, TANK),
    Source("heater_in_oil", HEATER, TANK),
    Source("heater_in_wall", HEATER, WALL),
    Source("engine_in_wall", ENGINE, WALL),
)
PROBES = (
    Probe("tank", TANK, "noise_tank_k", "lag_tank_s", contact="contact_tank"),
    Probe("cooler_in", LOOP, "noise_pipe_k", "lag_in_s", "offset_in_k", "contact_in"),
    Probe(
        "cooler_out",
        LOOP,
        "noise_pipe_k",
        "lag_out_s",
        "offset_out_k",
        "contact_out",
        cooled="cooler",
        stored="core",
        flow="cooler_flow",
    ),
)


def _moved(p: Given, r: Seen) -> Any:
    given = r.flow_w_k
    if given is None:
        given = r.pumped_ratio * _speed(p, r) * np.exp(-p.leakage * r.log_viscosity_ratio)
        given = given * (1.0 - r.idle * (1.0 - p.calm_flow))
    whole = np.maximum(p.oil_flow_w_k * p.oil_heat * given, LEAST_FLOW_W_K) * r.engine
    return whole * (1.0 - p.past_cooler) if r.flow_of_pump else whole


def _speed(p: Given, r: Seen) -> Any:
    """Engine speed over the working speed: logged, or an unknown share of it while standing."""
    return r.speed * (1.0 - r.standing * (1.0 - p.standing_speed))


def _driven(p: Given, r: Seen) -> Any:
    """Heat of work over that at working speed."""
    return r.engine * r.speed**p.heat_power


def _cooler(p: Given, r: Seen) -> Any:
    on_s, off_s = metal_lags_s(p.metal_j_k * p.core_metal, p.cooler_w_k, p.still_air, p.oil_side)
    fan = followed(r, on_s / r.bin_s, off_s / r.bin_s)
    log_thick = p.viscosity_exponent * r.log_viscosity_ratio + r.excess_mm2_s / p.bypass_mm2_s
    full_w_k = p.cooler_w_k * _speed(p, r) ** p.speed_power
    # While the machine drives, wind cools the core as well as the tank; in neutral it does not.
    still_air = p.still_air * (1.0 + p.motion_gain * r.moving)
    return full_w_k * conductance(still_air, p.oil_side, log_thick, fan) * r.engine


def _core(p: Given, r: Seen) -> Any:
    on, off = stored_share(p.still_air, p.oil_side)
    return p.metal_j_k * p.core_metal * r.engine * (off + (on - off) * r.fan)


def _rest(p: Given) -> Any:
    """Metal besides the core."""
    return p.metal_j_k * (1.0 - p.core_metal)


QUANTITIES: dict[str, Quantity] = {
    "tank_oil": lambda p, r: p.oil_j_k * p.oil_heat * (1.0 - p.loop_oil) * r.capacity_ratio,
    "loop_oil": lambda p, r: p.oil_j_k * p.oil_heat * p.loop_oil * r.capacity_ratio,
    "drive_metal": lambda p, r: _rest(p) * (1.0 - p.tank_metal) * r.ones,
    "tank_wall": lambda p, r: _rest(p) * p.tank_metal * r.ones,
    "core": _core,
    "flow": lambda p, r: _moved(p, r) / (1.0 - p.past_cooler) + STILL_LINK_W_K * (1.0 - r.engine),
    "cooler_flow": lambda p, r: _moved(p, r) + STILL_LINK_W_K * (1.0 - r.engine),
    "cooler": _cooler,
    "bath_in_loop": lambda p, r: p.link_w_k * p.link_in_loop * r.wet,
    "bath_in_tank": lambda p, r: p.link_w_k * (1.0 - p.link_in_loop) * r.wet,
    "film": lambda p, r: p.wall_w_k * r.wet,
    "half_shell": lambda p, r: 0.5 * p.shell_w_k * r.shell_ratio * (1.0 + p.motion_gain * r.moving),
    "into_loop": lambda p, r: (1.0 - p.metal_heat) * (1.0 - p.tank_heat) * _driven(p, r),
    "into_metal": lambda p, r: p.metal_heat * (1.0 - p.tank_heat) * _driven(p, r),
    "into_tank": lambda p, r: p.tank_heat * _driven(p, r),
    "heater_in_oil": lambda p, r: r.ones * (not r.heater_bonded),
    "heater_in_wall": lambda p, r: r.ones * r.heater_bonded,
    "engine_in_wall": lambda p, r: r.ones,
    # Factor from the load's wander, a state of unit variance, to watts.
    "wander": lambda p, r: p.wander_w * (1.0 - r.idle * (1.0 - p.calm_wander)),
}


# --- the parameters of the quantities, and their priors ---

LOG, SHARE, LINEAR = "log", "share", "linear"
# A pad's heat that enters the wall it is bonded to; the rest goes to the air behind it. Common
# practice, no source.
PAD_GAIN, PAD_GAIN_SD = 0.83, 0.06
UNKNOWN_SD = 0.8  # of a logarithm: any value from a fifth to fivefold


# positional: each is one line of a table
@dataclass(frozen=True, slots=True)
class Parameter:
    """A parameter by name; `usual` is its prior, of its transform. A deviation of 0 fixes it."""

    name: str
    transform: str
    usual: Callable[[Case], Gaussian]
    meaning: str

    def prior(self, case: Case) -> Gaussian:
        """Prior for a machine of the case's size: what is in J/K, W/K or W by its name follows it.

        Such parameters are fitted as logarithms. What is stated is of this machine already.
        """
        prior = self.usual(case)
        if prior.stated or not self.name.endswith(("_j_k", "_w_k", "_w")):
            return prior
        return replace(prior, mean=prior.mean + float(np.log(case.size)))


# positional: the same
@dataclass(frozen=True, slots=True)
class Unknown:
    """A linear parameter: all readings are linear in it, so it is integrated out exactly."""

    name: str
    prior: Callable[[Case], Gaussian]
    meaning: str


FIXED_AT_ONE = Gaussian(mean=0.0, sd=0.0)  # of a logarithm


def _about(value: float, spread: float) -> Callable[[Case], Gaussian]:
    return lambda case: Gaussian(mean=float(np.log(value)), sd=spread)


def _if(wanted: Callable[[Case], bool], value: float, spread: float) -> Callable[[Case], Gaussian]:
    """`_about`, fixed if the record has no readings that depend on it."""
    return lambda case: Gaussian(mean=float(np.log(value)), sd=spread if wanted(case) else 0.0)


def _layout(name: str, transform: str) -> Callable[[Case], Gaussian]:
    def prior(case: Case) -> Gaussian:
        value, spread = getattr(case.layout, name)
        odds = value / (1.0 - value) if transform == SHARE else value
        return Gaussian(mean=float(np.log(odds)), sd=spread)

    return prior


def _logit(value: float) -> float:
    return float(np.log(value / (1.0 - value)))


def _capacity(value: float | None, relative: float, usual: float) -> Gaussian:
    if value is None:
        return Gaussian(mean=float(np.log(usual)), sd=UNKNOWN_SD)
    return Gaussian(mean=float(np.log(value)), sd=relative, stated=True)


def _oil_flow(case: Case) -> Gaussian:
    """Prior of the oil flow, or of the factor on a recorded one."""
    if case.record.flow_w_k is not None:
        return Gaussian(mean=0.0, sd=case.less_oil_heat(case.know.u_flow_rel), stated=True)
    if case.know.oil_flow_w_k is not None:
        turns = 1.0 if case.know.flow_rpm is None else usual_rpm(case.record, case.know.flow_rpm)
        flow = float(np.log(case.know.oil_flow_w_k * turns))
        return Gaussian(mean=flow, sd=case.less_oil_heat(case.know.u_flow_rel), stated=True)
    return Gaussian(mean=float(np.log(600.0)), sd=0.6)


def _pipe_noise(case: Case) -> Gaussian:
    """Fixed noise of a pipe probe.

    Means of a bin have far less noise, but the network is not that accurate: probe lag, mixing and
    the core make it wrong by tenths of a kelvin in the pipes. With a flow meter their difference
    gives watts directly, so they must have less weight. Both figures are those with the least bias
    on the plant of tests/validation.
    """
    return Gaussian(mean=float(np.log(0.2 if case.record.flow_w_k is None else 0.3)), sd=0.0)


def _thin(case: Case) -> Gaussian:
    """A pump slips a little more of thin oil; what a case drain passes is all leakage."""
    return Gaussian(mean=0.0, sd=_unless_stated(case, 0.2))


def _calm(case: Case) -> Gaussian:
    return Gaussian(mean=0.0, sd=_unless_stated(case, 0.3) if idle_of(case.record).any() else 0.0)


def _unless_stated(case: Case, spread: float) -> float:
    """`spread` of how an unknown flow changes, less of a stated one, none of a recorded one."""
    if case.record.flow_w_k is not None or not case.has("cooler_in"):
        return 0.0
    return spread if case.know.oil_flow_w_k is None else 0.05


def _lag(probe: str) -> Callable[[Case], Gaussian]:
    """A bare tip in oil follows in seconds, one in a well in up to a minute: one prior for both.

    Outside, oil warms 2 mm of steel, 7 kJ/(m2 K), through a film of 80 to 320 W/(m2 K): estimated
    by hand.
    """

    def prior(case: Case) -> Gaussian:
        if not (case.has("cooler_in") and case.has(probe)):
            return Gaussian(mean=float(np.log(8.0)), sd=0.0)
        usual_s = 45.0 if case.know.is_outside(probe) else 12.0
        return Gaussian(mean=float(np.log(usual_s)), sd=0.9)

    return prior


def _offset(probe: str) -> Callable[[Case], Gaussian]:
    return lambda case: Gaussian(
        mean=0.0,
        sd=case.know.u_match_k if case.has("cooler_in") and case.has(probe) else 0.0,
        stated=True,
    )


def _contact(probe: str) -> Callable[[Case], Gaussian]:
    def prior(case: Case) -> Gaussian:
        mean, sd = case.know.contact.get(probe, (0.0, 0.0))
        return Gaussian(mean=mean, sd=sd if case.has(probe) else 0.0, stated=True)

    return prior


def _heater_gain(case: Case) -> Gaussian:
    if not case.heated:
        return Gaussian(mean=1.0, sd=0.0)
    u_rel = case.know.u_heater_rel
    if case.know.heater_bonded:
        return Gaussian(mean=PAD_GAIN, sd=float(np.hypot(u_rel, PAD_GAIN_SD)), stated=True)
    return Gaussian(mean=1.0, sd=u_rel, stated=True)


def _engine_w_k(case: Case) -> Gaussian:
    """Some watts per kelvin of an engine next to the tank, else none."""
    warms = bool(np.any(case.record.engine > 0.5))
    return Gaussian(mean=case.size, sd=2.0 * case.size if warms else 0.0)


# Weak priors are ranges of small machines, in proportion to size (common practice, no source).
PARAMETERS = (
    Parameter(
        "oil_j_k",
        LOG,
        lambda case: _capacity(
            case.know.oil_j_k, case.less_oil_heat(case.know.u_oil_rel), USUAL_OIL_J_K
        ),
        "heat capacity of the oil at the reference temperature, J/K",
    ),
    Parameter(
        "metal_j_k",
        LOG,
        lambda case: _capacity(case.know.metal_j_k, case.know.u_metal_rel, USUAL_METAL_J_K),
        "heat capacity of all metal, J/K",
    ),
    Parameter(
        "oil_heat",
        LOG,
        lambda case: Gaussian(
            mean=0.0, sd=case.know.u_oil_heat_rel if case.shares_oil_heat else 0.0, stated=True
        ),
        "the oil's specific heat over that of its correlation, in mass and flow alike",
    ),
    Parameter("loop_oil", SHARE, _layout("loop_oil", SHARE), "share of the oil in the loop"),
    Parameter(
        "tank_metal",
        SHARE,
        # A tank probe alone cannot separate the wall, which follows within a minute, from oil.
        lambda case: Gaussian(mean=_logit(0.45), sd=0.8 if case.has("cooler_in") else 0.4),
        "share of the metal besides the core that is at the tank",
    ),
    Parameter("core_metal", LOG, _about(0.1, 0.4), "share of the metal that is the core"),
    Parameter("cooler_w_k", LOG, _about(90.0, 1.2), "K with fan, flow and reference oil, W/K"),
    Parameter(
        "still_air",
        LOG,
        _if(lambda case: case.still, 0.09, 0.4),
        "air side's conductance without fan over that with it",
    ),
    Parameter("oil_side", LOG, _about(0.25, 0.4), "oil side's share of the core's resistance"),
    Parameter(
        "viscosity_exponent",
        LINEAR,
        lambda case: Gaussian(mean=0.15, sd=0.08),
        "power of the viscosity in the oil side's resistance",
    ),
    Parameter(
        "bypass_mm2_s",
        LOG,
        _if(lambda case: case.thick, 800.0, 0.5),
        "viscosity over the reference's that makes the oil side's resistance e-fold, mm²/s",
    ),
    Parameter(
        "shell_w_k",
        LOG,
        lambda case: Gaussian(
            mean=float(np.log(13.0)), sd=0.5 if case.stopped or case.still else 0.4
        ),
        "loss of all other surfaces at rest, at 60 °C in 20 °C, W/K",
    ),
    Parameter(
        "motion_gain",
        LINEAR,
        lambda case: Gaussian(mean=0.3, sd=0.25 if case.moving else 0.0),
        "relative increase of that loss, and of the still core's, in motion",
    ),
    Parameter("link_w_k", LOG, _about(220.0, 0.6), "drive metal to oil, oil moving, W/K"),
    Parameter(
        "link_in_loop",
        SHARE,
        _layout("link_in_loop", SHARE),
        "share of that with oil upstream of the cooler",
    ),
    Parameter("wall_w_k", LOG, _layout("wall_w_k", LOG), "tank wall to oil, oil moving, W/K"),
    Parameter("metal_heat", SHARE, _layout("metal_heat", SHARE), "load's share into the metal"),
    Parameter(
        "oil_flow_w_k",
        LOG,
        _oil_flow,
        "oil flow times its heat capacity, W/K, or the factor on a recorded one",
    ),
    Parameter("leakage", LINEAR, _thin, "power of the oil's thinness in its flow"),
    Parameter("calm_flow", LOG, _calm, "oil flow for a turn while standing over that at work"),
    Parameter(
        "past_cooler",
        SHARE,
        lambda case: Gaussian(mean=_logit(0.06), sd=1.3 if case.has("cooler_in") else 0.0),
        "share of the pumped oil that returns without passing the cooler",
    ),
    Parameter(
        "tank_heat",
        SHARE,
        lambda case: Gaussian(mean=_logit(0.05), sd=1.3),
        "load's share into the oil of the tank",
    ),
    Parameter(
        "standing_speed",
        LOG,
        lambda case: Gaussian(mean=-0.5, sd=0.35) if case.stands else FIXED_AT_ONE,
        "engine speed while standing over that at work, where it is not logged",
    ),
    Parameter(
        "speed_power",
        LINEAR,
        lambda case: Gaussian(mean=0.3, sd=0.25 if case.varied or case.stands else 0.0),
        "power of engine speed in K: oil side, and the air of a fan on the belt",
    ),
    Parameter(
        "heat_power",
        LINEAR,
        lambda case: Gaussian(mean=0.8, sd=0.4 if case.varied else 0.0),
        "power of engine speed in the heat of work: pressure times the flow that is lost",
    ),
    Parameter("wander_w", LOG, _about(300.0, 1.0), "standard deviation of the load's wander, W"),
    Parameter(
        "calm_wander",
        LOG,
        lambda case: Gaussian(mean=-0.9, sd=0.7) if idle_of(case.record).any() else FIXED_AT_ONE,
        "wander while standing over that at work",
    ),
    Parameter("memory_s", LOG, _about(60.0, 1.2), "time constant of the wander, s"),
    Parameter(
        "model_error_w",
        LOG,
        _about(25.0, 0.7),
        "error of the tank's balance, independent from minute to minute, W",
    ),
    Parameter("noise_tank_k", LOG, _about(0.1, 0.0), "noise of the tank's bin means, K"),
    Parameter("noise_pipe_k", LOG, _pipe_noise, "noise of the pipe probes' bin means, K"),
    Parameter("lag_tank_s", LOG, _lag("tank"), "lag of the tank probe, s"),
    Parameter("lag_in_s", LOG, _lag("cooler_in"), "lag of the inlet probe, s"),
    Parameter("lag_out_s", LOG, _lag("cooler_out"), "lag of the outlet probe, s"),
)
UNKNOWNS = (
    Unknown(
        "offset_ambient_k",
        lambda case: Gaussian(mean=case.know.sun_k, sd=case.know.u_ambient_k, stated=True),
        "offset of the air probe, K",
    ),
    Unknown("offset_in_k", _offset("cooler_in"), "offset of the inlet probe, K"),
    Unknown("offset_out_k", _offset("cooler_out"), "offset of the outlet probe, K"),
    Unknown("contact_tank", _contact("tank"), "oil above tank probe, share of its rise"),
    Unknown("contact_in", _contact("cooler_in"), "oil above inlet probe, share of its rise"),
    Unknown("contact_out", _contact("cooler_out"), "oil above outlet probe, share of its rise"),
    Unknown("heater_gain", _heater_gain, "the heater's power over that recorded"),
    Unknown("engine_w_k", _engine_w_k, "warm engine to the tank's wall, W/K"),
)
# Mean and spread of the heat of a kind of work, W: wide; and for a pump that only circulates oil
# to spread a heater's warmth, from 10 to 25 bar of a charge circuit. Common practice, no source.
LEVEL = {False: (2000.0, 6000.0), True: (700.0, 500.0)}
