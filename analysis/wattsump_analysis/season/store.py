"""Results of outings, stored beside the sessions so that a trend need not fit them again.

The store is one SQLite file, which can always be made again from the sessions. With SQLite two
processes may write at once, a killed one leaves nothing half written, and a memory card is not
filled with small files.

An entry is found by the content of session and sidecar and by the method that worked it out,
so a renamed or copied file is found, and after a change of file or method the outing is worked
out again. A file with unchanged size and time is not read again.
"""

import hashlib
import json
import re
import sqlite3
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import wattsump_logger
from wattsump_analysis.season.outing import Outing, outing_from_dict, outing_to_dict
from wattsump_logger.remark import Remark
from wattsump_logger.session.sidecar import sidecar_path

__all__ = (
    "FILE_NAME",
    "Entry",
    "Store",
    "content_key",
    "method_version",
    "row_digest",
    "sessions_in",
)

FILE_NAME = "wattsump-outings.sqlite"
LAYOUT = 3
# Many times as long as one short write of another process.
BUSY_S = 30.0
# A file changed so recently may change again within its clock's step (2 s on memory cards).
SETTLED_S = 3.0
_LOGGER, _ANALYSIS = Path(wattsump_logger.__path__[0]), Path(__file__).parents[1]
# The rooms and files that determine the result of an outing.
_METHOD = (
    (_LOGGER, ("calibration", "machine", "session", "units")),
    (_ANALYSIS, ("arrays.py", "results.py", "statistics", "physics", "reading")),
    (_ANALYSIS, ("model", "proof", "season/events.py", "season/outing.py")),
)
_SYNCHRONISING = re.compile(
    r"(\.part|\.tmp|\.crdownload)$|~$|\.sync-conflict|conflicted copy", re.I
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """The result for one file: an outing, or the reason why there is none."""

    outing: Outing | None
    why: Remark | None = None


def sessions_in(folder: Path) -> tuple[Path, ...]:
    """Session files of a folder and those below, hidden and half-synchronised ones left out."""
    return tuple(
        path
        for path in sorted(folder.rglob("*.csv"))
        if path.is_file()
        and not any(part.startswith(".") for part in path.relative_to(folder).parts)
        and not _SYNCHRONISING.search(path.name)
    )


def content_key(path: Path, profile_text: str = "") -> str:
    """Identify the inputs of an outing: its session, its sidecar, a profile given by hand."""
    digest = hashlib.blake2b(digest_size=16)
    for part in (path, sidecar_path(path)):
        try:
            with part.open("rb") as file:
                content = hashlib.file_digest(file, "blake2b").digest()
        except FileNotFoundError:
            content = b"none"
        digest.update(content)
    digest.update(profile_text.encode())
    return digest.hexdigest()


@cache
def method_version() -> str:
    """Identify the method by its source text."""
    digest = hashlib.blake2b(digest_size=8)
    for top, places in _METHOD:
        for place in places:
            for path in sorted((top / place).rglob("*.py")) or [top / place]:
                digest.update(path.relative_to(top).as_posix().encode() + path.read_bytes())
    return digest.hexdigest()


class Store:
    """The store of one folder; several processes may have it open."""

    def __init__(
        self,
        folder: Path,
        *,
        method: str | None = None,
        profile_text: str = "",
        clock: Callable[[], float] = time.time,
    ) -> None:
        self.folder = folder
        self.notes: list[Remark] = []
        self._method = method_version() if method is None else method
        self._profile_text = profile_text
        self._clock = clock
        self._database = self._open()

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, *_: object) -> None:
        self._database.close()

    def stored(self, path: Path) -> Entry | None:
        """The stored result for `path`, None if it has to be worked out."""
        key = self.key(path)
        row = self._database.execute(
            "SELECT outing, why, digest FROM result WHERE key = ? AND method = ?",
            (key, self._method),
        ).fetchone()
        if row is None or row[2] != row_digest(key, self._method, row[0], row[1]):
            return None  # a changed row is worked out again
        return _entry(path, *row[:2])

    def key(self, path: Path) -> str:
        """Content key of `path`, read again only if the file looks changed."""
        name, stamp = self._name(path), self._stamp(path)
        row = self._database.execute(
            "SELECT key, digest FROM seen WHERE name = ? AND stamp = ?", (name, stamp)
        ).fetchone()
        if row is not None and row[1] == row_digest(name, stamp, row[0]):
            return str(row[0])
        key = content_key(path, self._profile_text)
        if self._settled(path) and stamp == self._stamp(path):
            with self._database:
                self._database.execute(
                    "INSERT OR REPLACE INTO seen VALUES (?, ?, ?, ?)",
                    (name, stamp, key, row_digest(name, stamp, key)),
                )
        return key

    def keep(self, key: str, entry: Entry) -> None:
        """Keep the result for a content key; of two processes with the same key the last wins."""
        text = None if entry.outing is None else json.dumps(outing_to_dict(entry.outing))
        why = None if entry.why is None else json.dumps(entry.why.as_json())
        with self._database:
            self._database.execute(
                "INSERT OR REPLACE INTO result VALUES (?, ?, ?, ?, ?)",
                (key, self._method, text, why, row_digest(key, self._method, text, why)),
            )

    def _name(self, path: Path) -> str:
        return path.relative_to(self.folder).as_posix()

    def _stamp(self, path: Path) -> str:
        profile = hashlib.blake2b(self._profile_text.encode(), digest_size=8).hexdigest()
        return json.dumps([_size_and_time(path), _size_and_time(sidecar_path(path)), profile])

    def _settled(self, path: Path) -> bool:
        times = (_size_and_time(part)[1] for part in (path, sidecar_path(path)))
        return self._clock() - max(times) / 1e9 > SETTLED_S

    def _open(self) -> sqlite3.Connection:
        path = self.folder / FILE_NAME
        if path.is_symlink():  # a link could lead to a file elsewhere
            text = f"results are not kept: {FILE_NAME} is a link"
            self.notes.append(Remark(code="results-not-kept", text=text))
            return _prepared(":memory:")
        try:
            return _prepared(path)
        except sqlite3.OperationalError as error:
            # A folder that cannot be written to, or a file system without locks.
            text = f"results are not kept: {FILE_NAME} cannot be used ({error})"
            self.notes.append(Remark(code="results-not-kept", text=text))
            return _prepared(":memory:")
        except sqlite3.DatabaseError as error:
            aside = path.with_name(path.name + ".damaged")
            text = f"{FILE_NAME} was damaged ({error}); it is now {aside.name} and made again"
            self.notes.append(Remark(code="results-damaged", text=text))
            # Another process may have moved it already.
            with suppress(FileNotFoundError):
                path.replace(aside)
            return _prepared(path)


