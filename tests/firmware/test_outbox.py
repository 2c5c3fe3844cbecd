"""The frames of the firmware: their bytes, their counter, and what happens with no room."""

import binascii
import re

from firmware.harness import Harness


def crc_of(line: bytes) -> str:
    return f"{binascii.crc_hqx(line.split(b'*')[0], 0xFFFF):04X}"


def test_a_reading_is_printed_field_by_field(harness: Harness) -> None:
    harness.order("ring 1024 41")
    harness.order("reading 5000 x064C1900 - c1 h1380 xFFFFFFFF h5")
    line = harness.lines()
    assert line.split(b"*")[0] == b"R1,41,5000,064C1900,,1,13.80,FFFFFFFF,0.05"
    assert line.endswith(crc_of(line).encode() + b"\r\n")


def test_numbers_are_decimal_without_leading_zeros_at_both_ends(harness: Harness) -> None:
    for seq, uptime in ((0, 0), (10, 100), (4294967295, 4294967295), (1000000000, 999999999)):
        harness.order(f"ring 1024 {seq}")
        harness.order(f"event {uptime} mark button")
        assert harness.lines().startswith(f"E1,{seq},{uptime},mark,button*".encode())


def test_the_counter_wraps_to_zero(harness: Harness) -> None:
    harness.order("ring 1024 4294967295")
    harness.order("event 1 mark a")
    harness.order("event 2 mark b")
    seqs = re.findall(rb"E1,(\d+),", harness.lines())
    assert seqs == [b"4294967295", b"0"]


def test_frames_that_found_no_room_are_counted_spent_and_reported(harness: Harness) -> None:
    harness.order("ring 128 0")
    for at in range(10):
        harness.order(f"reading {at} x00112233 x00112233")
    first = harness.lines()
    lost = int(harness.order("lost"))
    assert lost == 10 - first.count(b"\r\n")
    assert 0 < lost < 10
    harness.order("overrun 10")
    harness.order("reading 11 x00112233")
    lines = harness.lines().split(b"\r\n")
    assert lines[0].startswith(b"E1,10,10,overrun,%d*" % lost)
    assert lines[1].startswith(b"R1,11,11,")
    assert harness.order("lost") == "0"


def test_no_torn_line_ever_reaches_the_port(harness: Harness) -> None:
    harness.order("ring 256 0")
    sent = b""
    for at in range(200):
        harness.order(f"reading {at} x0011223344556677 x0011223344556677 h12345")
        harness.order(f"overrun {at}")
        sent += bytes.fromhex(harness.order("take 37"))
    sent += harness.lines()
    harness.order("overrun 200")
    harness.order("event 200 note end")
    sent += harness.lines()
    lines = sent.split(b"\r\n")
    assert lines.pop() == b""
    reported = 0
    for line in lines:
        assert line[-4:].decode() == crc_of(line)
        if b"overrun" in line:
            reported += int(line.split(b",")[4].split(b"*")[0])
    # The counter is spent on lost frames too, so sent and lost make one unbroken count.
    assert int(lines[-1].split(b",")[1]) + 1 == len(lines) + reported


def test_the_overrun_event_waits_for_room(harness: Harness) -> None:
    harness.order("ring 64 0")
    harness.order("event 0 note aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa")
    harness.order("event 0 note b")
    harness.order("event 0 note c")
    harness.order("overrun 1")
    assert int(harness.order("lost")) >= 1
    assert b"overrun" not in harness.lines()
    harness.order("overrun 2")
    assert b"overrun" in harness.lines()


def test_a_line_of_512_bytes_is_sent_and_one_of_513_is_dropped(harness: Harness) -> None:
    fixed = len("E1,0,0,*0000\r\n")
    for length, answer in ((512, "sent"), (513, "dropped")):
        harness.order("ring 1024 0")
        assert harness.order("raw E 0 0 " + "a" * (length - fixed)) == answer
        assert len(harness.lines()) == (512 if answer == "sent" else 0)
