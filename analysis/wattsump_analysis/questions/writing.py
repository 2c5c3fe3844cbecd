"""An answer as text for a screen or as plain data for `--json`.

In: an `Answer`. Out: lines of 80 columns, or a dictionary in inside units.
"""

import math
import textwrap
from collections.abc import Iterator

from wattsump_analysis.questions.answer import Answer, Figure, Pieces, Row, Table
from wattsump_logger.units.quantities import inside_unit, show, to_shown

__all__ = (
    "SCHEMA",
    "as_json",
    "screen",
    "sentence",
    "shown",
)

SCHEMA = "wattsump-answer-1"


WIDTH = 80
_LABEL = 33
# Kinds that the trade prints in either system, so both are shown.
_MIXED = frozenset(
    {"air_flow", "flow", "power", "pressure", "temperature", "temperature_difference", "volume"}
)


# In a table there is room for two of these only.
_MIXED_CELLS = frozenset({"power", "pressure"})


def _never_tail(figure: Figure, system: str) -> str:
    if figure.low is None or math.isinf(figure.low):
        return ""
    return f" (perhaps in {_plain(figure.low, figure, system)})"


def _plain(value: float, figure: Figure, system: str) -> str:
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "never" if figure.kind == "duration" else "no bound"
    if figure.kind == "probability":
        return _chance(value)
    if figure.kind == "number":
        return f"{value:.3g}"
    if figure.kind == "bore":
        # Tube and hose come in inches and are measured in millimetres.
        return f"{value * 1000.0:.4g} mm" if system == "si" else f"{value / 0.0254:.3f} in"
    if figure.kind == "duration":
        return _time(value)
    if figure.kind == "energy":
        return f"{value / 3.6e6:.2f} kWh"
    return show(value, figure.kind, system)


def _chance(probability: float) -> str:
    """Per cent, without pretending to know one in a thousand."""
    if probability < 0.01:
        return "under 1 %"
    return "over 99 %" if probability > 0.99 else f"{probability * 100:.0f} %"


def _time(seconds: float) -> str:
    """Minutes up to two hours, then hours: what a person reads off a watch."""
    if seconds < 60.0:
        return f"{seconds:.1f} s" if seconds < 10.0 else f"{seconds:.0f} s"
    minutes = seconds / 60.0
    if minutes < 10.0:
        return f"{minutes:.1f} min"
    return f"{minutes:.0f} min" if minutes < 120.0 else f"{minutes / 60.0:.1f} h"


def _number(value: float, figure: Figure, system: str) -> str:
    """Value in the unit its figure is shown in, without the unit, for an interval."""
    if not math.isfinite(value) or figure.kind in ("number", "bore", "duration", "energy"):
        return _plain(value, figure, system)
    number = to_shown(value, figure.kind, system, largest=figure.value)
    if figure.kind.startswith("temperature"):
        return f"{number:.1f}"
    return _three_digits(number)


def _three_digits(number: float) -> str:
    if number == 0.0:
        return "0"
    decimals = max(2 - math.floor(math.log10(abs(number))), 0)
    text = f"{float(f'{number:.3g}'):.{decimals}f}"
    return f"{int(text):,}".replace(",", " ") if len(text) > 4 and text.isdigit() else text


def _screen_lines(answer: Answer, system: str) -> Iterator[str]:
    first, last = answer.cautions, answer.cautions[:0]
    if not answer.is_hands_on:
        first, last = answer.cautions[:1], answer.cautions[1:]
    headline = [line for pieces in answer.headline for line in _wrapped(sentence(pieces, system))]
    blocks = [list(_caution_lines(first)), headline]
    yield from _joined(blocks if answer.is_hands_on else blocks[::-1])
    for section in answer.sections:
        yield ""
        yield section.title
        for row in section.rows:
            yield from _row_lines(row, system)
        if section.table is not None:
            yield from _table_lines(section.table, system)
        for pieces in section.remarks:
            yield from _wrapped(f"  {sentence(pieces, system)}", "  ")
    if answer.assumed:
        yield ""
        yield "Assumed"
        for pieces in answer.assumed:
            yield from _wrapped(f"- {sentence(pieces, system)}", "  ")
    yield from _joined([[""], list(_caution_lines(last))] if last else [])


