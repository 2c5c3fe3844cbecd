"""What a cooler's label claims, what it could mean, and whether the measured cooler meets it.

A label is a heat at an entering temperature difference, ETD = oil entering - air entering. Their
quotient in W/K is what can be compared; heat alone cannot.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from wattsump_analysis._shapes import FloatArray, require

__all__ = (
    "TRADE_BASES",
    "Basis",
    "Ceilings",
    "LabelVerdict",
    "Reading",
    "Verdict",
    "ceilings",
    "conductance_from_label_w_k",
    "heat_w",
    "label_verdict",
    "readings",
    "true_etd_k",
    "verdict",
    "verdict_from_samples",
)

Word = Literal["meets", "falls short", "cannot tell"]

# Share of the air stream's ceiling that cores as built reach: common practice, no source.
BUILT_SHARE_LOW, BUILT_SHARE_HIGH = 0.3, 0.6
# Odds of nineteen to one either way before a word is said.
SURE = 0.95
TWO_SIDED_95 = 1.959964


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """A temperature difference the trade rates coolers at.

    `entering`: oil entering over air entering. `leaving`: oil leaving over air entering, which
    needs the oil flow before it becomes an ETD.
    """

    name: str
    difference_k: float
    kind: Literal["entering", "leaving"]


# Rating bases met on labels and in selection charts: common practice, no one source.
TRADE_BASES = (
    Basis(name="100 °F entering difference", difference_k=100.0 / 1.8, kind="entering"),
    Basis(name="40 K entering difference", difference_k=40.0, kind="entering"),
    Basis(name="60 °C oil entering, 20 °C air", difference_k=40.0, kind="entering"),
    Basis(name="60 °F entering difference", difference_k=60.0 / 1.8, kind="entering"),
    Basis(name="25 K entering difference", difference_k=25.0, kind="entering"),
    Basis(name="40 °F leaving approach", difference_k=40.0 / 1.8, kind="leaving"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A label read at one basis; None where the oil flow is needed and not known."""

    basis: Basis
    etd_k: float | None
    conductance_w_k: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ceilings:
    """The most that the streams could carry, and what cores as built make of the air's."""

    air_w_k: float | None
    oil_w_k: float | None
    lowest_w_k: float
    built_low_w_k: float | None
    built_high_w_k: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """A measured conductance against a label's: word, probability, and share with its interval.

    `probability` is that of the cooler meeting the label; the word needs 95 % either way.
    """

    word: Word
    probability: float
    share: float
    share_low: float
    share_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelVerdict:
    """Verdicts over every basis that can be read; one word only when all agree."""

    word: Word
    each: tuple[tuple[Reading, Verdict], ...]
    true_etd_k: float


def conductance_from_label_w_k(label_heat_w: float, etd_k: float) -> float:
    """Conductance a label claims.

    Parameters
    ----------
    label_heat_w : float
        Heat on the label [W].
    etd_k : float
        Entering temperature difference it is stated at [K].

    Returns
    -------
    float
        Heat per kelvin of entering difference [W/K].

    Raises
    ------
    RangeError
        Heat or difference not positive.

    References
    ----------
    SAE J1468, Oil Cooler Application Testing and Nomenclature (terms), summary.

    Examples
    --------
    >>> round(conductance_from_label_w_k(6000.0, 55.0), 1)
    109.1
    """
    require(label_heat_w, 0.0, math.inf, unit="W", where="label heat", open_low=True)
    require(etd_k, 0.0, 300.0, unit="K", where="entering difference", open_low=True)
    return label_heat_w / etd_k


def heat_w(conductance_w_k: float, etd_k: float) -> float:
    """Heat a conductance rejects at an entering difference [W]; linear in the difference.

    References
    ----------
    Definition.
    """
    return conductance_w_k * etd_k


