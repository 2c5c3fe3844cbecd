"""Writes a file whole or not at all: beside its place, synced to the disk, then renamed.

A file is only written over by one of the same kind, as its first bytes show, so a typing
error cannot write a report over a session.
"""

import contextlib
import os
import secrets
from pathlib import Path

from wattsump_logger.errors import UsageError, reason_of

__all__ = ("SIDECAR_END", "sync_folder", "write_whole")

SIDECAR_END = "-metadata.json"
_KIND = 8  # bytes that tell a picture from a page, and our JSON files from each other


def write_whole(path: Path, content: bytes | str) -> None:
    """Write `content` to `path`; an older file stays until all of it is on the disk.

    A device such as /dev/stdout is written to directly. The draft has a random name, so a link
    planted in the folder is not followed.

    Raises
    ------
    UsageError
        `path` cannot be written, or holds a file of another kind.
    """
    # A file name in a page may hold bytes that are no text.
    data = content.encode(errors="replace") if isinstance(content, str) else content
    try:
        if path.absolute().parts[1:2] in (("dev",), ("proc",)):
            path.write_bytes(data)
        else:
            _replace(Path(os.path.realpath(path)), data)
    except UsageError:
        raise
    except (OSError, ValueError) as error:  # ValueError: a name with a NUL in it
        raise UsageError(
            expected="a place to write to",
            found=reason_of(error),
            where=str(path),
            do="make room or choose another folder or name; an older file there is unchanged",
        ) from error


def _replace(path: Path, data: bytes) -> None:
    _check_kind(path, data)
    draft = path.with_name(f".{secrets.token_hex(6)}.part")
    try:
        with draft.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            draft.unlink()
        raise
    sync_folder(path.parent)


def _check_kind(path: Path, data: bytes) -> None:
    if path.name.endswith(SIDECAR_END) and not data.startswith(b"{"):
        raise UsageError(
            expected="a name that no session's sidecar has",
            found=f"one that ends in {SIDECAR_END}",
            where=str(path),
            do="choose another name",
        )
    if path.is_file():
        with path.open("rb") as file:
            before = file.read(_KIND)
        usable = not before or before == data[:_KIND]
    else:
        before, usable = b"no file", not path.exists()
    if not usable:
        raise UsageError(
            expected="a new name, or that of an older file of the same kind",
            found=f"another kind of file, which begins with {before.decode('ascii', 'replace')!r}",
            where=str(path),
            do="choose another name, or move that file away",
        )


def sync_folder(folder: Path) -> None:
    """Make new names in a folder survive a power cut, where the system can do that.

    An error here is ignored: some file systems cannot do it.
    """
    if os.name != "posix":
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
