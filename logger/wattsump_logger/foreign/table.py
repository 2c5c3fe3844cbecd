"""The text of a table as rows of cells: its encoding, separator, header, units and decimals.

Spreadsheets and loggers differ in all of these. The results are kept for the preview.
"""

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from wattsump_logger.errors import SessionError
from wattsump_logger.inputs import need_regular

if TYPE_CHECKING:
    import pandas as pd

__all__ = ("Table", "is_wire", "numbers", "read_table")

# A comma comes last: it also stands in decimals.
_SEPARATORS = ("\t", ";", "|", ",")
_LOOKED_AT = 400  # lines in which separator and header are looked for
_ALIKE = 0.8  # of the lines that must have the same number of cells
_MOST_SKIPPED = 60  # lines a logger writes above its header
_NUMBER = re.compile(r"[+\-−]?(\d+([.,]\d*)*|[.,]\d+)(e[+\-]?\d+)?\s*(°?[a-z%/]{1,6})?", re.I)
_TIME = re.compile(r".*\d{1,2}:\d{2}.*|\d{1,4}[./-]\d{1,2}[./-]\d{1,4}")
_WIRE_LINE = re.compile(rb"(^|\n)(wattsump-wire-|[HRE]1,)")
_STATES = {"on": 1.0, "off": 0.0, "true": 1.0, "false": 0.0, "yes": 1.0, "no": 0.0}
_GROUPS = re.compile(r"(?<=\d)[ '\u00a0\u2009\u202f](?=\d)")
_SUFFIX = re.compile(r"\s*[°º]?[A-Za-z%][A-Za-z%/]{0,5}$")


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


def is_wire(path: Path) -> bool:
    """Tell whether a file holds frames of our own line protocol, or is named as one that does."""
    if path.suffix == ".wire":
        return True
    try:
        need_regular(path)
        with path.open("rb") as file:
            return _WIRE_LINE.search(file.read(1 << 16)) is not None
    except OSError as error:
        raise _bad(path, error.strerror or str(error), "check the path") from error


def read_table(path: Path) -> Table:
    """Read a text table.

    Raises
    ------
    SessionError
        The file is no text, or has no table of two columns or more.
    """
    text, encoding = _decoded(path)
    lines = text.splitlines()
    first, named = 0, None
    if lines and (match := re.fullmatch(r"sep=(.)", lines[0].strip())):
        first, named = 1, match[1]
    head = lines[first : first + _LOOKED_AT]
    separator, width = _shape(head, named, path)
    rows = [next(csv.reader([line], delimiter=separator), []) for line in head]
    begin = next((at for at in range(len(rows)) if _is_data(rows, at, width)), None)
    if begin is None or begin > _MOST_SKIPPED:
        raise _bad(path, "no rows of numbers", "export the readings as a table, one row a time")
    header, units = _header(rows, begin, width, separator, path)
    cells, dropped = _cells("\n".join(lines[first + begin :]), separator, width)
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
        encoding=encoding,
        line=first + begin + 1,
        has_header=bool(header),
        is_comma=_decimal_comma(cells),
        dropped=dropped,
    )


def numbers(texts: "pd.Series[str]", *, is_comma: bool) -> "pd.Series[float]":
    """Return cells as numbers, NaN for any other text; on and off are 1 and 0."""
    import pandas as pd

    plain = texts.str.strip().str.replace("−", "-")
    states = plain.str.lower().map(_STATES)
    plain = plain.str.replace(_SUFFIX, "", regex=True).str.replace(_GROUPS, "", regex=True)
    if is_comma:
        plain = plain.str.replace(".", "", regex=False).str.replace(",", ".", regex=False)
    else:
        plain = plain.str.replace(",", "", regex=False)
    return pd.to_numeric(plain, errors="coerce").astype(float).fillna(states)


def _bad(path: Path, found: str, do: str) -> SessionError:
    return SessionError(
        expected="a table of readings, as text", found=found, where=str(path), do=do
    )


