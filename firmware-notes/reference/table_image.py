"""Turn a channel table (channels.txt) into the image the firmware reads.

    python3 table_image.py channels.txt --inc built_in_table.inc   # C bytes for flash
    python3 table_image.py channels.txt --eep channels.eep         # Intel HEX for EEPROM
    python3 table_image.py channels.txt --into wattsump.hex --hex mine.hex  # a finished image

The layout is drawn in table.h. The last form puts the table into a ready-made firmware
without a compiler, in place of the one it was built with. Every rule the firmware checks is
checked here first, with a line number, because the chip itself can only say "table-spoilt".
"""

import argparse
import binascii
import re
import struct
import sys
from pathlib import Path

__all__ = ("TableError", "image", "main")

SOURCES = {
    "max31855": 1,
    "max6675": 2,
    "max31856": 3,
    "state": 4,
    "value": 5,
    "mcp9600": 6,
    "pulse": 7,
}
LETTERS = {"max31855": "KJNTERS", "max6675": "K", "max31856": "KJTNERSB", "mcp9600": "KJTNERSB"}
SHORTEST_MS = {"max6675": 250, "mcp9600": 500}
EEPROM_AT = 16  # TABLE_EEPROM_AT in table.h
FLASH_AT = 0x68  # behind the interrupt vectors: main.c
LONGEST_IMAGE = 345  # TABLE_BYTES in table.h
LONGEST_LINE = 512
FIXED_HELLO = 71  # frame header, firmware name, period and checksum at their longest
SEPARATORS = 12  # ":max31855:K;", the longest description behind a name


class TableError(ValueError):
    """A line of the channel table is not one."""


def image(text: str) -> bytes:
    """The image of a channel table given as text."""
    period_ms: int | None = None
    rows: list[tuple[int, list[str]]] = []
    for number, line in enumerate(text.splitlines(), 1):
        words = line.split("#", 1)[0].split()
        if words[:1] == ["period"]:
            period_ms = _whole(words, 1, number, "a period in ms")
        elif words:
            rows.append((number, words))
    if period_ms is None:
        raise TableError("expected a line 'period <ms>', found none")
    _check_size(rows)
    channels = [_channel(words, number, period_ms) for number, words in rows]
    body = b"WSC1" + struct.pack("<HB", period_ms, len(channels)) + b"".join(channels)
    return body + struct.pack("<H", binascii.crc_hqx(body, 0xFFFF))


def _check_size(rows: list[tuple[int, list[str]]]) -> None:
    if not 1 <= len(rows) <= 16:
        raise TableError(f"expected 1 to 16 channels, found {len(rows)}")
    names: list[str] = []
    places: set[str] = set()
    for number, words in rows:
        if words[0] in names:
            raise TableError(f"line {number}: expected each name once, found {words[0]!r} again")
        if words[3:4] and words[3] in places:
            raise TableError(
                f"line {number}: expected one channel at {words[3]}, found {words[0]!r} as well; "
                "two channels on one pin would read the same thing twice"
            )
        names.append(words[0])
        places.update(words[3:4])
    longest = FIXED_HELLO + sum(len(name) + SEPARATORS for name in names)
    if longest > LONGEST_LINE:
        raise TableError(
            f"expected a hello of at most {LONGEST_LINE} bytes, found up to {longest}; "
            "shorten the names"
        )


def _channel(words: list[str], number: int, period_ms: int) -> bytes:
    if len(words) < 4 or words[1] not in SOURCES:
        raise TableError(
            f"line {number}: expected <name> <{'|'.join(SOURCES)}> <detail> <where>, "
            f"found {' '.join(words)!r}"
        )
    name, source, detail, where = words[:4]
    if not re.fullmatch(r"[a-z][a-z0-9_]{0,15}", name):
        raise TableError(
            f"line {number}: expected a name of a-z, 0-9 and _, at most 16, found {name!r}"
        )
    if not SHORTEST_MS.get(source, 100) <= period_ms <= 60000:
        raise TableError(
            f"line {number}: expected a period of {SHORTEST_MS.get(source, 100)}..60000 ms "
            f"for {source}, found {period_ms}"
        )
    letter, place, scale = _wiring(source, detail, where, words[4:], number)
    return struct.pack(
        "<16sBcBH", name.encode("ascii"), SOURCES[source], letter.encode("ascii"), place, scale
    )


