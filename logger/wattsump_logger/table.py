"""The rows of a session CSV as arrays, fast when they are sound, row by row when not."""

import csv
import io
import math
import mmap
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wattsump_logger.errors import SessionError

if TYPE_CHECKING:
    import pyarrow as pa  # type: ignore[import-untyped]  # it ships no types

__all__ = ("Table", "parse_table", "salvage")

_TEXTS = ("time_utc", "fault", "mark")
_SHOWN = 3  # damaged rows named in full; more would bury the message
_BLOCK = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """Numeric columns by name; the non-empty text cells with their row numbers."""

    columns: dict[str, NDArray[np.float64]]
    faults: list[tuple[int, str]]
    marks: list[tuple[int, str]]
    first_time: tuple[int, str] | None
    notes: tuple[str, ...] = ()


def parse_table(
    data: mmap.mmap | bytes, header: tuple[str, ...], start: int, end: int
) -> Table | None:
    """Return the table, or None when a row is not as it should be."""
    import pyarrow as pa

    body = pa.py_buffer(data)[start:end]
    if not body.size:
        empty = {name: np.empty(0) for name in header if name not in _TEXTS}
        return Table(columns=empty, faults=[], marks=[], first_time=None)
    try:
        found = _read(body, header, tuple(name for name in header if name != "time_utc"))
    except pa.ArrowInvalid:
        return None
    faults, marks = _cells(found.pop("fault")), _cells(found.pop("mark"))
    columns = _numbers(found)
    # A quote left open takes the lines behind it into its cell without any complaint.
    is_sound = not any("\n" in cell for _, cell in faults + marks)
    if not is_sound or any(np.isinf(column).any() for column in columns.values()):
        return None
    return Table(
        columns=columns,
        faults=faults,
        marks=marks,
        first_time=_first_time(data, body, header, start, end),
    )


def _read(
    body: "pa.Buffer", header: tuple[str, ...], wanted: tuple[str, ...]
) -> "dict[str, pa.ChunkedArray]":
    import pyarrow as pa
    from pyarrow import csv as arrow_csv

    types = {name: pa.string() if name in _TEXTS else pa.float64() for name in wanted}
    table = arrow_csv.read_csv(
        pa.BufferReader(body),
        read_options=arrow_csv.ReadOptions(column_names=header, block_size=_BLOCK),
        parse_options=arrow_csv.ParseOptions(),
        convert_options=arrow_csv.ConvertOptions(
            include_columns=wanted, column_types=types, null_values=[""], strings_can_be_null=False
        ),
    )
    return dict(zip(table.column_names, table.columns, strict=True))


def _numbers(found: "dict[str, pa.ChunkedArray]") -> dict[str, NDArray[np.float64]]:
    """Take the columns out one by one, so that only one is ever held twice."""
    return {name: found.pop(name).to_numpy() for name in list(found)}


def _cells(column: "pa.ChunkedArray") -> list[tuple[int, str]]:
    """Return row number and text of the cells that are not empty."""
    import pyarrow.compute as pc  # type: ignore[import-untyped]  # it ships no types

    filled = pc.not_equal(column, "")
    rows = pc.indices_nonzero(filled).to_pylist()
    return list(zip(rows, column.filter(filled).to_pylist(), strict=True))


def _first_time(
    data: mmap.mmap | bytes, body: "pa.Buffer", header: tuple[str, ...], start: int, end: int
) -> tuple[int, str] | None:
    stop = data.find(b",", start, end)
    if stop > start:
        return 0, data[start:stop].decode("utf-8", "replace").strip('"')
    cells = _cells(_read(body, header, ("time_utc",))["time_utc"])
    return cells[0] if cells else None


def salvage(
    data: mmap.mmap | bytes, header: tuple[str, ...], start: int, end: int, path: Path
) -> Table:
    """Return the table of the rows that are sound, with notes on the others."""
    sound = io.BytesIO()
    damage: list[str] = []
    kept = 0
    for number, line in enumerate(io.BytesIO(data[start:end]), start=2):
        wrong = _what_is_wrong(line, header)
        if wrong is None:
            sound.write(line)
            kept += 1
        elif wrong:
            damage.append(f"line {number}: {wrong}")
    if not kept and damage:
        raise SessionError(
            expected="rows of a session",
            found=damage[0],
            where=str(path),
            do="give a session made by `wattsump log` or `wattsump import`",
        )
    table = parse_table(sound.getvalue(), header, 0, sound.tell())
    assert table is not None
    shown = "; ".join(damage[:_SHOWN]) + ("; ..." if len(damage) > _SHOWN else "")
    notes = (f"{len(damage)} damaged rows left out ({shown})",) if damage else ()
    return Table(
        columns=table.columns,
        faults=table.faults,
        marks=table.marks,
        first_time=table.first_time,
        notes=notes,
    )


def _what_is_wrong(line: bytes, header: tuple[str, ...]) -> str | None:
    """Return what is wrong with a row, "" for a blank one, None if it is sound."""
    if not line.strip():
        return ""
    if b"\0" in line:
        return f"{line.count(0)} NUL bytes"
    try:
        cells = next(csv.reader([line.decode("utf-8")], strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        return str(error)
    if len(cells) != len(header):
        return f"{len(cells)} cells for {len(header)} columns"
    for name, cell in zip(header, cells, strict=True):
        if name not in _TEXTS and not _is_number(cell):
            return f"{cell!r} in {name}"
    return None


def _is_number(cell: str) -> bool:
    try:
        return not cell or not math.isinf(float(cell))
    except ValueError:
        return False
