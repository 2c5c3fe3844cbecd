"""The emulated controller: what real hardware would send, to the bit."""

import os
import termios

import pytest

from refusal import refused
from wattsump_logger.bench.controller import (
    HELLO_MS,
    EmulatedController,
    MemoryPort,
    has_ptys,
    serve_pty,
)
from wattsump_logger.errors import UsageError
from wattsump_logger.thermocouples.converters import decode
from wattsump_logger.wire.events import EventFrame, Hello, Reading, WireChannel
from wattsump_logger.wire.frames import FrameParser

TANK = WireChannel(name="tank", source="max31855", detail="K")
FAN = WireChannel(name="fan", source="state")
FLOW = WireChannel(name="flow", source="value", detail="lpm")


def events_of(data: bytes) -> list[object]:
    return list(FrameParser().feed(data))


def fields_for(values: dict[str, float | str | None], *channels: WireChannel) -> tuple[str, ...]:
    reading = events_of(EmulatedController(lambda _: values, channels).step())[-1]
    assert isinstance(reading, Reading)
    return reading.fields


def test_it_begins_with_hello_cause_and_reading() -> None:
    controller = EmulatedController(lambda _: {"fan": 1}, [FAN])
    hello, boot, reading = events_of(controller.step())
    assert isinstance(hello, Hello)
    assert (hello.seq, hello.firmware, hello.channels) == (0, "emulated-1", (FAN,))
    assert boot == EventFrame(seq=1, uptime_ms=0, code="boot", detail="power")
    assert reading == Reading(seq=2, uptime_ms=0, fields=("1",))


def test_it_says_hello_again_every_minute() -> None:
    controller = EmulatedController(lambda _: {"fan": 1}, [FAN])
    events = events_of(b"".join(controller.until(181)))
    assert [e.uptime_ms for e in events if isinstance(e, Hello)] == [
        0,
        HELLO_MS,
        2 * HELLO_MS,
        3 * HELLO_MS,
    ]


def test_a_converter_s_word_is_its_datasheet_s() -> None:
    # published: MAX31855 datasheet tables 4 and 5: 25.00 °C at a cold junction of 25 °C.
    assert fields_for({"tank": 25.0}, TANK) == ("01901900",)


def test_a_fault_is_the_converter_s_own() -> None:
    # published: MAX31855 datasheet table 2: D16 and D0 set is an open thermocouple.
    word = int(fields_for({"tank": "fault:open"}, TANK)[0], 16)
    assert word & 0x10007 == 0x10001


def test_the_board_s_temperature_is_the_cold_junction() -> None:
    word = fields_for({"tank": 71.0, "board": -1.0}, TANK)
    decoded = decode("max31855", "K", list(word))
    assert decoded.cold_c[0] == -1.0
    # independent: the quarter-degree step of the part bounds what comes back.
    assert decoded.temp_c[0] == pytest.approx(71.0, abs=0.13)


def test_none_absent_and_a_plain_channel_s_fault_are_no_reading() -> None:
    assert fields_for({"tank": None, "flow": "fault:open"}, TANK, FAN, FLOW) == ("", "", "")


def test_values_are_plain_decimals_and_states_are_digits() -> None:
    assert fields_for({"flow": -0.5, "fan": 0.0}, FLOW, FAN) == ("-0.50", "0")


@pytest.mark.parametrize("value", ["warm", "fault:", "error:open"])
def test_a_text_that_is_no_fault_is_refused(value: str) -> None:
    with refused(UsageError, "emulated channel 'tank'"):
        fields_for({"tank": value}, TANK)


def test_buttons_and_notes_come_before_the_next_reading() -> None:
    controller = EmulatedController(lambda _: {"fan": 1}, [FAN])
    controller.step()
    controller.press("climb")
    controller.note("card-full")
    kinds = [(e.code, e.detail) for e in events_of(controller.step()) if isinstance(e, EventFrame)]
    assert kinds == [("mark", "climb"), ("note", "card-full")]


def test_a_reboot_begins_counter_and_uptime_anew() -> None:
    controller = EmulatedController(lambda _: {"fan": 1}, [FAN])
    list(controller.until(5))
    controller.reboot("watchdog")
    hello, boot, reading = events_of(controller.step())
    assert isinstance(hello, Hello)
    assert isinstance(reading, Reading)
    assert (hello.seq, hello.uptime_ms, reading.uptime_ms) == (0, 0, 0)
    assert boot == EventFrame(seq=1, uptime_ms=0, code="boot", detail="watchdog")
    assert controller.now_ms == 6000


def test_a_memory_port_gives_periods_until_its_end() -> None:
    port = MemoryPort(EmulatedController(lambda _: {"fan": 1}, [FAN]), until_s=5, periods=2)
    reads = [port.open().read(0.1) for _ in range(4)]
    assert [read and read.count(b"R1,") for read in reads] == [2, 2, 1, None]
    port.close()


@pytest.mark.skipif(not has_ptys(), reason="no pseudo-terminals on this system")
def test_a_served_port_ends_at_once_even_if_nobody_reads() -> None:
    controller = EmulatedController(lambda _: {"fan": 1}, [FAN], period_ms=10)
    with serve_pty(controller, 1e6) as name:
        handle = os.open(name, os.O_RDONLY | os.O_NOCTTY)
        assert os.read(handle, 3) == b"H1,"
        os.close(handle)
    with pytest.raises((OSError, termios.error)):
        os.open(name, os.O_RDONLY | os.O_NOCTTY)