def _wiring(
    source: str, detail: str, where: str, options: list[str], number: int
) -> tuple[str, int, int]:
    if source == "state":
        _expect(re.fullmatch(r"in[1-3]", where) and detail == "-", number, "- in1..in3", where)
        _expect(options in ([], ["low"]), number, "'low' or nothing", " ".join(options))
        return "\0", int(where[2:]), len(options)
    if source == "value":
        _expect(where == "adc3" and detail == "v", number, "v adc3", f"{detail} {where}")
        full_scale_mv = _whole(options, 0, number, "mV at full scale")
        _expect(1 <= full_scale_mv <= 65535, number, "1..65535 mV", str(full_scale_mv))
        return "v", 3, full_scale_mv
    if source == "pulse":
        _expect(re.fullmatch(r"pulse[12]", where), number, "pulse1 or pulse2", where)
        _expect(detail in ("lpm", "rpm"), number, "lpm or rpm", detail)
        return detail[0], int(where[5:]), _tenths(options, number)
    if source == "mcp9600":
        _expect(re.fullmatch(r"i2c[0-7]", where), number, "i2c0..i2c7", where)
    else:
        _expect(re.fullmatch(r"cs[1-6]", where), number, "cs1..cs6", where)
    letters = LETTERS[source]
    _expect(len(detail) == 1 and detail in letters, number, f"one of {letters}", detail)
    _expect(not options, number, "no option", " ".join(options))
    return detail, int(where[-1]), 0


def _tenths(options: list[str], number: int) -> int:
    """Pulses per litre or revolution, in tenths."""
    text = " ".join(options)
    _expect(
        re.fullmatch(r"[0-9]{1,4}(\.[0-9])?", text) and float(text) > 0.0,
        number,
        "0.1..6553.5 pulses per litre or revolution",
        text,
    )
    tenths = round(float(text) * 10.0)
    _expect(tenths <= 65535, number, "0.1..6553.5 pulses per litre or revolution", text)
    return tenths


def _expect(sound: object, number: int, expected: str, found: str) -> None:
    if not sound:
        raise TableError(f"line {number}: expected {expected}, found {found!r}")


def _whole(words: list[str], index: int, number: int, what: str) -> int:
    if len(words) != index + 1 or not words[index].isdecimal():
        raise TableError(f"line {number}: expected {what}, found {' '.join(words[index:])!r}")
    return int(words[index])


def patched(program: bytes, data: bytes) -> bytes:
    """`program`, a finished firmware from address 0, with the table `data` in it."""
    if program[FLASH_AT : FLASH_AT + 4] != data[:4]:
        raise TableError(
            f"expected a firmware with its channel table at flash address {FLASH_AT:#x}, "
            f"found {program[FLASH_AT : FLASH_AT + 4].hex() or 'less'}; take another image"
        )
    whole = data.ljust(LONGEST_IMAGE, b"\xff")
    return program[:FLASH_AT] + whole + program[FLASH_AT + LONGEST_IMAGE :]


def from_intel_hex(text: str) -> bytes:
    """The bytes of an Intel HEX file that fills addresses from 0 on without a gap."""
    data = b""
    for number, line in enumerate(text.splitlines(), 1):
        try:
            record = bytes.fromhex(line.removeprefix(":"))
        except ValueError:
            record = b""
        if len(record) < 5 or len(record) != record[0] + 5 or sum(record) % 256:
            raise TableError(f"line {number}: expected an Intel HEX record, found {line!r}")
        if record[3] == 0:
            if int.from_bytes(record[1:3], "big") != len(data):
                raise TableError(f"line {number}: expected address {len(data):#x}, found {line!r}")
            data += record[4:-1]
    return data


def intel_hex(data: bytes, at: int = 0) -> str:
    """`data` from address `at` on as Intel HEX, 16 bytes a record."""
    lines = []
    for start in range(0, len(data), 16):
        chunk = data[start : start + 16]
        place = at + start
        record = bytes((len(chunk), place >> 8, place & 0xFF, 0)) + chunk
        lines.append(f":{record.hex().upper()}{-sum(record) & 0xFF:02X}")
    return "\n".join([*lines, ":00000001FF", ""])


def main(arguments: list[str] | None = None) -> int:
    """Write the forms asked for; 1 and one line on stderr if the table is wrong."""
    parser = argparse.ArgumentParser(description="channel table to firmware image")
    parser.add_argument("table", type=Path)
    parser.add_argument("--inc", type=Path, help="C initialiser for the copy in flash")
    parser.add_argument("--eep", type=Path, help="Intel HEX for the EEPROM")
    parser.add_argument("--bin", type=Path, help="plain bytes, for the bench")
    parser.add_argument("--into", type=Path, help="a finished firmware, Intel HEX, to change")
    parser.add_argument("--hex", type=Path, help="where the changed firmware goes")
    asked = parser.parse_args(arguments)
    if (asked.into is None) != (asked.hex is None):
        parser.error("expected --into and --hex together")
    try:
        data = image(asked.table.read_text(encoding="ascii"))
        if asked.into:
            program = from_intel_hex(asked.into.read_text(encoding="ascii"))
            asked.hex.write_text(intel_hex(patched(program, data)), encoding="ascii")
    except (OSError, UnicodeDecodeError, TableError) as error:
        sys.stderr.write(f"{asked.table}: {error}\n")
        return 1
    if asked.inc:
        asked.inc.write_text("".join(f"0x{byte:02X},\n" for byte in data), encoding="ascii")
    if asked.eep:
        asked.eep.write_text(intel_hex(data, EEPROM_AT), encoding="ascii")
    if asked.bin:
        asked.bin.write_bytes(data)
    return 0


if __name__ == "__main__":
    sys.exit(main())
