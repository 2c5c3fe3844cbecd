"""The address of the page, the token for its buttons, and the code with both for a phone."""

import contextlib
import ipaddress
import os
import secrets
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from wattsump_logger.errors import UsageError

__all__ = ("PORT", "Place", "place_of", "poster")

PORT = 8472
_TOKEN_FILE = "phone-token"
_TOKEN_BYTES = 12  # 96 bits; the page's limits let through some hundred guesses an hour
_TOKEN_LENGTH = 4 * _TOKEN_BYTES // 3
_HALVES = {(True, True): " ", (True, False): "▄", (False, True): "▀", (False, False): "█"}
_BORDER = 2  # light modules around the code; ISO/IEC 18004 asks for 4, a screen is read with 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """An address and port of this computer, and the token of the page's buttons."""

    host: str
    port: int
    token: str

    @property
    def name(self) -> str:
        """Address and port as in a browser's Host header."""
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"

    @property
    def url(self) -> str:
        """The page's address, with the token in the fragment, which no browser sends."""
        return f"http://{self.name}/#{self.token}"


def place_of(typed: str, folder: Path) -> Place:
    """Return the place for "ADDRESS" or "ADDRESS:PORT", with the token kept in `folder`.

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
    return Place(host=str(address), port=port, token=_token_in(folder))


def _no_place(typed: str, found: str) -> UsageError:
    return UsageError(
        expected=f"one address of this computer, such as 10.42.0.1 or 10.42.0.1:{PORT}",
        found=f"{found} ({typed!r})",
        where="--phone",
        do="name the one that the phone can reach; `ip address` lists them",
    )


def _token_in(folder: Path) -> str:
    """Return the folder's token, so that a phone that scanned it works after a restart.

    If the folder takes no file, the token is new each time.
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


def poster(place: Place) -> tuple[str, ...]:
    """Return the QR code of the page, and its address, for a dark terminal.

    Light modules are drawn, in half blocks: two modules a character.
    """
    import segno

    code = segno.make_qr(place.url, error="l")
    rows = [tuple(row) for row in code.matrix_iter(border=_BORDER)]
    if len(rows) % 2:
        rows.append((1,) * len(rows[0]))
    lines = [
        "".join(_HALVES[bool(upper), bool(lower)] for upper, lower in zip(*pair, strict=True))
        for pair in zip(rows[::2], rows[1::2], strict=True)
    ]
    return (*lines, place.url)
