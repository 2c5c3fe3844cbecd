"""The thermal network that is fitted, and its exact likelihood.

Four nodes, tank oil T, loop oil L, drive metal M and tank wall B, with air at T_a:

    C_T dT/dt = W (L - T) - K_eff (L - T_a) - C_c dL/dt - F (T - B) - (1 - b) H (T - M) + P
    C_L dL/dt = W (T - L) + (1 - s) Q - b H (L - M)
    C_M dM/dt = s Q + b H (L - M) + (1 - b) H (T - M) - G/2 (M - T_a)
    C_B dB/dt = F (T - B) - G/2 (B - T_a)

L is the oil into the cooler, W the oil flow times its heat capacity, and the oil out of
the cooler is at L - (K_eff (L - T_a) + C_c dL/dt) / W. Q is a level for each kind of work plus
a first-order wander; P is a metered heater; K_eff is that of `_core`, nothing without flow, and
follows the fan as the core does, some seconds late; C_c is the core's metal as far as its
temperature follows the oil's. G grows in motion and with the excess over the air. The sum of
the four is one heat balance. Each probe reads its oil some seconds late: in a warm-up of 3 K a
minute ten seconds are half a kelvin, as much as the oil gains between tank and cooler.

The trapezoidal rule carries it from bin to bin, load and temperatures alike: (1 - hA/2) x' -
(1 + hA/2) x = h (b + b') / 2. It is A-stable. The readings are means of bins, between which load
and oil wander both ways alike, so that the mean of two neighbours is what passed between them; a
rule that is exact for a load that stands from bin to bin reads K at work 3 to 4 % higher. The
wander is marginalised, not forced into the parameters. The likelihood needs one banded Cholesky
factor: linear in the number of bins, no loop over samples, and the smoother comes out of the same
factor. The levels of heat are unknowns of the same linear system; everything else is the vector
of `Parameters`.

References
----------
.. [1] H. Rue, L. Held, Gaussian Markov Random Fields, 2005, ch. 2: banded precision.
.. [2] E. Hairer, G. Wanner, Solving Ordinary Differential Equations II, 2nd ed., 1996,
   sec. IV.3: the trapezoidal rule is A-stable.
"""

from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dtbtrs

from wattsump_analysis.model.banded import STATES, Equations, Solution, System, solve
from wattsump_analysis.model.core import CoreMetal, CoreSides, followed, thickened
from wattsump_analysis.reading.record import Record

__all__ = (
    "HEATING_W",
    "STILL_LINK_W_K",
    "Network",
    "Parameters",
    "Smooth",
    "levels_of",
    "start_precision",
)

FloatArray = NDArray[np.float64]
Steps = tuple[FloatArray, FloatArray, FloatArray]

