"""Rating: a label's claim, whether it is met, the limits of the streams, the next cooler."""

import math
from collections.abc import Iterator

from wattsump_analysis.physics import air, forecast, label, sizing
from wattsump_analysis.physics.exchanger import ceilings
from wattsump_analysis.physics.oil import volumetric_heat_j_m3k
from wattsump_analysis.questions.answer import Answer, Figure, Row, Section, Table, temperature
from wattsump_analysis.questions.asked import RatingAsked
from wattsump_analysis.questions.enough import enough
from wattsump_analysis.questions.givens import Givens, missing, needed
from wattsump_analysis.questions.next_cooler import drive_section, next_section
from wattsump_analysis.questions.rating_case import (
    OIL_C,
    USUAL_MARGIN,
    Case,
    case_of,
    conductance,
    ranged,
    wanted_peak_c,
)
from wattsump_analysis.questions.typed import value_of
from wattsump_logger.remark import Remark

__all__ = ("rate",)


def rate(asked: RatingAsked, givens: Givens) -> Answer:
    """Answer what a cooler's label claims, whether it is met, and what would be needed.

    Raises
    ------
    UsageError
        Neither a label, a measured conductance nor a drive power is known.
    RangeError
        A value out of its formula's range.
    """
    case = case_of(asked, givens)
    if case.label_w is None and case.k is None and case.heat is None:
        raise missing(
            "rating",
            "label_heat",
            "measured",
            "power",
            text="--label-heat, --measured or --power",
        )
    sections = [
        *_label_sections(case),
        *_ceiling_section(case),
        *_change_section(case, asked),
        *next_section(case, asked, givens),
        *drive_section(asked, givens),
    ]
    return Answer(
        question="rating",
        headline=tuple(_headline(case, asked, givens)),
        sections=tuple(sections),
        assumed=tuple(_assumed(case, asked, givens)),
    )


def _true_etd(label_w: float, k: Figure) -> Figure:
    ends = [None if end is None else label_w / end for end in (k.high, k.low)]
    return Figure(
        label.true_etd_k(label_w, k.value), "temperature_difference", low=ends[0], high=ends[1]
    )


def _verdict(case: Case) -> tuple[str, float | None]:
    """Verdict and probability; no verdict without an interval, no probability without an ETD."""
    if case.label_w is None or case.k_inlet is None or case.weigh is None:
        return "", None
    if case.etd_k is None:
        weighed = label.label_verdict(
            case.label_w, case.k_inlet.value, case.weigh, oil_rate_w_k=case.oil_w_k
        )
        return weighed.word, None
    verdict = case.weigh(label.conductance_from_label_w_k(case.label_w, case.etd_k))
    return verdict.word, verdict.probability


def _headline(case: Case, asked: RatingAsked, givens: Givens) -> Iterator[Remark]:
    if case.label_w is not None:
        claim = Figure(case.label_w, "power")
        if case.etd_k is None:
            yield Remark(
                code="label-says-nothing",
                text=("Label ", claim, " means nothing until its entering difference is known."),
            )
        else:
            etd = Figure(case.etd_k, "temperature_difference")
            yield Remark(code="label-claims", text=(
                "Label ", claim, " at an entering difference of ", etd, " is ",
                conductance(case.label_w / case.etd_k), ".",
            ))  # fmt: skip
    measured = case.k if case.label_w is None else case.k_inlet
    if measured is not None:
        yield Remark(code="cooler-measured", text=("Measured: ", measured, "."))
    if case.label_w is None or case.k_inlet is None:
        yield from enough(case, asked, givens)
        return
    word, probability = _verdict(case)
    if not word:
        yield Remark(
            code="no-verdict",
            text="No verdict: type the measured value with its interval, as '95 to 115 W/K'.",
        )
    else:
        every = " at every usual basis" if case.etd_k is None and word != "cannot tell" else ""
        met = () if probability is None else (", met with probability ", _probability(probability))
        yield Remark(code="label-verdict", text=(f"Verdict: {word}{every}", *met, "."))
    if case.too_wide:
        yield Remark(
            code="measured-too-wide",
            text=f"Its range is wider than {label.WIDEST_REL * 100:.0f} % either way: no verdict.",
        )
    yield Remark(
        code="label-true-at",
        text=("The label is true of this cooler at ", _true_etd(case.label_w, case.k_inlet), "."),
    )


