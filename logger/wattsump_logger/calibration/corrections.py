"""Corrections of probes from readings in a bucket, in ice and in boiling water.

A correction is added to a reading. A bucket match makes probes agree with each
other, which is all that a temperature difference needs; the ice and the boiling point
tie one of them to the scale. Each result has its standard uncertainty; the step of the
converter is counted once per probe and not averaged, because a quiet bath has no noise that
would average it out.

Boiling water, hot oil and mains heaters scald and kill: follow local codes, and leave
mains work to a licensed electrician.
"""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from wattsump_logger.arrays import BoolArray
from wattsump_logger.errors import RangeError, SessionError, reason_of
from wattsump_logger.inputs import read_small
from wattsump_logger.session.wholefile import write_whole

__all__ = (
    "CALIBRATION_FORMAT",
    "BathMatch",
    "Calibration",
    "LineCorrection",
    "fit_line",
    "fixed_point",
    "load_calibrations",
    "match_in_bath",
    "save_calibrations",
    "stray_readings",
)

CALIBRATION_FORMAT = "wattsump-calibration-1"

_LEAST_READINGS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class BathMatch:
    """Corrections that make probes in one bath agree.

    `offset_k[p]` is added to probe p. `spread_k` is highest minus lowest mean before.
    `drift_k` is the change of the bath's mean over the readings: a bath that drifts
    catches probes of different lag at different temperatures.
    """

    names: tuple[str, ...]
    offset_k: tuple[float, ...]
    u_offset_k: tuple[float, ...]
    spread_k: float
    bath_c: float
    drift_k: float
    readings: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LineCorrection:
    """A correction that is a straight line of the reading, with its uncertainty.

    b(t) = intercept_k + slope (t - reference_c); `correlation` is that of the two.
    A plain offset has slope and u_slope 0. `residual_k` is the scatter about the line.
    """

    reference_c: float
    intercept_k: float
    slope: float = 0.0
    u_intercept_k: float
    u_slope: float = 0.0
    correlation: float = 0.0
    residual_k: float = 0.0
    dof: float

    def at(self, temp_c: float) -> tuple[float, float]:
        """Correction and its standard uncertainty [K] at a reading [°C].

        References
        ----------
        .. [1] JCGM 100:2008, equations (H.14) and (H.15): the covariance term counts.
        """
        step_k = temp_c - self.reference_c
        covariance = self.correlation * self.u_intercept_k * self.u_slope
        variance = self.u_intercept_k**2 + (step_k * self.u_slope) ** 2 + 2.0 * step_k * covariance
        return self.intercept_k + self.slope * step_k, math.sqrt(max(variance, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """The stored calibration of one probe."""

    probe: str
    made: date
    method: str
    correction: LineCorrection
    low_c: float
    high_c: float
    note: str = ""


def match_in_bath(
    readings_c: ArrayLike,
    names: Sequence[str],
    *,
    reference: str | None = None,
    step_k: float = 0.25,
    u_bath_k: float = 0.0,
) -> BathMatch:
    """Offsets between probes that sit side by side in one stirred bath.

    Parameters
    ----------
    readings_c : array_like, shape (n, p)
        Simultaneous readings of p probes [°C]; a row with a missing value is left out.
    names : sequence of str, length p
        Probe names.
    reference : str, optional
        The probe to agree with; without it, the mean of all.
    step_k : float
        Step of the converter [K].
    u_bath_k : float
        Standard uncertainty of the bath's uniformity between probes [K].

    Returns
    -------
    BathMatch

    Raises
    ------
    RangeError
        Fewer than two probes or ten complete rows, or an unknown reference.

    Notes
    -----
    u^2 = s_d^2/n + 2 step^2/12 + u_bath^2, s_d the scatter of probe minus target; the
    two steps are those of the probe and, at worst, of one reference probe.

    References
    ----------
    .. [1] JCGM 100:2008, 4.2.3 (mean of n) and F.2.2.1 (step of a display, step/sqrt 12).
    """
    table = np.asarray(readings_c, dtype=np.float64)
    names = tuple(names)
    if table.ndim != 2 or table.shape[1] != len(names) or len(names) < 2:
        raise _wrong("one column a probe, two probes or more", f"shape {table.shape}", "bath match")
    if reference is not None and reference not in names:
        raise _wrong("one of " + ", ".join(names), repr(reference), "bath match, reference")
    table = table[np.isfinite(table).all(axis=1)]
    if len(table) < _LEAST_READINGS:
        raise _wrong(f"{_LEAST_READINGS} complete rows", str(len(table)), "bath match")
    target = table.mean(axis=1) if reference is None else table[:, names.index(reference)]
    to_add = target[:, None] - table
    scatter = to_add.std(axis=0, ddof=1)
    u = np.sqrt(scatter**2 / len(table) + 2.0 * step_k**2 / 12.0 + u_bath_k**2)
    if reference is not None:
        u[names.index(reference)] = 0.0
    means = table.mean(axis=0)
    middle = table.mean(axis=1)
    tenth = max(1, len(table) // 10)
    return BathMatch(
        names=names,
        offset_k=tuple(float(x) for x in to_add.mean(axis=0)),
        u_offset_k=tuple(float(x) for x in u),
        spread_k=float(np.ptp(means)),
        bath_c=float(target.mean()),
        drift_k=float(middle[-tenth:].mean() - middle[:tenth].mean()),
        readings=len(table),
    )


def fixed_point(
    readings_c: ArrayLike, true_c: float, u_true_k: float, *, step_k: float = 0.25
) -> LineCorrection:
    """Offset of one probe at a known temperature: the ice point or boiling water.

    Parameters
    ----------
    readings_c : array_like, shape (n,)
        Readings of the probe [°C]; NaN is left out.
    true_c : float
        Temperature of the point: of `fixed_points`, `ICE_POINT_C` or
        `boiling_point_c(pressure)` [°C].
    u_true_k : float
        Its standard uncertainty [K]: common practice, no source, 0.05 K for a well
        made ice slush, 0.15 K for boiling water under a barometer, 0.4 K by altitude.
    step_k : float
        Step of the converter [K].

    Returns
    -------
    LineCorrection
        With slope 0.

    Raises
    ------
    RangeError
        Fewer than ten readings.

    References
    ----------
    .. [1] JCGM 100:2008, 4.2.3 and F.2.2.1; ASTM E563 for the ice point.
    """
    readings = np.asarray(readings_c, dtype=np.float64)
    readings = readings[np.isfinite(readings)]
    if readings.size < _LEAST_READINGS:
        raise _wrong(f"{_LEAST_READINGS} readings", str(readings.size), "fixed point")
    scatter = float(readings.std(ddof=1))
    u = math.sqrt(scatter**2 / readings.size + step_k**2 / 12.0 + u_true_k**2)
    return LineCorrection(
        reference_c=true_c,
        intercept_k=true_c - float(readings.mean()),
        u_intercept_k=u,
        residual_k=scatter,
        dof=float(readings.size - 1),
    )


def fit_line(
    temps_c: ArrayLike, corrections_k: ArrayLike, *, reference_c: float | None = None
) -> LineCorrection:
    """Least-squares line through corrections found at several temperatures.

    Parameters
    ----------
    temps_c, corrections_k : array_like, shape (n,)
        Readings [°C] and what must be added there [K], n of at least 3.
    reference_c : float, optional
        Where the intercept is taken [°C]; by default the mean, where intercept and
        slope are not correlated.

    Returns
    -------
    LineCorrection

    Raises
    ------
    RangeError
        Fewer than three points, missing values, or all at one temperature.

    References
    ----------
    .. [1] JCGM 100:2008, H.3, equations (H.13a) to (H.13g).
    """
    t = np.asarray(temps_c, dtype=np.float64)
    b = np.asarray(corrections_k, dtype=np.float64)
    sound = t.shape == b.shape and t.ndim == 1 and t.size >= 3
    if not sound or not np.isfinite(t).all() or not np.isfinite(b).all() or np.ptp(t) == 0:
        raise _wrong(
            "three or more pairs of finite numbers at different temperatures",
            f"{t.size} and {b.size}",
            "straight-line correction",
        )
    reference = float(t.mean()) if reference_c is None else reference_c
    theta = t - reference
    n, centred = t.size, t - t.mean()
    sxx = float(centred @ centred)
    slope = float(centred @ b) / sxx
    intercept = float(b.mean()) - slope * float(theta.mean())
    residuals = b - (intercept + slope * theta)
    s = math.sqrt(float(residuals @ residuals) / (n - 2))
    squares = float(theta @ theta)
    return LineCorrection(
        reference_c=reference,
        intercept_k=intercept,
        slope=slope,
        u_intercept_k=s * math.sqrt(squares / (n * sxx)),
        u_slope=s / math.sqrt(sxx),
        correlation=-float(theta.sum()) / math.sqrt(n * squares),
        residual_k=s,
        dof=float(n - 2),
    )


def stray_readings(differences_k: ArrayLike, *, threshold: float = 3.5) -> BoolArray:
    """Mark those of several differences from the expected value that are outliers.

    Parameters
    ----------
    differences_k : array_like, shape (n,)
        Reading minus what it should be [K].
    threshold : float
        Modified z-score beyond which one is stray [-].

    Returns
    -------
    ndarray of bool, shape (n,)

    Raises
    ------
    RangeError
        Fewer than five differences, too few to find an outlier.

    Notes
    -----
    M = 0.6745 (x - median) / MAD. An outlier moves a mean and a standard deviation, but not
    median and MAD. Where more than half are equal, MAD is 0 and all others are stray.

    References
    ----------
    .. [1] Iglewicz and Hoaglin 1993, as in NIST/SEMATECH e-Handbook 1.3.5.17.
    """
    x = np.asarray(differences_k, dtype=np.float64)
    if x.size < 5:
        raise _wrong("five differences or more", str(x.size), "stray readings")
    distance = np.abs(x - np.median(x))
    return np.asarray(0.6745 * distance > threshold * np.median(distance), dtype=np.bool_)


def save_calibrations(path: str | Path, calibrations: Sequence[Calibration]) -> None:
    """Write calibrations to a JSON file, whole or not at all."""
    content = {
        "format": CALIBRATION_FORMAT,
        "probes": [asdict(item) | {"made": item.made.isoformat()} for item in calibrations],
    }
    write_whole(Path(path), json.dumps(content, indent=2) + "\n")


def load_calibrations(path: str | Path) -> dict[str, Calibration]:
    """Read calibrations by probe name; the later of two counts.

    Raises
    ------
    SessionError
        The file cannot be read, or is no calibration file of this format.
    """
    try:
        content = json.loads(read_small(Path(path)))
        if content["format"] != CALIBRATION_FORMAT:
            raise ValueError(f"the format {content['format']!r}")
        calibrations = [_calibration(item) for item in content["probes"]]
    except OSError as error:
        raise _bad_file(path, reason_of(error)) from error
    except (ValueError, KeyError, TypeError) as error:
        raise _bad_file(path, f"{type(error).__name__}: {error}") from error
    return {item.probe: item for item in sorted(calibrations, key=lambda item: item.made)}


def _calibration(item: Mapping[str, object]) -> Calibration:
    fields = dict(item)
    correction = fields.pop("correction")
    made = fields.pop("made")
    if not isinstance(correction, Mapping) or not isinstance(made, str):
        raise TypeError("a correction and a date are missing")
    line = LineCorrection(**{name: float(value) for name, value in correction.items()})
    low_c, high_c = (float(str(fields.pop(name))) for name in ("low_c", "high_c"))
    texts = {name: str(value) for name, value in fields.items()}
    return Calibration(
        made=date.fromisoformat(made), correction=line, low_c=low_c, high_c=high_c, **texts
    )


def _bad_file(path: str | Path, found: str) -> SessionError:
    return SessionError(
        expected=f"a calibration file, format {CALIBRATION_FORMAT}",
        found=found,
        where=str(path),
        do="calibrate again or restore the file",
    )


def _wrong(expected: str, found: str, where: str) -> RangeError:
    return RangeError(expected=expected, found=found, where=where, do="see the docstring's range")
