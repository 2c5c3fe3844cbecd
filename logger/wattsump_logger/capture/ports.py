"""Lists, opens and reads serial ports; no other module opens one.

A port's name may change when its plug is bumped. Its identity (USB vendor, product and serial
number, else the socket it is plugged into) does not, so a lost port is found again by that.
Opening a port resets many boards; a hello follows, and the assembler expects it.
"""

import contextlib
import errno
import os
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import serial
from serial.tools import list_ports as serial_list

from wattsump_logger.errors import PortError, reason_of

__all__ = (
    "USUAL_BAUD",
    "PortInfo",
    "SerialPort",
    "SerialSource",
    "find_ports",
    "may_open",
    "why_not",
)

USUAL_BAUD = 115_200
_MOST = 1 << 16  # bytes of one read
# The library also lets these through: TypeError when closed meanwhile, and termios.error.
_ERRORS: tuple[type[Exception], ...] = (OSError, ValueError, TypeError)
if os.name == "posix":
    import fcntl
    import termios

    _ERRORS = (*_ERRORS, termios.error)
_GATHER_S = 0.01  # bytes that follow a first one within this are read with it: fewer wake-ups


@dataclass(frozen=True, slots=True, kw_only=True)
class PortInfo:
    """One serial port: its present name, its description, and its lasting identity."""

    name: str
    description: str
    identity: str


class ListedPort(Protocol):
    """A port as the system lists it."""

    device: str
    description: str
    vid: int | None
    pid: int | None
    serial_number: str | None
    location: str | None


def find_ports(listed: Iterable[ListedPort] | None = None) -> tuple[PortInfo, ...]:
    """Return the serial ports of this computer that have hardware behind them, by name."""
    ports = serial_list.comports() if listed is None else listed
    return tuple(
        PortInfo(name=port.device, description=port.description or "", identity=_identity(port))
        for port in sorted(ports, key=lambda port: port.device)
        if port.vid is not None or os.name != "posix" or _is_usable(port)
    )


def _is_usable(port: ListedPort) -> bool:
    return bool(port.description) and port.description != "n/a"


def _identity(port: ListedPort) -> str:
    if port.vid is None or port.pid is None:
        return port.device
    tail = port.serial_number or f"at {port.location or port.device}"
    return f"usb {port.vid:04x}:{port.pid:04x} {tail}"


class _KeepingSerial(serial.Serial):
    """A port that keeps bytes received before it was opened: the hello may be among them."""

    def _reset_input_buffer(self) -> None:
        """Do nothing; the library would throw away the bytes that wait."""


class SerialPort:
    """An open port; `read` gives bytes, b"" after a silent timeout, PortError once it is gone."""

    def __init__(self, name: str, baud: int) -> None:
        self.name = name
        try:
            self._port = _KeepingSerial(name, baud, timeout=0.1, exclusive=True)
            self._exclude(True)
        except _ERRORS as error:
            raise why_not(name, error) from error

    def _exclude(self, on: bool) -> None:
        """Ask the system to refuse other programs, which would take some of the bytes."""
        if os.name != "posix":
            return
        with contextlib.suppress(OSError):
            fcntl.ioctl(self._port.fileno(), termios.TIOCEXCL if on else termios.TIOCNXCL)

    def read(self, timeout_s: float) -> bytes:
        """Wait at most `timeout_s` for a byte; return it with all that comes right after it."""
        try:
            if self._port.timeout != timeout_s:
                self._port.timeout = timeout_s
            first: bytes = self._port.read(1)
            if not first:
                return b""
            time.sleep(_GATHER_S)
            return first + self._rest()
        except _ERRORS as error:
            raise PortError(
                expected="bytes",
                found=f"the port is gone ({reason_of(error)})",
                where=self.name,
                do="check the plug; reading goes on when it is back",
            ) from error

    def _rest(self) -> bytes:
        """Return the bytes that have come, without waiting for more."""
        if os.name != "posix":
            return bytes(self._port.read(self._port.in_waiting))
        try:
            return os.read(self._port.fileno(), _MOST)
        except BlockingIOError:
            return b""

    def close(self) -> None:
        """Close the port."""
        self._exclude(False)
        with contextlib.suppress(OSError):
            self._port.close()


class SerialSource:
    """A port that is opened again by its identity, whatever its name is by then."""

    def __init__(
        self,
        name: str,
        baud: int = USUAL_BAUD,
        *,
        listing: Callable[[], tuple[PortInfo, ...]] = find_ports,
    ) -> None:
        self.name = name
        self._baud = baud
        self._listing = listing
        self._identity: str | None = None

    def open(self) -> SerialPort:
        """Open the port under its present name."""
        name = self._present_name()
        port = SerialPort(name, self._baud)
        if self._identity is None:
            # A list that fails is asked for again at the next open.
            with contextlib.suppress(Exception):
                real = os.path.realpath(name)  # a stable link such as /dev/serial/by-id/...
                identities = {port.name: port.identity for port in self._listing()}
                self._identity = identities.get(name) or identities.get(real, "")
        self.name = name
        return port

    def _present_name(self) -> str:
        if not self._identity:
            return self.name
        for port in self._listing():
            if port.identity == self._identity:
                return port.name
        # Its old name may by now be another device's.
        raise PortError(
            expected=f"the device {self._identity}",
            found="it is not plugged in",
            where=self.name,
            do="plug it in again; any socket will do if it has a serial number",
        )


def why_not(name: str, error: Exception) -> PortError:
    """Return why a port could not be opened, with the remedy."""
    code = getattr(error, "errno", None)
    text = reason_of(error)
    if code == errno.EACCES or "PermissionError" in text or "Access is denied" in text:
        found, do = _forbidden(name)
    elif code in (errno.EBUSY, errno.EAGAIN) or "lock" in text or "busy" in text:
        found, do = "another program uses it", "close that program (a monitor, an old log)"
    elif code in (errno.ENOENT, errno.ENODEV, errno.ENXIO) or "FileNotFoundError" in text:
        found, do = "no such port", "plug it in; `wattsump ports` lists what is there"
    else:
        found, do = text, "check that this is a serial port; `wattsump ports` lists them"
    return PortError(expected="a port to read from", found=found, where=name, do=do)


def may_open(name: str) -> bool:
    """Tell whether this user may open a port; True also where only opening it would show."""
    return os.name != "posix" or not Path(name).exists() or os.access(name, os.R_OK | os.W_OK)


def _forbidden(name: str) -> tuple[str, str]:
    """Return what is wrong and what to do for a port this user may not open."""
    if os.name != "posix":
        return "no access", "another program uses it, or unplug it and plug it in again"
    group = "dialout"
    with contextlib.suppress(OSError, KeyError, NotImplementedError):
        group = Path(name).group()
    if group == "root":
        return (
            "only root may open it",
            "give the device a group by a udev rule: "
            'SUBSYSTEM=="tty", SUBSYSTEMS=="usb", GROUP="dialout", MODE="0660"',
        )
    if _is_named_in(group):
        return (
            f"no permission yet: you were added to {group} after you had logged in",
            "log out and in again; where that does not help, restart",
        )
    return (
        "no permission",
        f"run `sudo usermod -aG {group} $USER`, then log out and in again",
    )


def _is_named_in(group: str) -> bool:
    """Tell whether the group's list has this user, even if the present login is older."""
    import getpass
    import grp

    try:
        return getpass.getuser() in grp.getgrnam(group).gr_mem
    except (KeyError, OSError):
        return False
