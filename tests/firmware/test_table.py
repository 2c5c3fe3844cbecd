"""The channel table: text to image on the host, image to channels on the chip."""

import binascii
import re
import string
import struct
from contextlib import nullcontext
from pathlib import Path
from types import ModuleType

import pytest

from firmware.harness import Harness
from wattsump_logger.thermocouples.converters import supports

TABLE = """
period 500
tank max31855 K cs1
oil_12 max6675 K cs2
air max31856 T cs6
fan state - in1 low
engine state - in2
supply value v adc3 17600
far mcp9600 N i2c7
flow pulse lpm pulse1 450
speed pulse rpm pulse2 15.5
"""

# every place there is on the board, 20 of them
PLACES = (
    [f"max31855 K cs{i}" for i in range(1, 7)]
    + [f"mcp9600 K i2c{i}" for i in range(8)]
    + [f"state - in{i}" for i in range(1, 4)]
    + ["value v adc3 17600", "pulse lpm pulse1 1", "pulse rpm pulse2 1"]
)


def hello(harness: Harness, image: bytes) -> str:
    crc = f"{image[-1]:02X}{image[-2]:02X}"
    assert harness.order(f"table {image.hex()}") == f"sound {crc}"
    harness.order("ring 1024 0")
    harness.order("hello 0 fw")
    return harness.lines().decode("ascii")


def seal(body: bytes) -> bytes:
    return body + struct.pack("<H", binascii.crc_hqx(body, 0xFFFF))


def test_a_table_reaches_the_hello_in_its_order(harness: Harness, table_image: ModuleType) -> None:
    line = hello(harness, table_image.image(TABLE))
    assert line.split("*")[0] == (
        "H1,0,0,fw,500,tank:max31855:K;oil_12:max6675:K;air:max31856:T;"
        "fan:state:;engine:state:;supply:value:v;far:mcp9600:N;flow:value:lpm;speed:value:rpm"
    )


def test_an_erased_memory_is_blank_and_no_fault(harness: Harness) -> None:
    assert harness.order("table " + "FF" * 400) == "blank"