def readings(label_heat_w: float, oil_rate_w_k: float | None = None) -> tuple[Reading, ...]:
    """Read a label without a printed ETD at every basis of the trade.

    Parameters
    ----------
    label_heat_w : float
        Heat on the label [W].
    oil_rate_w_k : float, optional
        Capacity rate of the rated oil flow, flow x density x specific heat [W/K]; the leaving
        approach cannot be read without it.

    Returns
    -------
    tuple of Reading
        One per entry of `TRADE_BASES`, in its order.

    Raises
    ------
    RangeError
        Heat or capacity rate not positive.

    Notes
    -----
    Leaving approach a: ETD = a + heat/C_oil, as the oil cools by heat/C_oil on its way.

    References
    ----------
    Bases: common practice. Approach: energy balance of the oil.
    """
    require(label_heat_w, 0.0, math.inf, unit="W", where="label heat", open_low=True)
    if oil_rate_w_k is not None:
        require(oil_rate_w_k, 0.0, math.inf, unit="W/K", where="oil flow", open_low=True)
    return tuple(_read(basis, label_heat_w, oil_rate_w_k) for basis in TRADE_BASES)


def _read(basis: Basis, label_heat_w: float, oil_rate_w_k: float | None) -> Reading:
    etd: float | None = basis.difference_k
    if basis.kind == "leaving":
        cooled = None if oil_rate_w_k is None else label_heat_w / oil_rate_w_k
        etd = None if cooled is None else basis.difference_k + cooled
    return Reading(
        basis=basis, etd_k=etd, conductance_w_k=None if etd is None else label_heat_w / etd
    )


def true_etd_k(label_heat_w: float, measured_w_k: float) -> float:
    """Entering difference at which the label is true of this cooler [K].

    Raises
    ------
    RangeError
        Heat or conductance not positive.

    References
    ----------
    As `conductance_from_label_w_k`.
    """
    require(label_heat_w, 0.0, math.inf, unit="W", where="label heat", open_low=True)
    require(measured_w_k, 0.0, math.inf, unit="W/K", where="measured conductance", open_low=True)
    return label_heat_w / measured_w_k


