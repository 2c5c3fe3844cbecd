"""Effectiveness and NTU of heat exchangers, and back.

NTU = UA/C_min, C_r = C_min/C_max, effectiveness = heat/(C_min ETD), with C the capacity rates
of the two streams [W/K] and ETD the difference of the entering temperatures [K].

The trade's W/K of a cooler is heat/ETD = effectiveness x C_min. It is not UA: it changes with oil
flow and air flow even if UA does not, and it cannot exceed either stream's capacity rate.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from wattsump_analysis.arrays import FloatArray, FloatOrArray, like, require
from wattsump_logger.errors import RangeError

__all__ = (
    "Arrangement",
    "Ceilings",
    "ceilings",
    "conductance_w_k",
    "effectiveness",
    "highest_effectiveness",
    "ntu",
    "ua_w_k",
)


class Arrangement(StrEnum):
    """How the two streams pass each other."""

    COUNTERFLOW = "counterflow"
    PARALLEL = "parallel flow"
    CROSS_UNMIXED = "cross-flow, both unmixed"
    CROSS_UNMIXED_CLOSED_FORM = "cross-flow, both unmixed, textbook closed form"
    CROSS_CMIN_MIXED = "cross-flow, smaller stream mixed"
    CROSS_CMAX_MIXED = "cross-flow, larger stream mixed"


# A core that needs more than this is not built: common practice, no source.
HIGHEST_NTU = 50.0


def effectiveness(
    ntu: FloatOrArray, cr: float, arrangement: Arrangement = Arrangement.CROSS_UNMIXED
) -> FloatOrArray:
    """Effectiveness of an exchanger.

    Parameters
    ----------
    ntu : float or array
        Number of transfer units [-], 0 to 50.
    cr : float
        Capacity-rate ratio C_min/C_max [-], 0 to 1.
    arrangement : Arrangement
        How the streams pass; a fin-and-tube or bar-and-plate oil cooler is cross-flow with
        both streams unmixed.

    Returns
    -------
    float or array like `ntu`
        Effectiveness [-], 0 to 1.

    Raises
    ------
    RangeError
        NTU or ratio out of range.

    Notes
    -----
    Both unmixed: (1/(C_r N)) sum over n of P(n+1, N) P(n+1, C_r N), P the regularised lower
    incomplete gamma function; this is the exact series (Mason 1955), equal to the exact integral
    (Baclic 1978) and not the closed form of the textbooks, which is up to 4 % off and is kept
    as `CROSS_UNMIXED_CLOSED_FORM` for comparison. The other arrangements are the closed forms of
    Kays and London. C_r = 0 (one stream at constant temperature) is 1 - exp(-N) for all.

    References
    ----------
    W. M. Kays and A. L. London, Compact Heat Exchangers, 3rd ed., Table 2-2.
    J. L. Mason, Heat transfer in crossflow, Proc. 2nd US National Congress of Applied
    Mechanics, 1955.
    T. L. Bergman and A. S. Lavine, Fundamentals of Heat and Mass Transfer, Table 11.3.

    Examples
    --------
    >>> round(effectiveness(1.0, 0.5), 4)
    0.5475
    """
    n = require(ntu, 0.0, HIGHEST_NTU, unit="", where="number of transfer units")
    require(cr, 0.0, 1.0, unit="", where="capacity-rate ratio")
    # Below this ratio the constant-temperature limit is exact to ten digits and the closed
    # forms would divide by nearly nothing.
    if cr < 1e-10:
        return like(ntu, np.asarray(-np.expm1(-n)))
    return like(ntu, np.asarray(_FORMS[arrangement](n, cr)))


def _counterflow(n: FloatArray, cr: float) -> FloatArray:
    if 1.0 - cr < 1e-9:
        return n / (1.0 + n)
    x = -n * (1.0 - cr)
    return -np.expm1(x) / (1.0 - cr * np.exp(x))


def _parallel(n: FloatArray, cr: float) -> FloatArray:
    return -np.expm1(-n * (1.0 + cr)) / (1.0 + cr)


def _cross_unmixed(n: FloatArray, cr: float) -> FloatArray:
    from scipy.special import gammainc  # heavy, and not every caller needs it

    # P(k, N) is a Poisson tail: beyond ten standard deviations it is below 1e-20.
    top = float(np.nanmax(n, initial=0.0))
    terms = np.arange(1, int(top + 10.0 * math.sqrt(top)) + 30)
    column = np.expand_dims(n, -1)
    total = np.sum(gammainc(terms, column) * gammainc(terms, cr * column), axis=-1)
    with np.errstate(invalid="ignore"):
        return np.where(n > 0.0, total / (cr * np.where(n > 0.0, n, 1.0)), n)


def _cross_closed(n: FloatArray, cr: float) -> FloatArray:
    return -np.expm1(n**0.22 / cr * np.expm1(-cr * n**0.78))


def _cmin_mixed(n: FloatArray, cr: float) -> FloatArray:
    return -np.expm1(np.expm1(-cr * n) / cr)


def _cmax_mixed(n: FloatArray, cr: float) -> FloatArray:
    return -np.expm1(cr * np.expm1(-n)) / cr


_FORMS = {
    Arrangement.COUNTERFLOW: _counterflow,
    Arrangement.PARALLEL: _parallel,
    Arrangement.CROSS_UNMIXED: _cross_unmixed,
    Arrangement.CROSS_UNMIXED_CLOSED_FORM: _cross_closed,
    Arrangement.CROSS_CMIN_MIXED: _cmin_mixed,
    Arrangement.CROSS_CMAX_MIXED: _cmax_mixed,
}


def highest_effectiveness(cr: float, arrangement: Arrangement = Arrangement.CROSS_UNMIXED) -> float:
    """Return the highest effectiveness [-] of this arrangement at any size (at NTU 50).

    References
    ----------
    As `effectiveness`.
    """
    return effectiveness(HIGHEST_NTU, cr, arrangement)


def ntu(
    effectiveness_: float, cr: float, arrangement: Arrangement = Arrangement.CROSS_UNMIXED
) -> float:
    """Find the number of transfer units of a measured effectiveness.

    Parameters
    ----------
    effectiveness_ : float
        Effectiveness [-], 0 to what the arrangement can reach.
    cr : float
        Capacity-rate ratio C_min/C_max [-], 0 to 1.
    arrangement : Arrangement
        How the streams pass.

    Returns
    -------
    float
        Number of transfer units [-].

    Raises
    ------
    RangeError
        An effectiveness that no size of this arrangement reaches: a flow, a temperature or the
        arrangement is wrong.

    References
    ----------
    `effectiveness`, solved by Brent's method (scipy.optimize.brentq).
    """
    from scipy.optimize import brentq  # heavy, and not every caller needs it

    top = highest_effectiveness(cr, arrangement)
    if not 0.0 <= effectiveness_ < top:
        raise RangeError(
            expected=f"an effectiveness of at least 0 and under {top:.4f}",
            found=f"{effectiveness_:.4f}",
            where=f"{arrangement}, capacity-rate ratio {cr:.3f}",
            do="check the two flows and the entering temperatures",
        )

    def miss(n: float) -> float:
        return effectiveness(n, cr, arrangement) - effectiveness_

    return float(brentq(miss, 0.0, HIGHEST_NTU, xtol=1e-12, rtol=1e-12))


def conductance_w_k(
    ua: float,
    rate_1_w_k: float,
    rate_2_w_k: float,
    arrangement: Arrangement = Arrangement.CROSS_UNMIXED,
) -> float:
    """Heat per kelvin of entering difference, the trade's W/K, from UA and the two streams.

    Parameters
    ----------
    ua : float
        Overall coefficient times area [W/K].
    rate_1_w_k, rate_2_w_k : float
        Capacity rates of the two streams, in either order [W/K].
    arrangement : Arrangement
        How the streams pass.

    Returns
    -------
    float
        Heat over entering temperature difference [W/K].

    Raises
    ------
    RangeError
        Capacity rates that are not positive, or more than 50 transfer units.

    References
    ----------
    Definition of effectiveness; as `effectiveness`.
    """
    smaller, cr = _streams(rate_1_w_k, rate_2_w_k)
    return smaller * effectiveness(ua / smaller, cr, arrangement)


def ua_w_k(
    conductance: float,
    rate_1_w_k: float,
    rate_2_w_k: float,
    arrangement: Arrangement = Arrangement.CROSS_UNMIXED,
) -> float:
    """UA [W/K] of an exchanger from its heat per kelvin of entering difference.

    The inverse of `conductance_w_k`, with the same parameters and errors.

    References
    ----------
    As `ntu`.
    """
    smaller, cr = _streams(rate_1_w_k, rate_2_w_k)
    return smaller * ntu(conductance / smaller, cr, arrangement)


def _streams(rate_1_w_k: float, rate_2_w_k: float) -> tuple[float, float]:
    rates = require(
        [rate_1_w_k, rate_2_w_k], 0.0, math.inf, unit="W/K", where="capacity rate", open_low=True
    )
    smaller = float(rates.min())
    return smaller, smaller / float(rates.max())


# Share of the air stream's ceiling that cores as built reach: common practice, no source.
BUILT_SHARE_LOW, BUILT_SHARE_HIGH = 0.3, 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Ceilings:
    """The most heat per kelvin that the streams could carry, and how much of it cores reach."""

    air_w_k: float | None
    oil_w_k: float | None
    lowest_w_k: float
    built_low_w_k: float | None
    built_high_w_k: float | None


def ceilings(air_rate_w_k: float | None = None, oil_rate_w_k: float | None = None) -> Ceilings:
    """Find the most heat per kelvin that two streams can carry, whatever the core.

    Parameters
    ----------
    air_rate_w_k, oil_rate_w_k : float, optional
        Capacity rates [W/K] of installed air flow and of oil flow; at least one.

    Returns
    -------
    Ceilings
        Each stream's, the lower, and 0.3 to 0.6 of the air's, which cores as built reach.

    Raises
    ------
    RangeError
        A rate that is not positive, or none given.

    Notes
    -----
    heat/ETD = effectiveness x C_min, and effectiveness is under 1.

    References
    ----------
    W. M. Kays and A. L. London, Compact Heat Exchangers, 3rd ed., chapter 2; the shares of cores
    as built are common practice, no source.
    """
    rates = [rate for rate in (air_rate_w_k, oil_rate_w_k) if rate is not None]
    require(float(len(rates)), 1.0, 2.0, unit="flows", where="ceilings", do="give air or oil flow")
    require(rates, 0.0, math.inf, unit="W/K", where="capacity rate", open_low=True)
    return Ceilings(
        air_w_k=air_rate_w_k,
        oil_w_k=oil_rate_w_k,
        lowest_w_k=min(rates),
        built_low_w_k=None if air_rate_w_k is None else BUILT_SHARE_LOW * air_rate_w_k,
        built_high_w_k=None if air_rate_w_k is None else BUILT_SHARE_HIGH * air_rate_w_k,
    )
