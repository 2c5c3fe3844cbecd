"""Reads the rows of a session CSV as arrays: fast if all are sound, else row by row."""

import csv
import io
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wattsump_logger.errors import SessionError
from wattsump_logger.remark import Remark

if TYPE_CHECKING:
    import pyarrow as pa  # type: ignore[import-untyped]  # it ships no types

__all__ = ("OpenRows", "Table", "parse_table", "rows_between", "salvage")

OpenRows = Callable[[], io.BufferedIOBase]
_TEXTS = ("time_utc", "fault", "mark")
_SHOWN = 3  # damaged rows named in full
_BLOCK = 1 << 20
_SALVAGED = 1 << 21  # bytes checked together
_LONGEST_ROW = 1 << 16
_LONGEST_CELL_SHOWN = 40
# Python reads some numbers that the fast reader does not, such as 1_000.
_NUMBER = re.compile(
    r"[ \t]*[+-]?(nan|([0-9]+\.?[0-9]*|\.[0-9]+)(e[+-]?[0-9]+)?)[ \t]*", re.I | re.A
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """Numeric columns by name; the non-empty text cells with their row numbers."""

    columns: dict[str, NDArray[np.float64]]
    faults: list[tuple[int, str]]
    marks: list[tuple[int, str]]
    first_time: tuple[int, str] | None
    notes: tuple[Remark, ...] = ()


class _Window(io.RawIOBase):
    """The bytes of a file from `start` to `end`, read as a file of their own.

    `has_nul` and `line_count` are of the bytes read so far. They show what the fast reader misses:
    NUL bytes in `time_utc`, which it skips, and rows lost to a quote that is never closed.
    """

    def __init__(self, path: Path, start: int, end: int) -> None:
        self.has_nul = False
        self.line_count = 0
        self._file = path.open("rb", buffering=0)
        self._file.seek(start)
        self._left = end - start

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        count = self._file.readinto(memoryview(buffer)[: self._left]) or 0
        self._left -= count
        data = bytes(memoryview(buffer)[:count])
        self.has_nul = self.has_nul or b"\0" in data
        self.line_count += data.count(b"\n")
        return count

    def close(self) -> None:
        self._file.close()
        super().close()


def rows_between(path: Path, start: int, end: int) -> OpenRows:
    """Return a function that opens the rows of a file from byte `start` to byte `end`."""
    return lambda: io.BufferedReader(_Window(path, start, end), _BLOCK)


def parse_table(open_rows: OpenRows, header: tuple[str, ...]) -> Table | None:
    """Return the table of a stream's rows, None if any row is damaged."""
    import pyarrow as pa

    with open_rows() as rows:
        first_line = rows.readline(_LONGEST_ROW)
    if not first_line:
        empty = {name: np.empty(0) for name in header if name not in _TEXTS}
        return Table(columns=empty, faults=[], marks=[], first_time=None)
    try:
        read = _read(open_rows, header, tuple(name for name in header if name != "time_utc"))
        first_time = _first_time(first_line, open_rows, header)
    except pa.ArrowInvalid:
        return None
    faults, marks = _cells(read.pop("fault")), _cells(read.pop("mark"))
    columns = _numbers(read)
    # An open quote takes the lines behind it into its cell, without an error.
    is_sound = not any("\n" in cell or "\0" in cell for _, cell in faults + marks)
    if not is_sound or any(np.isinf(column).any() for column in columns.values()):
        return None
    return Table(columns=columns, faults=faults, marks=marks, first_time=first_time)


def _read(
    open_rows: OpenRows, header: tuple[str, ...], wanted: tuple[str, ...]
) -> "dict[str, pa.ChunkedArray]":
    import pyarrow as pa
    from pyarrow import csv as arrow_csv

    types = {name: pa.string() if name in _TEXTS else pa.float64() for name in wanted}
    with open_rows() as rows:
        table = arrow_csv.read_csv(
            rows,
            read_options=arrow_csv.ReadOptions(column_names=header, block_size=_BLOCK),
            convert_options=arrow_csv.ConvertOptions(
                include_columns=wanted,
                column_types=types,
                null_values=[""],
                strings_can_be_null=False,
            ),
        )
        raw = getattr(rows, "raw", None)
        if isinstance(raw, _Window) and (raw.has_nul or raw.line_count != table.num_rows):
            raise pa.ArrowInvalid("rows that were not read")
    return dict(zip(table.column_names, table.columns, strict=True))


def _numbers(read: "dict[str, pa.ChunkedArray]") -> dict[str, NDArray[np.float64]]:
    """Convert the columns one by one, so that only one is held twice at a time."""
    return {name: read.pop(name).to_numpy() for name in list(read)}


def _cells(column: "pa.ChunkedArray") -> list[tuple[int, str]]:
    """Return row number and text of the cells that are not empty."""
    import pyarrow.compute as pc  # type: ignore[import-untyped]  # it ships no types

    filled = pc.not_equal(column, "")
    rows = pc.indices_nonzero(filled).to_pylist()
    return list(zip(rows, column.filter(filled).to_pylist(), strict=True))


def _first_time(
    first_line: bytes, open_rows: OpenRows, header: tuple[str, ...]
) -> tuple[int, str] | None:
    text = first_line.partition(b",")[0]
    if text:
        return 0, text.decode("utf-8", "replace").strip('"')
    cells = _cells(_read(open_rows, header, ("time_utc",))["time_utc"])
    return cells[0] if cells else None


def salvage(open_rows: OpenRows, header: tuple[str, ...], path: Path) -> Table:
    """Return the table of the rows that are sound, with notes on the others."""
    sound = io.BytesIO()
    damage: list[str] = []
    damaged, first = 0, 2
    with open_rows() as rows:
        while lines := rows.readlines(_SALVAGED):
            block = b"".join(lines)
            if _is_sound(block, header):
                sound.write(block)
            else:  # row by row, which is slow
                for number, line in enumerate(lines, start=first):
                    wrong = _what_is_wrong(line, header)
                    if wrong is None:
                        sound.write(line)
                    elif wrong:
                        damaged += 1
                        if damaged <= _SHOWN:
                            damage.append(f"line {number}: {wrong}")
            first += len(lines)
    if not sound.tell() and damaged:
        raise SessionError(
            expected="rows of a session",
            found=damage[0],
            where=str(path),
            do="give a session made by `wattsump log` or `wattsump import`",
        )
    table = parse_table(lambda: io.BytesIO(sound.getvalue()), header)
    if table is None:  # every row is sound, but not all of them together
        raise SessionError(
            expected="rows of a session",
            found="rows that make no table",
            where=str(path),
            do="make the session again from its .wire file with `wattsump import`",
        )
    shown = "; ".join(damage) + ("; ..." if damaged > _SHOWN else "")
    note = Remark(code="rows-damaged", text=f"damaged rows left out: {damaged} ({shown})")
    return Table(
        columns=table.columns,
        faults=table.faults,
        marks=table.marks,
        first_time=table.first_time,
        notes=(note,) if damaged else (),
    )


def _is_sound(block: bytes, header: tuple[str, ...]) -> bool:
    """Tell whether these rows are sound; a row with a quote counts as unsound."""
    if b"\0" in block or b'"' in block:
        return False
    return parse_table(lambda: io.BytesIO(block), header) is not None


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
            return f"{cell[:_LONGEST_CELL_SHOWN]!r} in {name}"
    return None


def _is_number(cell: str) -> bool:
    return not cell or (_NUMBER.fullmatch(cell) is not None and not math.isinf(float(cell)))
