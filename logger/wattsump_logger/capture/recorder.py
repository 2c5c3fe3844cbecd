"""Writes the assembler's rows to a session file, and to a further one when channels change.

While the disk takes nothing, rows wait in bounded memory. Rows that had to be dropped are
counted in the next row that is written.
"""

from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from importlib.metadata import version
from pathlib import Path

from wattsump_logger.capture.assembler import Assembler, Start
from wattsump_logger.capture.clock import NO_ANCHOR, Anchor
from wattsump_logger.capture.wirefile import Chunk, WireItem
from wattsump_logger.errors import UsageError, WattsumpError, reason_of
from wattsump_logger.machine.profile import Profile
from wattsump_logger.session.keeper import Keeper
from wattsump_logger.session.rows import Row
from wattsump_logger.session.sidecar import FORMAT
from wattsump_logger.session.writer import SessionWriter, free_path

__all__ = (
    "MOST_SESSIONS",
    "MOST_WAITING",
    "Recorder",
    "checked_name",
    "first_free",
    "session_metadata",
)

_NAME_CHARACTERS = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-")
_LONGEST_NAME = 120
MOST_WAITING = 20_000  # rows: hours at 1 Hz, some 10 MB
MOST_SESSIONS = 50  # of one outing; nobody rewires a machine more often
_FLOODED = (
    f"the controller changed its channels {MOST_SESSIONS} times; the rest is in the wire file only"
)


def checked_name(wanted: str) -> str:
    """Return a typed file name if it stays in its folder and below the system's limit.

    Raises
    ------
    UsageError
        The name does not.
    """
    is_plain = {*wanted} <= _NAME_CHARACTERS and wanted[:1] not in ("", ".")
    if not is_plain or len(wanted) > _LONGEST_NAME:
        raise UsageError(
            expected=f"a file name of at most {_LONGEST_NAME} letters, digits, '.', '_' and '-'",
            found=repr(wanted[: _LONGEST_NAME + 20]),
            where="--name",
            do="choose a plain name; folders go in --out",
        )
    return wanted


def first_free(folder: Path, base: str, *ends: str) -> str:
    """Return `base`, or that with .2, .3, ...: a name no file with one of these ends has."""
    name, number = base, 1
    while any((folder / f"{name}{end}").exists() for end in ends):
        number += 1
        name = f"{base}.{number}"
    return name


def session_metadata(start: Start, profile: Profile | None) -> dict[str, object]:
    """Return a sidecar's notes on controller, machine and software."""
    metadata: dict[str, object] = {
        "format": FORMAT,
        "software": f"wattsump {version('wattsump')}",
        "controller": start.hello.firmware,
        "period_ms": start.hello.period_ms,
        "channels": [
            {"column": channel.column, "source": channel.source, "detail": channel.detail}
            for channel in start.channels
        ],
        "offsets": dict(start.offsets_k),
    }
    return metadata if profile is None else {**metadata, "profile": profile.to_dict()}


