"""Files given by somebody else: regular ones only, and small ones that are small.

A pipe nobody writes to would be waited for, and a device such as /dev/zero never ends.
"""

import errno
import stat
from pathlib import Path

__all__ = ("need_regular", "read_small")

MOST_BYTES = 16 << 20  # a profile, a sidecar, corrections: the largest are some hundred kB


def need_regular(path: Path) -> None:
    """Raise OSError where `path` is a pipe, a device or a folder, or nothing at all."""
    if not stat.S_ISREG(path.stat().st_mode):
        raise OSError(errno.EINVAL, "a folder, a pipe or a device, no file", str(path))


def read_small(path: Path) -> str:
    """Return the text of a UTF-8 file, without a byte order mark.

    Raises OSError as `need_regular` does and for one too large, UnicodeDecodeError.
    """
    need_regular(path)
    if path.stat().st_size > MOST_BYTES:
        raise OSError(errno.EFBIG, f"more than {MOST_BYTES >> 20} MB", str(path))
    return path.read_text(encoding="utf-8-sig")
