"""The text of a table as rows of cells: its encoding, separator, header, units and decimals.

Spreadsheets and loggers differ in all of these. The results are kept for the preview.
"""

import csv
import re
import warnings
from collections import Counter
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import numpy as np

from wattsump_logger.arrays import BoolArray, FloatArray
from wattsump_logger.errors import SessionError, reason_of
from wattsump_logger.inputs import need_regular

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

__all__ = ("Table", "is_wire", "numbers", "read_table", "units_in")

# A comma comes last: it also stands in decimals.
_SEPARATORS = ("\t", ";", "|", ",")
_LOOKED_AT = 400  # lines in which separator and header are looked for
_ALIKE = 0.8  # of the lines that must have the same number of cells
_MOST_SKIPPED = 150  # rows a logger writes above its readings
_AT_ONCE = 200_000  # rows read: while they are, each takes ten times its memory
_MOST_LINES = 20  # of one cell: more are swallowed by a quote that nothing closes
_NUMBER = re.compile(r"[+\-−]?(\d+([.,]\d*)*|[.,]\d+)(e[+\-]?\d+)?\s*(°?[a-z%/]{1,6})?", re.I)
_TIME = re.compile(r".*\d{1,2}:\d{2}.*|\d{1,4}[./-]\d{1,2}[./-]\d{1,4}")
_WIRE_LINE = re.compile(rb"(^|\n)(wattsump-wire-|[HRE]1,)")
_ON = ("on", "true", "yes", "y", "t", "running", "run", "active", "high")
_OFF = ("off", "false", "no", "n", "f", "stopped", "stop", "inactive", "low")
_STATES = dict.fromkeys(_ON, 1.0) | dict.fromkeys(_OFF, 0.0)
_SPACES = r" '\u00a0\u2009\u202f"  # between thousands
# A number whose `sign` is that of decimals: not three digits behind it, none or a 0 or four before
# it, an exponent, thousands with the other sign; or the other sign twice.
_SURE = (
    r"[+\-−]?(\d*{sign}(?!\d{{3}}$)\d+(e[+-]?\d+)?|(0|\d{{4,}})?{sign}\d+|"
    r"\d{{1,3}}({other}\d{{3}})+{sign}\d+|\d{{1,3}}({other}\d{{3}}){{2,}})"
)
_SUFFIX = re.compile(r"(?<=[\d.,])\s*([°º]?[A-Za-z%][A-Za-z%/]{0,5})$")
_NAMES = {"utf-8-sig": "UTF-8", "utf-16": "UTF-16", "cp1252": "Windows-1252"}
_ARCHIVES = {
    b"PK\x03\x04": "a spreadsheet's own file or an archive",
    b"\xd0\xcf\x11\xe0": "a spreadsheet's own file",
    b"\x1f\x8b": "a compressed file",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """A file's cells as texts: one column of `cells` per name, blanks as "".

    `units` holds a row of units under the header, if there is one. `line` is where the first
    row of cells is. `is_comma` says that decimals have a comma, None that it may as well stand
    between thousands.
    """

    path: Path
    cells: "pd.DataFrame"
    units: tuple[str, ...]
    separator: str
    encoding: str
    line: int
    has_header: bool
    is_comma: bool | None
    dropped: int

    @property
    def names(self) -> tuple[str, ...]:
        """The columns' names as in the file."""
        return tuple(self.cells.columns)

    def filled(self, name: str) -> BoolArray:
        """Tell where a column has a cell that is not empty."""
        return (self.cells[name].str.strip() != "").to_numpy(dtype=np.bool_)

    def numbers(self, name: str) -> FloatArray:
        """A column's cells as numbers."""
        return numbers(self.cells[name], is_comma=bool(self.is_comma))


def is_wire(path: Path) -> bool:
    """Tell whether a file holds frames of our own line protocol, or is named as one that does."""
    if path.suffix == ".wire":
        return True
    try:
        need_regular(path)
        with path.open("rb") as file:
            return _WIRE_LINE.search(file.read(1 << 16)) is not None
    except OSError as error:
        raise _bad(path, reason_of(error), "check the path") from error


def read_table(path: Path) -> Table:
    """Read a text table.

    Raises
    ------
    SessionError
        The file is no text, or has no table of two columns or more.
    """
    encoding = _encoding(path)
    with _opened(path, encoding) as file:
        head = [*islice(file, _LOOKED_AT)]
    first, named = 0, None
    if head and (match := re.fullmatch(r"sep=(.)", head[0].strip())):
        first, named = 1, match[1]
    separator, width = _shape(head[first:], named, path)
    begins, rows = zip(*_rows(head[first:], separator, path), strict=True)
    begin = next((at for at in range(len(rows)) if _is_data(rows, at, width)), None)
    if begin is None or begin > _MOST_SKIPPED:
        raise _bad(path, "no rows of numbers", "export the readings as a table, one row a time")
    header, units = _header(rows, begin, width, separator, path)
    line = first + begins[begin]
    with _opened(path, encoding) as file:
        for _ in range(line):
            next(file)
        cells, dropped = _cells(file, separator, width, path)
    # What was being written when the power went.
    if not _ends_whole(path) and (cells[width - 1] != "").mean() > 0.5 and not cells.iat[-1, -1]:
        cells, dropped = cells.iloc[:-1], dropped + 1
    cells.columns = _names(header, width)
    keep = [
        name for at, name in enumerate(cells) if header[at : at + 1] != [""] or any(cells[name])
    ]
    units = tuple(unit for unit, name in zip(units, cells, strict=True) if name in keep)
    cells = cells[keep]
    return Table(
        path=path,
        cells=cells,
        units=units,
        separator=separator,
        encoding=_NAMES[encoding],
        line=line + 1,
        has_header=bool(header),
        is_comma=_decimal_comma(cells),
        dropped=dropped,
    )


def numbers(texts: "pd.Series[str]", *, is_comma: bool) -> FloatArray:
    """Return cells as numbers, NaN for any other text; on and off are 1 and 0."""
    import pandas as pd

    codes, kinds = _kinds(texts)
    plain = kinds.str.replace("−", "-").str.replace(_SUFFIX, "", regex=True)
    groups = rf"^[+-]?\d{{1,3}}(?:[{_SPACES}{'.' if is_comma else ','}]\d{{3}})+(?!\d)"
    plain = plain.str.replace(groups, lambda found: re.sub(r"[^\d+-]", "", found[0]), regex=True)
    read = pd.to_numeric(plain.str.replace(",", ".", regex=False), errors="coerce")
    states = kinds.str.lower().map(_STATES)
    values = np.asarray(read.astype(float).fillna(states.astype(float)), dtype=float)
    return np.asarray(np.where(np.isfinite(values), values, np.nan)[codes], dtype=float)


def units_in(texts: "pd.Series[str]") -> set[str]:
    """Return what stands behind the numbers of a column's cells, in lower case."""
    return set(_kinds(texts)[1].str.extract(_SUFFIX, expand=False).dropna().str.lower())


def _kinds(texts: "pd.Series[str]") -> "tuple[NDArray[np.intp], pd.Series[str]]":
    """Return which of the different texts each cell has, and these: millions repeat a few."""
    import pandas as pd

    codes, kinds = pd.factorize(texts)
    return codes, pd.Series(kinds, dtype=str).str.strip()


def _bad(path: Path, found: str, do: str) -> SessionError:
    return SessionError(
        expected="a table of readings, as text", found=found, where=str(path), do=do
    )


def _opened(path: Path, encoding: str) -> TextIO:
    return path.open(encoding=encoding, errors="replace")


def _encoding(path: Path) -> str:
    """Return how a file's text is encoded."""
    try:
        need_regular(path)
        with path.open("rb") as file:
            start = file.read(4096)
    except OSError as error:
        raise _bad(path, reason_of(error), "check the path") from error
    if not start.strip():
        raise _bad(path, "an empty file", "export the readings again")
    for begins, what in _ARCHIVES.items():
        if start.startswith(begins):
            raise _bad(path, what, "save it as CSV, or unpack it, and import that")
    if start[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    if b"\0" in start:
        raise _bad(path, "bytes that are no text", "export the readings as CSV, in UTF-8")
    try:
        with path.open(encoding="utf-8-sig") as text:
            while text.read(1 << 20):
                pass
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8-sig"


def _ends_whole(path: Path) -> bool:
    """Tell whether a file's last line has an end."""
    with path.open("rb") as file:
        file.seek(-2, 2)
        return any(end in file.read() for end in b"\r\n")


def _rows(lines: list[str], separator: str, path: Path) -> list[tuple[int, list[str]]]:
    """Return each row's first line, counted from 0, and its cells; a quoted cell may have lines."""
    reader, rows, line = csv.reader(lines, delimiter=separator), [], 0
    try:
        for row in reader:
            rows.append((line, row))
            line = reader.line_num
    except csv.Error as error:
        raise _bad(path, str(error), "export the readings as CSV") from error
    return rows


def _shape(head: list[str], named: str | None, path: Path) -> tuple[str, int]:
    """Return the separator and how many cells a row has."""
    filled = [line for line in head if line.strip()]
    body = filled[len(filled) // 3 :]
    for separator in (named,) if named else _SEPARATORS:
        rows = _rows(body, separator, path)
        widths = Counter(len(row) for _, row in rows)
        width, count = widths.most_common(1)[0] if widths else (0, 0)
        if width >= 2 and count >= _ALIKE * len(rows):
            if sum(len(cell.splitlines()) > _MOST_LINES for _, row in rows for cell in row):
                raise _open_quote(path)
            return separator, width
    if any(line.count('"') % 2 for line in head) and _is_cut(body):
        raise _open_quote(path)
    raise _bad(
        path,
        "no separator that cuts its lines into equal numbers of cells",
        "export it with semicolons, commas or tabs between the cells",
    )


def _is_cut(lines: list[str]) -> bool:
    """Tell whether a separator cuts lines into equal numbers of cells, quotes or not."""
    usual = [Counter(line.count(sign) for line in lines).most_common(1)[0] for sign in _SEPARATORS]
    return any(count and lines_so >= _ALIKE * len(lines) for count, lines_so in usual)


def _looks_read(cell: str) -> bool:
    text = cell.strip()
    return bool(_NUMBER.fullmatch(text) or _TIME.fullmatch(text) or text.lower() in _STATES)


def _is_data(rows: tuple[list[str], ...], at: int, width: int) -> bool:
    """Whether a row is of readings, as are most of those below it."""
    below = [row for row in rows[at : at + 10] if row]
    if len(rows[at]) != width or not any(rows[at]):
        return False
    shares = [
        sum(map(_looks_read, row)) / max(1, sum(bool(cell.strip()) for cell in row))
        for row in below
    ]
    return shares[0] > 0.5 and sum(share > 0.5 for share in shares) > 0.7 * len(shares)


def _header(
    rows: tuple[list[str], ...], begin: int, width: int, separator: str, path: Path
) -> tuple[list[str], tuple[str, ...]]:
    """Return the names above the readings, [] if there are none, and the units under them.

    Rows, or the names, may end with separators that nothing stands behind.
    """
    from wattsump_logger.foreign.columns import is_unit

    least = max(map(_filled, rows[begin:]))
    above = [row for row in rows[:begin] if _filled(row)]
    fitting = [
        (row + [""] * width)[:width]
        for row in above
        if _filled(row) <= width and len(row) >= min(width, least)
    ]
    count = _filled(above[-1]) if above else 0
    if not fitting and count >= (2 if separator == "," else 3):
        commas = separator == "," and count < width
        raise _bad(
            path,
            f"{count} names and {width} cells a row"
            + ": commas separate cells and decimals alike" * commas,
            "export it with semicolons between the cells" if commas else "name every column",
        )
    if not fitting:
        return [], ("",) * width
    filled = [cell for cell in fitting[-1] if cell.strip()]
    if len(fitting) > 1 and all(is_unit(cell) for cell in filled):
        return fitting[-2], tuple(cell.strip() for cell in fitting[-1])
    return fitting[-1], ("",) * width


def _filled(row: list[str]) -> int:
    """Return how many cells a row has up to the last that is filled."""
    return max((at for at, cell in enumerate(row, 1) if cell.strip()), default=0)


def _names(header: list[str], width: int) -> list[str]:
    names: list[str] = []
    for at in range(width):
        name = (" ".join(header[at].split()) if header else "") or f"column {at + 1}"
        count = sum(other == name or other.startswith(f"{name} #") for other in names)
        names.append(f"{name} #{count + 1}" if count else name)
    return names


def _cells(file: TextIO, separator: str, width: int, path: Path) -> "tuple[pd.DataFrame, int]":
    """Return the readings' cells, and how many lines had too many of them."""
    import pandas as pd

    try:
        with warnings.catch_warnings(record=True) as told:
            warnings.simplefilter("always", pd.errors.ParserWarning)
            parts = pd.read_csv(
                file,
                sep=separator,
                header=None,
                names=list(range(width)),
                index_col=False,
                dtype=str,
                keep_default_na=False,
                on_bad_lines="warn",
                chunksize=_AT_ONCE,
            )
            cells = pd.concat([part.fillna("") for part in parts], ignore_index=True)
    except pd.errors.ParserError as error:
        raise _open_quote(path) from error
    if any(int(_kinds(cells[name])[1].str.count("\n").max()) > _MOST_LINES for name in cells):
        raise _open_quote(path)
    return cells, sum(str(warning.message).count("Skipping line") for warning in told)


def _open_quote(path: Path) -> SessionError:
    return _bad(path, 'a " that opens a cell and is not closed', "take it out of the file")


def _decimal_comma(cells: "pd.DataFrame") -> bool | None:
    """Tell what a comma is by numbers in which it, or a point, cannot part thousands."""
    some = cells.iloc[:: 1 + len(cells) // 20_000]
    kinds = {_SUFFIX.sub("", text.strip()) for name in some for text in some[name].unique()}
    commas, points = (
        (
            any(re.fullmatch(_SURE.format(sign=sign, other=other), text, re.I) for text in kinds),
            any(re.fullmatch(rf"[+\-−]?[1-9]\d{{0,2}}{sign}\d{{3}}", text) for text in kinds),
        )
        for sign, other in ((",", "[.]"), ("[.]", ","))
    )
    if commas[0] != points[0]:
        return commas[0]
    return None if commas[1] else False
