"""Where the oil is heading at the present work, from the last minutes of its temperature.

One lump that relaxes: dT/dt = (T_end - T) / tau. A few minutes tell the slope well and the
curvature badly, so the time constant is not fitted alone: a grid of them is weighed by how well
each follows the readings and by what the machine's capacity makes likely. Cheap enough for
every few seconds of a live screen; the proof of an outing is `prove`'s business.
"""

import math
from dataclasses import dataclass

import numpy as np

from wattsump_analysis._shapes import FloatArray

__all__ = ("Heading", "Likely", "find_heading")

_BIN_S = 30.0
_GLITCH_K = 2.0  # from the median of a bin: a reading to leave out
_LEAST_BINS = 6
_GRID = 121
_GRID_SD = 3.0
# Load wanders with a memory of a minute or so, correlating neighbouring bins by 0.6; so many
# of them are worth one without: (1 - 0.6) / (1 + 0.6). Common practice, no source, as below.
_OWN_SHARE = 0.25
_FLOOR_K = 0.02
_TRUSTED_K, _TRUSTED_SHARE = 4.0, 0.25
_TRUSTED_TIME = 0.33


@dataclass(frozen=True, slots=True, kw_only=True)
class Likely:
    """A likely time constant [s] and the standard deviation of its logarithm."""

    tau_s: float
    sd_log: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """Settled temperature with its standard uncertainty, and the time to a limit.

    `seconds` is 0 at or over the limit and None where the likely end lies below it.
    """

    final_c: float
    u_final_k: float
    seconds: float | None


def find_heading(
    elapsed_s: FloatArray, temp_c: FloatArray, limit_c: float, likely: Likely
) -> Heading | None:
    """Find where a temperature settles and when it meets a limit.

    Parameters
    ----------
    elapsed_s, temp_c : array, shape (n,)
        Times [s], increasing, and readings [°C] since the work last changed; NaN is no reading.
    limit_c : float
        The limit [°C].
    likely : Likely
        What is known of the time constant beforehand.

    Returns
    -------
    Heading or None
        None while the readings are too few, or leave both open: an end with a standard
        uncertainty above 4 K and above a quarter of the way that is left, and a time known
        to no better than a third.

    Notes
    -----
    A wandering load moves the oil for as long as the machine remembers, so a curve laid through
    the readings would look far surer than it is. Each bin is foretold from the one before it
    instead; what is left of that, S, gives the end's uncertainty and weighs a time constant by
    S**(-m / 2), m being the number of independent bins.

    References
    ----------
    Energy balance of one lump: `nodes.OneNode`. Prediction errors in place of a
    fitted curve: L. Ljung, System Identification (2nd ed.), section 3.2; from memory.
    """
    t, y = _levels(elapsed_s, temp_c)
    if t.size < _LEAST_BINS:
        return None
    steps = np.linspace(-_GRID_SD, _GRID_SD, _GRID)
    tau = likely.tau_s * np.exp(likely.sd_log * steps)
    # Where each bin alone would say that the oil is heading, given the one before it.
    kept = np.exp(-np.diff(t)[None, :] / tau[:, None])
    toward = (y[1:] - kept * y[:-1]) / (1.0 - kept)
    share = (1.0 - kept) ** 2
    end = (share * toward).sum(axis=1) / share.sum(axis=1)
    squares = (share * (toward - end[:, None]) ** 2).sum(axis=1) + t.size * _FLOOR_K**2
    own = max(1.5, (t.size - 2) * _OWN_SHARE)
    score = -0.5 * own * np.log(squares / squares.min()) - 0.5 * steps**2
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    variance = squares / share.sum(axis=1) / own
    final_c = float(weight @ end)
    u_final_k = math.sqrt(float(weight @ (variance + (end - final_c) ** 2)))
    now_c = float(y[-1])
    # Over a window far shorter than the time to come, only its mean slope is known.
    rate = abs(float(weight @ ((end - now_c) / tau)))
    u_rate = math.sqrt(float(weight @ (variance / tau**2)))
    seconds, spread = _seconds(tau, end, np.full(_GRID, now_c), weight, final_c, limit_c)
    sure_of_time = math.hypot(spread, u_rate / rate if rate else math.inf) < _TRUSTED_TIME
    open_end = u_final_k > _TRUSTED_K + _TRUSTED_SHARE * abs(final_c - now_c)
    if open_end and not (seconds is not None and sure_of_time):
        return None
    return Heading(final_c=final_c, u_final_k=u_final_k, seconds=seconds)


def _levels(elapsed_s: FloatArray, temp_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return mean time and reading of each bin, without what is far from its median.

    A bare median of readings in quarter kelvins would step like them.
    """
    seen = np.isfinite(temp_c)
    t, y = elapsed_s[seen], temp_c[seen]
    if t.size == 0:
        return t, y
    parts = np.flatnonzero(np.diff(np.floor((t - t[0]) / _BIN_S))) + 1
    times = [float(part.mean()) for part in np.split(t, parts)]
    return np.asarray(times), np.asarray([_level(part) for part in np.split(y, parts)])


def _level(part: FloatArray) -> float:
    near = np.abs(part - np.median(part)) <= _GLITCH_K
    return float(part[near].mean())


def _seconds(
    tau: FloatArray,
    end: FloatArray,
    now: FloatArray,
    weight: FloatArray,
    final_c: float,
    limit_c: float,
) -> tuple[float | None, float]:
    """Return the weighted median of the times to the limit, and half their relative spread."""
    if float(weight @ now) >= limit_c:
        return 0.0, 0.0
    reaches = (end > limit_c) & (now < limit_c)
    if final_c <= limit_c or not reaches.any():
        return None, math.inf
    left = tau[reaches] * np.log((end[reaches] - now[reaches]) / (end[reaches] - limit_c))
    order = np.argsort(left)
    share = np.cumsum(weight[reaches][order])
    low, middle, high = left[order][np.searchsorted(share, share[-1] * np.array([0.16, 0.5, 0.84]))]
    return float(middle), 0.5 * float(high - low) / float(middle)