def ceilings(air_rate_w_k: float | None = None, oil_rate_w_k: float | None = None) -> Ceilings:
    """Find the most heat per kelvin that two streams allow whatever the core.

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
    known = [rate for rate in (air_rate_w_k, oil_rate_w_k) if rate is not None]
    require(float(len(known)), 1.0, 2.0, unit="flows", where="ceilings", do="give air or oil flow")
    require(known, 0.0, math.inf, unit="W/K", where="capacity rate", open_low=True)
    return Ceilings(
        air_w_k=air_rate_w_k,
        oil_w_k=oil_rate_w_k,
        lowest_w_k=min(known),
        built_low_w_k=None if air_rate_w_k is None else BUILT_SHARE_LOW * air_rate_w_k,
        built_high_w_k=None if air_rate_w_k is None else BUILT_SHARE_HIGH * air_rate_w_k,
    )


def _word(probability: float, sure: float) -> Word:
    if probability >= sure:
        return "meets"
    return "falls short" if probability <= 1.0 - sure else "cannot tell"


def verdict(
    label_w_k: float,
    measured_w_k: float,
    u_log: float,
    *,
    tolerance_rel: float = 0.0,
    sure: float = SURE,
) -> Verdict:
    """Weigh a measured conductance with a log-normal uncertainty against a label's.

    Parameters
    ----------
    label_w_k, measured_w_k : float
        Label's conductance and the median of the measured one [W/K].
    u_log : float
        Standard uncertainty of ln(conductance) [-], about the relative one; above 0.
    tolerance_rel : float
        What a label may be missed by and still be met [-]; 0.05 where a maker states ± 5 %.
    sure : float
        Probability from which a word is said [-], above 0.5.

    Returns
    -------
    Verdict
        "meets" at `sure` or more, "falls short" at 1 - `sure` or less, else "cannot tell".

    Raises
    ------
    RangeError
        Values out of range.

    References
    ----------
    JCGM 106:2012, clause 7.2 (conformance probability against a lower limit).
    """
    _check_verdict(label_w_k, tolerance_rel, sure)
    require(measured_w_k, 0.0, math.inf, unit="W/K", where="measured conductance", open_low=True)
    require(u_log, 0.0, 10.0, unit="", where="uncertainty of ln K", open_low=True)
    share = measured_w_k / label_w_k
    z = math.log(share / (1.0 - tolerance_rel)) / u_log
    probability = 0.5 * math.erfc(-z / math.sqrt(2.0))
    spread = math.exp(TWO_SIDED_95 * u_log)
    return Verdict(
        word=_word(probability, sure),
        probability=probability,
        share=share,
        share_low=share / spread,
        share_high=share * spread,
    )


def verdict_from_samples(
    label_w_k: float, samples_w_k: FloatArray, *, tolerance_rel: float = 0.0, sure: float = SURE
) -> Verdict:
    """Weigh a sample of measured conductances against a label's.

    Parameters
    ----------
    label_w_k : float
        Label's conductance [W/K].
    samples_w_k : array, shape (n,)
        Draws from what the measurement left possible [W/K], at least 100, all finite.
    tolerance_rel, sure : float
        As `verdict`.

    Returns
    -------
    Verdict
        As `verdict`; the probability is counted, the share is the median's.

    Raises
    ------
    RangeError
        Too few draws, a draw that is not a number, or values out of range.

    References
    ----------
    JCGM 101:2008, clause 7; JCGM 106:2012, clause 7.2.
    """
    _check_verdict(label_w_k, tolerance_rel, sure)
    samples = np.asarray(samples_w_k, dtype=np.float64)
    finite = float(np.isfinite(samples).sum())
    require(finite, max(100.0, samples.size), math.inf, unit="finite draws", where="verdict")
    share = samples / label_w_k
    low, middle, high = np.quantile(share, (0.025, 0.5, 0.975))
    probability = float(np.mean(share >= 1.0 - tolerance_rel))
    return Verdict(
        word=_word(probability, sure),
        probability=probability,
        share=float(middle),
        share_low=float(low),
        share_high=float(high),
    )


def _check_verdict(label_w_k: float, tolerance_rel: float, sure: float) -> None:
    require(label_w_k, 0.0, math.inf, unit="W/K", where="label", open_low=True)
    require(tolerance_rel, 0.0, 0.5, unit="", where="tolerance of the label")
    require(sure, 0.5, 1.0, unit="", where="probability to be sure at", open_low=True)


def label_verdict(
    label_heat_w: float,
    measured_w_k: float,
    u_log: float,
    *,
    oil_rate_w_k: float | None = None,
    tolerance_rel: float = 0.0,
) -> LabelVerdict:
    """Weigh a measured conductance against a label whose ETD is not printed.

    Parameters
    ----------
    label_heat_w : float
        Heat on the label [W].
    measured_w_k, u_log, tolerance_rel : float
        As `verdict`.
    oil_rate_w_k : float, optional
        As `readings`.

    Returns
    -------
    LabelVerdict
        "meets" or "falls short" only when that holds at every basis that could be read; else
        "cannot tell", and the difference at which the label would be true says why.

    Raises
    ------
    RangeError
        Values out of range.

    References
    ----------
    As `verdict` and `readings`.
    """
    each = tuple(
        (one, verdict(one.conductance_w_k, measured_w_k, u_log, tolerance_rel=tolerance_rel))
        for one in readings(label_heat_w, oil_rate_w_k)
        if one.conductance_w_k is not None
    )
    words = {found.word for _, found in each}
    word: Word = words.pop() if len(words) == 1 else "cannot tell"
    return LabelVerdict(word=word, each=each, true_etd_k=true_etd_k(label_heat_w, measured_w_k))