STILL_LINK_W_K = 8.0  # tank to loop without circulation; small beside the shell's loss
STILL_FILM = 0.3  # oil-to-metal link without circulation over that with
AFTER_SWITCH_S = 60.0
# Mean and spread of a kind of work's heat: wide, and what a pump puts into oil that it only
# sends round, standing, to spread a heater's warmth: 30 L/min at 2 bar; common practice, no
# source.
WORKING_W = (2000.0, 6000.0)
CIRCULATING_W = (100.0, 150.0)
HEATING_W = 10.0
KELVIN = 273.15
NODE_ERROR = np.array([1.0, 0.5, 0.5, 0.5])  # of `model_error_w`, by node
LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameters:
    """Parameters of the network, scalars, in SI units.

    `model_error_w` is the heat by which each node's balance may be off, independent
    from minute to minute. `loop_oil` is the share of the oil that is in the loop, `tank_metal`
    that of the metal besides the core that is at the tank, `link_in_loop` that of the drive
    metal's exchange with oil that has yet to pass the cooler. `oil_flow_w_k` is W, or the factor
    on the measured flow where one is recorded. Offsets are what a probe reads too high, K.
    `heater_gain` is the heater's true power over that recorded.
    """

    oil_j_k: float
    metal_j_k: float
    loop_oil: float
    tank_metal: float
    core_metal: float
    cooler_w_k: float
    still_air: float
    oil_side: float
    viscosity_exponent: float
    bypass_mm2_s: float
    shell_w_k: float
    motion_gain: float
    link_w_k: float
    oil_flow_w_k: float
    wander_w: float
    memory_s: float
    noise_tank_k: float
    noise_in_k: float
    noise_out_k: float
    model_error_w: float
    offset_ambient_k: float
    offset_in_k: float
    offset_out_k: float
    heater_gain: float = 1.0
    lag_tank_s: float = 0.0
    lag_in_s: float = 0.0
    lag_out_s: float = 0.0
    metal_heat: float = 0.3
    wall_w_k: float = 220.0
    link_in_loop: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Smooth:
    """The states given all the data, and the heat flows they imply, shape (n,).

    `heater_w` is a metered heater's with the error its meter was found to have; `stored_j` is
    the heat stored since the first bin.
    """

    tank_c: FloatArray
    loop_c: FloatArray
    metal_c: FloatArray
    heat_w: FloatArray
    heater_w: FloatArray
    cooler_w: FloatArray
    shell_w: FloatArray
    stored_j: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Coefficients:
    """Conductances, air and capacities along a record, shape (n,), capacity (n, 4).

    `core_j_k` is what of the core's metal follows the loop's oil.
    """

    cooler_w_k: FloatArray
    moved_w_k: FloatArray
    mix_w_k: FloatArray
    link_w_k: FloatArray
    film_w_k: FloatArray
    half_shell_w_k: FloatArray
    air_c: FloatArray
    capacity_j_k: FloatArray
    core_j_k: FloatArray


# positional: each is made in one line, in the order of the sentence below
@dataclass(frozen=True, slots=True)
class Probe:
    """A reading `design` x node + `known_c`, `lag_s` late, less `rise_bins` of its rise."""

    name: str
    node: int
    design: FloatArray
    known_c: FloatArray
    noise_k: float
    lag_s: float
    rise_bins: FloatArray


