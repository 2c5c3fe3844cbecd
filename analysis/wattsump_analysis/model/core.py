"""The cooler's core: two sides in series, and metal between them.

    K_on = K / (1 - b + b g),   K_off = K s / (1 - b + b s g)

b is the oil side's share of the whole resistance at the reference viscosity with the fan
on, s the air side's conductance without fan over that with it, and g the factor of thick oil
on the oil side's resistance: a power of the viscosity, and more where the oil bypasses the
core. Without fan the air side is nearly all of the resistance, so that cold oil hardly changes
K; a common factor on both sides would.

The metal's temperature is 1 - b of the way from air to oil with the fan on, 1 - b' without,
b' = b s / (1 - b + b s). While the oil warms slowly, metal of capacity C takes up C (1 - b)^2
times the oil's rate. After the fan is switched the metal changes temperature with the time
constant C / (A + B), A = K / b the oil side and B the air side of the new state:
C b (1 - b) / K after on, C b (1 - b') / K after off. Both follow from the balance
C dT/dt = A (L - T) - B (T - T_a) to first order in its time constant.

All are functions of floats or of arrays that broadcast.

References
----------
.. [1] T. L. Bergman, A. S. Lavine, Fundamentals of Heat and Mass Transfer, sec. 11.2: the
   overall coefficient is two sides in series.
"""

from typing import Any

import numpy as np

from wattsump_analysis.arrays import FloatArray

__all__ = ("conductance", "followed", "metal_lags_s", "steps_of", "stored_share")

MOST_LOG = 30.0  # at this thickness no heat passes; the limit keeps the exponential finite


def conductance(still_air: Any, oil_side: Any, log_thick: Any, fan: Any) -> Any:
    """Conductance over that with fan and reference oil, the fan running a share `fan`.

    `log_thick` is the logarithm of g.
    """
    thick = np.exp(np.minimum(log_thick, MOST_LOG))

    def through(air: Any) -> Any:
        return air / (1.0 - oil_side + oil_side * air * thick)

    return fan * through(1.0) + (1.0 - fan) * through(still_air)


def _warm(still_air: Any, oil_side: Any) -> tuple[Any, Any]:
    """Temperature of the metal between air (0) and oil (1), with the fan and without."""
    air = 1.0 - oil_side
    return air, air / (air + oil_side * still_air)


def metal_lags_s(
    capacity_j_k: Any, full_w_k: Any, still_air: Any, oil_side: Any
) -> tuple[Any, Any]:
    """Time constants [s] of the core's metal after the fan went on and after it went off."""
    on, off = _warm(still_air, oil_side)
    whole = capacity_j_k * oil_side / full_w_k
    return whole * on, whole * off


def stored_share(still_air: Any, oil_side: Any) -> tuple[Any, Any]:
    """Share of the core's capacity that warms with the oil, with the fan and without."""
    on, off = _warm(still_air, oil_side)
    return on**2, off**2


def steps_of(fan: FloatArray) -> dict[str, FloatArray]:
    """The fan's steps on and off in each bin, and in the bin before, shape (n,)."""
    step = np.diff(fan, prepend=fan[0])
    parts = {"fan_on": np.maximum(step, 0.0), "fan_off": np.minimum(step, 0.0)}
    before = {f"{name}_before": np.append(0.0, part[:-1]) for name, part in parts.items()}
    return parts | before


def followed(r: Any, on_bins: Any, off_bins: Any) -> Any:
    """Share of each bin that the core has followed the fan.

    Parameters
    ----------
    r
        Has `fan`, the share of each bin that the fan ran, and its `steps_of` as attributes.
    on_bins, off_bins : float or ndarray
        Time constants after the fan went on and off, in bins, at most two bins. Each step of the
        fan takes effect later by that lag.
    """
    share = r.fan
    for part, before, late in (
        (r.fan_on, r.fan_on_before, on_bins),
        (r.fan_off, r.fan_off_before, off_bins),
    ):
        share = share - np.minimum(late, 1.0) * part
        share = share - np.minimum(np.maximum(late - 1.0, 0.0), 1.0) * before
    return share
