"""What is wrong with a line, field by field."""

import csv
from binascii import crc_hqx
from pathlib import Path

import pytest

from wattsump_logger.wire.events import WireChannel
from wattsump_logger.wire.explain import explain
from wattsump_logger.wire.frames import FrameParser, format_line

GOLDEN = Path(__file__).parents[2] / "data" / "golden-frames.csv"
CHANNELS = (
    WireChannel(name="tank", source="max31855", detail="K"),
    WireChannel(name="fan", source="state"),
    WireChannel(name="supply", source="value", detail="v"),
)


def sealed(content: str) -> bytes:
    return format_line(content).rstrip(b"\r\n")


def test_nothing_is_wrong_with_any_golden_frame() -> None:
    parser = FrameParser()
    with GOLDEN.open(newline="") as file:
        for row in csv.DictReader(file):
            line = row["line"].encode("ascii")
            parser.feed(line + b"\n")
            assert explain(line, parser.hello.channels if parser.hello else None) == ()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("H1,0,0,fw,1000", "body: expected <firmware>,<period_ms>,<channels>, found 2 parts of 3"),
        ("H1,0,0,my fw,1000,a:state:", "firmware: expected 1..32"),
        ("H1,0,0,fw,0,a:state:", "period_ms: expected 1..60000, found '0'"),
        ("H1,0,0,fw,1000,Tank:max31855:K", "channel 1: name: expected a-z"),
        ("H1,0,0,fw,1000,a:state:;a:state:", "channel 2: name: expected each once"),
        ("H1,0,0,fw,1000,a:state", "channel 1: expected <name>:<source>:<detail>"),
        ("H1,0,0,fw,1000,a:ds18b20:", "channel 1: source: expected one of max31855"),
        ("H1,0,0,fw,1000,a:max6675:J", "channel 1: detail: expected K for max6675, found 'J'"),
        ("H1,0,0,fw,1000,a:state:x", "channel 1: detail: expected nothing for state, found 'x'"),
        ("H1,0,0,fw,1,a:value:psi", "detail: expected c k w v a rpm lpm kmh bar pct for value"),
        ("H2,0,0,x", "kind and version: expected H1, R1 or E1, found 'H2'"),
        ("R1,-1,0,,,", "seq: expected a whole number 0..4294967295, found '-1'"),
        ("R1,1,4294967296,,,", "uptime_ms: expected a whole number"),
        ("R1,1,2", "expected <kind><version>,<seq>,<uptime_ms>,<body>, found 3 of the 4"),
        ("R1,1,2,064C1900,1", "fields: expected 3, as in the hello, found 2"),
        ("R1,1,2,064c1900,1,12.0", "tank: expected 8 upper-case hex digits or nothing"),
        ("R1,1,2,064C1900,on,12.0", "fan: expected 0, 1 or nothing, found 'on'"),
        ("R1,1,2,064C1900,1,1.2e1", "supply: expected a plain decimal of at most 12 characters"),
        ("E1,1,2,boot", "body: expected <code>,<detail>, found 'boot'"),
        ("E1,1,2,stop,x", "code: expected one of boot mark overrun note, found 'stop'"),
        ("E1,1,2,boot,cold", "detail of boot: expected one of power"),
        ("E1,1,2,overrun,few", "detail of overrun: expected a whole number"),
        ("E1,1,2,mark,two words", "detail of mark: expected 1..32"),
    ],
)
def test_each_wrong_field_is_named_with_what_was_expected(content: str, words: str) -> None:
    (fault,) = explain(sealed(content), CHANNELS)
    assert words in fault


def test_several_wrong_fields_are_all_named() -> None:
    faults = explain(sealed("H1,x,-,f w,0,A:b:c"))
    assert len(faults) == 6


BODY = b"R1,1,2,1"


@pytest.mark.parametrize(
    ("crc", "slip"),
    [
        (crc_hqx(BODY + b"*", 0xFFFF), "the '*' was counted in"),
        (crc_hqx(BODY, 0), "the start value was 0"),
        (crc_hqx(BODY, 0xFFFF) ^ 0xFFFF, "it was inverted at the end"),
        (0x1234, "found '1234'"),
    ],
)
def test_a_wrong_checksum_is_put_right_and_the_usual_slip_named(crc: int, slip: str) -> None:
    (fault,) = explain(b"%s*%04X" % (BODY, crc))
    assert fault.startswith(f"checksum: expected {crc_hqx(BODY, 0xFFFF):04X}")
    assert slip in fault


def test_the_reflected_polynomial_is_recognised_by_its_published_check_value() -> None:
    # published: CRC-16/MODBUS, check value 4B37 of "123456789"; exact
    assert any("0xA001" in fault for fault in explain(b"123456789*4B37"))


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (b"R1,1,2,1", "found no '*'"),
        (b"R1,1,2,1*" + f"{crc_hqx(BODY, 0xFFFF):04x}".encode(), "expected upper-case"),
        (b"x" * 511, "expected at most 512 bytes"),
        (b"R1,1,\xf6,1", "found byte 0xF6 at position 6"),
        (sealed("R1,1,2,*1"), "found another"),
    ],
)
def test_a_line_without_the_form_of_a_frame_says_what_it_lacks(line: bytes, words: str) -> None:
    assert any(words in fault for fault in explain(line))


@pytest.mark.parametrize("line", [b"T1: 20.1 C, T2: 19.0 C", b"23.4,22.1,19.0", b"ready"])
def test_text_of_another_sender_is_not_taken_for_a_damaged_frame(line: bytes) -> None:
    (fault,) = explain(line)
    assert "own-sender" in fault