class Network:
    """The fitted model of one record: likelihood and smoother for given parameters.

    Parameters
    ----------
    record : Record
        Binned outing, n bins.
    viscosity_mm2_s, capacity_ratio, pumped_ratio : ndarray, shape (n,)
        Viscosity of the oil along the outing, and the heat capacities of its mass and of the
        volume that a pump displaces over those at the reference temperature.
    reference_mm2_s : float
        Viscosity at the reference temperature.
    start_spread_k : float
        Prior standard deviation of the other nodes against the tank at the start [K].
    """

    def __init__(
        self,
        record: Record,
        viscosity_mm2_s: FloatArray,
        reference_mm2_s: float,
        capacity_ratio: FloatArray,
        pumped_ratio: FloatArray,
        *,
        start_spread_k: float = 1.0,
    ) -> None:
        self.record = record
        self.viscosity_ratio = viscosity_mm2_s / reference_mm2_s
        self.viscosity_mm2_s = viscosity_mm2_s
        self.excess_mm2_s = viscosity_mm2_s - reference_mm2_s
        self.wet = STILL_FILM + (1.0 - STILL_FILM) * record.engine
        self.capacity_ratio = capacity_ratio
        self.pumped_ratio = pumped_ratio
        self.start_spread_k = start_spread_k
        self.level_of, circulating = levels_of(record)
        self.levels = circulating.size
        self.level_prior_w = np.where(circulating, CIRCULATING_W[0], WORKING_W[0])
        self.level_spread_w = np.where(circulating, CIRCULATING_W[1], WORKING_W[1])
        tank = record.oils_c["tank"]
        found = np.isfinite(tank)
        # States are counted from the tank's own readings: sums of squares stay small, so
        # their differences keep the digits that a numerical gradient needs.
        self.base_c = np.interp(record.elapsed_s, record.elapsed_s[found], tank[found])
        self.shell_ratio = shell_ratio(self.base_c, record.ambient_c)
        self.seen = {name: np.isfinite(values) for name, values in record.oils_c.items()}
        # Without flow, and just after it starts, a pipe probe does not tell the oil's state.
        running = record.engine > 0.99
        settled = running & np.roll(running, 1) & np.roll(running, 2) & np.roll(running, 3)
        for name in ("cooler_in", "cooler_out"):
            if name in self.seen:
                self.seen[name] = self.seen[name] & settled
        # The core's own heat passes the outlet probe for a minute after the fan is switched.
        switched = np.abs(np.diff(record.fan, prepend=record.fan[0])) > 0.05
        if "cooler_out" in self.seen:
            width = 2 * int(np.ceil(AFTER_SWITCH_S / record.bin_s)) + 1
            self.seen["cooler_out"] &= np.convolve(switched, np.ones(width), "same") == 0

    def without(self, left_out: NDArray[np.bool_]) -> "Network":
        """The same network with the oil probes of these bins not read."""
        less = copy(self)
        less.seen = {name: seen & ~left_out for name, seen in self.seen.items()}
        return less

    def core_metal(self, p: Parameters) -> CoreMetal:
        """The metal of the cooler between its two sides."""
        return CoreMetal(
            capacity_j_k=p.metal_j_k * p.core_metal,
            full_w_k=p.cooler_w_k,
            still_air=p.still_air,
            oil_side=p.oil_side,
        )

    def fan(self, p: Parameters) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Share of the time that the core has followed the fan, and its slopes in its lags."""
        on_s, off_s = self.core_metal(p).lags_s()
        return followed(self.record.fan, on_s / self.record.bin_s, off_s / self.record.bin_s)

    def core(self, p: Parameters) -> CoreSides:
        """The two sides of the cooler at each bin."""
        return CoreSides(
            full_w_k=p.cooler_w_k,
            still_air=p.still_air,
            oil_side=p.oil_side,
            thick=thickened(
                self.viscosity_ratio, self.excess_mm2_s, p.viscosity_exponent, p.bypass_mm2_s
            ),
            fan=self.fan(p)[0],
        )

    def conductance_w_k(self, p: Parameters) -> FloatArray:
        """Cooler conductance at each bin with its fan and flow, W/K, shape (n,)."""
        return np.asarray(self.core(p).conductance_w_k() * self.record.engine)

    def flow_w_k(self, p: Parameters) -> FloatArray:
        """Oil flow times heat capacity at each bin, W/K, shape (n,)."""
        measured = self.record.flow_w_k
        whole = p.oil_flow_w_k * (self.pumped_ratio if measured is None else measured)
        return np.asarray(np.maximum(whole, 1.0) * self.record.engine)

    def capacities_j_k(self, p: Parameters) -> FloatArray:
        """Heat capacity of tank oil, loop oil, drive metal and tank wall, J/K, (n, 4)."""
        oil = p.oil_j_k * self.capacity_ratio
        rest = p.metal_j_k * (1.0 - p.core_metal)
        wall = np.full_like(oil, rest * p.tank_metal)
        metal = np.full_like(oil, rest * (1.0 - p.tank_metal))
        return np.stack([oil * (1.0 - p.loop_oil), oil * p.loop_oil, metal, wall], axis=-1)

    def core_j_k(self, p: Parameters) -> FloatArray:
        """Heat capacity of the core's metal that the loop's oil has to heat, J/K, shape (n,)."""
        on, off = self.core_metal(p).stored()
        follows = self.record.engine * (off + (on - off) * self.record.fan)
        return np.asarray(p.metal_j_k * p.core_metal * follows)

    def shell_w_k(self, p: Parameters) -> FloatArray:
        """Loss of all surfaces over their excess temperature, W/K, shape (n,)."""
        return np.asarray(
            p.shell_w_k * self.shell_ratio * (1.0 + p.motion_gain * self.record.moving)
        )

    def coefficients(self, p: Parameters) -> Coefficients:
        """What the balances are made of at each bin."""
        engine = self.record.engine
        moved = self.flow_w_k(p)
        still = 1.0 - engine
        return Coefficients(
            cooler_w_k=self.conductance_w_k(p),
            moved_w_k=moved,
            mix_w_k=moved + STILL_LINK_W_K * still,
            link_w_k=p.link_w_k * self.wet,
            film_w_k=p.wall_w_k * self.wet,
            half_shell_w_k=0.5 * self.shell_w_k(p),
            air_c=self.record.ambient_c - p.offset_ambient_k,
            capacity_j_k=self.capacities_j_k(p),
            core_j_k=self.core_j_k(p),
        )

    def balance(self, p: Parameters, c: Coefficients) -> tuple[FloatArray, FloatArray]:
        """Rates per state (n, 4, 5), and known heating rate (n, 4)."""
        record, shell = self.record, c.half_shell_w_k
        rates = np.zeros((record.bins, 4, 5))
        before = p.link_in_loop * c.link_w_k
        after = c.link_w_k - before
        rates[:, 0, 0] = -c.mix_w_k - c.film_w_k - after
        rates[:, 0, 1] = c.mix_w_k - c.cooler_w_k
        rates[:, 0, 2] = rates[:, 2, 0] = after
        rates[:, 0, 3] = c.film_w_k
        rates[:, 1, 0] = c.mix_w_k
        rates[:, 1, 1] = -c.mix_w_k - before
        rates[:, 1, 2] = rates[:, 2, 1] = before
        rates[:, 2, 2] = -c.link_w_k - shell
        rates[:, 3, 0] = c.film_w_k
        rates[:, 3, 3] = -c.film_w_k - shell
        rates[:, 1, 4] = (1.0 - p.metal_heat) * record.engine
        rates[:, 2, 4] = p.metal_heat * record.engine
        known = np.zeros((record.bins, 4))
        known[:, 0] = c.cooler_w_k * c.air_c + p.heater_gain * record.heater_w
        known[:, 2] = known[:, 3] = shell * c.air_c
        rates /= c.capacity_j_k[:, :, np.newaxis]
        known /= c.capacity_j_k
        # Heat that warms the core is missing in the oil that returns to the tank.
        rates[:, 0] -= (c.core_j_k / c.capacity_j_k[:, 0])[:, np.newaxis] * rates[:, 1]
        return rates, known

    def system(self, p: Parameters) -> System:
        """Weighted normal equations of the steps, the start, the probes and the levels."""
        c = self.coefficients(p)
        return self.system_of(p, c, self.steps(p, c))

    def system_of(self, p: Parameters, c: Coefficients, steps: Steps) -> System:
        """`system` from coefficients and steps at hand."""
        later, earlier, forced = steps
        equations = Equations(later, earlier, forced, self.step_weights(p, c))
        equations.log_scales -= 2.0 * float(np.sum(np.linalg.slogdet(later[:, :4, :4])[1]))
        self._add_start(equations, p)
        for probe in self.observations(p, c):
            seen = self.seen[probe.name]
            equations.observe(probe.node, *self.observed(probe), seen, probe.noise_k)
        equations.level_prior(self.level_prior_w, self.level_spread_w)
        return equations.system()

    def steps(self, p: Parameters, c: Coefficients) -> Steps:
        """Rows `later x' - earlier x = forced`, with a column of data and one per level."""
        n, h, base = self.record.bins, self.record.bin_s, self.base_c
        rates, known = (midpoints(values) for values in self.balance(p, c))
        keep = np.exp(-h / p.memory_s)
        later = np.zeros((n - 1, STATES, STATES))
        earlier = np.zeros((n - 1, STATES, STATES))
        later[:, :4] = -0.5 * h * rates
        earlier[:, :4] = 0.5 * h * rates
        index = np.arange(4)
        later[:, index, index] += 1.0
        earlier[:, index, index] += 1.0
        later[:, 4, 4] = 1.0
        earlier[:, 4, 4] = keep
        forced = np.zeros((n - 1, STATES, 1 + self.levels))
        forced[:, :4, 0] = h * known
        forced[:, :4, 0] += earlier[:, :4, :4].sum(axis=2) * base[:-1, np.newaxis]
        forced[:, :4, 0] -= later[:, :4, :4].sum(axis=2) * base[1:, np.newaxis]
        # The levels already vanish without engine: `level_of` has no standstill column.
        before, after = self.level_of[:-1, np.newaxis], self.level_of[1:, np.newaxis]
        forced[:, :4, 1:] = earlier[:, :4, 4:] * before - later[:, :4, 4:] * after
        return later, earlier, forced

    def step_weights(self, p: Parameters, c: Coefficients) -> FloatArray:
        """One over the variance of each state over one step, shape (5,)."""
        h = self.record.bin_s
        heat = p.model_error_w * np.sqrt(60.0 * h) * NODE_ERROR / c.capacity_j_k.mean(axis=0)
        keep = np.exp(-h / p.memory_s)
        return np.append(heat, p.wander_w * np.sqrt(1.0 - keep**2)) ** -2.0

    def _add_start(self, equations: Equations, p: Parameters) -> None:
        precision = start_precision(self, p)
        equations.diagonal[0] += precision
        equations.log_scales -= float(np.linalg.slogdet(precision)[1])
        equations.rows += STATES

    def observations(self, p: Parameters, c: Coefficients) -> Iterator[Probe]:
        """Each oil probe that is there, as a reading of its node."""
        oils = self.record.oils_c
        whole, none = np.ones(self.record.bins), np.zeros(self.record.bins)
        yield Probe("tank", 0, whole, none, p.noise_tank_k, p.lag_tank_s, none)
        if "cooler_in" in oils:
            known = p.offset_in_k * whole
            yield Probe("cooler_in", 1, whole, known, p.noise_in_k, p.lag_in_s, none)
        if "cooler_out" in oils:
            flow = np.maximum(c.moved_w_k, 1.0)
            drop = c.cooler_w_k / flow
            known = drop * c.air_c + p.offset_out_k
            stored = c.core_j_k / (flow * self.record.bin_s)
            yield Probe("cooler_out", 1, 1.0 - drop, known, p.noise_out_k, p.lag_out_s, stored)

    def observed(self, probe: Probe) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Factors on the node now and a step ago, and what of the reading they explain."""
        late = probe.lag_s / self.record.bin_s
        known = delayed(probe.known_c + probe.design * self.base_c, late)
        known -= probe.rise_bins * np.diff(self.base_c, prepend=self.base_c[0])
        now = (1.0 - late) * probe.design - probe.rise_bins
        before = late * np.roll(probe.design, 1) + probe.rise_bins
        now[0], before[0] = probe.design[0], 0.0
        reading = np.where(self.seen[probe.name], self.record.oils_c[probe.name] - known, 0.0)
        return now, before, reading

    def log_likelihood(self, p: Parameters) -> float:
        """Log density of all readings, states and levels integrated out."""
        system = self.system(p)
        return self.likelihood_of(system, solve(system))

    def likelihood_of(self, system: System, solution: Solution) -> float:
        """`log_likelihood` of normal equations and their solution at hand."""
        factor, solved, levels_factor, levels_mean = solution
        log_det = 2.0 * float(np.sum(np.log(factor[0])))
        log_det += 2.0 * float(np.sum(np.log(np.diag(levels_factor))))
        fitted = float(system.right[:, 0] @ solved[:, 0])
        fitted += float(np.sum((levels_factor.T @ levels_mean) ** 2))
        freedom = system.rows - system.right.shape[0] - self.levels
        chi = system.quadratic - fitted + system.log_scales + log_det
        return float(-0.5 * (chi + freedom * LOG_2PI))

    def smooth(self, p: Parameters, rng: np.random.Generator | None = None) -> Smooth:
        """States given all readings: their mean, or one joint draw if `rng` is given."""
        system = self.system(p)
        factor, solved, levels_factor, levels = solve(system)
        if rng is not None:
            levels = levels + np.linalg.solve(levels_factor.T, rng.standard_normal(self.levels))
        states = solved[:, 0] + solved[:, 1:] @ levels
        if rng is not None:
            noise = rng.standard_normal((states.size, 1))
            shift, _ = dtbtrs(factor, noise, uplo="L", trans="T")
            states = states + shift[:, 0]
        *nodes, wander = states.reshape(-1, STATES).T
        tank, loop, metal, wall = (self.base_c + node for node in nodes)
        air = self.record.ambient_c - p.offset_ambient_k
        # What a node has taken up, not capacity times temperature: a core that is cut off or
        # oil whose capacity grows would else store heat that nobody brought.
        capacity = self.capacities_j_k(p)
        capacity[:, 1] += self.core_j_k(p)
        rises = np.diff(np.stack([tank, loop, metal, wall], -1), axis=0)
        taken = midpoints(capacity) * rises
        return Smooth(
            tank_c=tank,
            loop_c=loop,
            metal_c=metal,
            heat_w=(self.level_of @ levels + wander) * self.record.engine,
            heater_w=p.heater_gain * self.record.heater_w,
            cooler_w=self.conductance_w_k(p) * (loop - air),
            shell_w=0.5 * self.shell_w_k(p) * (wall + metal - 2.0 * air),
            stored_j=np.append(0.0, np.cumsum(taken.sum(axis=1))),
        )


