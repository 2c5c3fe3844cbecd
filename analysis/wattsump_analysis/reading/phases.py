"""The phases of an outing: soak, warm-up, steady work, fan steps, cool-downs.

They follow the controller's flags. Where a flag is missing they follow the temperatures: the
engine starts when the tank first rises for good, work ends when a warm tank begins to fall
steadily. Each guess gives a remark.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.reading.machine import bucket_matched
from wattsump_analysis.reading.record import COOLING, IDLING, SEEN_DROP_K, SPIKE_K, Record, Switches
from wattsump_analysis.reading.samples import Samples
from wattsump_analysis.results import Phase
from wattsump_logger.arrays import BoolArray
from wattsump_logger.machine.profile import Profile
from wattsump_logger.remark import Remark
from wattsump_logger.units.measure import kelvins
from wattsump_logger.watch.guide import SETTLED_K_MIN

__all__ = (
    "Soak",
    "find_phases",
    "find_soak",
    "flow_known_until",
    "hidden_switchings",
    "offsets_k_of",
    "saw_tooth",
    "slopes_k_min",
    "switches_of",
)

SLOPE_WINDOW_S = 240.0
RISING_K_MIN = 0.12
FALLING_K_MIN = -0.12
SHORTEST_PHASE_S = 90.0
STARTED_K = 1.0  # a larger rise is no noise of a probe
# Common practice, no source: an hour or more of rest brings every probe to one temperature.
SOAK_LEAST_S = 120.0
STANDING_S = 120.0  # a shorter pause of the drive counts as work
STILL_LEVEL_S = 300.0  # the tank of a machine just stopped hardly falls yet; common practice
SOAK_USED_S = 600.0
STEP_K = 0.25  # of a usual converter
COARSE_K = 0.1  # a little more than matched probes differ by
SOAK_SPREAD_K = 6.0  # two probes of the widest usual class differ by no more
SAW_TEETH = 6  # a guided run switches the fan five times
SAW_BAND_K = 8.0
SAW_EXCESS_K = 10.0  # oil over air, above which the share is more than noise
MEDIAN_READINGS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Soak:
    """A rest before the start, and each probe's excess over the tank's at its end.

    `offsets_k` is None where the rest was no soak, with `reason`. `drift_k_min` is how fast oil
    or air still changed beyond their scatter; times the tank's time constant it is the tank's
    distance from the air.
    """

    start_s: float
    end_s: float
    offsets_k: Mapping[str, float] | None
    reason: Remark | None = None
    drift_k_min: float = 0.0


def _started_at(elapsed_s: FloatArray, tank_c: FloatArray) -> float:
    """When the tank leaves its first temperature for good; the start if it never was still."""
    seen = np.flatnonzero(np.isfinite(tank_c))
    t, y = elapsed_s[seen], tank_c[seen]
    first = float(np.median(y[t <= t[0] + 60.0]))
    away = np.abs(y - first) > STARTED_K
    # The last reading near the first temperature; a spike does not count.
    gone = np.flatnonzero(np.convolve(away, np.ones(5))[4:] == 5)
    if gone.size == 0:
        return float(t[-1])
    start = float(t[gone[0]])
    return max(float(t[0]), start - SOAK_LEAST_S)


def flow_known_until(samples: Samples) -> float:
    """Time [s] after which it is unknown whether oil was pumped; infinite if it is always known.

    Without an engine channel a machine that stands may idle or be stopped, so its oil cools by
    the cooler or by the shell alone. The same holds for the last steady fall of a tank when only
    its temperature was logged.
    """
    if samples.engine is not None:
        return math.inf
    if samples.moving is None:
        fell = _fell_away(samples.elapsed_s, samples.temps_c["tank"])
        return float(samples.elapsed_s[np.argmax(fell)]) - STILL_LEVEL_S if fell.any() else math.inf
    turning = samples.elapsed_s[samples.moving > 0.5]
    if turning.size == 0 or samples.elapsed_s[-1] - turning[-1] < STANDING_S:
        return math.inf
    return float(turning[-1])


def _starts_warm(samples: Samples) -> bool:
    """Whether the oil is so far above the air at first that the machine was not at rest."""
    first = samples.elapsed_s <= samples.elapsed_s[0] + 60.0
    air = samples.temps_c.get("ambient")
    if air is None or not np.isfinite(air[first]).any():
        return False
    tank = samples.temps_c["tank"][first]
    return bool(np.nanmax(tank) - np.nanmedian(air[first]) > SOAK_SPREAD_K)


def switches_of(samples: Samples) -> tuple[Switches, tuple[Remark, ...]]:
    """Flags of every sample, from the channels, else from the tank.

    Returns
    -------
    Switches, tuple of Remark
        The switches, and a remark for each that was guessed.
    """
    t, n, notes = samples.elapsed_s, samples.elapsed_s.size, []
    engine = samples.engine
    if engine is None:
        start = _started_at(t, samples.temps_c["tank"])
        still = start > t[0] + SOAK_LEAST_S and not _starts_warm(samples)
        engine = np.where((t >= start) | (not still), 1.0, 0.0)
        until_s = flow_known_until(samples)
        last = (
            "just before the tank's last fall"
            if samples.moving is None
            else "the drive last turned"
        )
        begin = "from the first rise of the tank" if still else "from the beginning"
        end = (
            f"until {last}, at {until_s / 60:.0f} min; what came after was left out, as "
            "oil may have been pumped or not"
            if math.isfinite(until_s)
            else "to the end"
        )
        text = f"no engine channel: oil was taken to flow through the cooler {begin} {end}"
        notes.append(Remark(code="no-engine-channel", text=text))
    fan = samples.fan
    if fan is None:
        fan = np.ones(n)
        text = "no fan channel: the fan was taken to run all the time"
        notes.append(Remark(code="no-fan-channel", text=text))
    moving = samples.moving
    work = np.zeros(n, dtype=np.int64)
    if moving is not None:
        work = np.asarray(np.rint(moving), dtype=np.int64)
    else:
        work = np.where(_fell_away(t, samples.temps_c["tank"]), 0, 1).astype(np.int64)
        moving = np.zeros(n)
        text = "no drive channel: motion and idling were told by the tank alone"
        notes.append(Remark(code="no-drive-channel", text=text))
    heater = np.zeros(n) if samples.heater_w is None else samples.heater_w
    return Switches(
        fan=fan,
        engine=engine,
        moving=moving,
        heater_w=heater,
        work=np.where(engine > 0.5, work, -1),
        engine_rpm=samples.engine_rpm,
    ), tuple(notes)


def _fell_away(t: FloatArray, tank_c: FloatArray) -> BoolArray:
    """Samples of a last steady fall from a warm tank: work had ended."""
    seen = np.isfinite(tank_c)
    grid = np.arange(t[0], t[-1] + 30.0, 30.0)
    smooth = np.interp(grid, t[seen], tank_c[seen])
    slope = slopes_k_min(grid, smooth)
    falling = slope < 2 * FALLING_K_MIN
    last = np.flatnonzero(~(slope < FALLING_K_MIN))
    begin = int(last[-1]) + 1 if last.size else 0
    span = float(np.ptp(smooth))
    if begin >= grid.size or not falling[begin:].any() or span < 3.0:
        return np.zeros(t.size, dtype=bool)
    if begin == 0 or smooth[begin] < smooth.min() + 0.5 * span:
        return np.zeros(t.size, dtype=bool)
    return np.asarray(t >= grid[begin])


def slopes_k_min(elapsed_s: FloatArray, temp_c: FloatArray) -> FloatArray:
    """Slope of a temperature over `SLOPE_WINDOW_S` about each bin, K/min, shape (n,)."""
    seen = np.isfinite(temp_c)
    if np.count_nonzero(seen) < 2:
        return np.zeros_like(elapsed_s)
    half = 0.5 * SLOPE_WINDOW_S
    y = np.interp(elapsed_s, elapsed_s[seen], temp_c[seen])
    early = np.maximum(elapsed_s - half, elapsed_s[0])
    late = np.minimum(elapsed_s + half, elapsed_s[-1])
    rise = np.interp(late, elapsed_s, y) - np.interp(early, elapsed_s, y)
    return np.asarray(60.0 * rise / np.maximum(late - early, 1e-9))


def find_soak(samples: Samples, engine: FloatArray) -> Soak | None:
    """Find the rest before the start, and the probes' offsets from its last part.

    The rest ends where the engine or a heater starts. Returns None where the session starts
    with either running. A rest whose temperatures still drift, or whose probes are too far
    apart to be at one temperature, gives no offsets and says why.
    """
    t = samples.elapsed_s
    heated = np.zeros(t.size, bool) if samples.heater_w is None else samples.heater_w > 1.0
    running = np.flatnonzero((engine > 0.5) | heated)
    end = int(running[0]) if running.size else t.size
    if end < 2 or t[end - 1] - t[0] < SOAK_LEAST_S:
        return None
    used = slice(int(np.searchsorted(t, t[end - 1] - SOAK_USED_S)), end)
    names = [
        name for name in ("tank", "cooler_in", "cooler_out", "ambient") if name in samples.temps_c
    ]
    start_s, end_s = float(t[0]), float(t[end - 1])

    def refused(reason: Remark) -> Soak:
        return Soak(start_s=start_s, end_s=end_s, offsets_k=None, reason=reason)

    levels, drifts = {}, [0.0]
    for name in names:
        y, x = samples.temps_c[name][used], t[used]
        seen = np.isfinite(y)
        if np.count_nonzero(seen) < MEDIAN_READINGS:
            text = f"{name} has too few readings during the rest"
            return refused(Remark(code="rest-few-readings", text=text))
        drift = _robust_drift_k_min(x[seen], y[seen])
        drifts.append(_beyond_scatter_k_min(x[seen], y[seen], drift))
        if abs(drift) > SETTLED_K_MIN:
            moved = kelvins(drift, "+.2f", per="/min")
            still = (f"{name} still moved by ", moved, " during the rest")
            return refused(Remark(code="rest-drifts", text=still))
        if _step_error_k(samples.temps_c[name], y[seen]) > COARSE_K:
            coarse = f"{name} is read in steps too coarse to tell a rest from a slow drift"
            return refused(Remark(code="rest-coarse", text=coarse))
        levels[name] = _level(y[seen])
    spread_k = max(levels.values()) - min(levels.values())
    if spread_k > SOAK_SPREAD_K:
        apart = (
            "the probes stood ",
            kelvins(spread_k),
            " apart: oil and air were not at one temperature yet",
        )
        return refused(Remark(code="rest-uneven", text=apart))
    return Soak(
        start_s=start_s,
        end_s=end_s,
        offsets_k={name: level - levels["tank"] for name, level in levels.items()},
        drift_k_min=max(drifts),
    )


def _level(y: FloatArray) -> float:
    """Mean without spikes; unlike a median, finer than a converter's quarter-degree steps."""
    return float(np.mean(y[np.abs(y - np.median(y)) < SPIKE_K]))


