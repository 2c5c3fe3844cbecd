"""A model of power cuts: an outing is recorded, and cut at each thing done to its files.

    python tests/power_cuts/model.py [seconds]

Every write, sync, rename and sync of a folder is noted with its moment. Then, for a cut right
behind each of them, the folder is put together from what the disk must have by then: content
as of its file's last sync, names as of their folder's. Of what was written since, nothing is
there, or all, or half, or zeros in its place. What is left is loaded, and made again from its
wire. Pessimistic: a real disk keeps more.
"""

import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from unittest.mock import patch

import numpy as np

from wattsump_logger.bench.controller import EmulatedController
from wattsump_logger.capture.clock import Anchor
from wattsump_logger.capture.importing import import_files
from wattsump_logger.capture.loop import Outing
from wattsump_logger.capture.wirefile import Chunk
from wattsump_logger.errors import WattsumpError
from wattsump_logger.session.appendfile import AppendFile
from wattsump_logger.session.keeper import Kept
from wattsump_logger.session.reader import Session, load_session
from wattsump_logger.wire.events import WireChannel

__all__ = ("LEFT", "Result", "recorded", "tried")

_LOOK_S = 0.1
_UTC_MS = 1_777_896_000_000
_CHANNELS = (
    WireChannel(name="tank", source="max31855", detail="K"),
    WireChannel(name="engine", source="value", detail="rpm"),
)

