"""Writes a session: a CSV by RFC 4180 that only grows, and its sidecar."""

import csv
import io
import os
import threading
import time
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from wattsump_logger.errors import UsageError, WattsumpError
from wattsump_logger.session.appendfile import AppendFile
from wattsump_logger.session.rows import Row, header_of, mark_cell
from wattsump_logger.session.sidecar import FORMAT, sidecar_path, write_sidecar

__all__ = ("SessionWriter", "free_path", "utc_text", "write_session")

_AT_ONCE = 50_000  # rows of a whole session
_AGAIN_S = 1.0  # after a sidecar that could not be written


def utc_text(moment: datetime) -> str:
    """Return a time as RFC 3339 with milliseconds, in UTC."""
    text = moment.astimezone(UTC).isoformat(timespec="milliseconds")
    return text.replace("+00:00", "Z")


class SessionWriter:
    """Appends rows to a new session file.

    Each `write` hands its rows to the operating system before it returns. A `write` that
    raises OSError has left no part of its rows in the file, so it can be tried again. The
    sidecar is written by `keep_if_due`, which a `Keeper` calls, or at the end.
    """

    def __init__(
        self,
        path: Path,
        columns: Sequence[str],
        metadata: Mapping[str, object],
        *,
        file: AppendFile | None = None,
    ) -> None:
        self.path = path
        self.columns = tuple(columns)
        self.header = header_of(columns)
        self.row_count = 0
        self.file = AppendFile(path) if file is None else file
        self._metadata = dict(metadata)
        self._describing = threading.Lock()
        self._described = False
        self._sidecar_trouble = ""
        self._sidecar_not_before_s = float("-inf")

    @property
    def _head(self) -> bytes:
        return (",".join(self.header) + "\r\n").encode("ascii")

    def begin(self) -> None:
        """Write the header; `write` does so by itself. Safe to try again."""
        if not self.file.size:
            self.file.append(self._head)

    def write(self, rows: Sequence[Row]) -> None:
        """Append these rows, all or none."""
        self.begin()
        text = io.StringIO()
        csv.writer(text, lineterminator="\r\n").writerows(row.texts() for row in rows)
        self.file.append(text.getvalue().encode("utf-8"))
        self.row_count += len(rows)

    def _describe(self) -> None:
        with self._describing:
            if not self._described:
                write_sidecar(self.path, self.header, self._metadata)
                self._described = True

    @property
    def trouble(self) -> str:
        """Say why what was written may not be on the disk, "" if it is or soon will be."""
        return self.file.trouble or self._sidecar_trouble

    def keep_if_due(self) -> None:
        """Write the sidecar once, and sync waiting rows to the disk; never raise."""
        now_s = time.monotonic()
        if not self._described and now_s >= self._sidecar_not_before_s:
            try:
                self._describe()
                self._sidecar_trouble = ""
            except WattsumpError as error:
                self._sidecar_trouble = f"the sidecar: {error.found}"
                self._sidecar_not_before_s = now_s + _AGAIN_S
        self.file.keep_if_due()

    def anew(self, path: Path) -> "SessionWriter":
        """Return a writer of a new file at `path` that begins with a copy of this one."""
        return SessionWriter(
            path, self.columns, self._metadata, file=self.file.anew(path, self._head)
        )

    def close(self) -> None:
        """Sync everything to the disk and close the file."""
        try:
            self.file.close()
        finally:
            self._describe()

    def __enter__(self) -> Self:
        self.begin()
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def free_path(wanted: Path) -> Path:
    """Return the wanted path, or that with -2, -3, ... that neither a file nor a sidecar has.

    A dangling link counts as a file, because opening it would create a file elsewhere.
    """
    path, number = wanted, 1
    while os.path.lexists(path) or os.path.lexists(sidecar_path(path)):
        number += 1
        path = wanted.with_stem(f"{wanted.stem}-{number}")
    return path


def write_session(
    path: Path,
    elapsed_s: ArrayLike,
    columns: Mapping[str, ArrayLike],
    *,
    start_utc: datetime | None = None,
    metadata: Mapping[str, object] | None = None,
    faults: Mapping[int, str] | None = None,
    marks: Mapping[int, str] | None = None,
) -> None:
    """Write a whole session from arrays; NaN is no reading, `faults` and `marks` are by row."""
    times_ms = np.rint(np.asarray(elapsed_s, dtype=float) * 1000).astype(np.int64)
    arrays = {name: np.asarray(values, dtype=float) for name, values in columns.items()}
    if any(len(values) != len(times_ms) for values in arrays.values()):
        raise UsageError(
            expected=f"{len(times_ms)} values in every column",
            found=str({name: len(values) for name, values in arrays.items()}),
            where=str(path),
            do="give every column one value per row",
        )
    with SessionWriter(path, tuple(columns), {"format": FORMAT, **(metadata or {})}) as file:
        # Part by part: as texts, rows take many times their memory.
        for begin in range(0, len(times_ms), _AT_ONCE):
            part = slice(begin, begin + _AT_ONCE)
            texts = [_cells(name, values[part]) for name, values in arrays.items()]
            times = times_ms[part].tolist()
            file.write(tuple(_rows(begin, times, texts, start_utc, faults or {}, marks or {})))


def _rows(
    begin: int,
    times_ms: list[int],
    texts: list[list[str]],
    start_utc: datetime | None,
    faults: Mapping[int, str],
    marks: Mapping[int, str],
) -> Iterable[Row]:
    for number, (elapsed_ms, *cells) in enumerate(zip(times_ms, *texts, strict=True), begin):
        moment = start_utc and start_utc + timedelta(milliseconds=elapsed_ms)
        yield Row(
            time_utc=utc_text(moment) if moment else "",
            elapsed_ms=elapsed_ms,
            seq=number,
            cells=cells,
            fault=faults.get(number, ""),
            mark=mark_cell([marks[number]]) if number in marks else "",
        )


def _cells(name: str, values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> list[str]:
    form = "{:.0f}" if name.endswith("_on") else "{:.3f}"
    return ["" if value != value else form.format(value) for value in values.tolist()]
