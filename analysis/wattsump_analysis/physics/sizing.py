"""The cooler that is needed, and the measured cooler at other conditions.

Answers are ranges, `low`, `likely`, `high`, wherever an exponent is only roughly known.
"""

import itertools
import math
from dataclasses import dataclass

from wattsump_analysis.arrays import require
from wattsump_analysis.physics.exchanger import Arrangement, conductance_w_k, ua_w_k

__all__ = (
    "RATED_VISCOSITY_MM2_S",
    "NextCooler",
    "Range",
    "air_factor_for",
    "at_flows",
    "each_of_two_w_k",
    "in_parallel_w_k",
    "in_series_w_k",
    "next_cooler",
    "viscosity_factor",
)

# UA of an oil cooler against air velocity: power 0.5 to 0.7, the air film governing; common
# practice, no source.
AIR_POWERS = (0.5, 0.6, 0.7)
# UA against oil flow: no effect in developed laminar flow, flow^(1/3) in developing laminar flow
# (Lévêque), on the oil's share of the resistance only; halfway is taken as likely.
OIL_POWERS = (0.0, 1.0 / 6.0, 1.0 / 3.0)
# Heat against viscosity: no effect to (v/v0)^-0.14, the wall correction of Sieder and Tate.
VISCOSITY_POWERS = (0.0, 0.07, 0.14)
# 50 SUS oil, on which the trade draws its curves: about 7.4 mm²/s.
RATED_VISCOSITY_MM2_S = 7.4
# Thicker oil opens the bypass or leaves part of the core standing: common practice, 100 to 200.
THICKEST_MM2_S = 150.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """A value with bounds instead of a standard uncertainty."""

    low: float
    likely: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NextCooler:
    """What the next cooler must do: conductance [W/K], and the heat it was sized for [W]."""

    design_heat_w: float
    difference_k: float
    needed_w_k: float

    def label_heat_w(self, etd_k: float) -> float:
        """Return the heat its label must show at an entering difference [W]."""
        return self.needed_w_k * etd_k


def at_flows(
    measured_w_k: float,
    *,
    air_rate_w_k: float,
    oil_rate_w_k: float,
    air_factor: float = 1.0,
    oil_factor: float = 1.0,
    arrangement: Arrangement = Arrangement.CROSS_UNMIXED,
) -> Range:
    """Conductance of the same core at other mass flows of air and oil.

    Parameters
    ----------
    measured_w_k : float
        Measured heat per kelvin of entering difference [W/K].
    air_rate_w_k, oil_rate_w_k : float
        Capacity rates of both streams when measured [W/K].
    air_factor, oil_factor : float
        New mass flow over measured one [-], 0.1 to 10. Thinner air at the same fan speed is its
        density ratio.
    arrangement : Arrangement
        How the streams pass.

    Returns
    -------
    Range
        Conductance [W/K].

    Raises
    ------
    RangeError
        A factor out of range, or a conductance the two streams cannot carry.

    Notes
    -----
    UA follows from the measured value by effectiveness-NTU, is scaled by air^0.5..0.7 and
    oil^0..1/3, and is converted back at the new capacity rates.

    References
    ----------
    W. M. Kays and A. L. London, Compact Heat Exchangers, 3rd ed., chapter 2. Exponents: common
    practice for the air side, Lévêque's developing laminar flow for the oil side.
    """
    require([air_factor, oil_factor], 0.1, 10.0, unit="times", where="flow factor")
    ua = ua_w_k(measured_w_k, air_rate_w_k, oil_rate_w_k, arrangement)
    air, oil = air_rate_w_k * air_factor, oil_rate_w_k * oil_factor

    def moved(air_power: float, oil_power: float) -> float:
        scaled = ua * air_factor**air_power * oil_factor**oil_power
        return conductance_w_k(scaled, air, oil, arrangement)

    every = [moved(*powers) for powers in itertools.product(AIR_POWERS, OIL_POWERS)]
    return Range(low=min(every), likely=moved(AIR_POWERS[1], OIL_POWERS[1]), high=max(every))