def _decoded(path: Path) -> tuple[str, str]:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise _bad(path, error.strerror or str(error), "check the path") from error
    if data[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):
        raise _bad(path, "a spreadsheet's own file", "save it as CSV, and import that")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace"), "UTF-16"
    if b"\0" in data[:4096]:
        raise _bad(path, "bytes that are no text", "export the readings as CSV")
    try:
        return data.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace"), "Windows-1252"


def _shape(head: list[str], named: str | None, path: Path) -> tuple[str, int]:
    """Return the separator and how many cells a row has."""
    filled = [line for line in head if line.strip()]
    body = filled[len(filled) // 3 :]
    for separator in (named,) if named else _SEPARATORS:
        widths = Counter(len(row) for row in csv.reader(body, delimiter=separator))
        width, count = widths.most_common(1)[0] if widths else (0, 0)
        if width >= 2 and count >= _ALIKE * len(body):
            _check_decimals(filled, separator, width, path)
            return separator, width
    raise _bad(
        path,
        "no separator that cuts its lines into equal numbers of cells",
        "export it with semicolons, commas or tabs between the cells",
    )


def _check_decimals(filled: list[str], separator: str, width: int, path: Path) -> None:
    """Refuse rows in which commas are decimal signs and separators."""
    head = [len(row) for row in csv.reader(filled[: len(filled) // 3 + 1], delimiter=separator)]
    if separator == "," and width == 2 * head[0] - 1 and head[0] > 1:
        raise _bad(
            path,
            f"{head[0]} names and {width} cells a row: commas separate cells and decimals alike",
            "export it with semicolons between the cells",
        )


def _looks_read(cell: str) -> bool:
    text = cell.strip()
    return bool(_NUMBER.fullmatch(text) or _TIME.fullmatch(text) or text.lower() in _STATES)


def _is_data(rows: list[list[str]], at: int, width: int) -> bool:
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
    rows: list[list[str]], begin: int, width: int, separator: str, path: Path
) -> tuple[list[str], tuple[str, ...]]:
    """Return the names above the readings, [] if there are none, and the units under them."""
    from wattsump_logger.foreign.columns import is_unit

    above = [row for row in rows[:begin] if len(row) == width and any(row)]
    if not above:
        return [], ("",) * width
    filled = [cell for cell in above[-1] if cell.strip()]
    if len(above) > 1 and all(is_unit(cell) for cell in filled):
        return above[-2], tuple(cell.strip() for cell in above[-1])
    return above[-1], ("",) * width


def _names(header: list[str], width: int) -> list[str]:
    names: list[str] = []
    for at in range(width):
        name = (header[at].strip() if header else "") or f"column {at + 1}"
        count = sum(other == name or other.startswith(f"{name} #") for other in names)
        names.append(f"{name} #{count + 1}" if count else name)
    return names


def _cells(text: str, separator: str, width: int) -> "tuple[pd.DataFrame, int]":
    """Return the readings' cells, and how many lines had too many of them."""
    import pandas as pd

    wrong: list[list[str]] = []

    def leave_out(row: list[str]) -> None:
        wrong.append(row)

    cells = pd.read_csv(
        io.StringIO(text),
        sep=separator,
        header=None,
        names=list(range(width)),
        index_col=False,
        dtype=str,
        keep_default_na=False,
        engine="python",
        on_bad_lines=leave_out,
    )
    return cells.fillna(""), len(wrong)


def _decimal_comma(cells: "pd.DataFrame") -> bool | None:
    texts = {cell.strip() for name in cells for cell in cells[name].head(2000) if "," in cell}
    if any(re.fullmatch(r"[+\-−]?\d{1,3}(\.\d{3})+,\d+", text) for text in texts):
        return True
    commas = {text for text in texts if re.fullmatch(r"[+\-−]?\d+(,\d+)+", text)}
    if not commas:
        return False
    if any(re.fullmatch(r"[+\-−]?\d+\.\d+", cell) for name in cells for cell in cells[name]):
        return False
    if any(len(text.rpartition(",")[2]) != 3 for text in commas):
        return True
    return None if all(text.count(",") == 1 for text in commas) else False
