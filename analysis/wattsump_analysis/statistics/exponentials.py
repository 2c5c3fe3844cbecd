"""Fits one and two exponentials to a transient, and checks that the data determine them.

A converged fit may still not be determined by its data. Each fit has its standard errors, the
rank of its Jacobian, the window's length in time constants and the Durbin-Watson statistic of
its residuals; `identified` sums these up and `reason` says which one failed.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.statistics.residuals import durbin_watson
from wattsump_logger.errors import RangeError
from wattsump_logger.remark import Remark

__all__ = (
    "Curve",
    "ExponentialFit",
    "fit_curve",
    "fit_exponential",
    "fit_two_exponentials",
)

Model = Callable[[FloatArray, FloatArray], FloatArray]

# The first quarter of a decay looks like a straight line.
SHORTEST_WINDOW_TAU = 0.5
RANK_RCOND = 1e-9  # of the column-scaled Jacobian's singular values
# Independent residuals give about 2; far less means that the curve has another shape.
LOWEST_DURBIN_WATSON = 0.3
GRID = np.geomspace(0.02, 20.0, 24)
FLAT = 1e3  # a standard error this many times its value: the sum of squares does not move
TOLERANCE = 1e-15
MOST_EVALUATIONS = 300  # certified problems need fewer
HUGE = 1e150  # a trial step that overflows counts as very wrong and does not stop the solver


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A curve of time: parameters' names, values and slopes over (t, p), its slowest tau [s]."""

    names: tuple[str, ...]
    model: Model
    slope: Model
    slowest_s: Callable[[FloatArray], float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExponentialFit:
    """A fitted transient; arrays of shape (p,) in the order of `names`.

    `status` is that of the solver (positive: converged). `identified` is whether the data
    determine the values, `shape_right` whether the residuals look like noise.
    """

    names: tuple[str, ...]
    values: FloatArray
    errors: FloatArray
    correlation: FloatArray
    rms: float
    n: int
    status: int
    message: str
    window_tau: float
    durbin_watson: float
    identified: bool
    shape_right: bool
    reason: Remark | None

    def value(self, name: str) -> float:
        return float(self.values[self.names.index(name)])

    def error(self, name: str) -> float:
        return float(self.errors[self.names.index(name)])


def _decay(t: FloatArray, p: FloatArray) -> FloatArray:
    return np.asarray(p[0] + p[1] * np.exp(-t / p[2]))


def _decay_slope(t: FloatArray, p: FloatArray) -> FloatArray:
    e = np.exp(-t / p[2])
    return np.column_stack([np.ones_like(t), e, p[1] * e * t / p[2] ** 2])


def _two(t: FloatArray, p: FloatArray) -> FloatArray:
    return np.asarray(p[0] + p[1] * np.exp(-t / p[2]) + p[3] * np.exp(-t / p[4]))


def _two_slope(t: FloatArray, p: FloatArray) -> FloatArray:
    fast, slow = np.exp(-t / p[2]), np.exp(-t / p[4])
    return np.column_stack(
        [np.ones_like(t), fast, p[1] * fast * t / p[2] ** 2, slow, p[3] * slow * t / p[4] ** 2]
    )


_ONE = Curve(
    names=("final", "amplitude", "tau_s"),
    model=_decay,
    slope=_decay_slope,
    slowest_s=lambda p: float(p[2]),
)
_PAIR = Curve(
    names=("final", "a1", "tau1_s", "a2", "tau2_s"),
    model=_two,
    slope=_two_slope,
    slowest_s=lambda p: float(p[4]),
)


def fit_exponential(t_s: FloatArray, y: FloatArray) -> ExponentialFit:
    """Fit y = final + amplitude exp(-t / tau).

    Parameters
    ----------
    t_s, y : ndarray, shape (n,)
        Times [s] and readings, n > 3; NaN readings are dropped.

    Returns
    -------
    ExponentialFit
        Names "final", "amplitude", "tau_s". If the curve has another shape, `reason` names the
        two time constants that fit it, if two do.

    Raises
    ------
    RangeError
        Too few readings.

    Notes
    -----
    For a given tau the other parameters are linear, so the start comes from a scan over tau.

    References
    ----------
    G. H. Golub, V. Pereyra, SIAM J. Numer. Anal. 10 (1973) 413: separable least squares.
    """
    t, y = _seen(t_s, y, 3)

    def linear(tau: float) -> tuple[float, FloatArray]:
        return _linear(np.column_stack([np.ones_like(t), np.exp(-t / tau)]), y)

    tau = min(GRID * float(t[-1] - t[0]), key=lambda value: linear(value)[0])
    final, amplitude = linear(tau)[1]
    fit = fit_curve(_ONE, t, y, np.array([final, amplitude, tau]))
    if not fit.identified or fit.shape_right or y.size <= len(_PAIR.names):
        return fit
    pair = fit_two_exponentials(t, y)
    if not (pair.identified and pair.shape_right):
        return fit
    taus = " and ".join(f"{pair.value(name) / 60.0:.1f}" for name in ("tau1_s", "tau2_s"))
    text = f"{fit.reason}; two time constants, {taus} min, fit"
    return replace(fit, reason=Remark(code="two-exponentials", text=text))


def fit_two_exponentials(t_s: FloatArray, y: FloatArray) -> ExponentialFit:
    """Fit y = final + a1 exp(-t / tau1) + a2 exp(-t / tau2), tau1 < tau2.

    Parameters
    ----------
    t_s, y : ndarray, shape (n,)
        Times [s] and readings, n > 5; NaN readings are dropped.

    Returns
    -------
    ExponentialFit
        Names "final", "a1", "tau1_s", "a2", "tau2_s"; the window is in units of tau2.

    Raises
    ------
    RangeError
        Too few readings.

    References
    ----------
    NIST StRD nonlinear regression, MGH17: the same form, certified.
    """
    t, y = _seen(t_s, y, 5)

    def linear(fast: float, slow: float) -> tuple[float, FloatArray]:
        return _linear(np.column_stack([np.ones_like(t), np.exp(-t / fast), np.exp(-t / slow)]), y)

    taus = GRID[::2] * float(t[-1] - t[0])
    pairs = [(a, b) for i, a in enumerate(taus) for b in taus[i + 1 :]]
    fast, slow = min(pairs, key=lambda pair: linear(*pair)[0])
    final, a1, a2 = linear(fast, slow)[1]
    return fit_curve(_PAIR, t, y, np.array([final, a1, fast, a2, slow]))


def _seen(t_s: FloatArray, y: FloatArray, parameters: int) -> tuple[FloatArray, FloatArray]:
    keep = np.isfinite(t_s) & np.isfinite(y)
    if np.count_nonzero(keep) <= parameters:
        raise RangeError(
            expected=f"more than {parameters} readings",
            found=str(np.count_nonzero(keep)),
            where="fit of a transient",
            do="take a longer stretch",
        )
    return np.asarray(t_s, dtype=float)[keep], np.asarray(y, dtype=float)[keep]


def _linear(design: FloatArray, y: FloatArray) -> tuple[float, FloatArray]:
    solution = np.linalg.lstsq(design, y, rcond=None)[0]
    residuals = y - design @ solution
    return float(residuals @ residuals), np.asarray(solution, dtype=np.float64)


def fit_curve(curve: Curve, t: FloatArray, y: FloatArray, start: FloatArray) -> ExponentialFit:
    """Fit a curve by least squares from a start.

    Parameters
    ----------
    curve : Curve
        The curve to fit.
    t, y : ndarray, shape (n,)
        Times [s] and readings, all finite, more of them than parameters.
    start : ndarray, shape (p,)
        Parameters to start from.

    References
    ----------
    NIST StRD nonlinear regression, whose certified values the tests compare with.
    """

    def misfit(p: FloatArray) -> FloatArray:
        return np.nan_to_num(curve.model(t, p) - y, nan=HUGE, posinf=HUGE, neginf=-HUGE)

    def jacobian_of(p: FloatArray) -> FloatArray:
        return np.nan_to_num(curve.slope(t, p), nan=0.0, posinf=HUGE, neginf=-HUGE)

    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        solved = least_squares(
            misfit,
            start,
            jac=jacobian_of,
            x_scale="jac",
            xtol=TOLERANCE,
            ftol=TOLERANCE,
            gtol=TOLERANCE,
            max_nfev=MOST_EVALUATIONS,
        )
    residuals = y - curve.model(t, solved.x)
    dof = y.size - solved.x.size
    sd = float(np.sqrt(residuals @ residuals / dof))
    covariance, full_rank = _covariance(curve.slope(t, solved.x), sd)
    errors = np.sqrt(np.diag(covariance))
    tau = curve.slowest_s(solved.x)
    window = float(t[-1] - t[0]) / tau if tau != 0 else 0.0
    dw = durbin_watson(residuals)
    reason = _judged(full_rank, bool(solved.success), window, errors, solved.x)
    identified, shape_right = reason is None, dw >= LOWEST_DURBIN_WATSON
    if identified and not shape_right:
        text = f"the curve is not of this shape: Durbin-Watson {dw:.2f}, near 2 if it were"
        reason = Remark(code="not-exponential", text=text)
    with np.errstate(invalid="ignore"):
        correlation = covariance / np.outer(errors, errors)
    return ExponentialFit(
        names=curve.names,
        values=solved.x,
        errors=errors,
        correlation=correlation,
        rms=float(np.sqrt(np.mean(residuals**2))),
        n=int(y.size),
        status=int(solved.status),
        message=str(solved.message),
        window_tau=float(window),
        durbin_watson=dw,
        identified=identified,
        shape_right=shape_right,
        reason=reason,
    )


def _covariance(jacobian: FloatArray, sd: float) -> tuple[FloatArray, bool]:
    """Covariance from the scaled Jacobian, infinite where it has no full rank."""
    size = jacobian.shape[1]
    scale = np.linalg.norm(jacobian, axis=0)
    if not np.all(np.isfinite(scale)) or np.any(scale == 0):
        return np.full((size, size), np.inf), False
    _, singular, turned = np.linalg.svd(jacobian / scale, full_matrices=False)
    if singular[-1] < RANK_RCOND * singular[0]:
        return np.full((size, size), np.inf), False
    inverse = (turned.T / singular**2) @ turned / np.outer(scale, scale)
    return np.asarray(sd**2 * inverse), True


def _judged(
    full_rank: bool, solved: bool, window: float, errors: FloatArray, values: FloatArray
) -> Remark | None:
    """Why the data do not determine the values; None if they do."""
    if not full_rank or bool(np.any(errors > FLAT * np.abs(values))):
        text = "singular: the data do not separate the parameters"
        return Remark(code="curve-singular", text=text)
    if not solved:
        return Remark(code="curve-unsettled", text="the solver did not settle")
    if not 0.0 < window < np.inf:
        text = "no time constant: the curve does not settle"
        return Remark(code="curve-endless", text=text)
    if window < SHORTEST_WINDOW_TAU:
        text = f"the stretch is only {window:.2f} time constants long"
        return Remark(code="curve-short", text=text)
    if np.any(errors > np.abs(values)):
        return Remark(code="curve-uncertain", text="a standard error exceeds its value")
    return None
