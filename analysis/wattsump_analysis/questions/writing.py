"""An answer as text for a screen or as plain data for `--json`.

In: an `Answer`. Out: lines of 80 columns or the terminal's fewer, or a dictionary in inside units.
"""

import math
import textwrap
from collections.abc import Iterator

from wattsump_analysis.questions.answer import Answer, Figure, Row, Table, shown
from wattsump_logger.remark import Remark
from wattsump_logger.units.quantities import inside_unit, show
from wattsump_logger.width import USUAL, columns, fitted

__all__ = (
    "SCHEMA",
    "as_json",
    "screen",
)

SCHEMA = "wattsump-answer-2"

WIDTH = USUAL
_LABEL = 33
# A table has room for only two of these.
_MIXED_CELLS = frozenset({"power", "pressure"})


def _blocks(answer: Answer, system: str) -> Iterator[list[str]]:
    shown_first = len(answer.cautions) if answer.is_hands_on else 1
    headline = [line for remark in answer.headline for line in _wrapped(remark.in_units(system))]
    top = [list(_caution_lines(answer.cautions[:shown_first])), headline]
    yield from top if answer.is_hands_on else reversed(top)
    for section in answer.sections:
        lines = [section.title]
        for row in section.rows:
            lines += _row_lines(row, system)
        if section.table is not None:
            lines += _table_lines(section.table, system)
        for remark in section.remarks:
            lines += _wrapped(f"  {remark.in_units(system)}", "  ")
        yield lines
    if answer.assumed:
        assumed = (_wrapped(f"- {remark.in_units(system)}", "  ") for remark in answer.assumed)
        yield ["Assumed", *(line for lines in assumed for line in lines)]
    yield list(_caution_lines(answer.cautions[shown_first:]))


def _caution_lines(cautions: tuple[Remark, ...]) -> Iterator[str]:
    if cautions:
        yield "CAUTION"
    for caution in cautions:
        yield from _wrapped(f"! {caution}", "  ")


def _row_lines(row: Row, system: str) -> Iterator[str]:
    both = row.figure.low is None
    text = f"  {row.label:<{_LABEL}} {shown(row.figure, system, both=both)}"
    flag = "" if row.flag is None else row.flag.text.upper()
    note = "" if row.note is None else row.note.in_units(system)
    tail = "; ".join(part for part in (flag, note) if part)
    whole = f"{text}  {tail}" if tail else text
    if len(whole) <= columns():
        yield whole
        return
    if len(text) <= columns() or columns() == WIDTH:
        yield from _wrapped(text, " " * (_LABEL + 3))
    else:  # a narrow terminal: the figure below its label
        indent = " " * (4 + len(row.label) - len(row.label.lstrip()))
        yield from _wrapped(f"  {row.label.rstrip()}", indent)
        yield from _wrapped(f"{indent}{shown(row.figure, system, both=both)}", indent)
    if tail:
        yield from _wrapped(f"      {tail}", "      ")


def _table_lines(table: Table, system: str) -> list[str]:
    cells = [
        [
            cell if isinstance(cell, str) else shown(cell, system, both=cell.kind in _MIXED_CELLS)
            for cell in row
        ]
        for row in table.rows
    ]
    lines = [list(table.heads), *cells]
    widths = [max(len(line[column]) for line in lines) for column in range(len(table.heads))]
    wide = []
    for name, *rest in lines:
        told = "".join(f"  {cell:>{w}}" for cell, w in zip(rest, widths[1:], strict=True))
        wide.append(f"  {name:<{widths[0]}}{told}".rstrip())
    return fitted(wide, lines, "  ")


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text, columns(), subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )


def _figure_json(figure: Figure) -> dict[str, object]:
    data: dict[str, object] = {
        name: None if number is None or not math.isfinite(number) else number
        for name, number in (("value", figure.value), ("low", figure.low), ("high", figure.high))
    }
    if math.isinf(figure.value):
        data["bound"] = "none"
    return data | {"unit": inside_unit(figure.kind) or "1", "kind": figure.kind}


def _table_json(table: Table) -> dict[str, object]:
    return {
        "heads": list(table.heads),
        "rows": [
            [cell if isinstance(cell, str) else _figure_json(cell) for cell in row]
            for row in table.rows
        ],
    }


def _remarks(remarks: tuple[Remark, ...]) -> list[dict[str, str]]:
    return [remark.as_json() for remark in remarks]


def screen(answer: Answer, system: str = "si") -> str:
    """Write an answer for a terminal, with cautions first if `is_hands_on`.

    Raises
    ------
    UsageError
        An unknown system of units.
    """
    show(0.0, "power", system)
    return "\n\n".join("\n".join(block) for block in _blocks(answer, system) if block)


def as_json(answer: Answer) -> dict[str, object]:
    """Plain data of an answer, in inside units; NaN and infinity become null.

    Its schema is docs/wattsump-answer-2.schema.json; texts of remarks are in SI units.
    """
    return {
        "schema": SCHEMA,
        "question": answer.question,
        "headline": _remarks(answer.headline),
        "cautions": _remarks(answer.cautions),
        "values": {
            row.key: _figure_json(row.figure)
            | {
                "label": row.label,
                "note": None if row.note is None else row.note.as_json(),
                "flag": None if row.flag is None else row.flag.as_json(),
            }
            for section in answer.sections
            for row in section.rows
        },
        "tables": {
            section.table.key: _table_json(section.table)
            for section in answer.sections
            if section.table is not None
        },
        "remarks": [remark for section in answer.sections for remark in _remarks(section.remarks)],
        "assumed": _remarks(answer.assumed),
    }
