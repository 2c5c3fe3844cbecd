"""Makes a session from what was kept: wire files of live captures, files from cards."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path

from wattsump_logger.errors import SessionError
from wattsump_logger.profile import Profile
from wattsump_logger.recorder import Recorder
from wattsump_logger.wire import read_wire

__all__ = ("Imported", "import_files")

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """The sessions made, their rows, and what was wrong on the way (code -> count)."""

    paths: tuple[Path, ...]
    row_count: int
    counts: Mapping[str, int]


def import_files(
    files: Sequence[Path],
    folder: Path,
    name: str,
    profile: Profile | None = None,
    *,
    start_utc: datetime | None = None,
    names: Mapping[str, str] | None = None,
) -> Imported:
    """Make one outing of `files`, in the order given, as `<name>.csv` in `folder`."""
    recorder = Recorder(
        folder,
        name,
        profile,
        start_utc=start_utc,
        names=names,
        metadata={"made_from": [file.name for file in files]},
    )
    for file in files:
        for item in read_wire(file):
            recorder.take(item)
            _check(recorder, folder)
    recorder.close()
    _check(recorder, folder)
    if not recorder.paths:
        raise SessionError(
            expected="frames of the line protocol, a hello among them",
            found=f"{recorder.assembler.frames} frames",
            where=", ".join(map(str, files)),
            do="check that this is the controller's file; see docs/line-protocol.md",
        )
    return Imported(
        paths=tuple(recorder.paths),
        row_count=recorder.row_count,
        counts=dict(recorder.assembler.counts),
    )


def _check(recorder: Recorder, folder: Path) -> None:
    if recorder.trouble:
        raise SessionError(
            expected="to write the session",
            found=recorder.trouble,
            where=str(folder),
            do="make room or choose another folder with --out, then import again",
        )