def test_any_flipped_bit_is_a_spoilt_table_and_never_a_blank_one(
    harness: Harness, table_image: ModuleType
) -> None:
    image = table_image.image(TABLE)
    for position in range(len(image) * 8):
        spoilt = bytearray(image)
        spoilt[position // 8] ^= 1 << position % 8
        assert harness.order(f"table {spoilt.hex()}") == "spoilt"


def test_any_cut_image_is_a_spoilt_table(harness: Harness, table_image: ModuleType) -> None:
    image = table_image.image(TABLE)
    for length in range(1, len(image)):
        assert harness.order(f"table {image[:length].hex()}") == "spoilt"


def test_a_single_bit_of_an_erased_memory_is_not_blank(harness: Harness) -> None:
    for position in (0, 100, 344):
        erased = bytearray(b"\xff" * 345)
        erased[position] ^= 1
        assert harness.order(f"table {erased.hex()}") == "spoilt"


# offsets in the image, as drawn in table.h
PERIOD, COUNT, NAME, SOURCE, DETAIL, WHERE = 4, 6, 7, 23, 24, 25


@pytest.mark.parametrize(
    ("offset", "value"),
    [
        (PERIOD, b"\x63\x00"),  # 99 ms
        (PERIOD, b"\xf9\x00"),  # 249 ms, too fast for the 12-bit part
        (PERIOD, b"\x61\xea"),  # 60001 ms
        (COUNT, b"\x00"),
        (COUNT, b"\x11"),
        (NAME, b"\x00"),
        (NAME, b"Tank"),
        (NAME, b"1ank"),
        (NAME, b"t nk"),
        (NAME + 6, b"x"),  # behind the end of the name
        (NAME, b"oil_12\x00"),  # the name of another channel
        (SOURCE, b"\x00"),
        (SOURCE, b"\x08"),
        (DETAIL, b"k"),
        (WHERE, b"\x00"),
        (WHERE, b"\x07"),
        (WHERE, b"\x02"),  # the chip select of another channel
    ],
)
def test_a_sealed_image_that_breaks_a_rule_is_spoilt(
    harness: Harness, table_image: ModuleType, offset: int, value: bytes
) -> None:
    body = bytearray(table_image.image(TABLE)[:-2])
    body[offset : offset + len(value)] = value
    assert harness.order(f"table {seal(bytes(body)).hex()}") == "spoilt"


def test_sixteen_channels_with_short_names_fit_and_seventeen_are_refused(
    harness: Harness, table_image: ModuleType
) -> None:
    lines = [f"c{i} {place}" for i, place in enumerate(PLACES)]
    line = hello(harness, table_image.image("period 500\n" + "\n".join(lines[:16])))
    assert line.count(";") == 15
    with pytest.raises(table_image.TableError, match="1 to 16 channels, found 17"):
        table_image.image("period 500\n" + "\n".join(lines[:17]))


def test_a_hello_longer_than_a_line_is_refused_on_both_sides(
    harness: Harness, table_image: ModuleType
) -> None:
    channels = [f"{'n' * 14}{chr(97 + i)}x {PLACES[i]}" for i in range(16)]
    with pytest.raises(table_image.TableError, match="at most 512 bytes, found up to 519"):
        table_image.image("period 500\n" + "\n".join(channels))
    records = b"".join(
        struct.pack("<16sBcBH", row.split()[0].encode(), source, b"K", place, 0)
        for row, (source, place) in zip(
            channels,
            [(1, i) for i in range(1, 7)] + [(6, i) for i in range(8)] + [(1, 1), (1, 2)],
            strict=True,
        )
    )
    image = seal(b"WSC1" + struct.pack("<HB", 500, 16) + records)
    assert harness.order(f"table {image.hex()}") == "spoilt"


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("Tank max31855 K cs1", "line 2: expected a name"),
        ("tank max31855 K", "line 2: expected <name>"),
        ("tank other K cs1", "line 2: expected <name>"),
        ("tank max31855 K cs7", r"line 2: expected cs1\.\.cs6, found 'cs7'"),
        ("tank max31855 B cs1", "line 2: expected one of KJNTERS, found 'B'"),
        ("tank max31855 K cs1 low", "line 2: expected no option"),
        ("fan state - in4", r"line 2: expected - in1\.\.in3"),
        ("fan state - in1 high", "line 2: expected 'low' or nothing"),
        ("supply value v adc1 10", "line 2: expected v adc3"),
        ("supply value v adc3", "line 2: expected mV at full scale"),
        ("supply value v adc3 70000", r"line 2: expected 1\.\.65535 mV"),
        ("flow pulse lpm in1 5", "line 2: expected pulse1 or pulse2"),
        ("flow pulse kmh pulse1 5", "line 2: expected lpm or rpm"),
        ("flow pulse lpm pulse1", r"line 2: expected 0\.1\.\.6553\.5 pulses"),
        ("flow pulse lpm pulse1 0", r"line 2: expected 0\.1\.\.6553\.5 pulses"),
        ("flow pulse lpm pulse1 6553.6", r"line 2: expected 0\.1\.\.6553\.5 pulses"),
        ("t mcp9600 K i2c1", r"line 2: expected a period of 500\.\.60000 ms for mcp9600"),
        ("t max6675 K cs1", r"line 2: expected a period of 250\.\.60000 ms for max6675, found 200"),
    ],
)
def test_a_wrong_line_of_the_table_is_named(
    table_image: ModuleType, line: str, complaint: str
) -> None:
    with pytest.raises(table_image.TableError, match=complaint):
        table_image.image(f"period 200\n{line}\n")


def test_an_i2c_part_at_a_chip_select_is_refused(table_image: ModuleType) -> None:
    with pytest.raises(table_image.TableError, match=r"line 2: expected i2c0\.\.i2c7"):
        table_image.image("period 500\nfar mcp9600 K cs1\n")


def test_a_table_without_period_or_with_a_name_twice_is_refused(table_image: ModuleType) -> None:
    with pytest.raises(table_image.TableError, match="expected a line 'period <ms>'"):
        table_image.image("tank max31855 K cs1\n")
    with pytest.raises(table_image.TableError, match="line 3: expected each name once"):
        table_image.image("period 200\ntank max31855 K cs1\ntank max31855 K cs2\n")