def start_precision(network: Network, p: Parameters) -> FloatArray:
    """Precision of the states at first: the other nodes are near the tank, not near a number."""
    tie = np.eye(STATES)
    tie[1, 0] = tie[2, 0] = tie[3, 0] = -1.0
    weight = 1.0 / np.array([2.0, *[network.start_spread_k] * 3, p.wander_w]) ** 2
    return np.asarray(tie.T @ (weight[:, np.newaxis] * tie))


def levels_of(record: Record) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Which level of heat each bin has, shape (n, levels), and which levels only circulate.

    Each kind of work has its own, and standing with the heater on is a kind for itself.
    """
    heated = (record.heater_w > max(HEATING_W, 0.5 * float(record.heater_w.max()))) & (
        record.moving < 0.5
    )
    kind = np.where(record.work >= 0, 2 * record.work + heated, -1)
    kinds = np.unique(kind[kind >= 0])
    return (kind[:, np.newaxis] == kinds).astype(float), kinds % 2 == 1


def shell_ratio(surface_c: FloatArray, ambient_c: FloatArray) -> FloatArray:
    """Loss of a surface at rest per kelvin, over that at 60 °C in 20 °C air.

    Half by radiation, growing with the mean cube of the absolute temperatures, half by free
    convection, growing with the fourth root of the excess (laminar; Bergman and Lavine,
    Fundamentals of Heat and Mass Transfer, eq. 1.9 and table 9.2). The halves are common
    practice, no source. An excess below 1 K counts as 1 K.
    """
    hot, cold = surface_c + KELVIN, ambient_c + KELVIN
    usual = (KELVIN + 60.0, KELVIN + 20.0)
    radiation = (hot**2 + cold**2) * (hot + cold) / ((usual[0] ** 2 + usual[1] ** 2) * sum(usual))
    convection = (np.maximum(np.abs(surface_c - ambient_c), 1.0) / 40.0) ** 0.25
    return np.asarray(0.5 * (radiation + convection))


def delayed(values: FloatArray, late: float) -> FloatArray:
    """Values `late` steps ago, between a bin and the one before it."""
    return np.append(values[:1], (1.0 - late) * values[1:] + late * values[:-1])


def midpoints(values: FloatArray) -> FloatArray:
    return 0.5 * (values[:-1] + values[1:])
