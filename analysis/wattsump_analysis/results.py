"""The results of `prove`, as plain frozen values for screens, plots and reports."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from wattsump_analysis.arrays import FloatArray
from wattsump_logger.notebook import card
from wattsump_logger.remark import Remark

__all__ = (
    "TANK_OIL",
    "BudgetLine",
    "Diagnostics",
    "Influence",
    "Interval",
    "LabelCheck",
    "Ledger",
    "Phase",
    "PhaseFit",
    "Proof",
    "Route",
    "Segment",
    "Tone",
    "Verdict",
)

Tone = Literal["good", "bad", "plain", "open"]
TANK_OIL = "tank oil"  # what K refers to without a probe at the cooler's inlet


class Verdict(StrEnum):
    """The verdict on a cooler: its word, the heading of screen and report, and its tone.

    The only place of these words for screens, reports, seasons and JSON.
    """

    heading: str
    tone: Tone

    def __new__(cls, word: str, heading: str, tone: Tone) -> "Verdict":
        member = str.__new__(cls, word)
        member._value_, member.heading, member.tone = word, heading, tone
        return member

    MEETS = "meets", "Meets its label", "good"
    FALLS_SHORT = "falls short", "Falls short of its label", "bad"
    MEASURED = "measured", "Measured; no label to compare it with", "plain"
    CANNOT_TELL = "cannot tell", "Cannot tell", "open"


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A value with its 95 % interval."""

    value: float
    low: float
    high: float

    @property
    def half_width_rel(self) -> float:
        """Half of the interval's width over the value."""
        return 0.5 * (self.high - self.low) / abs(self.value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """A stretch of the outing in one state of the machine.

    `kind` is one of soak, preheat, warm-up, steady work, fan on, fan off, idle cool-down,
    stopped cool-down, regulated.
    """

    kind: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseFit:
    """One exponential through the tank temperature of one phase: ratios only, no watts."""

    phase: Phase
    tau_s: Interval
    final_c: float
    rms_k: float
    window_tau: float
    trusted: bool
    why: Remark | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Influence:
    """Relative change of K without the readings of one phase, by a short search of the mode."""

    phase: Phase
    k_change_rel: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetLine:
    """One contribution to the standard uncertainty of K, relative."""

    source: str
    kind: str
    relative: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """K by one route, and what its watts rest on."""

    name: str
    rests_on: str
    k_w_k: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelCheck:
    """The cooler's label and the measured heat at the label's temperature difference."""

    label_heat_w: float
    label_etd_k: float | None = None
    heat_at_etd_w: Interval | None = None
    share_of_label: Interval | None = None
    probability_met: float | None = None

    @property
    def met_in_100(self) -> int | None:
        """Chances in 100 that the label is met; None without a chance.

        Rounded towards even odds, so that no number passes the 95 that a verdict needs unless the
        chance itself does.
        """
        if self.probability_met is None:
            return None
        percent = round(100.0 * self.probability_met, 6)
        return math.ceil(percent) if percent < 50.0 else math.floor(percent)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """Heat in and out along the outing, at the bins; arrays of shape (n,), W.

    heat_in = cooler + shell + stored + unexplained, exactly; `heat_in_low_w` and
    `heat_in_high_w` bound the heat into the oil at 95 %. The kWh are the sums over the outing;
    the working figures are quantiles over the working time, and its greatest mean of a minute.
    """

    elapsed_s: FloatArray
    heat_in_w: FloatArray
    heat_in_low_w: FloatArray
    heat_in_high_w: FloatArray
    cooler_w: FloatArray
    shell_w: FloatArray
    stored_w: FloatArray
    unexplained_w: FloatArray
    heat_in_kwh: Interval
    cooler_kwh: Interval
    shell_kwh: Interval
    stored_kwh: Interval
    unexplained_kwh: Interval
    working_p50_w: float
    working_p90_w: float
    working_p50_range_w: Interval | None
    working_p90_range_w: Interval | None
    working_peak_w: Interval | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnostics:
    """Diagnostics of the fit."""

    bins: int
    bin_s: float
    nodes: int
    layout: str
    layout_share: float
    residual_rms_k: float
    residual_lag1: float
    durbin_watson: float
    periodogram_excess: float
    innovation_lag1: float
    innovation_durbin_watson: float
    innovation_periodogram_excess: float
    window_tau: float
    effective_draws: float
    correlations: Mapping[str, float]
    at_bounds: tuple[str, ...]
    influence: tuple["Influence", ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """The fit of one stretch in which nothing was swapped."""

    start_s: float
    end_s: float
    k_w_k: Interval | None
    capacity_j_k: Interval | None
    heat_in_w: Interval | None
    shell_w_k: Interval | None
    k_over_c_per_s: Interval
    oil_side_w_k: Interval | None
    nodes: int


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Proof:
    """The whole answer for one outing.

    `k_refers_to` says which oil temperature K is counted from: "oil into the cooler" or
    "tank oil". Codes of reasons, cautions, notes and next step are in docs/remarks.md. `series_c`
    holds the binned temperatures over `series_s` for plots; `model_c` the fitted tank.
    `k_draws_w_k` with `k_weights`, which sum to one, are draws of K over the oil into the cooler,
    for comparison with another label; None if there is no K.
    """

    verdict: Verdict
    headline: str
    reasons: tuple[Remark, ...]
    next_step: Remark
    cautions: tuple[Remark, ...]
    k_w_k: Interval | None
    k_refers_to: str
    reference_oil_c: float | None
    label: LabelCheck | None
    segments: tuple[Segment, ...]
    phases: tuple[Phase, ...]
    phase_fits: tuple[PhaseFit, ...]
    routes: tuple[Route, ...]
    budget: tuple[BudgetLine, ...]
    ledger: Ledger | None
    diagnostics: Diagnostics | None
    notes: tuple[Remark, ...]
    marks: tuple[tuple[float, str], ...]
    peaks_c: Mapping[str, tuple[float, float]]
    limits_c: Mapping[str, float]
    series_s: FloatArray
    series_c: Mapping[str, FloatArray]
    model_c: FloatArray | None
    provenance: Mapping[str, str]
    k_draws_w_k: FloatArray | None = None
    k_weights: FloatArray | None = None

    @property
    def main_segment(self) -> Segment | None:
        """The stretch that K is of, the last where there is no K: a later one may be too short."""
        of_k = [part for part in self.segments if self.k_w_k in (None, part.k_w_k)]
        return of_k[-1] if of_k else None

    def __repr__(self) -> str:
        k = self.k_w_k
        measured = "" if k is None else f", K {k.value:.0f} W/K ({k.low:.0f} to {k.high:.0f})"
        return f"<Proof {self.provenance.get('session', '')}: {self.verdict}{measured}>"

    def _repr_html_(self) -> str:
        """Return a card for a notebook: the verdict, why, what to do next, and the figures."""
        rows: list[tuple[str, ...]] = [("", "value", "95 % from", "to")]
        share = None if self.label is None else self.label.share_of_label
        for name, size, found in (("K, W/K", 1.0, self.k_w_k), ("% of label", 100.0, share)):
            if found is not None:
                ends = (found.value, found.low, found.high)
                rows.append((name, *(f"{size * end:.0f}" for end in ends)))
        lines = [self.headline, *(reason.text for reason in self.reasons), self.next_step.text]
        lines += [f"Caution: {caution.text}" for caution in self.cautions]
        return card(self.verdict.heading, filter(None, lines), rows if len(rows) > 1 else ())
