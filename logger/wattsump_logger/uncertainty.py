"""Degrees of freedom, coverage factors and expanded uncertainty (JCGM 100:2008).

The Guide cuts effective degrees of freedom to the next lower whole number, and for whole
numbers Student's distribution is a finite sum, so no numerical library is needed here.
"""

import math
from collections.abc import Callable, Sequence
from statistics import NormalDist

from wattsump_logger.errors import RangeError

__all__ = ("effective_dof", "expanded", "student_t")

# Beyond this many degrees of freedom t95 differs from the normal by less than 0.002.
_AS_GOOD_AS_NORMAL = 2000


def effective_dof(components: Sequence[float], dof: Sequence[float]) -> float:
    """Effective degrees of freedom of a combined standard uncertainty.

    Parameters
    ----------
    components : sequence of float, length n
        Standard uncertainties u_i(y) as they enter the result, in one unit.
    dof : sequence of float, length n
        Their degrees of freedom [-]; infinity for a component taken as known.

    Returns
    -------
    float
        nu_eff [-], not cut to a whole number; infinity if every component is known.

    Raises
    ------
    RangeError
        Lengths differ, a component is negative, or degrees of freedom are below 1.

    Notes
    -----
    Welch-Satterthwaite, nu_eff = u_c^4 / sum(u_i^4 / nu_i).

    References
    ----------
    .. [1] JCGM 100:2008, equation (G.2b).
    """
    pairs = list(zip(components, dof, strict=False))
    sound = len(components) == len(dof) and all(u >= 0 and nu >= 1 for u, nu in pairs)
    if not sound:
        raise RangeError(
            expected="as many degrees of freedom, each at least 1, as components, none negative",
            found=f"{list(components)} and {list(dof)}",
            where="effective degrees of freedom",
            do="check the budget",
        )
    spread = sum(u**4 / nu for u, nu in pairs)
    total = sum(u * u for u in components) ** 2
    return total / spread if spread > 0 else math.inf


def student_t(confidence: float, dof: float) -> float:
    """Two-sided coverage factor of Student's distribution.

    Parameters
    ----------
    confidence : float
        Level of confidence, above 0 and below 1 [-].
    dof : float
        Degrees of freedom [-], cut to the next lower whole number; infinity allowed.

    Returns
    -------
    float
        t_p(nu) [-].

    Raises
    ------
    RangeError
        A level outside 0 to 1 or degrees of freedom below 1.

    References
    ----------
    .. [1] JCGM 100:2008, G.3 and table G.2.
    .. [2] Abramowitz and Stegun, 26.7.3 and 26.7.4 (finite sums for whole nu).

    Examples
    --------
    >>> student_t(0.95, 9)
    2.262
    """
    if not (0.0 < confidence < 1.0 and dof >= 1.0):
        raise RangeError(
            expected="a level between 0 and 1 and degrees of freedom of at least 1",
            found=f"{confidence:g} and {dof:g}",
            where="coverage factor",
            do="check the two",
        )
    if dof > _AS_GOOD_AS_NORMAL:
        return NormalDist().inv_cdf(0.5 + confidence / 2.0)
    nu = math.floor(dof)
    angle = _bisected(lambda theta: _inside(theta, nu) - confidence, 0.0, math.pi / 2.0)
    return math.sqrt(nu) * math.tan(angle)


def expanded(
    components: Sequence[float], dof: Sequence[float], confidence: float = 0.95
) -> tuple[float, float, float]:
    """Expanded uncertainty, its coverage factor and the effective degrees of freedom.

    References
    ----------
    .. [1] JCGM 100:2008, G.4.1.
    """
    nu = effective_dof(components, dof)
    # A whole number reached up to rounding must not lose one in the cut.
    factor = student_t(confidence, nu if math.isinf(nu) else max(1.0, nu + 1e-9))
    return factor * math.sqrt(sum(u * u for u in components)), factor, nu


def _inside(theta: float, nu: int) -> float:
    # A(t | nu), the probability inside plus and minus t, at t = sqrt(nu) tan(theta).
    sine, cosine = math.sin(theta), math.cos(theta)
    odd = nu % 2 == 1
    term = cosine if odd else 1.0
    total = 0.0 if nu == 1 else term
    for k in range(3 if odd else 2, nu - 1, 2):
        term *= (k - 1) / k * cosine * cosine
        total += term
    return 2.0 / math.pi * (theta + sine * total) if odd else sine * total


def _bisected(function: Callable[[float], float], low: float, high: float) -> float:
    for _ in range(100):
        middle = 0.5 * (low + high)
        if function(middle) < 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