LEFT: dict[str, Callable[[bytes], bytes]] = {
    "nothing": lambda piece: b"",
    "all": lambda piece: piece,
    "half": lambda piece: piece[: len(piece) // 2],
    "zeros": lambda piece: bytes(len(piece)),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """One thing done to a file: its name, and the content it then had; `at_s` is when."""

    what: str
    name: str
    content: bytes = b""
    to: str = ""
    at_s: float


@dataclass(slots=True, kw_only=True)
class Result:
    """What cutting came to."""

    cuts: int = 0
    sessions: int = 0
    oldest_missing_s: float = 0.0
    wrong: list[str] = field(default_factory=list)


class _Keeper:
    """Keeps when it is told to, not in a thread."""

    def __init__(self) -> None:
        self.kept: list[Kept] = []

    def add(self, file: Kept) -> None:
        self.kept.append(file)

    def remove(self, file: Kept) -> None:
        self.kept.remove(file)


@contextmanager
def _noting(done: list[Done], now_s: Callable[[], float]) -> Iterator[None]:
    """Note what is done to files, and let their clock be ours."""
    append, replace, fsync = AppendFile.append, Path.replace, os.fsync

    def noted_append(file: AppendFile, piece: bytes) -> None:
        append(file, piece)
        done.append(Done(what="write", name=file.path.name, content=piece, at_s=now_s()))

    def noted_replace(path: Path, target: Path) -> Path:
        found = replace(path, target)
        done.append(Done(what="rename", name=path.name, to=target.name, at_s=now_s()))
        return found

    def noted_fsync(handle: int) -> None:
        fsync(handle)
        path = Path(f"/proc/self/fd/{handle}").readlink()
        if path.is_dir():
            done.append(Done(what="folder", name="", at_s=now_s()))
        else:
            content = path.read_bytes()
            done.append(Done(what="sync", name=path.name, content=content, at_s=now_s()))

    with (
        patch.object(AppendFile, "append", noted_append),
        patch.object(Path, "replace", noted_replace),
        patch.object(os, "fsync", noted_fsync),
        patch.dict(AppendFile.__init__.__kwdefaults__, {"monotonic_s": now_s}),
    ):
        yield


def recorded(folder: Path, seconds: int) -> tuple[list[Done], dict[bytes, float]]:
    """Record an outing; return what was done, and when each row was written, by its text."""
    done: list[Done] = []
    now_s = [0.0]
    controller = EmulatedController(lambda at_s: {"tank": 40.0, "engine": at_s}, _CHANNELS)
    keeper = _Keeper()
    with _noting(done, lambda: now_s[0]):
        outing = Outing(folder, "a", None, keeper)  # type: ignore[arg-type]  # as a Keeper
        for second in range(seconds):
            anchor = Anchor(utc_ms=_UTC_MS + second * 1000, mono_ms=second * 1000)
            outing.take(Chunk(anchor=anchor, data=controller.step()))
            for look in range(10):
                now_s[0] = second + look * _LOOK_S
                for file in keeper.kept:
                    file.keep_if_due()
        outing.close()
    rows = {
        line: one.at_s
        for one in done
        if one.what == "write" and one.name.endswith(".csv")
        for line in one.content.splitlines()
        if not line.startswith(b"time_utc")
    }
    return done, rows


def _disk(done: list[Done], left: Callable[[bytes], bytes]) -> dict[str, bytes]:
    """What a disk must have after these, with `left` of what was written and not synced."""
    kept: dict[str, bytes] = {}
    since: dict[str, bytes] = {}
    named: dict[str, str] = {}  # name on the disk -> file whose content it is
    names: dict[str, str] = {}
    for one in done:
        if one.what == "write":
            since[one.name] = since.get(one.name, b"") + one.content
            names.setdefault(one.name, one.name)
        elif one.what == "sync":
            kept[one.name], since[one.name] = one.content, b""
            names.setdefault(one.name, one.name)
        elif one.what == "rename":
            names[one.to] = names.pop(one.name)
        else:
            named = dict(names)
    # A name is made before its first content; the folder was synced between the two.
    for name in names:
        if not name.endswith((".part", ".json")):
            named.setdefault(name, name)
    return {name: kept.get(of, b"") + left(since.get(of, b"")) for name, of in named.items()}


def tried(seconds: int, every: int = 1) -> Result:
    """Cut behind every `every`-th thing done, in each of the ways of `LEFT`."""
    result = Result()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        done, rows = recorded(folder, seconds)
        for cut in range(1, len(done) + 1, every):
            for way, left in LEFT.items():
                after = folder / f"{cut}-{way}"
                after.mkdir()
                for name, content in _disk(done[:cut], left).items():
                    (after / name).write_bytes(content)
                result.cuts += 1
                _judge(after, done[:cut], rows, result)
    return result


def _judge(after: Path, done: list[Done], rows: dict[bytes, float], result: Result) -> None:
    written = [row for row, at_s in rows.items() if at_s <= done[-1].at_s]
    there: set[bytes] = set()
    try:
        session = load_session(after / "a.csv")
        result.sessions += 1
        seen = set(session.columns["elapsed_s"].tolist())
        there = {row for row in written if float(row.split(b",")[1]) in seen}
        if len(there) != len(seen):
            result.wrong.append(f"{after.name}: rows nobody wrote")
        if not _is_true(session):
            result.wrong.append(f"{after.name}: values nobody sent")
    except WattsumpError:
        pass  # nothing of it was on the disk yet
    ages = [done[-1].at_s - rows[row] for row in written if row not in there]
    result.oldest_missing_s = max([result.oldest_missing_s, *ages])
    try:
        again = import_files([after / "a.wire"], after, "again")
        made = load_session(again.paths[0])
        if not _is_true(made):
            result.wrong.append(f"{after.name}: values nobody sent, from the wire")
    except WattsumpError:
        pass


def _is_true(session: Session) -> bool:
    """Whether every value there is was sent at its time: the engine's are the seconds."""
    sent = session.columns["engine_rpm"]
    seen = np.isfinite(sent)
    return bool(np.array_equal(sent[seen], session.elapsed_s[seen]))


def main() -> None:
    """Print what every cut of an outing came to."""
    seconds = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    result = tried(seconds)
    print(
        f"{result.cuts} cuts of {seconds} s: {result.sessions} sessions loaded, "
        f"{len(result.wrong)} wrong, oldest missing row {result.oldest_missing_s:.1f} s"
    )
    for line in result.wrong[:10]:
        print(line)


if __name__ == "__main__":
    main()
