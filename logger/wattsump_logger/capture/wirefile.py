"""`<name>.wire`: every byte that came over the wire, with the host's time beside it.

    wattsump-wire-1
    @<utc> <monotonic ms> <count>
    <count bytes, as they came>
    !<utc> <monotonic ms> <word> <detail>

An `@` record holds bytes, an `!` record a note of the host (opened, lost, mark, dropped).
Each record ends with a line feed. A file without that first line is read as a bare stream of
frames, as on a controller's card.
"""

import re
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO

from wattsump_logger.capture.clock import NO_ANCHOR, Anchor
from wattsump_logger.errors import SessionError, WattsumpError, reason_of
from wattsump_logger.inputs import need_regular
from wattsump_logger.session.appendfile import AppendFile
from wattsump_logger.session.writer import utc_text

__all__ = (
    "FIRST_LINE",
    "MAX_CHUNK",
    "Chunk",
    "HostNote",
    "WireItem",
    "WireWriter",
    "encode_item",
    "read_wire",
)

FIRST_LINE = b"wattsump-wire-1\n"
_RECORD = re.compile(rb"([@!])([0-9TZ:.-]{24}|-) (-?[0-9]{1,19}|-) ([^\n]*)\n")
MAX_CHUNK = 1 << 16  # bytes of one record
_LONGEST_DETAIL = 200
_LONGEST_LINE = 1024  # of a record's head; a detail is at most 800 bytes of UTF-8
_BACKLOG_BYTES = 4 << 20  # held while the disk is full: hours of an outing at 1 Hz


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """Bytes as they came, and when."""

    anchor: Anchor
    data: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class HostNote:
    """A note of the host: one word, a detail, and when."""

    anchor: Anchor
    word: str
    detail: str = ""


WireItem = Chunk | HostNote
OpenFile = Callable[[AppendFile | None], AppendFile]  # given the file that was lost, if any


def encode_item(item: WireItem) -> bytes:
    """Return one record of a wire file."""
    utc_ms, mono_ms = item.anchor.utc_ms, item.anchor.mono_ms
    utc = "-" if utc_ms is None else _utc(utc_ms)
    mono = "-" if mono_ms is None else str(mono_ms)
    if isinstance(item, Chunk):
        return b"@%s %s %d\n%s\n" % (utc.encode(), mono.encode(), len(item.data), item.data)
    detail = " ".join(item.detail.split())[:_LONGEST_DETAIL]
    return f"!{utc} {mono} {item.word} {detail}\n".encode()


def _utc(utc_ms: int) -> str:
    whole, rest = divmod(utc_ms, 1000)
    return utc_text(datetime.fromtimestamp(whole, UTC).replace(microsecond=rest * 1000))


class WireWriter:
    """Appends records; while the disk takes none, holds a bounded backlog of them.

    `open_file` creates the file, and another if the first was deleted or cut short; it is called
    until it succeeds. `waiting_bytes` are in the backlog, `dropped_bytes` were dropped since the
    last record that reached the file; the next record notes them.
    """

    def __init__(self, open_file: OpenFile, *, backlog_bytes: int = _BACKLOG_BYTES) -> None:
        self.file: AppendFile | None = None
        self._open_file = open_file
        self._backlog: deque[bytes] = deque([FIRST_LINE])
        self._backlog_bytes = backlog_bytes
        self.waiting_bytes = len(FIRST_LINE)
        self.dropped_bytes = 0
        self.trouble = ""
        self.flush()

    def put(self, item: WireItem) -> None:
        """Take one record; write it and the backlog before it, if the disk takes them."""
        record = encode_item(item)
        if self.waiting_bytes + len(record) > self._backlog_bytes:
            self.flush()
        if self.waiting_bytes + len(record) > self._backlog_bytes:
            self.dropped_bytes += len(item.data) if isinstance(item, Chunk) else 0
            return
        if self.dropped_bytes:
            note = HostNote(anchor=item.anchor, word="dropped", detail=f"{self.dropped_bytes}")
            self._hold(encode_item(note))
            self.dropped_bytes = 0
        self._hold(record)
        self.flush()

    def _hold(self, record: bytes) -> None:
        self._backlog.append(record)
        self.waiting_bytes += len(record)

    def flush(self) -> None:
        """Write what waits; `trouble` says why if the disk does not take it."""
        try:
            if self.file is None or self.file.lost:
                self.file = self._open_file(self.file)
            while self._backlog:
                self.file.append(self._backlog[0])
                self.waiting_bytes -= len(self._backlog.popleft())
            self.trouble = self.file.trouble
        except (WattsumpError, OSError) as error:
            self.trouble = reason_of(error)

    def close(self) -> None:
        """Write what waits if possible, sync it to the disk, close the file."""
        self.flush()
        try:
            if self.file is not None:
                self.file.close()
        except OSError as error:
            self.trouble = reason_of(error)


