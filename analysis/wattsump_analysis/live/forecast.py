"""Where the oil is heading at the present work, from the last minutes of its temperature.

The model is one lump: dT/dt = (T_end - T) / tau. A few minutes give the slope well and the
curvature badly, so each of a grid of time constants is weighted by how well it follows the
readings and by how likely the machine's capacity makes it. It is fast enough for a live screen.
"""

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.reading.machine import metal_capacity_j_k, oil_capacity_j_k
from wattsump_logger.machine.profile import Profile
from wattsump_logger.watch.alarm_rules import Typed, limit_of
from wattsump_logger.watch.look import Look
from wattsump_logger.watch.moment import Forecast

__all__ = (
    "Ahead",
    "Heading",
    "Likely",
    "find_heading",
    "likely",
)

_WINDOW_S = 900.0
_SETTLES_S = 30.0  # after a switch oil and probes need this to be on the new course
_AGAIN_S = 5.0
_MANY_SWITCHES = 3  # in a window: a thermostat is at work, so the mean counts
_USUAL_LIMIT_C = 82.0  # common practice, no source
_STATED_SD = 0.5

_USUAL_TAU_S, _USUAL_SD = 900.0, 0.9
_SHELL_W_K, _STILL_SHARE, _USUAL_K_W_K = 13.0, 0.1, 90.0
_BIN_S = 30.0
_GLITCH_K = 2.0  # a reading farther from its bin's median is left out
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

    `seconds` is 0 at or over the limit, None if the likely end is below it.
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
        The prior of the time constant.

    Returns
    -------
    Heading or None
        None while the readings are too few or determine neither: the end has a standard
        uncertainty above 4 K and above a quarter of the way to it, and the time one of a third
        or more.

    Notes
    -----
    A varying load leaves correlated errors, so a curve fitted to the readings would have far too
    small an uncertainty. Each bin is predicted from the one before instead. The sum of squares
    S of these errors gives the end's uncertainty, and a time constant the weight S**(-m / 2)
    with m independent bins.

    References
    ----------
    Energy balance of one lump: `lumps.OneNode`. Prediction errors in place of a
    fitted curve: L. Ljung, System Identification (2nd ed.), section 3.2; from memory.
    """
    t, y = _levels(elapsed_s, temp_c)
    if t.size < _LEAST_BINS:
        return None
    steps = np.linspace(-_GRID_SD, _GRID_SD, _GRID)
    tau = likely.tau_s * np.exp(likely.sd_log * steps)
    # The end temperature by each bin and the one before it.
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
    # A window much shorter than the forecast gives only a mean slope.
    rate = abs(float(weight @ ((end - now_c) / tau)))
    u_rate = math.sqrt(float(weight @ (variance / tau**2)))
    seconds, spread = _seconds(tau, end, now_c, weight, final_c, limit_c)
    sure_of_time = math.hypot(spread, u_rate / rate if rate else math.inf) < _TRUSTED_TIME
    open_end = u_final_k > _TRUSTED_K + _TRUSTED_SHARE * abs(final_c - now_c)
    if open_end and not (seconds is not None and sure_of_time):
        return None
    return Heading(final_c=final_c, u_final_k=u_final_k, seconds=seconds)


def _levels(elapsed_s: FloatArray, temp_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return mean time and reading of each bin, without readings far from its median.

    A median itself would move in the readings' quarter kelvins.
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
    now_c: float,
    weight: FloatArray,
    final_c: float,
    limit_c: float,
) -> tuple[float | None, float]:
    """Return the weighted median of the times to the limit, and half their relative spread."""
    if now_c >= limit_c:
        return 0.0, 0.0
    reaches = end > limit_c
    if final_c <= limit_c or not reaches.any():
        return None, math.inf
    seconds = tau[reaches] * np.log((end[reaches] - now_c) / (end[reaches] - limit_c))
    order = np.argsort(seconds)
    share = np.cumsum(weight[reaches][order])
    low, middle, high = seconds[order][
        np.searchsorted(share, share[-1] * np.array([0.16, 0.5, 0.84]))
    ]
    return float(middle), 0.5 * float(high - low) / float(middle)


class Ahead:
    """Forecasts the oil temperature; a `moment.Forecaster`.

    Parameters
    ----------
    profile : Profile, optional
        Gives the oil's channel, its limit, and a likely time constant.
    limits_c : mapping of str to float, optional
        Limits as typed, by channel.
    """

    def __init__(
        self, profile: Profile | None = None, limits_c: Mapping[str, float] | None = None
    ) -> None:
        tank = profile.role("tank") if profile else None
        name = tank.name if tank else "tank"
        limit_c = limit_of(name, profile, Typed(limit_c=limits_c or {}))
        self._limit_c = _USUAL_LIMIT_C if limit_c is None else limit_c
        self._likely = {fan: likely(profile, fan=fan) for fan in (True, False)}
        self._readings: deque[tuple[float, float]] = deque()
        self._switched_s: deque[float] = deque(maxlen=_MANY_SWITCHES)
        self._fan: bool | None = None
        self._doing: tuple[bool | None, ...] = ()
        self._since_s = 0.0
        self._found: Forecast | None = None
        self._found_s = float("-inf")

    def __call__(self, look: Look) -> Forecast | None:
        """Return the forecast, at most some seconds old; None while there is no reliable one."""
        now_s, oil_c = look.elapsed_s, look.read("tank")
        if now_s is None or oil_c is None:
            return self._found
        if self._readings and now_s < self._readings[-1][0]:
            self._begin(now_s)
            self._switched_s.clear()
        self._follow_switches(look, now_s)
        if now_s - self._since_s >= _SETTLES_S:
            self._keep(now_s, oil_c)
        if look.is_on("engine") is False and not look.is_on("heater"):
            return None
        if now_s - self._found_s >= _AGAIN_S:
            self._found_s, self._found = now_s, self._forecast()
        return self._found

    def _begin(self, now_s: float) -> None:
        self._readings.clear()
        self._since_s, self._found, self._found_s = now_s, None, float("-inf")

    def _follow_switches(self, look: Look, now_s: float) -> None:
        fan = look.is_on("fan")
        if fan is not self._fan:
            self._fan = fan
            self._switched_s.append(now_s)
        often = len(self._switched_s) == _MANY_SWITCHES
        cycles = often and now_s - self._switched_s[0] < _WINDOW_S
        doing = (look.is_on("engine"), look.is_on("heater"), None if cycles else fan)
        if doing != self._doing:
            self._doing = doing
            self._begin(now_s)

    def _keep(self, now_s: float, oil_c: float) -> None:
        if not self._readings or now_s - self._readings[-1][0] >= 1.0:
            self._readings.append((now_s, oil_c))
        while self._readings[0][0] < now_s - _WINDOW_S:
            self._readings.popleft()

    def _forecast(self) -> Forecast | None:
        table = np.array(self._readings, dtype=np.float64).reshape(-1, 2)
        heading = find_heading(
            table[:, 0], table[:, 1], self._limit_c, self._likely[self._fan is not False]
        )
        if heading is None:
            return None
        return Forecast(
            heading_c=heading.final_c,
            u_heading_k=heading.u_final_k,
            minutes_to_limit=None if heading.seconds is None else heading.seconds / 60.0,
            limit_c=self._limit_c,
        )


def likely(profile: Profile | None, *, fan: bool) -> Likely:
    """Return the time constant a machine is likely to have, by its oil, metal and label."""
    oil = None if profile is None else oil_capacity_j_k(profile, 60.0)[0]
    if profile is None or oil is None:
        return Likely(tau_s=_USUAL_TAU_S, sd_log=_USUAL_SD)
    metal, _ = metal_capacity_j_k(profile)
    cooler = profile.cooler
    k_w_k = _USUAL_K_W_K
    if cooler.label_heat_w is not None and cooler.label_etd_k is not None:
        k_w_k = cooler.label_heat_w / cooler.label_etd_k
    loss_w_k = _SHELL_W_K + k_w_k * (1.0 if fan else _STILL_SHARE)
    # Where no metal is listed, the metal stores as much heat as the oil.
    return Likely(tau_s=(oil + (oil if metal is None else metal)) / loss_w_k, sd_log=_STATED_SD)