def _probability(value: float) -> Figure:
    return Figure(value, "probability")


def _label_sections(case: Case) -> Iterator[Section]:
    if case.label_w is None:
        return
    rows = []
    if case.etd_k is not None:
        claim = label.conductance_from_label_w_k(case.label_w, case.etd_k)
        rows.append(Row("label_w_k", "label claims", conductance(claim)))
        if case.k_inlet is not None:
            rows += _share_rows(claim, case)
    if case.k_inlet is not None:
        true_etd = _true_etd(case.label_w, case.k_inlet)
        rows.append(Row("true_etd_k", "label true at a difference of", true_etd))
    yield Section(title="Label", rows=tuple(rows), table=_basis_table(case))


def _share_rows(claim: float, case: Case) -> Iterator[Row]:
    k = case.k_inlet
    if k is None or case.etd_k is None:
        return
    yield Row("share", "measured over label", k.over(claim, "fraction"))
    low, high = (None if end is None else label.heat_w(end, case.etd_k) for end in (k.low, k.high))
    heat = Figure(label.heat_w(k.value, case.etd_k), "power", low=low, high=high)
    yield Row("heat_at_label_etd_w", "measured, at that difference", heat)
    _, probability = _verdict(case)
    if probability is not None:
        met = _probability(probability)
        yield Row("probability_met", "probability that it is met", met)


def _basis_table(case: Case) -> Table | None:
    """Meaning of the label at each basis, if its own difference is not printed."""
    if case.label_w is None or case.etd_k is not None:
        return None
    rows: list[tuple[str | Figure, ...]] = []
    for reading in label.readings(case.label_w, case.oil_w_k):
        if reading.etd_k is None or reading.conductance_w_k is None:
            rows.append((reading.basis.name, "needs oil flow", "", ""))
            continue
        etd = Figure(reading.etd_k, "temperature_difference")
        word = _basis_word(reading.conductance_w_k, case)
        rows.append((reading.basis.name, etd, conductance(reading.conductance_w_k), word))
    return Table(key="bases", heads=("if its basis is", "ETD", "claims", "then"), rows=tuple(rows))


def _basis_word(claim: float, case: Case) -> str:
    if case.k_inlet is None:
        return ""
    if case.weigh is None:
        return f"{case.k_inlet.value / claim * 100:.0f} % of it"
    return case.weigh(claim).word


def _ceiling_section(case: Case) -> Iterator[Section]:
    if case.air_w_k is None and case.oil_w_k is None:
        return
    limits = ceilings(case.air_w_k, case.oil_w_k)
    both = case.air_w_k is not None and case.oil_w_k is not None
    rows = []
    if limits.air_w_k is not None:
        rows.append(Row("air_ceiling_w_k", "all the air could take", conductance(limits.air_w_k)))
    if limits.oil_w_k is not None:
        rows.append(Row("oil_ceiling_w_k", "all the oil could give", conductance(limits.oil_w_k)))
    if limits.built_low_w_k is not None and limits.built_high_w_k is not None:
        middle = math.sqrt(limits.built_low_w_k * limits.built_high_w_k)
        built = Figure(middle, "conductance", low=limits.built_low_w_k, high=limits.built_high_w_k)
        note = Remark(code="built-usual", text="common practice, no source")
        rows.append(Row("built_w_k", "cores as built, with this air", built, note=note))
    if case.k_inlet is not None and case.k_inlet.value < limits.lowest_w_k:
        share = case.k_inlet.over(limits.lowest_w_k, "fraction")
        note = (
            Remark(code="is-effectiveness", text="its effectiveness")
            if both
            else Remark(code="other-stream-unknown", text="the other stream may carry less")
        )
        rows.append(Row("effectiveness", "measured, of the lower", share, note=note))
    remarks = tuple(_over_ceiling(case, limits.lowest_w_k))
    yield Section(title="Ceilings, whatever the core", rows=tuple(rows), remarks=remarks)


def _over_ceiling(case: Case, lowest: float) -> Iterator[Remark]:
    limit = conductance(lowest)
    if case.label_w is not None and case.etd_k is not None and case.label_w / case.etd_k > lowest:
        yield Remark(
            code="label-over-ceiling",
            text=("NOT POSSIBLE: the label claims more than ", limit, " of air or oil can carry."),
        )
    if case.k_inlet is not None and case.k_inlet.value > lowest:
        yield Remark(
            code="measured-over-ceiling",
            text=("DOUBTFUL: the measured value is above ", limit, "; a flow is typed wrong."),
        )
    if case.label_w is not None and case.etd_k is None:
        etd = Figure(case.label_w / lowest, "temperature_difference")
        yield Remark(
            code="label-needs-difference",
            text=("The label cannot be true below a difference of ", etd, "."),
        )


