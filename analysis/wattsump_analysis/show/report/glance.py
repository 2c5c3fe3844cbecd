"""The first screen: the verdict as a figure and a bar, one next step, one caution."""

import math
from dataclasses import dataclass

from wattsump_analysis.proof.verdict import what_decides
from wattsump_analysis.results import LabelCheck, Proof, Verdict
from wattsump_analysis.show import words
from wattsump_logger.remark import shown_in

__all__ = ("Beam", "Glance", "glance_at")

HEAD = 1.08  # length of the bar over its largest value


@dataclass(frozen=True, slots=True, kw_only=True)
class Beam:
    """A bar of heat from zero: positions in per cent of its length, and words."""

    low: float
    value: float
    high: float
    label: float
    measured: str
    printed: str
    alt: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Glance:
    """The first screen. `lead` is empty where the title says all."""

    title: str
    lead: str
    beam: Beam | None
    hottest: tuple[words.Fact, ...]


def glance_at(proof: Proof, hottest: tuple[words.Fact, ...], units: str) -> Glance:
    """Return the first screen of a proof."""
    title, lead = _title(proof, units)
    return Glance(title=title, lead=lead, beam=_beam(proof.label, units), hottest=hottest)


def _title(proof: Proof, units: str) -> tuple[str, str]:
    word, label = proof.verdict.heading, proof.label
    if proof.verdict is Verdict.MEASURED and proof.k_w_k is not None:
        return words.figure(proof.k_w_k.value, "conductance", units), words.sentence(
            proof.headline, units
        )
    if label is None or label.share_of_label is None or label.heat_at_etd_w is None:
        rest = shown_in(proof.headline, units).removeprefix(word).lstrip(" ,:;.")
        return word, words.sentence(rest, units)
    share, heat = label.share_of_label, label.heat_at_etd_w
    if not (math.isfinite(heat.low) and math.isfinite(heat.high)):
        return word, words.sentence(proof.headline, units)
    low, high = (
        words.rounded(end, "power", units, near=heat, unit=False) for end in (heat.low, heat.high)
    )
    value = words.rounded(heat.value, "power", units, near=heat, unit=False)
    printed = words.rounded(label.label_heat_w, "power", units, near=heat)
    difference = words.figure(label.label_etd_k or 0.0, "temperature_difference", units, both=False)
    difference = difference.replace(".0 ", " ")
    figures = (
        f"{value} of {printed}, {low} to {high} (95 %), with the oil {difference} over the air"
    )
    decides = what_decides(label, proof.verdict)
    if proof.verdict is Verdict.CANNOT_TELL:
        span = f"{100 * share.low:.0f} to {100 * share.high:.0f} % of label"
        return word, f"{span}: {figures}. {decides}".rstrip()
    title = f"{100 * share.value:.0f} % of label"
    return title, f"{proof.verdict.capitalize()}: {figures}. {decides}".rstrip()


def _beam(label: LabelCheck | None, units: str) -> Beam | None:
    if label is None or label.heat_at_etd_w is None or not label.label_heat_w > 0:
        return None
    heat = label.heat_at_etd_w
    ends = (heat.low, heat.value, heat.high, label.label_heat_w)
    if not all(math.isfinite(end) and end >= 0 for end in ends):
        return None
    low, value, high, at = (100 * end / (HEAD * max(ends)) for end in ends)
    printed = words.rounded(label.label_heat_w, "power", units, near=heat)
    measured = words.rounded(heat.value, "power", units, near=heat)
    return Beam(
        low=low,
        value=value,
        high=high,
        label=at,
        measured=measured,
        printed=f"label {printed}",
        alt=f"On a scale from nothing: measured {measured}, "
        f"range {words.span(heat, 'power', units)}; the label at {printed}.",
    )
