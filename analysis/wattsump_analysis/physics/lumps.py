"""Response of one or two heat capacities to a step of power, in closed form.

One node is the machine as a lump: C dT/dt = P - G (T - Ta). Two nodes are coupled by a
conductance H and each has its own power and its own loss to the air. Times in s, temperatures in
°C, capacities in J/K, conductances in W/K, powers in W. G = 0 (a lagged tank) is allowed.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np

from wattsump_analysis.arrays import FloatArray, require

__all__ = (
    "Countdown",
    "OneNode",
    "TwoNode",
    "one_node_countdown",
    "two_node_countdown",
    "two_node_temps_c",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class OneNode:
    """A lump: capacity [J/K] and loss to the air [W/K]."""

    capacity_j_k: float
    loss_w_k: float

    def __post_init__(self) -> None:
        require(self.capacity_j_k, 0.0, math.inf, unit="J/K", where="capacity", open_low=True)
        require(self.loss_w_k, 0.0, math.inf, unit="W/K", where="loss")

    @property
    def time_constant_s(self) -> float:
        """C/G [s]; infinite without loss."""
        return self.capacity_j_k / self.loss_w_k if self.loss_w_k > 0.0 else math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoNode:
    """Two coupled lumps: capacities [J/K], losses to the air and coupling [W/K]."""

    capacities_j_k: tuple[float, float]
    losses_w_k: tuple[float, float]
    coupling_w_k: float

    def __post_init__(self) -> None:
        require(self.capacities_j_k, 0.0, math.inf, unit="J/K", where="capacity", open_low=True)
        require(self.losses_w_k, 0.0, math.inf, unit="W/K", where="loss")
        require(self.coupling_w_k, 0.0, math.inf, unit="W/K", where="coupling", open_low=True)

    def matrix(self) -> FloatArray:
        """Return the system matrix A [1/s] of d theta/dt = A theta + P/C, theta above the air."""
        (c1, c2), (g1, g2), h = self.capacities_j_k, self.losses_w_k, self.coupling_w_k
        return np.array([[-(g1 + h) / c1, h / c1], [h / c2, -(g2 + h) / c2]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Countdown:
    """Time until a temperature is reached, and the final temperature.

    `seconds` is 0 if it is reached already and infinite if it is never reached.
    """

    seconds: float
    final_c: float


def one_node_countdown(
    node: OneNode, *, start_c: float, ambient_c: float, power_w: float, target_c: float
) -> Countdown:
    """Find when a lump reaches a temperature at constant power and ambient.

    Parameters
    ----------
    node : OneNode
        Capacity and loss.
    start_c, ambient_c, target_c : float
        Temperature at the start, of the air and to reach [°C]; the target may lie either side.
    power_w : float
        Heat put in [W].

    Returns
    -------
    Countdown
        Seconds, infinite when the target lies beyond the final temperature.

    References
    ----------
    T. L. Bergman and A. S. Lavine, Fundamentals of Heat and Mass Transfer, section 5.3, general
    lumped capacitance analysis: T = T0 + (P - G (T0 - Ta))/C times tau (1 - exp(-t/tau)),
    tau = C/G, or t without loss; solved for the time.
    """
    rate_k_s = (power_w - node.loss_w_k * (start_c - ambient_c)) / node.capacity_j_k
    tau = node.time_constant_s
    if math.isinf(tau):
        final = start_c if rate_k_s == 0.0 else math.copysign(math.inf, rate_k_s)
    else:
        final = ambient_c + power_w / node.loss_w_k
    gap = target_c - start_c
    if gap == 0.0:
        return Countdown(seconds=0.0, final_c=final)
    if math.isinf(tau):
        seconds = gap / rate_k_s if gap * rate_k_s > 0.0 else math.inf
    else:
        share = gap / (final - start_c) if final != start_c else math.inf
        seconds = -tau * math.log1p(-share) if 0.0 < share < 1.0 else math.inf
    return Countdown(seconds=seconds, final_c=final)


def two_node_temps_c(
    elapsed_s: FloatArray,
    nodes: TwoNode,
    *,
    start_c: tuple[float, float],
    ambient_c: float,
    powers_w: tuple[float, float],
) -> FloatArray:
    """Temperatures of two coupled lumps after times at constant powers and ambient.

    Parameters
    ----------
    elapsed_s : array, shape (n,)
        Times since the start [s], at least 0.
    nodes : TwoNode
        Capacities, losses and coupling.
    start_c : pair of float
        Temperatures at the start [°C].
    ambient_c : float
        Air temperature [°C].
    powers_w : pair of float
        Heat put into each [W].

    Returns
    -------
    array, shape (2, n)
        Temperatures [°C].

    Raises
    ------
    RangeError
        A negative time.

    Notes
    -----
    The two eigenvalues are real and not positive. Each mode m with eigenvalue r grows as
    m0 exp(r t) + f (exp(r t) - 1)/r, which stays finite when nothing is lost (r = 0).

    References
    ----------
    Linear system with constant coefficients, variation of constants; tested against an
    independent ODE solution.
    """
    t = require(elapsed_s, 0.0, math.inf, unit="s", where="elapsed time")
    rates, vectors, at_start, forcing = _modes(nodes, start_c, ambient_c, powers_w)
    growth = rates[:, None] * t
    safe = np.where(rates == 0.0, 1.0, rates)[:, None]
    grown = np.where(rates[:, None] == 0.0, t, np.expm1(growth) / safe)
    modes = at_start[:, None] * np.exp(growth) + forcing[:, None] * grown
    temps: FloatArray = ambient_c + vectors @ modes
    return temps


def two_node_countdown(
    nodes: TwoNode,
    *,
    which: int,
    start_c: tuple[float, float],
    ambient_c: float,
    powers_w: tuple[float, float],
    target_c: float,
) -> Countdown:
    """Find when one of two coupled lumps first reaches a temperature.

    Parameters
    ----------
    nodes, start_c, ambient_c, powers_w
        As `two_node_temps_c`.
    which : int
        0 or 1, the lump that is watched.
    target_c : float
        Temperature to reach [°C], from either side.

    Returns
    -------
    Countdown
        Seconds to the first crossing, infinite if there is none.

    References
    ----------
    `two_node_temps_c`; a sum of two exponentials turns at most once, so the first crossing lies
    before the turn or after it, and Brent's method finds it in a bracket.
    """
    from scipy.optimize import brentq  # heavy, and not every caller needs it

    def gap(t: float) -> float:
        temps = two_node_temps_c(
            np.array([t]), nodes, start_c=start_c, ambient_c=ambient_c, powers_w=powers_w
        )
        return float(temps[which, 0]) - target_c

    modes = _modes(nodes, start_c, ambient_c, powers_w)
    rates, vectors, at_start, forcing = modes
    final = _final_c(modes, ambient_c, which)
    if gap(0.0) == 0.0:
        return Countdown(seconds=0.0, final_c=final)
    slopes = vectors[which] * (rates * at_start + forcing)
    # After forty of the longer time constant 4e-18 of the transient remains. Without loss the ramp
    # goes on; its constant slope has passed the target by then.
    slow = float(np.min(-rates[rates < 0.0]))
    end = 40.0 / slow
    if np.any(rates == 0.0):
        ramp = float(slopes[np.argmax(rates)])
        end += (abs(gap(end)) / abs(ramp) + 1.0 / slow) * 2.0 if ramp != 0.0 else 0.0
    times = [0.0, *_turn_s(rates, slopes, end), end]
    for early, late in itertools.pairwise(times):
        if gap(early) * gap(late) < 0.0:
            seconds = float(brentq(gap, early, late, xtol=1e-9, rtol=1e-13))
            return Countdown(seconds=seconds, final_c=final)
    return Countdown(seconds=math.inf, final_c=final)


def _modes(
    nodes: TwoNode, start_c: tuple[float, float], ambient_c: float, powers_w: tuple[float, float]
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    rates, vectors = np.linalg.eig(nodes.matrix())
    if not any(nodes.losses_w_k):
        # Without loss one eigenvalue is zero, but not to the last bit of a floating number.
        rates[np.argmax(rates)] = 0.0
    inverse = np.linalg.inv(vectors)
    at_start = inverse @ (np.asarray(start_c) - ambient_c)
    forcing = inverse @ (np.asarray(powers_w) / np.asarray(nodes.capacities_j_k))
    return rates, vectors, at_start, forcing


def _final_c(
    modes: tuple[FloatArray, FloatArray, FloatArray, FloatArray], ambient_c: float, which: int
) -> float:
    rates, vectors, at_start, forcing = modes
    kept = rates == 0.0
    ramp = float(vectors[which, kept] @ forcing[kept])
    if ramp != 0.0:
        return math.copysign(math.inf, ramp)
    settled = np.where(kept, at_start, -forcing / np.where(kept, 1.0, rates))
    return float(ambient_c + vectors[which] @ settled)


def _turn_s(rates: FloatArray, slopes: FloatArray, end: float) -> list[float]:
    """Time at which a exp(r1 t) + b exp(r2 t) passes zero, if it does before `end`."""
    a, b = slopes
    if a * b >= 0.0 or rates[0] == rates[1]:
        return []
    turn = math.log(-b / a) / float(rates[0] - rates[1])
    return [turn] if 0.0 < turn < end else []