def _change_section(case: Case, asked: RatingAsked) -> Iterator[Section]:
    """The same core elsewhere: altitude, other flows, thicker or thinner oil."""
    if case.k is None:
        return
    rows = [*_altitude_row(case, case.k, asked), *_viscosity_row(case.k, asked)]
    rows += _flow_row(case, case.k, asked)
    if rows:
        yield Section(title="The same core at other conditions", rows=tuple(rows))


def _altitude_row(case: Case, k: Figure, asked: RatingAsked) -> Iterator[Row]:
    if asked.other_altitude is None:
        return
    low, likely, high = forecast.conductance_at_altitude_w_k(
        k.value,
        measured_altitude_m=case.altitude_m,
        altitude_m=asked.other_altitude.value,
        measured_temp_c=case.air_c,
        temp_c=case.air_c,
    )
    yield Row(
        "altitude_w_k",
        "at the other altitude",
        Figure(likely, "conductance", low=low, high=high),
        note=Remark(
            code="altitude-range", text="range of the air's share; K's own interval comes on top"
        ),
    )


def _viscosity_row(k: Figure, asked: RatingAsked) -> Iterator[Row]:
    if asked.other_viscosity is None:
        return
    base = value_of(asked.viscosity, sizing.RATED_VISCOSITY_MM2_S)
    factor = sizing.viscosity_factor(asked.other_viscosity.value, base)
    scaled = sizing.Range(
        low=k.value * factor.low, likely=k.value * factor.likely, high=k.value * factor.high
    )
    yield Row(
        "viscosity_w_k",
        "in oil of the other viscosity",
        ranged(scaled),
        note=Remark(code="viscosity-range", text=f"from {base:g} mm²/s; holds for 1 to 150 mm²/s"),
    )


def _flow_row(case: Case, k: Figure, asked: RatingAsked) -> Iterator[Row]:
    if asked.other_air_flow is None and asked.other_oil_flow is None:
        return
    if case.air_w_k is None or case.oil_w_k is None:
        needed("the other flow", air_flow=asked.air_flow, oil_flow=asked.oil_flow)
        return
    other_air = (
        air.capacity_rate_w_k(
            asked.other_air_flow.value, case.air_c, air.pressure_pa(case.altitude_m)
        )
        if asked.other_air_flow
        else case.air_w_k
    )
    oil_factor = (
        asked.other_oil_flow.value * volumetric_heat_j_m3k(OIL_C) / case.oil_w_k
        if asked.other_oil_flow
        else 1.0
    )
    changed = sizing.at_flows(
        k.value,
        air_rate_w_k=case.air_w_k,
        oil_rate_w_k=case.oil_w_k,
        air_factor=other_air / case.air_w_k,
        oil_factor=oil_factor,
    )
    yield Row("flows_w_k", "with the other flows", ranged(changed))


def _assumed(case: Case, asked: RatingAsked, givens: Givens) -> Iterator[Remark]:
    if case.air_w_k is not None:
        temp, height = temperature(case.air_c), Figure(case.altitude_m, "altitude")
        yield Remark(
            code="air-through-core",
            text=("Air of ", temp, " at ", height, "; air flow means air through the core."),
        )
    if case.heat is not None and asked.hottest is not None:
        if asked.peak is None:
            peak = temperature(wanted_peak_c(asked, givens))
            yield Remark(code="peak-wanted", text=("Highest oil temperature wanted ", peak, "."))
        percent = f"{value_of(asked.margin, USUAL_MARGIN) * 100:.0f} %"
        yield Remark(
            code="margin",
            text=f"{percent} margin for a dirty core; heat covered nineteen times in twenty.",
        )
    if givens.k_refers_to and asked.measured is None:
        text: tuple[object, ...] = (f"K is counted from {givens.k_refers_to}.",)
        if case.k_inlet is not case.k:
            text = "K is ", case.k, " from tank oil; label and flows are held to oil at the inlet."
        yield Remark(code="k-counted-from", text=text)
    yield from givens.notes
