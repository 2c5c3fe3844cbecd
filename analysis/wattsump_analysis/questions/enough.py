"""Whether a label, taken as true, is enough for an engine's heat on a hot day."""

from collections.abc import Iterator

from wattsump_analysis.physics import label
from wattsump_analysis.questions.answer import Figure, temperature
from wattsump_analysis.questions.asked import RatingAsked
from wattsump_analysis.questions.givens import Givens
from wattsump_analysis.questions.rating_case import (
    USUAL_HOTTEST_C,
    Case,
    conductance,
    wanted_peak_c,
)
from wattsump_analysis.questions.typed import value_of
from wattsump_logger.remark import Remark

__all__ = ("enough",)

# Where the word is only "probably", for the range holds what the label claims.
_INSIDE = dict.fromkeys(
    ("label-probably-enough", "label-hardly-enough"), ", inside the range of what it takes"
)


def enough(case: Case, asked: RatingAsked, givens: Givens) -> Iterator[Remark]:
    """Say whether the label, taken as true, carries the heat on a hot day."""
    heat = case.heat
    if case.label_w is None or heat is None or case.k is not None:
        return
    peak_c = wanted_peak_c(asked, givens)
    hottest_c = value_of(asked.hottest, USUAL_HOTTEST_C)
    room_k = peak_c - hottest_c
    if room_k <= 0.0:
        return
    needed_w_k = heat.over(room_k, "conductance")
    claims = _claims_w_k(case)
    what = "the drive's heat, estimated at " if case.heat_is_estimate else "heat of "
    verdict = _verdict(needed_w_k, claims)
    yield Remark(code=verdict.code, text=(
        f"{verdict}: {what}", heat, ", takes ", needed_w_k, " to hold ", temperature(peak_c),
        " on a day of ", temperature(hottest_c), "; the label claims ", *_claim_words(claims),
        _INSIDE.get(verdict.code, ""), ".",
    ))  # fmt: skip


def _claims_w_k(case: Case) -> tuple[float, float]:
    """Return the least and the most that the label may mean [W/K]."""
    label_w = case.label_w or 0.0
    if case.etd_k is not None:
        return label_w / case.etd_k, label_w / case.etd_k
    read = [
        reading.conductance_w_k
        for reading in label.readings(label_w, case.oil_w_k)
        if reading.conductance_w_k is not None
    ]
    return min(read), max(read)


def _claim_words(claims: tuple[float, float]) -> tuple[str | Figure, ...]:
    low, high = map(conductance, claims)
    return (low,) if claims[0] == claims[1] else (low, " to ", high, ", as its basis may be")


def _verdict(needed_w_k: Figure, claims: tuple[float, float]) -> Remark:
    """Return the verdict on the needed conductance against the claimed one."""
    low, high = needed_w_k.ends
    if high <= claims[0]:
        return Remark(code="label-enough", text="Enough if the label is true")
    if low > claims[1]:
        return Remark(code="label-not-enough", text="Not enough, even if the label is true")
    if needed_w_k.value <= claims[0]:
        return Remark(code="label-probably-enough", text="Probably enough if the label is true")
    if needed_w_k.value > claims[1]:
        return Remark(
            code="label-hardly-enough", text="Probably not enough, even if the label is true"
        )
    return Remark(
        code="label-perhaps-enough",
        text="Cannot tell whether it is enough before its basis is known",
    )