@pytest.mark.parametrize(
    ("place", "other"),
    [
        ("max31855 K cs1", "max31855 K cs1"),
        ("max31856 K cs1", "max31856 T cs1"),
        ("max31856 K cs1", "max6675 K cs1"),
        ("state - in1", "state - in1 low"),
        ("mcp9600 K i2c0", "mcp9600 N i2c0"),
    ],
)
def test_two_channels_on_one_place_are_refused_by_tool_and_chip(
    harness: Harness, table_image: ModuleType, place: str, other: str
) -> None:
    with pytest.raises(table_image.TableError, match="line 3: expected one channel at"):
        table_image.image(f"period 500\none {place}\ntwo {other}\n")
    first = table_image.image(f"period 500\none {place}\n")[:-2]
    second = table_image.image(f"period 500\ntwo {other}\n")[NAME:-2]
    body = first[:COUNT] + b"\x02" + first[NAME:] + second
    assert harness.order(f"table {seal(body).hex()}") == "spoilt"


@pytest.mark.parametrize(
    ("source", "place"),
    [("max31855", "cs1"), ("max6675", "cs1"), ("max31856", "cs1"), ("mcp9600", "i2c1")],
)
def test_tool_and_chip_take_the_letters_the_host_can_read_and_no_other(
    harness: Harness, table_image: ModuleType, source: str, place: str
) -> None:
    sound = table_image.image(f"period 500\ntank {source} K {place}\n")[:-2]
    for letter in string.ascii_letters + "-":
        taken = supports(source, letter)
        body = sound[:DETAIL] + letter.encode() + sound[WHERE:]
        assert harness.order(f"table {seal(body).hex()}").startswith("sound") == taken
        table = f"period 500\ntank {source} {letter} {place}\n"
        with nullcontext() if taken else pytest.raises(table_image.TableError):
            table_image.image(table)


def test_a_finished_image_takes_another_table_and_nothing_else(
    table_image: ModuleType, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    at, longest = table_image.FLASH_AT, table_image.LONGEST_IMAGE
    old, new = table_image.image("period 500\na state - in1\n"), table_image.image(TABLE)
    program = bytes(range(at)) + old.ljust(longest, b"\0") + b"the rest of it"
    image, mine, table = (tmp_path / name for name in ("old.hex", "new.hex", "t.txt"))
    image.write_text(table_image.intel_hex(program).replace("\n", "\r\n"))
    table.write_text(TABLE)
    assert table_image.main([str(table), "--into", str(image), "--hex", str(mine)]) == 0
    changed = table_image.from_intel_hex(mine.read_text())
    assert changed[:at] == program[:at]
    assert changed[at : at + len(new)] == new
    assert changed[at + longest :] == b"the rest of it"

    image.write_text(table_image.intel_hex(b"another program".ljust(2000)))
    assert table_image.main([str(table), "--into", str(image), "--hex", str(mine)]) == 1
    assert "expected a firmware with its channel table" in capsys.readouterr().err
    image.write_text(image.read_text().replace("20", "21", 1))
    assert table_image.main([str(table), "--into", str(image), "--hex", str(mine)]) == 1
    assert "line 1: expected an Intel HEX record" in capsys.readouterr().err


def test_intel_hex_records_carry_the_image_and_sum_to_zero(table_image: ModuleType) -> None:
    image = table_image.image(TABLE)
    text = table_image.intel_hex(image)
    read = b""
    for record in re.findall(r"^:([0-9A-F]+)$", text, re.MULTILINE):
        raw = bytes.fromhex(record)
        # published: Intel HEX, the sum of all bytes of a record is 0 modulo 256; exact
        assert sum(raw) % 256 == 0
        if raw[3] == 0:
            assert int.from_bytes(raw[1:3], "big") == len(read)
            read += raw[4:-1]
    assert read == image
    assert text.endswith(":00000001FF\n")


def test_the_command_writes_all_forms_and_complains_in_one_line(
    table_image: ModuleType, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = tmp_path / "t.txt"
    source.write_text(TABLE)
    image = tmp_path / "t.bin"
    include = tmp_path / "t.inc"
    eeprom = tmp_path / "t.eep"
    arguments = ["--bin", str(image), "--inc", str(include), "--eep", str(eeprom)]
    assert table_image.main([str(source), *arguments]) == 0
    assert image.read_bytes() == bytes(
        int(byte, 16) for byte in include.read_text().replace(",", "").split()
    )
    source.write_text("period 100\n")
    assert table_image.main([str(source)]) == 1
    assert capsys.readouterr().err.count("\n") == 1