def read_wire(path: Path) -> Iterator[WireItem]:
    """Yield the records of a wire file, or the bytes of a bare stream of frames.

    A damaged stretch is yielded line by line, then a note `damaged` with its number of bytes.
    The file is read in blocks, never whole.
    """
    try:
        need_regular(path)
        with path.open("rb") as file:
            first = file.read(len(FIRST_LINE))
            if first == FIRST_LINE:
                yield from _records(file)
                return
            _refuse(first, path)
            while first:
                yield Chunk(anchor=NO_ANCHOR, data=first)
                first = file.read(MAX_CHUNK)
    except OSError as error:
        raise SessionError(
            expected="a .wire file or a card file of frames",
            found=reason_of(error),
            where=str(path),
            do="check the name",
        ) from error


def _refuse(first: bytes, path: Path) -> None:
    if not first or first.startswith((b"wattsump-wire-", b"time_utc,")):
        raise SessionError(
            expected="a wire file of version 1 or a card file of frames",
            found=repr(first.decode("ascii", "replace")) if first else "an empty file",
            where=str(path),
            do="give the .wire file of an outing or the file from the controller's card",
        )


def _records(file: BinaryIO) -> Iterator[WireItem]:
    damaged, anchor = 0, NO_ANCHOR
    while line := file.readline(_LONGEST_LINE):
        item = _record(line, file)
        if isinstance(item, Anchor):
            damaged, anchor = damaged + len(line), item
        elif item is None:
            # Each frame has a checksum, so whole frames in a damaged stretch can be used.
            damaged += len(line)
            if line[:1] not in (b"@", b"!"):
                yield Chunk(anchor=anchor, data=line)
        else:
            if damaged:
                yield HostNote(anchor=item.anchor, word="damaged", detail=str(damaged))
            damaged, anchor = 0, item.anchor
            yield item
    if damaged:
        yield HostNote(anchor=anchor, word="damaged", detail=str(damaged))


def _record(line: bytes, file: BinaryIO) -> WireItem | Anchor | None:
    """Return the record that begins with `line`; only its anchor if its length is wrong.

    None means that the line begins no record.
    """
    record = _RECORD.fullmatch(line)
    if record is None:
        return None
    kind, utc, mono, rest = record.groups()
    try:
        anchor = Anchor(utc_ms=_utc_ms(utc), mono_ms=None if mono == b"-" else int(mono))
        if kind == b"!":
            word, _, detail = rest.decode("utf-8").partition(" ")
            return HostNote(anchor=anchor, word=word, detail=detail)
        count = int(rest)
    except ValueError:
        return None
    if not 0 <= count <= MAX_CHUNK:
        return anchor
    here = file.tell()
    data = file.read(count)
    # A power cut leaves a short last record; its bytes can be used.
    if file.read(1) in (b"\n", b""):
        return Chunk(anchor=anchor, data=data)
    file.seek(here)
    return anchor


def _utc_ms(utc: bytes) -> int | None:
    if utc == b"-":
        return None
    moment = datetime.fromisoformat(utc.decode("ascii"))
    return round(moment.timestamp() * 1000)
