"""An outing reduced to evenly spaced bin means, ready for the thermal network.

Binning keeps what a fit of minutes-long transients needs and makes its cost independent of the
sampling rate. Spikes against a running median are taken out first. A bin without a reading stays
empty for oil and is interpolated for the air, which is an input of the fit.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from wattsump_analysis.arrays import FloatArray
from wattsump_logger.arrays import BoolArray

__all__ = (
    "OILS",
    "SPIKE_K",
    "USUAL_BIN_S",
    "Record",
    "Switches",
    "bin_means",
    "despike",
    "make_record",
    "usual_bin_s",
)

OILS = ("tank", "cooler_in", "cooler_out")
SPIKE_K = 2.0  # far above noise and quarter-degree steps, far below a stuck probe
QUICK_K_S = 5.0 / 60.0  # of oil at work; common practice, no source
MEDIAN_SAMPLES = 7
USUAL_BIN_S = 20.0
MOST_BINS = 480
STANDSTILL = -1
SEEN_DROP_K = 2.2  # of the oil in the cooler that tells its state: nine steps of a usual converter
COOLING, IDLING = 0.7, 0.4  # of its usual high share; a core without its fan passes a tenth


@dataclass(frozen=True, slots=True, kw_only=True)
class Switches:
    """What was on, sample by sample, each of shape (n,), 0..1; heater in W.

    `engine_rpm` is None where no speed was logged.
    """

    fan: FloatArray
    engine: FloatArray
    moving: FloatArray
    heater_w: FloatArray
    work: NDArray[np.int64]
    engine_rpm: FloatArray | None = None

    def part(self, keep: slice) -> "Switches":
        """The switches of some samples."""
        return replace(self, **_kept_rows(self, keep))


def _kept_rows(value: object, keep: slice | BoolArray) -> dict[str, Any]:
    """The rows in `keep` of every array of a value type."""
    rows = ((field.name, getattr(value, field.name)) for field in fields(value))  # type: ignore[arg-type]
    return {name: array[keep] for name, array in rows if isinstance(array, np.ndarray)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """Bin means of one outing; arrays of shape (n,) at the bins' middles.

    `oils_c` holds the oil channels of `OILS` that exist, NaN where empty. `work` numbers
    the kind of work (-1: engine off): each kind has its own level of heat. `flow_w_k`
    is the measured oil flow times its heat capacity, or None. `engine_rpm` is the engine's
    speed, None where only on and off are known.
    """

    bin_s: float
    elapsed_s: FloatArray
    oils_c: Mapping[str, FloatArray]
    ambient_c: FloatArray
    fan: FloatArray
    engine: FloatArray
    moving: FloatArray
    heater_w: FloatArray
    work: NDArray[np.int64]
    flow_w_k: FloatArray | None = None
    engine_rpm: FloatArray | None = None

    @property
    def bins(self) -> int:
        return int(self.elapsed_s.size)

    @property
    def reads_both_pipes(self) -> bool:
        """Whether the oil was read into the cooler and out of it."""
        return {"cooler_in", "cooler_out"} <= set(self.oils_c)

    @property
    def excess_k(self) -> FloatArray:
        """Oil into the cooler over the air [K]."""
        return self.oils_c["cooler_in"] - self.ambient_c

    @property
    def drop_k(self) -> FloatArray:
        """Oil into the cooler over the oil out of it [K]."""
        return self.oils_c["cooler_in"] - self.oils_c["cooler_out"]

    def tank_alone(self) -> "Record":
        """The record without the cooler's own probes and flow."""
        return replace(self, oils_c={"tank": self.oils_c["tank"]}, flow_w_k=None)

    def between(self, start_s: float, end_s: float) -> "Record":
        """Return the part of the record with `start_s` <= time < `end_s`."""
        keep = (self.elapsed_s >= start_s) & (self.elapsed_s < end_s)
        oils = {name: values[keep] for name, values in self.oils_c.items()}
        return replace(self, oils_c=oils, **_kept_rows(self, keep))


