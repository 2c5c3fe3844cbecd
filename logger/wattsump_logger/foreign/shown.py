"""How a table was understood, in lines for the screen."""

import textwrap
from collections.abc import Iterator

import numpy as np

from wattsump_logger.arrays import FloatArray
from wattsump_logger.foreign.adopt import Understood
from wattsump_logger.foreign.columns import ABSENT_COSTS, DEGREES
from wattsump_logger.foreign.times import time_of_day
from wattsump_logger.machine.parts import Role
from wattsump_logger.width import USUAL

__all__ = ("preview",)


def preview(made: Understood) -> Iterator[str]:
    """Yield, line by line of at most 80 columns, how the table was understood, what it lacks."""
    for line in _preview(made):
        yield from textwrap.wrap(line, USUAL, subsequent_indent="    ", break_on_hyphens=False)


def _preview(made: Understood) -> Iterator[str]:
    table, stamps = made.table, made.stamps
    sign = {"\t": "tabs", ",": "commas", ";": "semicolons", "|": "bars"}.get(
        table.separator, repr(table.separator)
    )
    decimals = "decimal comma" if table.is_comma else "decimal point"
    yield (
        f"{table.path.name}: {stamps.rows.size} rows, {sign} between cells, {decimals}, "
        f"{table.encoding}, readings from line {table.line} on"
    )
    yield f"  {'time':<20} {_when(made)}"
    for session, name in made.sources.items():
        column = made.columns[name]
        what = column.role.value if column.role else "no role"
        if column.role is Role.OTHER:
            what = "no role, kept"
        yield f"  {name[:20]:<20} {what:<10} {session:<13} {_span(made.values[session])}"
    in_f = [name for name in made.sources.values() if made.columns[name].unit in DEGREES["f"]]
    if in_f:
        yield f"  converted from degF: {', '.join(in_f)}"
    for line in made.typed:
        share = f"on {100 * np.mean(made.values[line.column]):.0f} % of the time"
        yield f"  {'typed':<20} {line.role.value:<10} {line.column:<13} {share}"
    left_out = [name for name, column in made.columns.items() if not column.is_used]
    if left_out:
        yield f'  left out: {", ".join(left_out)}; --column "{left_out[0]}=ROLE UNIT" keeps one'
    for note in made.notes:
        yield f"  note: {note}"
    if made.faults:
        yield f"  note: {len(made.faults)} rows have a cell that is no reading; it stays empty"
    for role in made.absent:
        yield f"  no {role.value}: {ABSENT_COSTS[role]}"


def _when(made: Understood) -> str:
    length_s = float(made.stamps.elapsed_s[-1])
    step_s = float(np.median(np.diff(made.stamps.elapsed_s)))
    if made.stamps.start is not None:
        begin = f"from {made.stamps.start:%d %b %Y %H:%M:%S}"
        begin += " (its own zone)" if made.stamps.start.tzinfo else " (this computer's zone)"
    elif made.stamps.clock_s is not None:
        begin = f"from {time_of_day(made.stamps.clock_s)}, no date"
    else:
        begin = "counted from the first row, no clock"
    return f"{begin}, {length_s / 60:.1f} min, a row every {step_s:.4g} s"


def _span(values: FloatArray) -> str:
    seen = values[np.isfinite(values)]
    if not seen.size:
        return "no reading"
    return f"{seen.min():.1f} to {seen.max():.1f}, {seen.size} readings"
