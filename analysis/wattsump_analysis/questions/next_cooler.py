"""The next cooler for a wanted peak on the hottest day, and the heat it is sized for."""

from collections.abc import Iterator

from wattsump_analysis.physics import label, sizing
from wattsump_analysis.questions.answer import ESTIMATE, Figure, Row, Section, Table
from wattsump_analysis.questions.asked import RatingAsked
from wattsump_analysis.questions.givens import Givens
from wattsump_analysis.questions.rating_case import (
    USUAL_MARGIN,
    Case,
    conductance,
    drive_loss,
    ranged,
    wanted_peak_c,
)
from wattsump_analysis.questions.typed import value_of
from wattsump_logger.errors import RangeError
from wattsump_logger.remark import Remark

__all__ = ("drive_section", "next_section")


def next_section(case: Case, asked: RatingAsked, givens: Givens) -> Iterator[Section]:
    """Yield the cooler needed on a typed hottest day, if the heat is known."""
    if case.heat is None or asked.hottest is None:
        return
    shell = asked.shell or givens.shell_w_k
    wanted = sizing.next_cooler(
        heat_w=case.heat.value,
        u_heat_rel=case.heat.u_log,
        ambient_c=asked.hottest.value,
        peak_c=wanted_peak_c(asked, givens),
        # The low end of the shell's loss: the cautious choice.
        shell_w_k=0.0 if shell is None else shell.ends[0],
        margin_rel=value_of(asked.margin, USUAL_MARGIN),
    )
    flag = ESTIMATE if case.heat_is_estimate else None
    heavy = asked.heat is None and givens.heat_p90_w is not None
    rows = [
        Row(
            "heat_w",
            "heat into the oil" + (", heavy work" if heavy else ""),
            case.heat,
            flag=flag,
            note=Remark(code="heat-of-heavy-work", text="nine tenths of the work stay below (P90)")
            if heavy
            else None,
        ),
        Row(
            "design_heat_w",
            "heat to carry, with margin",
            Figure(wanted.design_heat_w, "power"),
            flag=flag,
        ),
        Row(
            "difference_k",
            "difference available",
            Figure(wanted.difference_k, "temperature_difference"),
        ),
        Row("needed_w_k", "cooler needed", conductance(wanted.needed_w_k), flag=flag),
    ]
    rows += _more_rows(case, wanted.needed_w_k)
    yield Section(
        title="Next cooler",
        rows=tuple(rows),
        table=_labels_wanted(wanted, case.etd_k),
        remarks=tuple(_next_remarks(case, wanted.needed_w_k)),
    )


def _labels_wanted(wanted: sizing.NextCooler, own_etd_k: float | None) -> Table:
    etds = {basis.difference_k for basis in label.TRADE_BASES if basis.kind == "entering"}
    etds |= set() if own_etd_k is None else {own_etd_k}
    rows = tuple(
        (
            Figure(etd, "temperature_difference"),
            Figure(wanted.label_heat_w(etd), "power"),
        )
        for etd in sorted(etds)
    )
    return Table(key="labels_needed", heads=("label at", "must state"), rows=rows)


def _more_rows(case: Case, needed_w_k: float) -> Iterator[Row]:
    """Two small coolers instead, a second cooler like the first, or more air."""
    if case.oil_w_k is not None and needed_w_k < case.oil_w_k:
        yield Row(
            "each_of_two_w_k",
            "or two small ones in a row, each",
            conductance(sizing.each_of_two_w_k(needed_w_k, case.oil_w_k)),
            note=Remark(code="fresh-air-each", text="each with its own fresh air"),
        )
    if case.k is None or case.air_w_k is None or case.oil_w_k is None:
        return
    k = case.k.value
    try:
        series = sizing.in_series_w_k(k, k, case.oil_w_k)
        pair = sizing.in_parallel_w_k(k, air_rate_w_k=case.air_w_k, oil_rate_w_k=case.oil_w_k)
        yield Row("two_in_series_w_k", "two of these, one after other", conductance(series))
        yield Row("two_in_parallel_w_k", "two of these, side by side", ranged(pair))
        if needed_w_k > k:
            times = sizing.air_factor_for(
                needed_w_k, k, air_rate_w_k=case.air_w_k, oil_rate_w_k=case.oil_w_k
            )
            yield Row(
                "air_factor",
                "or times the air, same core",
                ranged(times, "number"),
                note=Remark(code="fan-power-cubed", text="fan power rises with its cube"),
            )
    except RangeError:
        # The measured value is above what the typed streams carry; the ceilings say so.
        return


def _next_remarks(case: Case, needed_w_k: float) -> Iterator[Remark]:
    if case.oil_w_k is None:
        yield Remark(
            code="two-coolers-need-flow",
            text="Two small coolers each need a bit over half; type --oil-flow for the figure.",
        )
    elif needed_w_k >= case.oil_w_k:
        yield Remark(
            code="flow-carries-less",
            text=(
                "NOT POSSIBLE at this oil flow: it carries at most ",
                conductance(case.oil_w_k),
                ".",
            ),
        )
    if case.k is None:
        return
    have, need = case.k.value, conductance(needed_w_k)
    if have >= needed_w_k:
        yield Remark(
            code="cooler-suffices",
            text=("The present cooler suffices: ", conductance(have), " against ", need, "."),
        )
    else:
        yield Remark(
            code="cooler-too-small",
            text=("The present cooler is too small: ", conductance(have), " against ", need, "."),
        )


def drive_section(asked: RatingAsked, givens: Givens) -> Iterator[Section]:
    """Yield the drive's loss by rules of thumb, where the heat was not measured."""
    loss = drive_loss(asked, givens)
    if loss is None or (asked.heat is None and givens.heat_w is not None):
        return
    row = Row(
        "drive_loss_w",
        "pump and motor, full power",
        loss,
        flag=ESTIMATE,
        note=Remark(code="loss-usual", text="range of the trade's rules, common practice"),
    )
    yield Section(title="Drive loss, nothing measured yet", rows=(row,))
