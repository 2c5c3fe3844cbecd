"""Makes a session from wire files of live captures and from files of a controller's card."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from wattsump_logger.capture.overlap import Repeats, without_repeats
from wattsump_logger.capture.recorder import Recorder, checked_name, first_free
from wattsump_logger.errors import SessionError, UsageError
from wattsump_logger.machine.profile import Profile

__all__ = (
    "Imported",
    "check_one_table",
    "import_files",
    "name_for",
    "typed_names",
    "typed_start",
)

_FIRST_YEAR, _LAST_YEAR = 1980, 2200  # other times were mistyped


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """The sessions made, their rows, and what was wrong on the way (code -> count).

    `repeated` counts frames left out because an earlier file had them.
    """

    paths: tuple[Path, ...]
    row_count: int
    counts: Mapping[str, int]
    repeated: int = 0


def import_files(
    files: Sequence[Path],
    folder: Path,
    name: str,
    profile: Profile | None = None,
    *,
    start_utc: datetime | None = None,
    names: Mapping[str, str] | None = None,
) -> Imported:
    """Make one outing of `files`, in the order given, as `<name>.csv` in `folder`.

    Frames that an earlier file already had are taken once.
    """
    folder.mkdir(parents=True, exist_ok=True)
    recorder = Recorder(
        folder,
        name,
        profile,
        start_utc=start_utc,
        names=names,
        metadata={"made_from": [file.name for file in files]},
    )
    repeats = Repeats()
    for item in without_repeats(files, repeats):
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
        repeated=repeats.frame_count,
    )


def _check(recorder: Recorder, folder: Path) -> None:
    if recorder.trouble:
        raise SessionError(
            expected="to write the session",
            found=recorder.trouble,
            where=str(folder),
            do="make room or choose another folder with --out, then import again",
        )


def name_for(files: Sequence[Path], folder: Path, wanted: str | None) -> str:
    """Return a free name for the session: the wanted one, else after the first file."""
    base = files[0].stem if wanted is None else checked_name(wanted)
    return first_free(folder, base, ".csv")


def check_one_table(files: Sequence[Path]) -> None:
    """Raise a UsageError where a table of another logger comes with other files."""
    if len(files) > 1:
        raise UsageError(
            expected="one table, or wire and card files of one outing",
            found=f"{len(files)} files, not all with frames of the line protocol",
            where=", ".join(map(str, files)),
            do="import a table by itself; check what the other files are",
        )


def typed_start(text: str | None) -> datetime | None:
    """Return a typed start time; one without a zone is this computer's local time."""
    if text is None:
        return None
    try:
        start = datetime.fromisoformat(text).astimezone(UTC)
        if not _FIRST_YEAR <= start.year < _LAST_YEAR:
            raise ValueError(text)
        return start
    except (ValueError, OverflowError) as error:
        raise UsageError(
            expected="a time such as 2026-05-04T07:30 or 2026-05-04T07:30:00+02:00",
            found=repr(text),
            where="--start",
            do="type date and time with a T between them",
        ) from error


def typed_names(pairs: Sequence[str]) -> dict[str, str]:
    """Return new channel names by old ones, from OLD=NEW texts."""
    names: dict[str, str] = {}
    for pair in pairs:
        old, equals, new = pair.partition("=")
        if not (old and equals and new):
            raise UsageError(
                expected="OLD=NEW", found=repr(pair), where="--rename", do="name both channels"
            )
        names[old] = new
    return names