def _caution_lines(cautions: tuple[str, ...]) -> Iterator[str]:
    if cautions:
        yield "CAUTION"
    for caution in cautions:
        yield from _wrapped(f"! {caution}", "  ")


def _joined(blocks: list[list[str]]) -> Iterator[str]:
    """Yield the lines of blocks that have any, an empty one between two."""
    filled = [block for block in blocks if block]
    for number, block in enumerate(filled):
        if number and filled[number - 1] != [""]:
            yield ""
        yield from block


def _row_lines(row: Row, system: str) -> Iterator[str]:
    both = row.figure.low is None
    text = f"  {row.label:<{_LABEL}} {shown(row.figure, system, both=both)}"
    tail = "; ".join(part for part in (row.flag.upper() if row.flag else "", row.note) if part)
    whole = f"{text}  {tail}" if tail else text
    if len(whole) <= WIDTH:
        yield whole
        return
    yield from _wrapped(text, " " * (_LABEL + 3))
    if tail:
        yield from _wrapped(f"      {tail}", "      ")


def _table_lines(table: Table, system: str) -> Iterator[str]:
    cells = [
        [
            cell if isinstance(cell, str) else shown(cell, system, both=cell.kind in _MIXED_CELLS)
            for cell in row
        ]
        for row in table.rows
    ]
    lines = [list(table.heads), *cells]
    widths = [max(len(line[column]) for line in lines) for column in range(len(table.heads))]
    for line in lines:
        first, *rest = zip(line, widths, strict=True)
        yield (
            f"  {first[0]:<{first[1]}}" + "".join(f"  {text:>{width}}" for text, width in rest)
        ).rstrip()


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text, WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
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


def shown(figure: Figure, system: str = "si", *, both: bool = False) -> str:
    """Text of a figure with its unit and interval; `both` adds the other system's."""
    if figure.kind == "duration" and math.isinf(figure.value):
        return f"never{_never_tail(figure, system)}"
    if figure.beyond:
        return f"over {_plain(figure.most, figure, system)}"
    text = _plain(figure.value, figure, system)
    if figure.low is not None and figure.high is not None:
        over = "over " if figure.high > figure.most else ""
        low = _number(figure.low, figure, system)
        high = _number(min(figure.high, figure.most), figure, system)
        if figure.kind == "duration" and figure.low < 60.0 <= figure.value:
            low = "under 1 min"  # seconds beside minutes are digits nobody has
        # Ends that round to one number are no range.
        text += f" ({low} to {over}{high})" if low != high or over else ""
    if both and figure.kind in _MIXED and math.isfinite(figure.value):
        other = _plain(figure.value, figure, "us" if system == "si" else "si")
        text += f" = {other}"
    return text


def sentence(pieces: Pieces, system: str = "si") -> str:
    """Text of a sentence with its figures in the wanted units."""
    return "".join(piece if isinstance(piece, str) else shown(piece, system) for piece in pieces)


def screen(answer: Answer, system: str = "si") -> str:
    """Write an answer for a terminal of 80 columns, cautions first where hands are at work.

    Raises
    ------
    UsageError
        An unknown system of units.
    """
    show(0.0, "power", system)
    return "\n".join(_screen_lines(answer, system))


def as_json(answer: Answer) -> dict[str, object]:
    """Plain data of an answer, in inside units; a number that is no number is null.

    Keys: `schema`, `question`, `headline` and `assumed` (sentences in SI units), `cautions`,
    `values` (key -> value, low, high, unit, kind, label, note, flag, and `bound` "none" where
    the value has no end), `tables` (key -> heads and rows whose cells are texts or values).
    """
    return {
        "schema": SCHEMA,
        "question": answer.question,
        "headline": [sentence(pieces) for pieces in answer.headline],
        "cautions": list(answer.cautions),
        "values": {
            row.key: _figure_json(row.figure)
            | {"label": row.label, "note": row.note, "flag": row.flag}
            for section in answer.sections
            for row in section.rows
        },
        "tables": {
            section.table.key: _table_json(section.table)
            for section in answer.sections
            if section.table is not None
        },
        "remarks": [sentence(pieces) for section in answer.sections for pieces in section.remarks],
        "assumed": [sentence(pieces) for pieces in answer.assumed],
    }