def viscosity_factor(viscosity_mm2_s: float, reference_mm2_s: float) -> Range:
    """Factor on conductance when oil of another viscosity passes the cooler at the same flow.

    Parameters
    ----------
    viscosity_mm2_s, reference_mm2_s : float
        Mean viscosity in the cooler, as wanted and as measured [mm²/s], 1 to 150; that of a label
        is `RATED_VISCOSITY_MM2_S`.

    Returns
    -------
    Range
        Factor [-].

    Raises
    ------
    RangeError
        Thicker than 150 mm²/s: the bypass opens or the core stalls and no factor holds.

    References
    ----------
    E. N. Sieder and G. E. Tate, Industrial and Engineering Chemistry 28 (1936) 1429, exponent
    0.14, as an upper bound for the whole cooler; it matches the trade's 1.0 to 1.5 between
    7.4 mm²/s and the thickest oil.
    """
    require(
        [viscosity_mm2_s, reference_mm2_s],
        1.0,
        THICKEST_MM2_S,
        unit="mm²/s",
        where="viscosity in the cooler",
        do="warm the oil first; thicker oil does not pass the whole core",
    )
    ratio = viscosity_mm2_s / reference_mm2_s
    weak, likely, strong = (ratio**-power for power in VISCOSITY_POWERS)
    return Range(low=min(weak, strong), likely=likely, high=max(weak, strong))


def next_cooler(
    *,
    heat_w: float,
    u_heat_rel: float,
    ambient_c: float,
    peak_c: float,
    shell_w_k: float = 0.0,
    margin_rel: float = 0.1,
    coverage_factor: float = 1.645,
) -> NextCooler:
    """Find the conductance the next cooler needs for a wanted peak on the hottest day.

    Parameters
    ----------
    heat_w : float
        Measured heat into the oil at the work rate to be carried [W].
    u_heat_rel : float
        Its relative standard uncertainty [-], 0 to 1.
    ambient_c, peak_c : float
        Hottest day at the cooler's intake, and oil temperature not to be passed [°C].
    shell_w_k : float
        Loss of tank and lines [W/K]; 0 is the cautious choice.
    margin_rel : float
        Margin for a dirty core on top [-], 0.1 by common practice.
    coverage_factor : float
        1.645 covers the heat nineteen times in twenty.

    Returns
    -------
    NextCooler
        Needed conductance, 0 when the shell alone suffices, and the design heat behind it.

    Raises
    ------
    RangeError
        A peak not above the ambient, or values out of range.

    Notes
    -----
    Design heat = heat exp(k u)(1 + margin); needed = design heat/(peak - ambient) - shell.

    References
    ----------
    Energy balance; JCGM 106:2012 for the guard band.
    """
    require(heat_w, 0.0, math.inf, unit="W", where="heat load", open_low=True)
    require(u_heat_rel, 0.0, 1.0, unit="", where="uncertainty of the heat load")
    require(shell_w_k, 0.0, math.inf, unit="W/K", where="shell loss")
    require(margin_rel, 0.0, 2.0, unit="", where="margin")
    require(peak_c, ambient_c, 200.0, unit="°C", where="wanted peak", open_low=True)
    design = heat_w * math.exp(coverage_factor * u_heat_rel) * (1.0 + margin_rel)
    difference = peak_c - ambient_c
    needed = max(design / difference - shell_w_k, 0.0)
    return NextCooler(design_heat_w=design, difference_k=difference, needed_w_k=needed)


