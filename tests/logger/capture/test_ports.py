"""Ports: what is listed, what stays the same when a plug is bumped, why one cannot be opened."""

import errno
import os
import tty
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from refusal import refused
from wattsump_logger.capture import ports
from wattsump_logger.capture.ports import PortInfo, SerialPort, SerialSource, find_ports, why_not
from wattsump_logger.errors import PortError


# Not frozen: the library's own are not, and a frozen one would not stand in for them.
@dataclass(slots=True, kw_only=True)
class Listed:
    """A port as the system lists it."""

    device: str
    description: str = "USB Serial"
    vid: int | None = 0x1209
    pid: int | None = 0x0001
    serial_number: str | None = None
    location: str | None = "1-2"


@pytest.fixture
def pty() -> Iterator[tuple[int, str]]:
    """Return our end of a terminal port and its name."""
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    yield ours, os.ttyname(theirs)
    for handle in (ours, theirs):
        os.close(handle)


def test_a_port_with_a_serial_number_is_known_by_it() -> None:
    listed = [Listed(device="/dev/ttyACM1", serial_number="A7"), Listed(device="/dev/ttyACM0")]
    assert [port.identity for port in find_ports(listed)] == [
        "usb 1209:0001 at 1-2",
        "usb 1209:0001 A7",
    ]


def test_built_in_ports_without_a_device_behind_them_are_left_out() -> None:
    listed = [Listed(device="/dev/ttyS0", description="n/a", vid=None, pid=None)]
    assert find_ports(listed) == ()


def test_a_built_in_port_with_a_device_is_known_by_its_name() -> None:
    listed = [Listed(device="/dev/ttyAMA0", description="PL011", vid=None, pid=None)]
    assert find_ports(listed)[0].identity == "/dev/ttyAMA0"


def test_a_listing_of_this_computer_does_not_fail() -> None:
    assert isinstance(find_ports(), tuple)


def test_bytes_come_as_they_were_sent(pty: tuple[int, str]) -> None:
    ours, name = pty
    port = SerialPort(name, 115_200)
    os.write(ours, b"\x00\xff\r\n\x11\x13")
    data = b""
    while len(data) < 6:
        data += port.read(5.0)
    port.close()
    assert data == b"\x00\xff\r\n\x11\x13"


def test_what_came_before_the_port_was_opened_is_kept(pty: tuple[int, str]) -> None:
    ours, name = pty
    os.write(ours, b"H1,0,0,ref-1")
    port = SerialPort(name, 115_200)
    assert port.read(5.0) == b"H1,0,0,ref-1"
    port.close()


def test_silence_is_no_bytes(pty: tuple[int, str]) -> None:
    port = SerialPort(pty[1], 115_200)
    assert port.read(0.01) == b""
    port.close()


def test_a_byte_that_comes_alone_is_given_without_waiting_for_more(pty: tuple[int, str]) -> None:
    ours, name = pty
    port = SerialPort(name, 115_200)
    for byte in (b"a", b"b", b"c"):
        os.write(ours, byte)
        assert port.read(3600.0) == byte
    port.close()


def test_a_port_that_goes_away_is_an_error_with_what_to_do() -> None:
    ours, theirs = os.openpty()
    port = SerialPort(os.ttyname(theirs), 115_200)
    os.close(theirs)
    os.close(ours)
    with refused(PortError, port.name):
        port.read(5.0)
    port.close()


def test_a_second_opener_is_told_that_the_port_is_in_use(pty: tuple[int, str]) -> None:
    port = SerialPort(pty[1], 115_200)
    with refused(PortError, pty[1]):
        SerialPort(pty[1], 115_200)
    port.close()
    SerialPort(pty[1], 115_200).close()


def test_a_file_is_no_port(tmp_path: Path) -> None:
    (tmp_path / "x").write_text("")
    with refused(PortError, "x"):
        SerialPort(str(tmp_path / "x"), 115_200)


@pytest.mark.parametrize(
    ("error", "found", "do"),
    [
        (OSError(errno.ENOENT, "No such file"), "no such port", "plug it in"),
        (OSError(errno.EBUSY, "Device or resource busy"), "another program uses it", "close"),
        (OSError(errno.EIO, "Input/output error"), "Input/output error", "check that this"),
        (ValueError("not a valid baudrate"), "not a valid baudrate", "check that this"),
    ],
)
def test_why_a_port_cannot_be_opened_is_said_with_a_remedy(
    error: Exception, found: str, do: str
) -> None:
    told = why_not("/dev/ttyACM0", error)
    assert told.found == found
    assert do in told.do


def test_a_forbidden_port_names_the_group_that_may_open_it(tmp_path: Path) -> None:
    device = tmp_path / "tty"
    device.write_text("")
    told = why_not(str(device), OSError(errno.EACCES, "Permission denied"))
    group = device.group()
    assert ("only root" in told.found) == (group == "root")
    gone = why_not("/nowhere/tty", OSError(errno.EACCES, "Permission denied"))
    assert gone.do == "run `sudo usermod -aG dialout $USER`, then log out and in again"


def test_a_group_joined_after_login_is_told_apart_from_one_not_joined(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(ports, "_is_named_in", lambda group: group == "dialout")
    told = why_not("/nowhere/tty", OSError(errno.EACCES, "Permission denied"))
    assert "after you had logged in" in told.found
    assert told.do.startswith("log out and in again")


def test_nobody_is_named_in_a_group_that_is_not_there() -> None:
    assert not ports._is_named_in("no-such-group-here")


def test_a_port_that_is_not_there_is_not_called_forbidden() -> None:
    assert ports.may_open("/nowhere/tty")


def test_a_device_that_came_back_under_another_name_is_found(pty: tuple[int, str]) -> None:
    known = [PortInfo(name=pty[1], description="", identity="usb 1 A7")]
    source = SerialSource(pty[1], listing=lambda: tuple(known))
    source.open().close()
    ours, theirs = os.openpty()
    known[0] = PortInfo(name=os.ttyname(theirs), description="", identity="usb 1 A7")
    port = source.open()
    assert port.name == os.ttyname(theirs)
    port.close()
    os.close(ours)
    os.close(theirs)


def test_a_device_that_is_not_back_yet_is_not_replaced_by_another_of_its_name(
    pty: tuple[int, str],
) -> None:
    known = [PortInfo(name=pty[1], description="", identity="usb 1 A7")]
    source = SerialSource(pty[1], listing=lambda: tuple(known))
    source.open().close()
    known[0] = PortInfo(name=pty[1], description="", identity="usb 1 B8")
    with refused(PortError, pty[1]):
        source.open()
