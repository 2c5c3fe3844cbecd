"""The thermal network that is fitted, and its exact likelihood.

Two nodes, oil and metal, share one heat balance:

    C_o dT_o/dt = Q + P - K_eff (T_in - T_a) - G_om (T_o - T_m)
    C_m dT_m/dt = G_om (T_o - T_m) - G_s (1 + m moving) (T_m - T_a)
    T_in  = T_o + Q / W                      while the pump turns
    T_out = T_in - K_eff (T_in - T_a) / W    while the pump turns

Q is a level for each kind of work plus a first-order wander; P is a metered heater;
K_eff is K with the fan on, kappa K with it off and nothing without flow. With measured
air temperature and switch flags as inputs, the model is linear in its states, so

* the step from bin to bin is exact (closed-form exponential of the 2 x 2 matrix),
* the wander is marginalised instead of being forced into the parameters, and
* the likelihood needs one banded Cholesky factor: linear in the number of bins, no
  loop over samples, and the smoother comes out of the same factor.

The levels, and offsets where asked, are unknowns of the same linear system. Everything
else (capacities, conductances, noise) is the vector theta of `Parameters`.

References
----------
.. [1] C. F. Van Loan, IEEE Trans. Autom. Control 23 (1978) 395: exact discretisation.
.. [2] H. Rue, L. Held, Gaussian Markov Random Fields, 2005, ch. 2: banded precision.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dpbtrf, dpbtrs, dtbtrs

from wattsump_analysis.record import Record

__all__ = ("Network", "Parameters", "Smooth")

FloatArray = NDArray[np.float64]

STATES = 3  # oil degC, metal degC, wander of the heat W
BAND = 2 * STATES
REST_LINK = 0.3  # oil-to-metal link without circulation over that with; common practice, no source
LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameters:
    """Physical parameters of the network, scalars, in SI units.

    `oil_flow_w_k` is W, or the factor on the measured flow where one is recorded.
    Offsets are what a probe reads too high, K.
    """

    oil_j_k: float
    metal_j_k: float
    cooler_w_k: float
    still_air: float
    viscosity_exponent: float
    shell_w_k: float
    motion_gain: float
    link_w_k: float
    oil_flow_w_k: float
    wander_w: float
    memory_s: float
    noise_tank_k: float
    noise_in_k: float
    noise_out_k: float
    offset_ambient_k: float
    offset_in_k: float
    offset_out_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Smooth:
    """The states given all the data, and the heat flows they imply.

    Arrays of shape (n,) at the bins; `levels_w` of shape (kinds of work,).
    """

    oil_c: FloatArray
    metal_c: FloatArray
    heat_w: FloatArray
    cooler_w: FloatArray
    shell_w: FloatArray
    levels_w: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _System:
    """Banded normal equations of states given levels, and constants of the likelihood."""

    precision: FloatArray  # (BAND, 3 n) lower band
    right: FloatArray  # (3 n, 1 + levels): data column, then one per level
    level_precision: FloatArray  # (levels, levels)
    level_right: FloatArray  # (levels,)
    quadratic: float
    log_scales: float
    rows: int


class Network:
    """The fitted model of one record: likelihood and smoother for given parameters.

    Parameters
    ----------
    record : Record
        Binned outing, n bins.
    viscosity_ratio : ndarray, shape (n,)
        Oil viscosity at each bin over that at the reference temperature.
    capacity_ratio : ndarray, shape (n,)
        Heat capacity of the oil at each bin over that at the reference temperature.
    level_prior_w : tuple of float
        Mean and standard deviation of each kind of work's heat [W], wide.
    start_spread_k : float
        Prior standard deviation of metal against oil at the first bin [K].
    one_node : bool
        Lump the metal into the oil.
    """

    def __init__(
        self,
        record: Record,
        viscosity_ratio: FloatArray,
        capacity_ratio: FloatArray,
        *,
        level_prior_w: tuple[float, float] = (2000.0, 6000.0),
        start_spread_k: float = 1.0,
        model_error_w: float = 20.0,
        one_node: bool = False,
    ) -> None:
        self.record = record
        self.viscosity_ratio = viscosity_ratio
        self.capacity_ratio = capacity_ratio
        self.level_prior_w = level_prior_w
        self.start_spread_k = start_spread_k
        self.model_error_w = model_error_w
        self.one_node = one_node
        kinds = np.unique(record.work[record.work >= 0])
        self.levels = kinds.size
        self.level_of = np.zeros((record.bins, kinds.size))
        for column, kind in enumerate(kinds):
            self.level_of[:, column] = record.work == kind
        tank = record.oils_c["tank"]
        first = np.flatnonzero(np.isfinite(tank))[0]
        self.start_c = float(tank[first])
        self.seen = {name: np.isfinite(values) for name, values in record.oils_c.items()}
        # Without flow, no pipe probe tells the oil's temperature.
        running = record.engine > 0.99
        for name in ("cooler_in", "cooler_out"):
            if name in self.seen:
                self.seen[name] = self.seen[name] & running & np.roll(running, 3)

    @property
    def has_inlet(self) -> bool:
        return "cooler_in" in self.record.oils_c

    def conductance_w_k(self, p: Parameters) -> FloatArray:
        """Cooler conductance at each bin with its fan and flow, W/K, shape (n,)."""
        record = self.record
        fan = record.fan + (1.0 - record.fan) * p.still_air
        return np.asarray(
            p.cooler_w_k * fan * record.engine * self.viscosity_ratio**-p.viscosity_exponent
        )

    def inverse_flow(self, p: Parameters) -> FloatArray:
        """1 / W at each bin, K/W; 0 where the oil into the cooler is not measured."""
        if not self.has_inlet:
            return np.zeros(self.record.bins)
        if self.record.flow_w_k is None:
            return np.full(self.record.bins, 1.0 / p.oil_flow_w_k)
        return np.asarray(1.0 / (p.oil_flow_w_k * np.maximum(self.record.flow_w_k, 1.0)))

    def _transitions(
        self, p: Parameters
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Exact step from bin to bin.

        Returns
        -------
        step : ndarray, shape (n - 1, 2, 2)
            exp(A h) of the temperatures.
        gain : ndarray, shape (n - 1, 2)
            Effect of one watt of heat in the oil, held over the step.
        drive : ndarray, shape (n - 1, 2)
            Effect of air and heater over the step, K.
        share : ndarray, shape (n - 1,)
            Watts that stay in the oil node per watt of heat (the rest leaves in the cooler
            because the oil into it is warmer than the tank).
        """
        record = self.record
        h = record.bin_s
        mid = _midpoints
        k = mid(self.conductance_w_k(p))
        inverse = mid(self.inverse_flow(p))
        air = mid(record.ambient_c) - p.offset_ambient_k
        moving, engine = mid(record.moving), mid(record.engine)
        shell = p.shell_w_k * (1.0 + p.motion_gain * moving)
        oil = p.oil_j_k * mid(self.capacity_ratio)
        metal = np.full_like(oil, p.metal_j_k)
        if self.one_node:
            # Metal follows the oil: its capacity and loss move to the oil node.
            oil, link, loss = oil + metal, np.zeros_like(oil), shell
            metal_loss = np.zeros_like(oil)
        else:
            link = p.link_w_k * (REST_LINK + (1.0 - REST_LINK) * engine)
            loss, metal_loss = np.zeros_like(oil), shell
        a = -(k + loss + link) / oil
        b = link / oil
        c = link / metal
        d = -(link + metal_loss) / metal
        step = _exp_2x2(a * h, b * h, c * h, d * h)
        push = np.stack(
            [(k + loss) * air + mid(record.heater_w), metal_loss * air], axis=-1
        ) / np.stack([oil, metal], axis=-1)
        integral = _integral_2x2(a, b, c, d, step, h)
        drive = np.einsum("nij,nj->ni", integral, push)
        gain = integral[:, :, 0] / oil[:, np.newaxis]
        return step, gain, drive, 1.0 - k * inverse

    def _system(self, p: Parameters) -> _System:
        record, n = self.record, self.record.bins
        h = record.bin_s
        step, gain, drive, share = self._transitions(p)
        engine = _midpoints(record.engine)
        heat_gain = gain * (share * engine)[:, np.newaxis]
        keep = np.exp(-h / p.memory_s)
        sd_heat = p.wander_w * np.sqrt(1.0 - keep**2)
        whole = p.oil_j_k + p.metal_j_k
        # Model error as a heat that is independent from bin to bin, in each node.
        sd_temp = self.model_error_w * np.sqrt(60.0 * h) / whole
        sd = np.array([sd_temp, sd_temp, sd_heat])

        forward = np.zeros((n - 1, 3, 3))
        forward[:, :2, :2] = step
        forward[:, :2, 2] = heat_gain
        forward[:, 2, 2] = keep
        level_mid = 0.5 * (self.level_of[:-1] + self.level_of[1:])
        columns = 1 + self.levels
        known = np.zeros((n - 1, 3, columns))
        known[:, :2, 0] = drive
        # The levels already vanish without engine, so only the share of heat scales them.
        known[:, :2, 1:] = (gain * share[:, np.newaxis])[:, :, np.newaxis] * level_mid[
            :, np.newaxis, :
        ]
        weight = 1.0 / sd**2
        diagonal = np.zeros((n, 3, 3))
        diagonal[:-1] += np.einsum("nki,k,nkj->nij", forward, weight, forward)
        index = np.arange(3)
        diagonal[1:, index, index] += weight
        below = -weight[:, np.newaxis] * forward
        right = np.zeros((n, 3, columns))
        weighted = weight[:, np.newaxis] * known
        right[1:] += weighted
        right[:-1] -= np.einsum("nki,nkc->nic", forward, weighted)
        # Column signs: data enter as +c, levels as -B in  A x + B levels = c.
        quadratic = float(np.sum((known[:, :, 0] ** 2) @ weight))
        level_precision = np.einsum("nkc,k,nkd->cd", known[:, :, 1:], weight, known[:, :, 1:])
        level_right = -np.einsum("nkc,k,nk->c", known[:, :, 1:], weight, known[:, :, 0])
        log_scales = (n - 1) * float(np.sum(np.log(sd**2)))
        rows = 3 * (n - 1)

        start_sd = np.array([2.0, self.start_spread_k, p.wander_w])
        start_mean = np.array([self.start_c, self.start_c, 0.0])
        # The metal starts near the oil, not near a number: tie the two.
        tie = np.array([[1.0, 0.0, 0.0], [-1.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
        tied_mean = tie @ start_mean
        start_weight = 1.0 / start_sd**2
        diagonal[0] += tie.T @ (start_weight[:, np.newaxis] * tie)
        right[0, :, 0] += tie.T @ (start_weight * tied_mean)
        quadratic += float(np.sum(start_weight * tied_mean**2))
        log_scales += float(np.sum(np.log(start_sd**2)))
        rows += 3

        for name, design, offset, level_design, sigma in self._observations(p):
            seen = self.seen[name]
            w = np.where(seen, 1.0 / sigma**2, 0.0)
            y = np.where(seen, record.oils_c[name] - offset, 0.0)
            diagonal += np.einsum("n,ni,nj->nij", w, design, design)
            right[:, :, 0] += (w * y)[:, np.newaxis] * design
            right[:, :, 1:] -= np.einsum("n,ni,nc->nic", w, design, level_design)
            level_precision += np.einsum("nc,n,nd->cd", level_design, w, level_design)
            level_right += np.einsum("nc,n->c", level_design, w * y)
            quadratic += float(np.sum(w * y**2))
            count = int(np.count_nonzero(seen))
            log_scales += count * 2.0 * float(np.log(sigma))
            rows += count

        mean, spread = self.level_prior_w
        level_precision += np.eye(self.levels) / spread**2
        level_right += mean / spread**2
        quadratic += self.levels * (mean / spread) ** 2
        log_scales += self.levels * 2.0 * float(np.log(spread))
        rows += self.levels
        return _System(
            precision=_band(diagonal, below),
            right=right.reshape(3 * n, columns),
            level_precision=level_precision,
            level_right=level_right,
            quadratic=quadratic,
            log_scales=log_scales,
            rows=rows,
        )

    def _observations(
        self, p: Parameters
    ) -> Sequence[tuple[str, FloatArray, FloatArray, FloatArray, float]]:
        """Each oil probe as design (n, 3), known part (n,), design of levels, and noise."""
        n = self.record.bins
        ones, zero = np.ones(n), np.zeros(n)
        none = np.zeros((n, self.levels))
        found = [("tank", np.stack([ones, zero, zero], axis=-1), zero, none, p.noise_tank_k)]
        if self.has_inlet:
            rise = self.inverse_flow(p) * self.record.engine
            level = rise[:, np.newaxis] * self.level_of
            inlet = np.stack([ones, zero, rise], axis=-1)
            found.append(("cooler_in", inlet, zero + p.offset_in_k, level, p.noise_in_k))
            if "cooler_out" in self.record.oils_c:
                drop = self.conductance_w_k(p) * self.inverse_flow(p)
                keep = (1.0 - drop)[:, np.newaxis]
                air = self.record.ambient_c - p.offset_ambient_k
                known = drop * air + p.offset_out_k
                found.append(("cooler_out", keep * inlet, known, keep * level, p.noise_out_k))
        return found

    def log_likelihood(self, p: Parameters) -> float:
        """Log density of all readings, states and levels integrated out."""
        system = self._system(p)
        factor, solved, levels_factor, levels_mean = self._solve(system)
        n_states = system.right.shape[0]
        dims = n_states + self.levels
        log_det = 2.0 * float(np.sum(np.log(factor[0])))
        log_det += 2.0 * float(np.sum(np.log(np.diag(levels_factor))))
        fitted = float(system.right[:, 0] @ solved[:, 0])
        fitted += float(np.sum((levels_factor.T @ levels_mean) ** 2))
        return -0.5 * (
            system.quadratic - fitted + system.log_scales + log_det
            + (system.rows - dims) * LOG_2PI
        )

    def _solve(
        self, system: _System
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        factor, info = dpbtrf(system.precision, lower=1)
        if info != 0:
            raise np.linalg.LinAlgError("precision is not positive definite")
        solved, _ = dpbtrs(factor, system.right, lower=1)
        # right[:, 1:] is -A'B, so the Schur complement and its right side follow.
        cross = system.right[:, 1:]
        schur = system.level_precision - cross.T @ solved[:, 1:]
        levels_factor = np.linalg.cholesky(schur)
        target = system.level_right + cross.T @ solved[:, 0]
        levels_mean = np.linalg.solve(schur, target)
        return factor, solved, levels_factor, levels_mean

    def smooth(self, p: Parameters, rng: np.random.Generator | None = None) -> Smooth:
        """States given all readings: their mean, or one joint draw if `rng` is given."""
        system = self._system(p)
        factor, solved, levels_factor, levels = self._solve(system)
        if rng is not None:
            levels = levels + np.linalg.solve(
                levels_factor.T, rng.standard_normal(self.levels)
            )
        states = solved[:, 0] + solved[:, 1:] @ levels
        if rng is not None:
            noise = rng.standard_normal((states.size, 1))
            shift, _ = dtbtrs(factor, noise, uplo="L", trans="T")
            states = states + shift[:, 0]
        oil, metal, wander = states.reshape(-1, 3).T
        heat = (self.level_of @ levels + wander) * self.record.engine
        air = self.record.ambient_c - p.offset_ambient_k
        inlet = oil + self.inverse_flow(p) * heat
        surface = oil if self.one_node else metal
        shell = p.shell_w_k * (1.0 + p.motion_gain * self.record.moving)
        return Smooth(
            oil_c=oil,
            metal_c=surface,
            heat_w=heat,
            cooler_w=self.conductance_w_k(p) * (inlet - air),
            shell_w=shell * (surface - air),
            levels_w=levels,
        )


def _midpoints(values: FloatArray) -> FloatArray:
    return 0.5 * (values[:-1] + values[1:])


def _exp_2x2(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> FloatArray:
    """exp of [[a, b], [c, d]] with real eigenvalues (b c >= 0), shape (n, 2, 2)."""
    half = 0.5 * (a + d)
    root = np.sqrt(0.25 * (a - d) ** 2 + b * c)
    sinhc = np.where(root > 1e-9, np.sinh(root) / np.maximum(root, 1e-9), 1.0)
    scale, cosh = np.exp(half), np.cosh(root)
    skew = 0.5 * (a - d) * sinhc
    return np.asarray(
        scale[:, np.newaxis, np.newaxis]
        * np.stack(
            [np.stack([cosh + skew, b * sinhc], -1), np.stack([c * sinhc, cosh - skew], -1)], -2
        )
    )


def _integral_2x2(
    a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray, step: FloatArray, h: float
) -> FloatArray:
    """Integral of exp(A s) over 0..h: A^-1 (exp(A h) - 1), by series where A is near singular."""
    det = a * d - b * c
    safe = np.where(np.abs(det) > 1e-14, det, 1.0)
    less = step - np.eye(2)
    inverse = np.stack([np.stack([d, -b], -1), np.stack([-c, a], -1)], -2) / safe[:, None, None]
    matrix = np.stack([np.stack([a, b], -1), np.stack([c, d], -1)], -2)
    square = matrix @ matrix
    series = h * (np.eye(2) + matrix * (h / 2.0) + square * (h * h / 6.0))
    return np.where((np.abs(det) > 1e-14)[:, None, None], inverse @ less, series)


def _band(diagonal: FloatArray, below: FloatArray) -> FloatArray:
    """Lower band storage (BAND, 3 n) of a block tridiagonal symmetric matrix."""
    n = diagonal.shape[0]
    band = np.zeros((BAND, 3 * n), order="F")
    for row in range(3):
        for column in range(3):
            if row >= column:
                band[row - column, column::3] = diagonal[:, row, column]
            offset = 3 + row - column
            if offset < BAND:
                band[offset, column : 3 * (n - 1) : 3] = below[:, row, column]
    return band
