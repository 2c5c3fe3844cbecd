"""Leaves out frames that an earlier file of the same outing already has.

A card copied twice, or a file copied while it still grew, repeats frames. A frame is identified
by its run of the controller and its sequence number. Two files hold the same run if every number
they share has the same line in both; where the later file begins at a boot, at least five readings
must be shared, because a controller often starts with the same lines.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from wattsump_logger.capture.clock import NO_ANCHOR
from wattsump_logger.capture.wirefile import Chunk, HostNote, WireItem, read_wire
from wattsump_logger.wire.frames import crc16

__all__ = ("Repeats", "without_repeats")

_FRAME = re.compile(rb"([HRE])1,([0-9]{1,10}),[0-9]{1,10},.*\*([0-9A-F]{4})\r?\n", re.S)
_LEAST_SHARED = 5
_HALF = 2**31
_LONGEST_LINE = 4096  # a longer line is passed on in pieces


@dataclass(slots=True)  # filled while its file is read
class _Run:
    """The frames between two starts of the controller: line by sequence number."""

    lines: dict[int, bytes] = field(default_factory=dict)
    readings: set[int] = field(default_factory=set)

    def is_same_as(self, other: "_Run") -> bool:
        shared = self.lines.keys() & other.lines.keys()
        from_its_boot = min(self.lines, default=0) < _LEAST_SHARED
        if len(self.readings & shared) < (_LEAST_SHARED if from_its_boot else 1):
            return False
        return all(self.lines[seq] == other.lines[seq] for seq in shared)


@dataclass(slots=True)  # counts while items pass
class Repeats:
    """How many frames were left out because an earlier file had them."""

    frame_count: int = 0


def without_repeats(files: Sequence[Path], repeats: Repeats) -> Iterator[WireItem]:
    """Yield the items of the files in order, without frames that an earlier file had.

    A line end is added to a file that ends within a line, if the next file begins with a frame,
    so that the two are not joined.
    """
    if len(files) == 1:
        yield from read_wire(files[0])
        return
    earlier: list[_Run] = []
    notes: set[HostNote] = set()  # each has its time, so an equal one is a copy
    is_torn = False
    for file in files:
        runs = list(_runs(file))
        repeated = [_merge(run, earlier) for run in runs]
        items = _passed(file, repeated, repeats) if any(repeated) else read_wire(file)
        here: set[HostNote] = set()
        for item in items:
            if isinstance(item, HostNote):
                here.add(item)
                if item in notes and item.anchor != NO_ANCHOR:
                    continue
            else:
                if is_torn and re.match(rb"[A-Z][0-9],", item.data):
                    yield Chunk(anchor=NO_ANCHOR, data=b"\n")
                is_torn = False
            yield item
        notes |= here
        is_torn = not _last_byte_ends(file)


def _last_byte_ends(file: Path) -> bool:
    last = b"\n"
    for item in read_wire(file):
        last = item.data[-1:] if isinstance(item, Chunk) else last
    return last in (b"\r", b"\n")


def _merge(run: _Run, earlier: list[_Run]) -> frozenset[int]:
    """Return the numbers that an earlier run has too, and keep the others for later files."""
    for other in earlier:
        if run.is_same_as(other):
            shared = frozenset(run.lines.keys() & other.lines.keys())
            other.lines.update(run.lines)
            other.readings.update(run.readings)
            return shared
    earlier.append(run)
    return frozenset()


class _Places:
    """Finds the run and the number of each line, line after line."""

    def __init__(self) -> None:
        self.run = 0
        self._seq: int | None = None

    def of(self, line: bytes) -> tuple[bytes, int] | None:
        """Return kind and number of a sound frame, None for any other line."""
        frame = _FRAME.fullmatch(line)
        if frame is None or int(frame[3], 16) != crc16(line[: frame.start(3) - 1]):
            return None
        seq = int(frame[2])
        if self._seq is not None:
            back = (self._seq - seq) % 2**32
            if 0 < back < _HALF or (frame[1] == b"H" and seq == 0 and back != 0):
                self.run += 1
        self._seq = seq
        return frame[1], seq


def _runs(file: Path) -> Iterator[_Run]:
    places, at, run = _Places(), 0, _Run()
    for line, _ in _lines(file):
        if line is None or (place := places.of(line)) is None:
            continue
        if places.run != at:
            yield run
            at, run = places.run, _Run()
        kind, seq = place
        run.lines[seq] = line.rstrip(b"\r\n")
        if kind == b"R":
            run.readings.add(seq)
    yield run


def _lines(file: Path) -> Iterator[tuple[bytes | None, WireItem]]:
    """Yield whole lines with the item that ended them; other items with None for a line."""
    rest = b""
    for item in read_wire(file):
        if not isinstance(item, Chunk):
            if rest:
                yield rest, Chunk(anchor=item.anchor, data=rest)
            rest = b""
            yield None, item
            continue
        pieces = (rest + item.data).split(b"\n")
        rest = pieces.pop()
        for piece in pieces:
            yield piece + b"\n", item
        if len(rest) > _LONGEST_LINE:
            yield rest, item
            rest = b""
    if rest:
        yield rest, Chunk(anchor=NO_ANCHOR, data=rest)


def _passed(file: Path, repeated: Sequence[frozenset[int]], repeats: Repeats) -> Iterator[WireItem]:
    """Yield the items of a file without the lines that are repeated."""
    places = _Places()
    for line, item in _lines(file):
        if line is None or not isinstance(item, Chunk):
            yield item
            continue
        place = places.of(line)
        if place is not None and place[1] in repeated[places.run]:
            repeats.frame_count += 1
        else:
            yield replace(item, data=line)
