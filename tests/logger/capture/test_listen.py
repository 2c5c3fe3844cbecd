"""Which port speaks our protocol, in one line each."""

import pytest

from wattsump_logger.bench.controller import EmulatedController, MemoryPort
from wattsump_logger.capture.clock import Anchor
from wattsump_logger.capture.link import BytePort
from wattsump_logger.capture.listen import heard, listen_to, port_lines
from wattsump_logger.capture.ports import PortInfo
from wattsump_logger.errors import PortError
from wattsump_logger.wire.events import WireChannel
from wattsump_logger.wire.frames import format_line

PORTS = (PortInfo(name="/dev/ttyACM0", description="board", identity="usb 1209:0001 A7"),)


class Ticking:
    """A clock that moves on 100 ms each time it is looked at."""

    def __init__(self) -> None:
        self.now_ms = 0

    def anchor(self) -> Anchor:
        self.now_ms += 100
        return Anchor(utc_ms=None, mono_ms=self.now_ms)


class Says:
    """A port that says one thing over and over, or fails."""

    name = "x"

    def __init__(self, what: bytes | Exception | None) -> None:
        self.what = what

    def read(self, timeout_s: float) -> bytes | None:
        if isinstance(self.what, Exception):
            raise self.what
        return self.what

    def close(self) -> None:
        """Nothing to let go of."""


def gone() -> PortError:
    return PortError(expected="bytes", found="the port is gone", where="x", do="check the plug")


def line_for(port: BytePort) -> str:
    lines = list(
        port_lines(listen_s=1, baud=9600, ports=PORTS, open_port=lambda *_: port, clock=Ticking())
    )
    assert len(lines) == 1
    return lines[0]


def test_without_listening_a_port_is_not_opened() -> None:
    def never(name: str, baud: int) -> BytePort:
        raise AssertionError

    lines = list(port_lines(listen_s=0, baud=9600, ports=PORTS, open_port=never))
    assert lines == ["/dev/ttyACM0  board  usb 1209:0001 A7"]


def test_no_ports_are_said_with_what_to_try() -> None:
    assert "cable" in next(port_lines(listen_s=0, baud=9600, ports=()))


def test_a_controller_is_named_with_its_channels() -> None:
    channels = [WireChannel(name="tank", source="max31855", detail="K")]
    line = line_for(MemoryPort(EmulatedController(lambda _: {"tank": 20.0}, channels)))
    assert "emulated-1, every 1000 ms: tank" in line


@pytest.mark.parametrize(
    ("name", "source", "detail", "lacks"),
    [
        ("engine", "state", "", True),
        ("engine", "value", "rpm", False),
        ("drive", "state", "", False),
    ],
)
def test_channels_that_tell_idling_from_work_by_nothing_are_said_before_the_outing(
    name: str, source: str, detail: str, lacks: bool
) -> None:
    channels = [WireChannel(name=name, source=source, detail=detail)]
    line = line_for(MemoryPort(EmulatedController(lambda _: {name: 1.0}, channels)))
    assert ("\n" in line) is lacks


@pytest.mark.parametrize(
    ("what", "said"),
    [
        (b"", "silent"),
        (None, "silent"),
        (b"\xf0\x00\xfe\n", "or at another speed"),
        (b"Ready\r\n", "sends something else"),
        (format_line("R1,5,5000,1"), "no hello yet"),
        (format_line("E1,5,5000,mark,fan"), "no hello yet"),
        (format_line("X9,5"), "a kind this version does not know"),
        (gone(), "failed while listening: the port is gone"),
    ],
)
def test_what_a_port_says_is_put_in_words(what: bytes | Exception | None, said: str) -> None:
    assert said in line_for(Says(what))


def test_a_line_that_is_wrong_is_explained_once_below_its_port() -> None:
    line = line_for(Says(b"R1,5,5000,1*0000\r\n"))
    right = format_line("R1,5,5000,1").decode()[-6:-2]
    assert line.count(f"checksum: expected {right}, found '0000'") == 1
    assert "\n    R1,5,5000,1*0000\n" in line


def test_wrong_fields_of_a_reading_are_explained_by_the_hello_before_it() -> None:
    hello = format_line("H1,0,0,fw,1000,tank:max31855:K;fan:state:")
    line = line_for(Says(hello + format_line("R1,1,5,0190190,1")))
    assert "fw, every 1000 ms: tank fan" in line
    assert "found '0190190'" in line


def test_another_speed_and_a_line_begun_in_the_middle_are_not_explained() -> None:
    assert "expected" not in line_for(Says(b"\xf0\xfe\x80\xff\r\n"))
    sound = format_line("E1,5,5000,mark,fan")
    assert "\n" not in line_for(Says(b""))
    drive = WireChannel(name="drive", source="state")
    port = MemoryPort(EmulatedController(lambda _: {}, [drive]))
    assert "\n" not in line_for(port)
    assert "\n" not in line_for(Says(sound))


def test_a_port_that_cannot_be_opened_is_said_with_the_remedy() -> None:
    def refuse(name: str, baud: int) -> BytePort:
        raise gone()

    lines = list(port_lines(listen_s=1, baud=9600, ports=PORTS, open_port=refuse))
    assert gone().found in lines[0]
    assert gone().do in lines[0]


def test_a_port_this_user_may_not_open_is_said_without_opening_it() -> None:
    def never(name: str, baud: int) -> BytePort:
        raise AssertionError(name)

    lines = list(
        port_lines(listen_s=1, baud=9600, ports=PORTS, open_port=never, is_allowed=lambda _: False)
    )
    assert "no permission; run `sudo usermod -aG" in lines[0]


def test_listening_ends_in_time_however_much_comes() -> None:
    clock = Ticking()
    listened = listen_to(Says(b"noise\n"), 1.0, clock)
    assert 0 < len(listened.events) <= 10
    assert heard(listened.events).startswith("sends something else")
