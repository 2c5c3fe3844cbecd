"""Which session of a folder is the last outing."""

from datetime import UTC, datetime
from pathlib import Path

from wattsump_logger.session.rows import FIRST_COLUMNS

__all__ = ("newest_session",)

_HEAD = ",".join(FIRST_COLUMNS[:2]).encode()
_FIRST_BYTES = 8192


def newest_session(folder: Path) -> Path | None:
    """Return the session of a folder whose outing began last, None where there is none.

    One whose start nothing tells counts from when its file was last written.
    """
    starts = [(_start(path), path) for path in sorted(folder.glob("*.csv")) if path.is_file()]
    began = [(start, path) for start, path in starts if start is not None]
    return max(began)[1] if began else None


def _start(path: Path) -> str | None:
    """Return when a session began, to be compared as text; None for another kind of file."""
    try:
        with path.open("rb") as file:
            header, _, rows = file.read(_FIRST_BYTES).partition(b"\n")
        written = datetime.fromtimestamp(path.stat().st_mtime, UTC).isoformat()
    except OSError:
        return None
    if not header.removeprefix(b"\xef\xbb\xbf").startswith(_HEAD):
        return None
    return rows.partition(b",")[0].decode("ascii", "ignore").strip() or written
