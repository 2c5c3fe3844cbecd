"""Writes a session: a CSV by RFC 4180 that only grows, and its sidecar."""

import csv
import io
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from wattsump_logger.errors import UsageError
from wattsump_logger.session.appendfile import SYNC_S, AppendFile
from wattsump_logger.session.rows import Row, header_of, mark_cell
from wattsump_logger.session.sidecar import FORMAT, write_sidecar

__all__ = ("SessionWriter", "utc_text", "write_session")


def utc_text(moment: datetime) -> str:
    """Return a time as RFC 3339 with milliseconds, in UTC."""
    text = moment.astimezone(UTC).isoformat(timespec="milliseconds")
    return text.replace("+00:00", "Z")


class SessionWriter:
    """Appends rows to a new session file.

    Each `write` hands its rows to the operating system before it returns; the disk is
    made to keep them at most every `sync_s` seconds. A `write` that raises OSError has
    left no part of its rows in the file, so it can be tried again.
    """

    def __init__(
        self,
        path: Path,
        columns: Sequence[str],
        metadata: Mapping[str, object],
        *,
        sync_s: float = SYNC_S,
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self.path = path
        self.columns = tuple(columns)
        self.header = header_of(columns)
        self.row_count = 0
        self._file = AppendFile(path, sync_s=sync_s, monotonic_s=monotonic_s)
        self._metadata = dict(metadata)
        self._headed = False

    def begin(self) -> None:
        """Write header and sidecar; `write` does so by itself. Safe to try again."""
        if not self._headed:
            write_sidecar(self.path, self.header, self._metadata)
            self._file.append((",".join(self.header) + "\r\n").encode("ascii"))
            self._headed = True

    def write(self, rows: Sequence[Row]) -> None:
        """Append these rows, all or none."""
        self.begin()
        text = io.StringIO()
        csv.writer(text, lineterminator="\r\n").writerows(row.texts() for row in rows)
        self._file.append(text.getvalue().encode("utf-8"))
        self.row_count += len(rows)

    @property
    def sync_trouble(self) -> str:
        """Say why the disk could not be made to keep what was written, "" if it could."""
        return self._file.sync_trouble

    def sync_if_due(self) -> None:
        """Put on the disk what has waited for the interval."""
        self._file.sync_if_due()

    def sync(self) -> None:
        """Put what was written on the disk."""
        self._file.sync()

    def close(self) -> None:
        """Put everything on the disk and let go of the file."""
        self._file.close()

    def __enter__(self) -> Self:
        self.begin()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


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
    texts = [_cells(name, np.asarray(values, dtype=float)) for name, values in columns.items()]
    if any(len(cells) != len(times_ms) for cells in texts):
        raise UsageError(
            expected=f"{len(times_ms)} values in every column",
            found=str({name: len(cells) for name, cells in zip(columns, texts, strict=True)}),
            where=str(path),
            do="give every column one value per row",
        )
    with SessionWriter(path, tuple(columns), {"format": FORMAT, **(metadata or {})}) as file:
        file.write(tuple(_rows(times_ms.tolist(), texts, start_utc, faults or {}, marks or {})))


def _rows(
    times_ms: list[int],
    texts: list[list[str]],
    start_utc: datetime | None,
    faults: Mapping[int, str],
    marks: Mapping[int, str],
) -> Iterable[Row]:
    for number, elapsed_ms in enumerate(times_ms):
        moment = start_utc and start_utc + timedelta(milliseconds=elapsed_ms)
        yield Row(
            time_utc=utc_text(moment) if moment else "",
            elapsed_ms=elapsed_ms,
            seq=number,
            cells=[cells[number] for cells in texts],
            fault=faults.get(number, ""),
            mark=mark_cell([marks[number]]) if number in marks else "",
        )


def _cells(name: str, values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> list[str]:
    form = "{:.0f}" if name.endswith("_on") else "{:.3f}"
    return ["" if value != value else form.format(value) for value in values.tolist()]