def row_digest(*parts: object) -> str:
    """Digest of a row's key and content, which shows a changed or moved cell."""
    return hashlib.blake2b(repr(parts).encode(), digest_size=16).hexdigest()


def _size_and_time(path: Path) -> tuple[int, int]:
    try:
        status = path.stat()
    except FileNotFoundError:
        return (-1, 0)
    return (status.st_size, status.st_mtime_ns)


def _prepared(path: Path | str) -> sqlite3.Connection:
    database = sqlite3.connect(path, timeout=BUSY_S)
    try:
        # The write lock keeps two first runs from making the tables twice.
        with database:
            database.execute("BEGIN IMMEDIATE")
            (layout,) = database.execute("PRAGMA user_version").fetchone()
            if layout not in (0, LAYOUT):
                database.execute("DROP TABLE IF EXISTS result")
                database.execute("DROP TABLE IF EXISTS seen")
            database.execute(
                "CREATE TABLE IF NOT EXISTS result "
                "(key TEXT, method TEXT, outing TEXT, why TEXT, digest TEXT, "
                "PRIMARY KEY (key, method))"
            )
            database.execute(
                "CREATE TABLE IF NOT EXISTS seen (name TEXT PRIMARY KEY, stamp TEXT, key TEXT, "
                "digest TEXT)"
            )
            database.execute(f"PRAGMA user_version = {LAYOUT}")
            (sound,) = database.execute("PRAGMA quick_check(1)").fetchone()
            if sound != "ok":
                raise sqlite3.DatabaseError(sound)
    except sqlite3.Error:
        database.close()
        raise
    return database


def _entry(path: Path, text: str | None, why: str | None) -> Entry | None:
    try:
        if text is None:
            return Entry(outing=None, why=Remark(**json.loads(why or "")))
        outing = outing_from_dict(json.loads(text))
    except (ValueError, TypeError, KeyError):
        return None
    return Entry(outing=replace(outing, name=path.stem))
