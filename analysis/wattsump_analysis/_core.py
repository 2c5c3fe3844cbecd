"""The cooler's conductance: its oil side and its air side in series.

    K_on = K / (1 - b + b g),   K_off = K s / (1 - b + b s g)

b is the oil side's share of the whole resistance at the reference viscosity with the fan
on, s the air side's conductance without fan over that with it, and g what thick oil makes
of the oil side's resistance: a power of the viscosity, and more where the oil goes past
the core. Without fan the air side is nearly all of the resistance, so that cold oil takes
next to nothing from it; one factor on both would.

References
----------
.. [1] T. L. Bergman, A. S. Lavine, Fundamentals of Heat and Mass Transfer, sec. 11.2: the
   overall coefficient is two sides in series.
"""

from dataclasses import dataclass

import numpy as np

from wattsump_analysis._shapes import FloatArray

__all__ = ("CoreSides", "thickened")

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