def in_series_w_k(first_w_k: float, second_w_k: float, oil_rate_w_k: float) -> float:
    """Conductance of two coolers one after the other in the oil, each with its own fresh air.

    Parameters
    ----------
    first_w_k, second_w_k : float
        Each alone at the full oil flow [W/K], under the oil's capacity rate.
    oil_rate_w_k : float
        Capacity rate of the oil [W/K].

    Returns
    -------
    float
        Together [W/K]: K1 + K2 - K1 K2/C_oil, since the second gets cooled oil. Their order does
        not matter.

    Raises
    ------
    RangeError
        A cooler that takes more than the oil stream can carry.

    References
    ----------
    Energy balance of the oil stream.
    """
    require(oil_rate_w_k, 0.0, math.inf, unit="W/K", where="oil capacity rate", open_low=True)
    require([first_w_k, second_w_k], 0.0, oil_rate_w_k, unit="W/K", where="cooler in series")
    return first_w_k + second_w_k - first_w_k * second_w_k / oil_rate_w_k


def each_of_two_w_k(together_w_k: float, oil_rate_w_k: float) -> float:
    """Conductance each of two equal coolers needs, one after the other in the oil.

    Parameters
    ----------
    together_w_k : float
        What both must do together [W/K], under the oil's capacity rate.
    oil_rate_w_k : float
        Capacity rate of the oil [W/K].

    Returns
    -------
    float
        Each alone at the full oil flow [W/K], more than half: the second gets cooled oil.

    Raises
    ------
    RangeError
        More than the oil stream can carry.

    References
    ----------
    `in_series_w_k` with equal coolers, solved: C (1 - sqrt(1 - K/C)).
    """
    require(oil_rate_w_k, 0.0, math.inf, unit="W/K", where="oil capacity rate", open_low=True)
    require(together_w_k, 0.0, oil_rate_w_k, unit="W/K", where="two coolers in series")
    return oil_rate_w_k * (1.0 - math.sqrt(1.0 - together_w_k / oil_rate_w_k))


def in_parallel_w_k(each_w_k: float, *, air_rate_w_k: float, oil_rate_w_k: float) -> Range:
    """Conductance of two equal coolers sharing the oil, each with its own fresh air.

    Parameters
    ----------
    each_w_k : float
        One alone at the full oil flow [W/K].
    air_rate_w_k, oil_rate_w_k : float
        Capacity rates of one cooler's air and of the whole oil flow [W/K].

    Returns
    -------
    Range
        Together [W/K], each at half the oil flow; always less than twice a single cooler.

    Raises
    ------
    RangeError
        As `at_flows`.

    References
    ----------
    `at_flows`.
    """
    half = at_flows(each_w_k, air_rate_w_k=air_rate_w_k, oil_rate_w_k=oil_rate_w_k, oil_factor=0.5)
    return Range(low=2.0 * half.low, likely=2.0 * half.likely, high=2.0 * half.high)


def air_factor_for(
    wanted_w_k: float, measured_w_k: float, *, air_rate_w_k: float, oil_rate_w_k: float
) -> Range:
    """Find the factor on air flow at which the same core has a wanted conductance.

    Parameters
    ----------
    wanted_w_k, measured_w_k : float
        Conductances [W/K], wanted at least as large as measured.
    air_rate_w_k, oil_rate_w_k : float
        Capacity rates when measured [W/K].

    Returns
    -------
    Range
        Factor on air mass flow [-]; infinite if ten times is not enough. Fan power goes with about
        its cube.

    Raises
    ------
    RangeError
        A smaller conductance is wanted, or one the streams cannot carry was measured.

    References
    ----------
    `at_flows` with the oil flow unchanged, solved by Brent's method.
    """
    from scipy.optimize import brentq  # heavy, and not every caller needs it

    require(wanted_w_k, measured_w_k, math.inf, unit="W/K", where="wanted conductance")
    ua = ua_w_k(measured_w_k, air_rate_w_k, oil_rate_w_k)

    def factor(power: float) -> float:
        def short(times: float) -> float:
            grown = conductance_w_k(ua * times**power, air_rate_w_k * times, oil_rate_w_k)
            return grown - wanted_w_k

        if short(10.0) < 0.0:
            return math.inf
        # Start just under 1, so that there is a sign change if no more than now is wanted.
        return max(float(brentq(short, 0.999, 10.0, xtol=1e-10)), 1.0)

    most, likely, least = (factor(power) for power in AIR_POWERS)
    return Range(low=least, likely=likely, high=most)
