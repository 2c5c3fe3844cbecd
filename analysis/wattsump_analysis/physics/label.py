"""What a cooler's label claims, what it could mean, and whether the measured cooler meets it.

A label states heat at an entering temperature difference, ETD = oil entering - air entering. Only
the quotient in W/K can be compared; heat alone cannot.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from wattsump_analysis.arrays import FloatArray, require
from wattsump_analysis.results import Verdict as Word
from wattsump_analysis.statistics.intervals import NORMAL_95, interval

__all__ = (
    "TRADE_BASES",
    "WIDEST_REL",
    "Basis",
    "LabelVerdict",
    "Reading",
    "Verdict",
    "conductance_from_label_w_k",
    "heat_w",
    "label_verdict",
    "readings",
    "true_etd_k",
    "verdict",
    "verdict_from_samples",
    "word_of",
)


# Probability required for a verdict, and the half width from which a range is too wide for one.
SURE = 0.95
WIDEST_REL = 0.30


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """A temperature difference at which coolers are commonly rated.

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
    """A label read at a basis; None if that needs the oil flow, which was not given."""

    basis: Basis
    etd_k: float | None
    conductance_w_k: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """A measured conductance against a label's: word, probability, and share of the label.

    `probability` is that of the cooler meeting the label; the word needs 95 % either way.
    """

    word: Word
    probability: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelVerdict:
    """Verdicts at every basis that can be read; a common word only if all agree."""

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
    """Read a label without a printed ETD at every basis used in the trade.

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
    """Entering difference at which this cooler rejects the label's heat [K].

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


def word_of(probability: float, half_width_rel: float, sure: float = SURE) -> Word:
    """Verdict from the probability that the label is met and the half width of the range.

    References
    ----------
    JCGM 106:2012, clause 7.2, with odds of nineteen to one.
    """
    if half_width_rel > WIDEST_REL:
        return Word.CANNOT_TELL
    if probability >= sure:
        return Word.MEETS
    return Word.FALLS_SHORT if probability <= 1.0 - sure else Word.CANNOT_TELL


def _verdict(probability: float, low: float, share: float, high: float, sure: float) -> Verdict:
    return Verdict(
        word=word_of(probability, 0.5 * (high - low) / share, sure),
        probability=probability,
        share=share,
    )


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
        Shortfall at which the label still counts as met [-]; 0.05 if a maker states ± 5 %.
    sure : float
        Probability from which a verdict is given [-], above 0.5.

    Returns
    -------
    Verdict
        "meets" at `sure` or more, "falls short" at 1 - `sure` or less; else, and for a range
        wider than `WIDEST_REL` either way, "cannot tell".

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
    spread = math.exp(NORMAL_95 * u_log)
    probability = 0.5 * math.erfc(-z / math.sqrt(2.0))
    return _verdict(probability, share / spread, share, share * spread, sure)


def verdict_from_samples(
    label_w_k: float,
    samples_w_k: FloatArray,
    weights: FloatArray | None = None,
    *,
    tolerance_rel: float = 0.0,
    sure: float = SURE,
) -> Verdict:
    """Weigh a sample of measured conductances against a label's.

    Parameters
    ----------
    label_w_k : float
        Label's conductance [W/K].
    samples_w_k : array, shape (n,)
        Draws from the measured conductance's posterior [W/K], at least 100, all finite.
    weights : array, shape (n,), optional
        Weight of each draw, summing to 1; equal if not given.
    tolerance_rel, sure : float
        As `verdict`.

    Returns
    -------
    Verdict
        As `verdict`; the probability is the weight of the draws that meet the label, the share
        is the median's, and its range is interpolated between draws.

    Raises
    ------
    RangeError
        Too few draws, a draw that is not a number, another number of weights than of draws, or
        values out of range.

    References
    ----------
    JCGM 101:2008, clause 7; JCGM 106:2012, clause 7.2.
    """
    _check_verdict(label_w_k, tolerance_rel, sure)
    samples = np.asarray(samples_w_k, dtype=np.float64)
    finite = float(np.isfinite(samples).sum())
    require(finite, max(100.0, samples.size), math.inf, unit="finite draws", where="verdict")
    weight = np.full(samples.shape, 1.0 / samples.size) if weights is None else weights
    require(float(weight.size), finite, finite, unit="weights", where="verdict")
    require(float(weight.sum()), 0.999, 1.001, unit="of 1", where="weights of a verdict")
    share = samples / label_w_k
    span = interval(share, weight)
    probability = min(float(weight[share >= 1.0 - tolerance_rel].sum()), 1.0)
    return _verdict(probability, span.low, span.value, span.high, sure)


def _check_verdict(label_w_k: float, tolerance_rel: float, sure: float) -> None:
    require(label_w_k, 0.0, math.inf, unit="W/K", where="label", open_low=True)
    require(tolerance_rel, 0.0, 0.5, unit="", where="tolerance of the label")
    require(sure, 0.5, 1.0, unit="", where="probability to be sure at", open_low=True)


def label_verdict(
    label_heat_w: float,
    measured_w_k: float,
    against: Callable[[float], Verdict],
    *,
    oil_rate_w_k: float | None = None,
) -> LabelVerdict:
    """Weigh a measured conductance against a label whose ETD is not printed.

    Parameters
    ----------
    label_heat_w, measured_w_k : float
        Heat on the label [W] and the median of the measured conductance [W/K].
    against : callable
        From a claimed conductance [W/K] to the verdict on it: `verdict` or
        `verdict_from_samples` with the measurement bound.
    oil_rate_w_k : float, optional
        As `readings`.

    Returns
    -------
    LabelVerdict
        "meets" or "falls short" only if that holds at every basis that can be read; else
        "cannot tell". The difference at which the label would be true is given beside it.

    Raises
    ------
    RangeError
        Values out of range.

    References
    ----------
    As `verdict` and `readings`.
    """
    each = tuple(
        (reading, against(reading.conductance_w_k))
        for reading in readings(label_heat_w, oil_rate_w_k)
        if reading.conductance_w_k is not None
    )
    words = {weighed.word for _, weighed in each}
    word = words.pop() if len(words) == 1 else Word.CANNOT_TELL
    return LabelVerdict(word=word, each=each, true_etd_k=true_etd_k(label_heat_w, measured_w_k))
