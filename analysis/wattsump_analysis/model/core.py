"""The cooler's core: two sides in series, and metal between them.

    K_on = K / (1 - b + b g),   K_off = K s / (1 - b + b s g)

b is the oil side's share of the whole resistance at the reference viscosity with the fan
on, s the air side's conductance without fan over that with it, and g what thick oil makes
of the oil side's resistance: a power of the viscosity, and more where the oil goes past
the core. Without fan the air side is nearly all of the resistance, so that cold oil takes
next to nothing from it; one factor on both would.

The metal stands at 1 - b of the way from air to oil with the fan on, at 1 - b' without,
b' = b s / (1 - b + b s). While the oil warms slowly the heat that it gives to metal of
capacity C is C (1 - b)^2 of its own rate, and after the fan is switched the metal goes from one
place to the other with C / (A + B), A = K / b the oil side and B the air side of that state:
C b (1 - b) / K after on, C b (1 - b') / K after off. Both follow from the balance
C dT/dt = A (L - T) - B (T - T_a) to first order in its time constant.

References
----------
.. [1] T. L. Bergman, A. S. Lavine, Fundamentals of Heat and Mass Transfer, sec. 11.2: the
   overall coefficient is two sides in series.
"""

from dataclasses import dataclass

import numpy as np

from wattsump_analysis.arrays import FloatArray

__all__ = ("CoreMetal", "CoreSides", "followed", "thickened")

MOST_LOG = 30.0  # oil that thick passes no heat at all; keeps the exponential finite


@dataclass(frozen=True, slots=True, kw_only=True)
class CoreSides:
    """Parts of the conductance at each bin, shape (n,), for a fan that runs a share `fan`."""

    full_w_k: float
    still_air: float
    oil_side: float
    thick: FloatArray
    fan: FloatArray

    def _open(self, air: float) -> FloatArray:
        return air / (1.0 - self.oil_side + self.oil_side * air * self.thick)

    def conductance_w_k(self) -> FloatArray:
        """Conductance with oil flowing: that with fan and that without, by their time."""
        whole = self.fan * self._open(1.0) + (1.0 - self.fan) * self._open(self.still_air)
        return np.asarray(self.full_w_k * whole)

    def slopes(self, bar: FloatArray) -> tuple[dict[str, float], FloatArray, FloatArray]:
        """What `bar`, the slope in the conductance, is in its parts.

        Returns
        -------
        tuple
            Slopes in `cooler_w_k`, `still_air` and `oil_side`; slope in the logarithm of
            `thick` and in `fan`, shape (n,).
        """
        on, off = self._open(1.0), self._open(self.still_air)
        on_bar = self.full_w_k * self.fan * bar
        off_bar = self.full_w_k * (1.0 - self.fan) * bar
        by_air = (1.0 - self.oil_side) * (off / self.still_air) ** 2
        by_side = off_bar * off**2 * (1.0 / self.still_air - self.thick)
        by_side = by_side + on_bar * on**2 * (1.0 - self.thick)
        by_thick = -self.oil_side * self.thick * (on_bar * on**2 + off_bar * off**2)
        slopes = {
            "cooler_w_k": float(np.sum(bar * (self.fan * on + (1.0 - self.fan) * off))),
            "still_air": float(np.sum(off_bar * by_air)),
            "oil_side": float(np.sum(by_side)),
        }
        return slopes, by_thick, bar * self.full_w_k * (on - off)


def thickened(
    ratio: FloatArray, excess_mm2_s: FloatArray, exponent: float, bypass: float
) -> FloatArray:
    """Resistance of the oil side over that at the reference viscosity, shape (n,).

    `ratio` and `excess_mm2_s` compare the viscosity with that at the reference; `bypass` is
    the excess [mm²/s] at which the oil past the core has made it e-fold.
    """
    log = exponent * np.log(ratio) + excess_mm2_s / bypass
    return np.asarray(np.exp(np.minimum(log, MOST_LOG)))


@dataclass(frozen=True, slots=True, kw_only=True)
class CoreMetal:
    """Metal of a core between its sides: how late it follows the fan, what it stores.

    The parameters are those of `CoreSides`. Pairs are with the fan on and without it.
    """

    capacity_j_k: float
    full_w_k: float
    still_air: float
    oil_side: float

    def _warm(self) -> tuple[float, float]:
        """Where the metal stands between the air (0) and the oil (1)."""
        air = 1.0 - self.oil_side
        return air, air / (air + self.oil_side * self.still_air)

    def lags_s(self) -> tuple[float, float]:
        """Time constants [s] after the fan went on and after it went off."""
        on, off = self._warm()
        whole = self.capacity_j_k * self.oil_side / self.full_w_k
        return whole * on, whole * off

    def stored(self) -> tuple[float, float]:
        """Share of the capacity that the oil has to heat."""
        on, off = self._warm()
        return on**2, off**2

    def slopes(
        self, lag_bars: tuple[float, float], stored_bars: tuple[float, float]
    ) -> dict[str, float]:
        """Slopes in the four parameters of slopes in `lags_s` and `stored`."""
        on, off = self._warm()
        lag_on, lag_off = self.lags_s()
        by_lag = lag_bars[0] * lag_on + lag_bars[1] * lag_off
        whole = self.capacity_j_k * self.oil_side / self.full_w_k
        on_bar = lag_bars[0] * whole + stored_bars[0] * 2.0 * on
        off_bar = lag_bars[1] * whole + stored_bars[1] * 2.0 * off
        below = (1.0 - self.oil_side + self.oil_side * self.still_air) ** 2
        return {
            "capacity_j_k": by_lag / self.capacity_j_k,
            "full_w_k": -by_lag / self.full_w_k,
            "still_air": -off_bar * (1.0 - self.oil_side) * self.oil_side / below,
            "oil_side": by_lag / self.oil_side - on_bar - off_bar * self.still_air / below,
        }


def followed(
    fan: FloatArray, on_bins: float, off_bins: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Share of each bin that the core has followed the fan, and its slopes in the two lags.

    Parameters
    ----------
    fan : ndarray, shape (n,)
        Share of each bin that the fan ran.
    on_bins, off_bins : float
        Time constants after the fan went on and off, in bins; two bins count at most.

    Returns
    -------
    tuple of ndarray, shape (n,)
        Each step of the fan comes late by its lag times its height, over two bins.
    """
    step = np.diff(fan, prepend=fan[0])
    found, slopes = fan.copy(), []
    for part, late in ((np.maximum(step, 0.0), on_bins), (np.minimum(step, 0.0), off_bins)):
        then = np.append(0.0, part[:-1])
        found -= min(late, 1.0) * part + min(max(late - 1.0, 0.0), 1.0) * then
        slopes.append(-part if late < 1.0 else -then if late < 2.0 else 0.0 * part)
    return found, slopes[0], slopes[1]
