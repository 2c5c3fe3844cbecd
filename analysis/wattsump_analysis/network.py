"""The thermal network that is fitted, and its exact likelihood.

Three nodes, tank side T, loop side L and drive metal M, with air at T_a:

    C_T dT/dt = W (L - T) - K_eff (L - T_a) - G/2 (T - T_a) + P
    C_L dL/dt = W (T - L) + (1 - s) Q - H (L - M)
    C_M dM/dt = s Q + H (L - M) - G/2 (M - T_a)

L is the oil into the cooler, W the oil flow times its heat capacity, and the oil out of
the cooler is at L - K_eff (L - T_a) / W. Q is a level for each kind of work plus a
first-order wander; P is a metered heater; K_eff is K with the fan on, kappa K with it off
and nothing without flow; G grows in motion. The sum of the three is one heat balance.

Measured air temperature and switch flags are inputs, so the model is linear in its
states. The trapezoidal rule carries it from bin to bin (A-stable; the error of a mode of
time constant tau is (h / tau)^2 / 12 of its rate, and every mode that carries watts has
minutes). The wander is marginalised, not forced into the parameters. The likelihood
needs one banded Cholesky factor: linear in the number of bins, no loop over samples,
and the smoother comes out of the same factor. The levels of heat are unknowns of the same
linear system; everything else is the vector of `Parameters`.

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

from wattsump_analysis._banded import STATES, Equations, System, det_3x3, solve
from wattsump_analysis.record import Record

__all__ = ("STILL_LINK_W_K", "Network", "Parameters", "Smooth")

FloatArray = NDArray[np.float64]

STILL_LINK_W_K = 8.0  # tank to loop without circulation; small beside the shell's loss
STILL_FILM = 0.3  # oil-to-metal link without circulation over that with
METAL_HEAT = 0.3  # share of the drive's loss that is made in metal; common practice, no source
AFTER_SWITCH_S = 60.0
LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameters:
    """Parameters of the network, scalars, in SI units.

    `model_error_w` is the heat by which each node's balance may be off, independent
    from minute to minute. `loop_oil` and `tank_metal` are the shares of oil in the loop
    and of metal at the tank. `oil_flow_w_k` is W, or the factor on the measured flow where
    one is recorded. Offsets are what a probe reads too high, K. `heater_gain` is the
    heater's true power over that recorded.
    """

    oil_j_k: float
    metal_j_k: float
    loop_oil: float
    tank_metal: float
    cooler_w_k: float
    still_air: float
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Smooth:
    """The states given all the data, and the heat flows they imply, shape (n,)."""

    tank_c: FloatArray
    loop_c: FloatArray
    metal_c: FloatArray
    heat_w: FloatArray
    cooler_w: FloatArray
    shell_w: FloatArray
    stored_j: FloatArray


class Network:
    """The fitted model of one record: likelihood and smoother for given parameters.

    Parameters
    ----------
    record : Record
        Binned outing, n bins.
    viscosity_mm2_s, capacity_ratio : ndarray, shape (n,)
        Viscosity of the oil along the outing, and its heat capacity over that at the
        reference temperature.
    reference_mm2_s : float
        Viscosity at the reference temperature.
    level_prior_w : tuple of float
        Mean and standard deviation of each kind of work's heat [W], wide.
    start_spread_k : float
        Prior standard deviation of the other nodes against the tank at the start [K].
    """

    def __init__(
        self,
        record: Record,
        viscosity_mm2_s: FloatArray,
        reference_mm2_s: float,
        capacity_ratio: FloatArray,
        *,
        level_prior_w: tuple[float, float] = (2000.0, 6000.0),
        start_spread_k: float = 1.0,
    ) -> None:
        self.record = record
        self.viscosity_ratio = viscosity_mm2_s / reference_mm2_s
        self.viscosity_mm2_s = viscosity_mm2_s
        self.reference_mm2_s = reference_mm2_s
        self.capacity_ratio = capacity_ratio
        self.level_prior_w = level_prior_w
        self.start_spread_k = start_spread_k
        kinds = np.unique(record.work[record.work >= 0])
        self.levels = kinds.size
        self.level_of = (record.work[:, np.newaxis] == kinds).astype(float)
        tank = record.oils_c["tank"]
        found = np.isfinite(tank)
        # States are counted from the tank's own readings: sums of squares stay small, so
        # their differences keep the digits that a numerical gradient needs.
        self.base_c = np.interp(record.elapsed_s, record.elapsed_s[found], tank[found])
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

    def conductance_w_k(self, p: Parameters) -> FloatArray:
        """Cooler conductance at each bin with its fan and flow, W/K, shape (n,)."""
        record = self.record
        fan = record.fan + (1.0 - record.fan) * p.still_air
        thin = self.viscosity_ratio**-p.viscosity_exponent
        # Thick oil opens the pressure bypass or stalls in the core; 1 at the reference.
        passed = np.exp(-(self.viscosity_mm2_s - self.reference_mm2_s) / p.bypass_mm2_s)
        return np.asarray(p.cooler_w_k * fan * record.engine * thin * passed)

    def flow_w_k(self, p: Parameters) -> FloatArray:
        """Oil flow times heat capacity at each bin, W/K, shape (n,)."""
        measured = self.record.flow_w_k
        whole = p.oil_flow_w_k if measured is None else p.oil_flow_w_k * measured
        return np.asarray(np.maximum(whole, 1.0) * self.record.engine)

    def capacities_j_k(self, p: Parameters) -> FloatArray:
        """Heat capacity of tank side, loop side and drive metal, J/K, shape (n, 3)."""
        oil = p.oil_j_k * self.capacity_ratio
        tank = oil * (1.0 - p.loop_oil) + p.metal_j_k * p.tank_metal
        metal = np.full_like(oil, p.metal_j_k * (1.0 - p.tank_metal))
        return np.stack([tank, oil * p.loop_oil, metal], axis=-1)

    def shell_w_k(self, p: Parameters) -> FloatArray:
        """Loss of all surfaces over their excess temperature, W/K, shape (n,)."""
        return np.asarray(p.shell_w_k * (1.0 + p.motion_gain * self.record.moving))

    def _balance(self, p: Parameters) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Rates per state (n, 3, 4), known heating rate (n, 3) and effect of a level (n, 3)."""
        record = self.record
        k, engine = self.conductance_w_k(p), record.engine
        mix = self.flow_w_k(p) + STILL_LINK_W_K * (1.0 - engine)
        link = p.link_w_k * (STILL_FILM + (1.0 - STILL_FILM) * engine)
        shell = 0.5 * self.shell_w_k(p)
        air = record.ambient_c - p.offset_ambient_k
        capacity = self.capacities_j_k(p)
        rates = np.zeros((record.bins, 3, 4))
        rates[:, 0, 0] = -mix - shell
        rates[:, 0, 1] = mix - k
        rates[:, 1, 0] = mix
        rates[:, 1, 1] = -mix - link
        rates[:, 1, 2] = link
        rates[:, 2, 1] = link
        rates[:, 2, 2] = -link - shell
        rates[:, 1, 3] = (1.0 - METAL_HEAT) * engine
        rates[:, 2, 3] = METAL_HEAT * engine
        known = np.stack(
            [(k + shell) * air + p.heater_gain * record.heater_w, 0.0 * air, shell * air], axis=-1
        )
        rates /= capacity[:, :, np.newaxis]
        return rates, known / capacity, rates[:, :, 3].copy()

    def _system(self, p: Parameters) -> System:
        """Weighted normal equations of the steps, the start, the probes and the levels."""
        later, earlier, forced = self._steps(p)
        sd = self._step_noise(p)
        equations = Equations(later, earlier, forced, 1.0 / sd**2)
        equations.log_scales -= 2.0 * float(np.sum(np.log(np.abs(det_3x3(later[:, :3, :3])))))
        self._add_start(equations, p)
        for name, design, offset, sigma in self._observations(p):
            seen = self.seen[name]
            reading = self.record.oils_c[name] - offset - design * self.base_c
            node = 0 if name == "tank" else 1
            equations.observe(node, design, np.where(seen, reading, 0.0), seen, sigma)
        equations.level_prior(*self.level_prior_w)
        return equations.system()

    def _steps(self, p: Parameters) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Rows `later x' - earlier x = forced`, with a column of data and one per level."""
        n, h, base = self.record.bins, self.record.bin_s, self.base_c
        rates, known, heating = (_midpoints(values) for values in self._balance(p))
        keep = np.exp(-h / p.memory_s)
        later = np.zeros((n - 1, STATES, STATES))
        earlier = np.zeros((n - 1, STATES, STATES))
        index = np.arange(3)
        later[:, :3, :3] = -0.5 * h * rates[:, :, :3]
        earlier[:, :3, :3] = 0.5 * h * rates[:, :, :3]
        later[:, index, index] += 1.0
        earlier[:, index, index] += 1.0
        later[:, 3, 3] = 1.0
        earlier[:, :3, 3] = h * rates[:, :, 3]
        earlier[:, 3, 3] = keep
        forced = np.zeros((n - 1, STATES, 1 + self.levels))
        forced[:, :3, 0] = h * known
        forced[:, :3, 0] += earlier[:, :3, :3].sum(axis=2) * base[:-1, np.newaxis]
        forced[:, :3, 0] -= later[:, :3, :3].sum(axis=2) * base[1:, np.newaxis]
        # The levels already vanish without engine: `level_of` has no standstill column.
        level_mid = _midpoints(self.level_of)
        forced[:, :3, 1:] = h * heating[:, :, np.newaxis] * level_mid[:, np.newaxis, :]
        return later, earlier, forced

    def _step_noise(self, p: Parameters) -> FloatArray:
        """Standard deviation of each state over one step, shape (4,)."""
        h = self.record.bin_s
        capacity = self.capacities_j_k(p).mean(axis=0)
        heat = p.model_error_w * np.sqrt(60.0 * h) / capacity * np.array([1.0, 0.5, 0.5])
        keep = np.exp(-h / p.memory_s)
        return np.append(heat, p.wander_w * np.sqrt(1.0 - keep**2))

    def _add_start(self, equations: Equations, p: Parameters) -> None:
        """The other nodes start near the tank, not near a number of their own."""
        tie = np.eye(STATES)
        tie[1, 0] = tie[2, 0] = -1.0
        weight = 1.0 / np.array([2.0, *[self.start_spread_k] * 2, p.wander_w]) ** 2
        equations.diagonal[0] += tie.T @ (weight[:, np.newaxis] * tie)
        equations.log_scales -= float(np.sum(np.log(weight)))
        equations.rows += STATES

    def _observations(
        self, p: Parameters
    ) -> Iterator[tuple[str, FloatArray | float, FloatArray | float, float]]:
        """Each oil probe: factor on its node, known part, and noise."""
        oils = self.record.oils_c
        yield "tank", 1.0, 0.0, p.noise_tank_k
        if "cooler_in" in oils:
            yield "cooler_in", 1.0, p.offset_in_k, p.noise_in_k
        if "cooler_out" in oils:
            drop = self.conductance_w_k(p) / np.maximum(self.flow_w_k(p), 1.0)
            air = self.record.ambient_c - p.offset_ambient_k
            yield "cooler_out", 1.0 - drop, drop * air + p.offset_out_k, p.noise_out_k

    def log_likelihood(self, p: Parameters) -> float:
        """Log density of all readings, states and levels integrated out."""
        system = self._system(p)
        factor, solved, levels_factor, levels_mean = solve(system)
        log_det = 2.0 * float(np.sum(np.log(factor[0])))
        log_det += 2.0 * float(np.sum(np.log(np.diag(levels_factor))))
        fitted = float(system.right[:, 0] @ solved[:, 0])
        fitted += float(np.sum((levels_factor.T @ levels_mean) ** 2))
        freedom = system.rows - system.right.shape[0] - self.levels
        chi = system.quadratic - fitted + system.log_scales + log_det
        return float(-0.5 * (chi + freedom * LOG_2PI))

    def smooth(self, p: Parameters, rng: np.random.Generator | None = None) -> Smooth:
        """States given all readings: their mean, or one joint draw if `rng` is given."""
        system = self._system(p)
        factor, solved, levels_factor, levels = solve(system)
        if rng is not None:
            levels = levels + np.linalg.solve(levels_factor.T, rng.standard_normal(self.levels))
        states = solved[:, 0] + solved[:, 1:] @ levels
        if rng is not None:
            noise = rng.standard_normal((states.size, 1))
            shift, _ = dtbtrs(factor, noise, uplo="L", trans="T")
            states = states + shift[:, 0]
        *nodes, wander = states.reshape(-1, STATES).T
        tank, loop, metal = (self.base_c + node for node in nodes)
        air = self.record.ambient_c - p.offset_ambient_k
        capacity = self.capacities_j_k(p)
        return Smooth(
            tank_c=tank,
            loop_c=loop,
            metal_c=metal,
            heat_w=(self.level_of @ levels + wander) * self.record.engine,
            cooler_w=self.conductance_w_k(p) * (loop - air),
            shell_w=0.5 * self.shell_w_k(p) * (tank + metal - 2.0 * air),
            stored_j=np.sum(capacity * np.stack([tank, loop, metal], -1), axis=-1),
        )


def _midpoints(values: FloatArray) -> FloatArray:
    return 0.5 * (values[:-1] + values[1:])