class Recorder:
    """From wire items to session files in `folder`, named `<name>.csv`, `<name>-2.csv`, ..."""

    def __init__(
        self,
        folder: Path,
        name: str,
        profile: Profile | None = None,
        *,
        start_utc: datetime | None = None,
        names: Mapping[str, str] | None = None,
        metadata: Mapping[str, object] | None = None,
        keeper: Keeper | None = None,
        most_waiting: int | None = None,
    ) -> None:
        self.assembler = Assembler(profile, start_utc=start_utc, names=names)
        self.paths: list[Path] = []
        self.row_count = 0
        self.last_row: Row | None = None
        self.start: Start | None = None
        self.trouble = ""
        self.lost: list[str] = []
        self.dropped_rows = 0
        self._folder = folder
        self._name = name
        self._profile = profile
        self._metadata = dict(metadata or {})
        self._keeper = keeper
        self._waiting: deque[Start | Row] = deque()
        self._most_waiting = most_waiting or MOST_WAITING
        self._given_up = 0
        self._sessions = 0
        self._is_flooded = False
        self.writer: SessionWriter | None = None

    @property
    def waiting_rows(self) -> int:
        """Return how many rows the disk has not taken yet."""
        return sum(isinstance(item, Row) for item in self._waiting)

    def take(self, item: WireItem) -> list[Row]:
        """Take one wire item; return the rows it completed, written or waiting."""
        if not isinstance(item, Chunk):
            self.assembler.note(item.word, item.detail, item.anchor)
            return []
        made = self.assembler.feed(item.data, item.anchor)
        self._keep(made)
        self.flush()
        return [row for row in made if isinstance(row, Row)]

    def mark(self, text: str, anchor: Anchor = NO_ANCHOR) -> None:
        """Note a mark of the driver now."""
        self.assembler.note("mark", text, anchor)

    def _keep(self, made: list[Start | Row]) -> None:
        for item in made:
            if isinstance(item, Start):
                self._change(item)
            elif self._is_flooded:
                self.dropped_rows += 1
            elif self._has_room():
                self._waiting.append(self._with_loss(item))
                self.last_row = item
            else:
                self._given_up += 1
                self.dropped_rows += 1

    def _change(self, start: Start) -> None:
        """Begin a session with the next row; one that got no row is none."""
        self.start = start
        if self._waiting and isinstance(self._waiting[-1], Start):
            self._waiting.pop()
            self._sessions -= 1
        self._sessions += 1
        self._is_flooded = self._sessions > MOST_SESSIONS
        if not self._is_flooded:
            self._waiting.append(start)

    def _has_room(self) -> bool:
        if len(self._waiting) >= self._most_waiting:
            self.flush()
        return len(self._waiting) < self._most_waiting

    def _with_loss(self, row: Row) -> Row:
        if not self._given_up:
            return row
        lost = f"wire:rows_dropped={self._given_up}"
        self._given_up = 0
        return replace(row, fault=f"{row.fault};{lost}" if row.fault else lost)

    def flush(self) -> None:
        """Write what waits; `trouble` says what is not in the session, and why."""
        try:
            if self.writer is not None and self.writer.file.lost:
                lost = self.writer.file
                self._put_in_place(self.writer.anew)
                self.lost.append(f"{lost.path.name} {lost.lost}")
            while self._waiting and not self._awaits_row:
                self._write_some()
            if self.writer is not None:
                self.writer.begin()
            flood = _FLOODED if self._is_flooded else ""
            disk = self.writer.trouble if self.writer else ""
            self.trouble = "; ".join(filter(None, (flood, disk)))
        except (WattsumpError, OSError) as error:
            self.trouble = reason_of(error)

    @property
    def _awaits_row(self) -> bool:
        return len(self._waiting) == 1 and isinstance(self._waiting[0], Start)

    def _write_some(self) -> None:
        """Write the rows up to the next start of a session, or begin that session."""
        first = self._waiting[0]
        if isinstance(first, Start):
            self._begin(first)
            self._waiting.popleft()
            return
        rows: list[Row] = []
        for item in self._waiting:
            if not isinstance(item, Row):
                break
            rows.append(item)
        assert self.writer is not None
        try:
            self.writer.write(rows)
        except OSError:
            # All of them may be too much for the room left; one may still fit.
            rows = rows[:1]
            self.writer.write(rows)
        for _ in rows:
            self._waiting.popleft()
        self.row_count += len(rows)

    def _begin(self, start: Start) -> None:
        self._end()
        metadata = {**session_metadata(start, self._profile), **self._metadata}
        self._put_in_place(lambda path: SessionWriter(path, start.columns, metadata))

    def _put_in_place(self, make: Callable[[Path], SessionWriter]) -> None:
        """From now on write to the file that `make` creates under the first free name."""
        path = free_path(self._folder / f"{self._name}.csv")
        writer = make(path)
        self._let_go()
        self.writer = writer
        if self._keeper is not None:
            self._keeper.add(writer)
        if path not in self.paths:  # a deleted file gets its name again
            self.paths.append(path)

    def _let_go(self) -> SessionWriter | None:
        writer, self.writer = self.writer, None
        if writer is not None and self._keeper is not None:
            self._keeper.remove(writer)
        return writer

    def _end(self) -> None:
        writer = self._let_go()
        if writer is not None:
            writer.close()

    def close(self) -> None:
        """Write what waits if the disk takes it, and close the file."""
        self.flush()
        if self._given_up:
            self.assembler.note("rows_dropped", str(self._given_up))
            self._given_up = 0
        self._keep(list(self.assembler.finish()))
        self.flush()
        try:
            self._end()
        except (WattsumpError, OSError) as error:
            self.trouble = reason_of(error)
