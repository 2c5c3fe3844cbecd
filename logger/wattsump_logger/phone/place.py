"""Where the page is served, who may press its buttons, and the code that tells a phone both."""

import contextlib
import ipaddress
import os
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from wattsump_logger.errors import UsageError

__all__ = ("PORT", "Place", "place_of", "poster", "token_in")

PORT = 8472
_TOKEN_FILE = "phone-token"
_TOKEN_BYTES = 12  # 96 bits, of which an hour of guesses at the page's rate tries some hundred
_TOKEN_LENGTH = 4 * _TOKEN_BYTES // 3
_BORDER = 2  # light modules around the code; 4 by ISO/IEC 18004, and 2 are read from a screen


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """An address and port of this computer."""

    host: str
    port: int

    @property
    def name(self) -> str:
        """Address and port as a browser writes them, and as its Host header must say."""
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"

    def url(self, token: str = "") -> str:
        """Return the page's address; a token stands where no browser sends it on the wire."""
        return f"http://{self.name}/" + (f"#{token}" if token else "")


def place_of(typed: str) -> Place:
    """Return the place of "ADDRESS" or "ADDRESS:PORT".

    Raises
    ------
    UsageError
        Not a numeric address, every address at once, or no port.
    """
    try:
        parts = urlsplit(f"//{typed}")
        address = ipaddress.ip_address(parts.hostname or "")
        port = PORT if parts.port is None else parts.port
    except ValueError:
        raise _no_place(typed, "no numeric address and port") from None
    if parts.path or parts.username or not port:
        raise _no_place(typed, "more than an address and a port" if port else "port 0")
    if address.is_unspecified:
        raise _no_place(typed, "every address of this computer at once")
    return Place(host=str(address), port=port)


def _no_place(typed: str, found: str) -> UsageError:
    return UsageError(
        expected=f"one address of this computer, such as 10.42.0.1 or 10.42.0.1:{PORT}",
        found=f"{found} ({typed!r})",
        where="--phone",
        do="name the one that the phone can reach; `ip address` lists them",
    )


def token_in(folder: Path) -> str:
    """Return the folder's token: who scanned it once goes on after a restart.

    Where the folder takes no file the token is new each time.
    """
    path = folder / _TOKEN_FILE
    with contextlib.suppress(OSError, UnicodeDecodeError):
        kept = path.read_text("ascii").strip()
        if len(kept) == _TOKEN_LENGTH:
            return kept
    token = secrets.token_urlsafe(_TOKEN_BYTES)
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with open(handle, "w", encoding="ascii") as file:  # noqa: PTH123  # of a handle
            file.write(token + "\n")
    return token


def poster(url: str) -> tuple[str, ...]:
    """Return the QR code of an address in half blocks, dark ones inked: two modules a character."""
    import segno

    rows = [tuple(row) for row in segno.make_qr(url, error="l").matrix_iter(border=_BORDER)]
    if len(rows) % 2:
        rows.append((0,) * len(rows[0]))
    return tuple(
        "".join(" ▄▀█"[2 * bool(upper) + bool(lower)] for upper, lower in pair)
        for pair in _pairs(rows)
    )


def _pairs(rows: "list[tuple[int, ...]]") -> "Iterator[Iterator[tuple[int, int]]]":
    for at in range(0, len(rows), 2):
        yield zip(rows[at], rows[at + 1], strict=True)