def usual_bin_s(elapsed_s: FloatArray) -> float:
    """Bin width: 20 s, or wider where an outing would fill more than `MOST_BINS`."""
    span_s = float(elapsed_s[-1] - elapsed_s[0])
    sample_s = float(np.median(np.diff(elapsed_s)))
    return float(max(USUAL_BIN_S, sample_s, np.ceil(span_s / MOST_BINS)))


def despike(values: FloatArray, elapsed_s: FloatArray) -> FloatArray:
    """Return `values` with readings far from their running median made NaN.

    The highest of readings minutes apart may truly be as far from its neighbours as a spike is.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Temperatures [°C], NaN where there was no reading.
    elapsed_s : ndarray, shape (n,)
        Times of the rows [s].
    """
    seen = np.flatnonzero(np.isfinite(values))
    if seen.size < MEDIAN_SAMPLES:
        return values
    apart_s = float(np.median(np.diff(elapsed_s)))
    spike_k = SPIKE_K + 1.5 * QUICK_K_S * max(apart_s - USUAL_BIN_S, 0.0)
    middle = median_filter(values[seen], size=MEDIAN_SAMPLES, mode="nearest")
    clean = values.copy()
    clean[seen[np.abs(values[seen] - middle) > spike_k]] = np.nan
    return clean


def bin_means(values: FloatArray, index: NDArray[np.int64], bins: int) -> FloatArray:
    """Mean of the finite `values` in each bin; NaN where a bin has none."""
    seen = np.isfinite(values)
    count = np.bincount(index[seen], minlength=bins)
    total = np.bincount(index[seen], weights=values[seen], minlength=bins)
    with np.errstate(invalid="ignore"):
        return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def make_record(
    elapsed_s: FloatArray,
    oils_c: Mapping[str, FloatArray],
    ambient_c: FloatArray,
    switches: Switches,
    flow_w_k: FloatArray | None = None,
    bin_s: float | None = None,
) -> Record:
    """Bin samples into a `Record`.

    Parameters
    ----------
    elapsed_s : ndarray, shape (n,)
        Increasing times [s].
    oils_c : mapping of str to ndarray, shape (n,)
        Oil temperatures [°C] by name of `OILS`; "tank" is required.
    ambient_c : ndarray, shape (n,)
        Air temperature [°C].
    switches : Switches
        What was on, sample by sample.
    flow_w_k : ndarray, shape (n,), optional
        Oil flow times heat capacity [W/K].
    bin_s : float, optional
        Bin width [s]; `usual_bin_s` if not given.
    """
    width = usual_bin_s(elapsed_s) if bin_s is None else bin_s
    index = np.floor((elapsed_s - elapsed_s[0]) / width).astype(np.int64)
    bins = int(index[-1]) + 1
    middle = elapsed_s[0] + (np.arange(bins) + 0.5) * width

    def mean(values: FloatArray) -> FloatArray:
        return bin_means(values, index, bins)

    def bridged(values: FloatArray) -> FloatArray:
        seen = np.isfinite(values)
        return np.asarray(np.interp(middle, middle[seen], values[seen]))

    work = np.full(bins, STANDSTILL, dtype=np.int64)
    work[index] = switches.work
    engine = bridged(mean(switches.engine))
    work[engine < 0.5] = STANDSTILL
    return Record(
        bin_s=width,
        elapsed_s=middle,
        oils_c={name: mean(despike(values, elapsed_s)) for name, values in oils_c.items()},
        ambient_c=bridged(mean(despike(ambient_c, elapsed_s))),
        fan=bridged(mean(switches.fan)),
        engine=engine,
        moving=bridged(mean(switches.moving)),
        heater_w=bridged(mean(switches.heater_w)),
        work=work,
        flow_w_k=None if flow_w_k is None else bridged(mean(flow_w_k)),
        engine_rpm=None if switches.engine_rpm is None else bridged(mean(switches.engine_rpm)),
    )