def _step_error_k(whole: FloatArray, y: FloatArray) -> float:
    """Standard error of a mean of readings `y` by the steps that the outing is read in, in K.

    Noise of a good part of a step evens the steps out; without it the mean is off by a quarter of
    one. B. Widrow and I. Kollar, Quantization Noise, 2008, sec. 4.3 and app. G: mean of a quantised
    normal variable, from memory.
    """
    gaps = np.diff(np.unique(np.round(whole[np.isfinite(whole)], 4)))
    if not gaps.size:
        return 0.0
    step_k = float(np.min(gaps))
    changes = np.clip(np.diff(y), -3.0 * step_k, 3.0 * step_k)  # a spike is no noise
    noise_k2 = max(float(np.mean(changes**2)) / 2.0 - step_k**2 / 12.0, 0.0)
    evened = np.exp(-2.0 * np.pi**2 * noise_k2 / step_k**2)
    return float(step_k / (np.sqrt(2.0) * np.pi) * evened)


def _robust_drift_k_min(x: FloatArray, y: FloatArray) -> float:
    """Slope between the medians of the first and the last third, K/min."""
    third = max(y.size // 3, 1)
    rise = _level(y[-third:]) - _level(y[:third])
    return 60.0 * rise / max(float(np.mean(x[-third:]) - np.mean(x[:third])), 1e-9)


def _beyond_scatter_k_min(x: FloatArray, y: FloatArray, drift_k_min: float) -> float:
    """The drift beyond the scatter of the two thirds' means, K/min."""
    third = max(y.size // 3, 1)
    scatter_k = max(float(np.std(np.diff(y))) / math.sqrt(2.0), STEP_K / math.sqrt(12.0))
    span_min = max(float(x[-1] - x[0]) * 2.0 / 3.0, 1.0) / 60.0
    noise = scatter_k * math.sqrt(2.0 / third) / span_min
    return math.sqrt(max(drift_k_min**2 - noise**2, 0.0))


def offsets_k_of(soak: Soak | None, profile: Profile | None) -> Mapping[str, float]:
    """Excess of each probe by the soak, K; none for oil probes matched in a bath."""
    soaked = {} if soak is None else soak.offsets_k or {}
    if not bucket_matched(profile):
        return soaked
    return {name: offset for name, offset in soaked.items() if name == "ambient"}


def saw_tooth(record: Record) -> BoolArray:
    """Bins of a plateau that a fan thermostat holds, shape (n,).

    With a fan flag: at least `SAW_TEETH` switchings within a band of `SAW_BAND_K` and
    no more than 12 minutes apart.
    """
    flips = np.flatnonzero(np.abs(np.diff(np.rint(record.fan))) > 0.5) + 1
    inside = np.zeros(record.bins, dtype=bool)
    tank = record.oils_c["tank"]
    for i in range(flips.size - SAW_TEETH + 1):
        first, last = int(flips[i]), int(flips[i + SAW_TEETH - 1])
        band = tank[first : last + 1]
        close = np.max(np.diff(record.elapsed_s[flips[i : i + SAW_TEETH]])) < 720.0
        if close and np.nanmax(band) - np.nanmin(band) < SAW_BAND_K:
            inside[first : last + 1] = True
    return inside


def hidden_switchings(record: Record) -> int:
    """How often the cooler went from cooling to idling or back without a log of it.

    The share of its excess over the air that oil gives off in the cooler does not depend on the
    load; it falls with thick oil, but slowly and once. If it goes up and down between `COOLING`
    and `IDLING` of its usual high, `SAW_TEETH` times or more, a fan or valve switches. 0 without
    both probes at the cooler, or with fewer swings.
    """
    if not record.reads_both_pipes:
        return 0
    usable = (record.engine > 0.99) & (record.excess_k > SAW_EXCESS_K)
    usable &= np.isfinite(record.oils_c["cooler_out"])
    if np.count_nonzero(usable) < SAW_TEETH:
        return 0
    drop_k = record.drop_k[usable]
    if np.quantile(drop_k, 0.9) < SEEN_DROP_K:
        return 0
    share = drop_k / record.excess_k[usable]
    high = float(np.quantile(share, 0.9))
    side = np.where(share > COOLING * high, 1, np.where(share < IDLING * high, -1, 0))
    side = side[side != 0]
    swings = int(np.count_nonzero(np.diff(side)))
    return swings if swings >= SAW_TEETH else 0


def find_phases(record: Record, fan_known: bool) -> tuple[Phase, ...]:
    """Name each stretch of a record.

    Parameters
    ----------
    record : Record
        Binned outing with its switches.
    fan_known : bool
        Whether the fan's state was logged; without it there are no fan phases.

    Returns
    -------
    tuple of Phase
        In order, without gaps; stretches under `SHORTEST_PHASE_S` join their neighbour.
    """
    slope = slopes_k_min(record.elapsed_s, record.oils_c["tank"])
    working = record.engine > 0.5
    kinds = np.where(working, "steady work", "stopped cool-down").astype("<U18")
    kinds[np.cumsum(working) == 0] = "soak"
    kinds[(record.heater_w > 1.0) & (record.engine < 0.5)] = "preheat"
    # Standing with the engine on before any work belongs to a test and is no idle cool-down.
    worked = np.maximum.accumulate(record.work > 0)
    idle = working & (record.work == 0) & worked & (slope < FALLING_K_MIN)
    kinds[idle] = "idle cool-down"
    if fan_known and _fan_stepped(record):
        kinds[working & ~idle & (record.fan >= 0.5)] = "fan on"
        kinds[working & ~idle & (record.fan < 0.5)] = "fan off"
    else:
        kinds[working & ~idle & (slope > RISING_K_MIN)] = "warm-up"
    kinds[_first_rise(record, slope)] = "warm-up"
    if fan_known:
        kinds[saw_tooth(record)] = "regulated"
    return _runs(record, kinds)


def _fan_stepped(record: Record) -> bool:
    fan = np.rint(record.fan[record.engine > 0.5])
    return bool(fan.size) and bool(np.any(np.diff(fan) != 0))


def _first_rise(record: Record, slope: FloatArray) -> BoolArray:
    """The bins from the first start until the tank stops rising or the fan is switched."""
    inside = np.zeros(record.bins, dtype=bool)
    started = np.flatnonzero(record.engine > 0.5)
    if not started.size:
        return inside
    begin = int(started[0])
    fan = np.rint(record.fan)
    stop = (slope < RISING_K_MIN) | (fan != fan[begin]) | (record.engine < 0.5)
    # Cold oil from the pipes reaches the tank first, so the first minutes do not end the rise.
    settle = begin + int(np.ceil(SLOPE_WINDOW_S / record.bin_s))
    later = np.flatnonzero(stop[settle:])
    end = settle + int(later[0]) if later.size else record.bins
    if np.any(slope[begin:end] > RISING_K_MIN):
        inside[begin:end] = record.engine[begin:end] > 0.5
    return inside


def _runs(record: Record, kinds: NDArray[np.str_]) -> tuple[Phase, ...]:
    edges = np.flatnonzero(kinds[1:] != kinds[:-1]) + 1
    starts = [0, *(int(e) for e in edges)]
    stops = [*starts[1:], record.bins]
    merged: list[tuple[str, int, int]] = []
    for begin, end in zip(starts, stops, strict=True):
        kind = str(kinds[begin])
        short = (end - begin) * record.bin_s < SHORTEST_PHASE_S
        if merged and (short or merged[-1][0] == kind):
            merged[-1] = (*merged[-1][:2], end)
        else:
            merged.append((kind, begin, end))
    half = 0.5 * record.bin_s
    return tuple(
        Phase(
            kind=kind,
            start_s=float(record.elapsed_s[begin]) - half,
            end_s=float(record.elapsed_s[end - 1]) + half,
        )
        for kind, begin, end in merged
    )
