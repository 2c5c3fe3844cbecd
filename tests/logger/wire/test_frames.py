"""The parser against every row of the specification's reader table, and against anything.

Each case runs whole, byte by byte, and with the start of another line behind it.
"""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refusal import refused
from wattsump_logger.errors import UsageError
from wattsump_logger.thermocouples.converters import supports
from wattsump_logger.thermocouples.registers import PARTS
from wattsump_logger.wire.events import (
    HEX_DIGITS,
    BadCrc,
    ChannelsChanged,
    Event,
    EventFrame,
    Gap,
    Hello,
    Malformed,
    NoHello,
    Noise,
    Oversized,
    Reading,
    Reboot,
    Repeat,
    Unknown,
    UptimeBack,
    UptimeWrap,
    WireChannel,
    details_of,
)
from wattsump_logger.wire.frames import (
    MAX_LINE,
    FrameParser,
    crc16,
    find_hello,
    format_event,
    format_hello,
    format_line,
    format_reading,
)

TANK = WireChannel(name="tank", source="max31855", detail="K")
FAN = WireChannel(name="fan", source="state")
SUPPLY = WireChannel(name="supply", source="value", detail="v")
CHANNELS = (TANK, FAN, SUPPLY)
FIELDS = ("01901900", "1", "13.80")


def hello(seq: int = 0, uptime_ms: int = 0, channels: tuple[WireChannel, ...] = CHANNELS) -> bytes:
    return format_hello(
        seq=seq, uptime_ms=uptime_ms, firmware="ref-1", period_ms=1000, channels=channels
    )


def reading(seq: int, uptime_ms: int, fields: tuple[str, ...] = FIELDS) -> bytes:
    return format_reading(seq=seq, uptime_ms=uptime_ms, fields=fields)


def test_a_channel_of_an_unknown_source_or_unit_costs_its_own_field_and_is_named() -> None:
    declared = "tank:max31855:K;probe:rtd24:P;wind:value:mps;fan:state:"
    parser = FrameParser()
    events = parser.feed(
        format_line(f"H1,0,0,fw,1000,{declared}")
        + reading(1, 5, ("01901900", "ABCDEF", "3.5", "1"))
        + reading(2, 1005, ("01901900", "any thing", "", "x"))
        + reading(3, 2005, ("01901900", "1"))
    )
    assert isinstance(events[0], Hello)
    assert events[0].channels == (TANK, FAN)
    assert events[0].unread == ("probe:rtd24:P", "wind:value:mps")
    assert events[1] == Reading(seq=1, uptime_ms=5, fields=("01901900", "1"))
    assert events[2] == Reading(seq=2, uptime_ms=1005, fields=("01901900", "x"), bad=(1,))
    assert events[3] == Malformed(kind="R1", reason="2 fields for 4 channels")


def test_a_hello_that_moves_an_unknown_channel_moves_the_fields_of_the_others() -> None:
    parser = FrameParser()
    parser.feed(format_line("H1,0,0,fw,1000,tank:max31855:K;probe:rtd24:P"))
    events = parser.feed(
        format_line("H1,1,9,fw,1000,probe:rtd24:P;tank:max31855:K")
        + reading(2, 10, ("7", "0190190"))
    )
    assert [type(event) for event in events] == [Hello, Reading]
    assert events[1] == Reading(seq=2, uptime_ms=10, fields=("0190190",), bad=(0,))


@pytest.mark.parametrize("declared", ["probe:rtd24:P", "tank:max31855:K;probe:RTD:P"])
def test_a_hello_without_any_known_source_or_with_a_form_that_is_none_is_malformed(
    declared: str,
) -> None:
    events = FrameParser().feed(format_line(f"H1,0,0,fw,1000,{declared}"))
    assert events == [Malformed(kind="H1", reason="channel list")]


def said(stream: bytes, chunk: int = 0) -> list[Event]:
    """Return the events after the opening hello, fed whole or in chunks of a size."""
    parser = FrameParser()
    whole = hello() + stream
    size = chunk or len(whole)
    events: list[Event] = []
    for start in range(0, len(whole), size):
        events += parser.feed(whole[start : start + size])
    return events[1:]


def check(stream: bytes, *expected: Event) -> None:
    assert said(stream) == list(expected)
    assert said(stream, chunk=1) == list(expected)
    assert said(stream + b"R1,99") == list(expected)


def test_the_checksum_gives_the_catalogue_s_check_value() -> None:
    # published: CRC RevEng catalogue, CRC-16/IBM-3740, check value of "123456789".
    assert crc16(b"123456789") == 0x29B1


def test_a_reading_has_one_field_for_each_channel_of_the_hello() -> None:
    check(reading(1, 1000), Reading(seq=1, uptime_ms=1000, fields=FIELDS))


def test_an_empty_field_is_no_reading_and_no_fault() -> None:
    check(reading(1, 9, ("", "", "")), Reading(seq=1, uptime_ms=9, fields=("", "", "")))


def test_an_event_frame_carries_its_code_and_detail() -> None:
    line = format_event(seq=1, uptime_ms=5, code="boot", detail="brownout")
    check(line, EventFrame(seq=1, uptime_ms=5, code="boot", detail="brownout"))


@pytest.mark.parametrize(
    ("junk", "count"), [(b"\x80\xff~\n", 3), (b"\r\n", 0), (b"hello there\r\n", 11), (b"*\n", 1)]
)
def test_bytes_that_are_no_frame_are_noise_with_their_count(junk: bytes, count: int) -> None:
    check(junk, Noise(byte_count=count))


def test_reading_goes_on_at_the_line_after_noise() -> None:
    check(
        b"garbage\r\n" + reading(1, 1000),
        Noise(byte_count=7),
        Reading(seq=1, uptime_ms=1000, fields=FIELDS),
    )


@pytest.mark.parametrize("end", [b"\r\n", b"\n", b"\r"])
def test_any_of_the_three_line_ends_is_accepted(end: bytes) -> None:
    lines = reading(1, 1000)[:-2] + end + reading(2, 2000)[:-2] + end
    check(
        lines,
        Reading(seq=1, uptime_ms=1000, fields=FIELDS),
        Reading(seq=2, uptime_ms=2000, fields=FIELDS),
    )


def test_the_longest_line_allowed_is_read() -> None:
    filler = "x" * (MAX_LINE - len("X1,*29B1\r\n"))
    check(format_line(f"X1,{filler}"), Unknown(kind="X1"))


def test_a_longer_line_is_oversized_and_dropped_to_its_end() -> None:
    long_line = b"R1," + b"9" * 600
    check(
        long_line + b"\r\n" + reading(1, 1000),
        Oversized(byte_count=603),
        Reading(seq=1, uptime_ms=1000, fields=FIELDS),
    )


def test_a_line_that_never_ends_is_told_of_while_it_lasts() -> None:
    assert said(b"\0" * 9000) == [Oversized(byte_count=4096)] * 2
    check(b"\0" * 8192 + b"\n", *[Oversized(byte_count=4096)] * 2)


def test_no_more_than_a_line_is_ever_held() -> None:
    parser = FrameParser()
    for _ in range(100):
        parser.feed(b"7" * 97)
        assert parser.held_bytes <= MAX_LINE


@pytest.mark.parametrize(
    "line",
    [
        reading(1, 1000).replace(b"13.80", b"13.81"),
        reading(1, 1000)[:-7] + b"\r\n",
        reading(3, 1000)[:-6] + reading(3, 1000)[-6:].lower(),
        b"R1,1,1000\r\n",
        b"noise with an end*12AB\r\n",
    ],
)
def test_a_wrong_or_missing_checksum_uses_nothing_of_the_line(line: bytes) -> None:
    check(line, BadCrc(byte_count=len(line) - 2))


@pytest.mark.parametrize("content", ["X1,1,5,abc", "R2,1,5,abc", "", "hello"])
def test_a_sound_line_of_an_unknown_kind_or_version_is_unknown(content: str) -> None:
    check(format_line(content), Unknown(kind=content[:2]))


@pytest.mark.parametrize(
    ("content", "kind", "reason"),
    [
        ("R1,1,1000,01901900,1", "R1", "2 fields for 3 channels"),
        ("R1,1,1000,01901900,1,13.80,", "R1", "4 fields for 3 channels"),
        ("R1,4294967296,1000,01901900,1,13.80", "R1", "header"),
        ("R1,1,4294967296,01901900,1,13.80", "R1", "header"),
        ("R1,-1,1000,01901900,1,13.80", "R1", "header"),
        ("R1,1", "R1", "header"),
        ("R1,1,1000,0190\t900,1,13.80", "R1", "header"),
        ("R1,1,1000,01901900,1,13*80", "R1", "header"),
        ("E1,4294967296,1000,mark,a", "E1", "header"),
        ("E1,1,1000,boot,tired", "E1", "detail of boot"),
        ("E1,1,1000,mark,", "E1", "detail of mark"),
        ("E1,1,1000,mark,a=b", "E1", "detail of mark"),
        ("E1,1,1000,overrun,-3", "E1", "detail of overrun"),
        ("E1,1,1000,dance,now", "E1", "event code"),
        ("E1,1,1000", "E1", "header"),
        ("H1,1,1000,ref 1,1000,a:state:", "H1", "firmware, period or channel list"),
        ("H1,1,1000,ref-1,0,a:state:", "H1", "firmware, period or channel list"),
        ("H1,1,1000,ref-1,60001,a:state:", "H1", "firmware, period or channel list"),
        ("H1,1,1000,ref-1,1000,a:state", "H1", "channel list"),
        ("H1,1,1000,ref-1,1000,a:state:;a:state:", "H1", "channel list"),
        ("H1,1,1000,ref-1,1000,A:state:", "H1", "channel list"),
        ("H1,1,1000,ref-1,1000,a:max6675:J", "H1", "channel list"),
        ("H1,1,1000,ref-1,1000,a:value:furlong", "H1", "channel list"),
        ("H1,1,1000,ref-1,1000,a:oracle:K", "H1", "channel list"),
        ("H1,1,1000,r,9," + ";".join(f"c{i}:state:" for i in range(17)), "H1", "channel list"),
    ],
)
def test_a_sound_line_with_a_wrong_body_is_malformed(content: str, kind: str, reason: str) -> None:
    check(format_line(content), Malformed(kind=kind, reason=reason))


def test_a_byte_above_ascii_is_malformed_even_with_a_good_checksum() -> None:
    content = b"E1,1,5,mark,\xe9t\xe9"
    check(b"%s*%04X\r\n" % (content, crc16(content)), Malformed(kind="E1", reason="header"))


@pytest.mark.parametrize(
    ("fields", "bad"),
    [
        (("0190190", "1", "13.80"), (0,)),
        (("0190190g", "1", "13.80"), (0,)),
        (("019019ab", "1", "13.80"), (0,)),
        (("01901900", "2", "13.80"), (1,)),
        (("01901900", "1", "+13.80"), (2,)),
        (("01901900", "1", "1e3"), (2,)),
        (("01901900", "1", "13."), (2,)),
        (("01901900", "1", "1234567890.12"), (2,)),
        (("x", "y", "z"), (0, 1, 2)),
    ],
)
def test_a_field_of_the_wrong_form_is_named_and_the_others_stand(
    fields: tuple[str, ...], bad: tuple[int, ...]
) -> None:
    check(reading(1, 1000, fields), Reading(seq=1, uptime_ms=1000, fields=fields, bad=bad))


def test_a_reading_before_any_hello_is_told_and_not_kept() -> None:
    parser = FrameParser()
    assert parser.feed(reading(7, 7000)) == [NoHello(seq=7, uptime_ms=7000)]
    assert parser.feed(reading(8, 8000)) == [NoHello(seq=8, uptime_ms=8000)]
    assert isinstance(parser.feed(hello(9, 9000))[0], Hello)
    assert isinstance(parser.feed(reading(10, 10_000))[0], Reading)


def test_a_number_skipped_is_a_gap_of_that_many_frames() -> None:
    check(
        reading(1, 1000) + reading(5, 5000),
        Reading(seq=1, uptime_ms=1000, fields=FIELDS),
        Gap(frame_count=3),
        Reading(seq=5, uptime_ms=5000, fields=FIELDS),
    )


def test_the_frame_after_a_damaged_one_also_tells_of_the_gap() -> None:
    damaged = reading(1, 1000).replace(b"13.80", b"99.80")
    check(
        damaged + reading(2, 2000),
        BadCrc(byte_count=len(damaged) - 2),
        Gap(frame_count=1),
        Reading(seq=2, uptime_ms=2000, fields=FIELDS),
    )


def test_the_counter_wraps_without_a_gap() -> None:
    before = 2**32 - 1
    check(
        reading(before, 5000) + reading(0, 6000),
        Reboot(seq=before, uptime_ms=5000),
        Gap(frame_count=before),
        Reading(seq=before, uptime_ms=5000, fields=FIELDS),
        Reading(seq=0, uptime_ms=6000, fields=FIELDS),
    )


def test_the_same_frame_twice_is_a_repeat_and_dropped() -> None:
    check(
        reading(1, 1000) * 2,
        Reading(seq=1, uptime_ms=1000, fields=FIELDS),
        Repeat(seq=1, uptime_ms=1000),
    )


def test_repeats_of_events_and_of_later_hellos_are_dropped_as_well() -> None:
    press = format_event(seq=1, uptime_ms=5, code="mark", detail="fan")
    assert [type(event) for event in said(press * 2)] == [EventFrame, Repeat]
    assert [type(event) for event in said(hello(1, 60_000) * 2)] == [Hello, Repeat]


def test_uptime_passing_its_end_is_a_wrap() -> None:
    high = 2**32 - 100
    check(
        reading(1, high) + reading(2, 900),
        Reading(seq=1, uptime_ms=high, fields=FIELDS),
        UptimeWrap(uptime_ms=900),
        Reading(seq=2, uptime_ms=900, fields=FIELDS),
    )


def test_a_frame_lost_at_the_wrap_is_a_wrap_with_a_gap() -> None:
    high = 2**32 - 100
    check(
        reading(1, high) + reading(4, 2900),
        Reading(seq=1, uptime_ms=high, fields=FIELDS),
        UptimeWrap(uptime_ms=2900),
        Gap(frame_count=2),
        Reading(seq=4, uptime_ms=2900, fields=FIELDS),
    )


def test_uptime_going_back_is_a_reboot() -> None:
    events = said(reading(1, 1000) + hello(0, 12) + reading(1, 1012))
    assert [type(event) for event in events] == [Reading, Reboot, Hello, Reading]


def test_uptime_going_back_while_the_counter_just_goes_on_is_no_boot_and_no_gap() -> None:
    check(
        reading(1, 3_600_000) + reading(2, 3_599_999) + reading(3, 3_601_000),
        Reading(seq=1, uptime_ms=3_600_000, fields=FIELDS),
        UptimeBack(uptime_ms=3_599_999),
        Reading(seq=2, uptime_ms=3_599_999, fields=FIELDS),
        Reading(seq=3, uptime_ms=3_601_000, fields=FIELDS),
    )


def test_a_boot_near_the_end_of_uptime_is_still_a_reboot() -> None:
    events = said(reading(1, 2**32 - 5) + hello(0, 12))
    assert [type(event) for event in events] == [Reading, Reboot, Hello]


def test_frames_missed_since_a_boot_are_a_gap() -> None:
    check(
        reading(1, 1000) + reading(3, 30),
        Reading(seq=1, uptime_ms=1000, fields=FIELDS),
        Reboot(seq=3, uptime_ms=30),
        Gap(frame_count=3),
        Reading(seq=3, uptime_ms=30, fields=FIELDS),
    )


def test_a_counter_going_back_while_uptime_goes_on_is_a_boot_nobody_saw() -> None:
    check(
        reading(1, 1000) + reading(2, 2000) + reading(2, 2500),
        Reading(seq=1, uptime_ms=1000, fields=FIELDS),
        Reading(seq=2, uptime_ms=2000, fields=FIELDS),
        Reboot(seq=2, uptime_ms=2500),
        Gap(frame_count=2),
        Reading(seq=2, uptime_ms=2500, fields=FIELDS),
    )


def test_a_controller_that_boots_again_and_again_is_told_each_time() -> None:
    events = said(hello(0, 12) * 3)
    assert [type(event) for event in events] == [Reboot, Hello] * 3


def test_a_hello_with_other_channels_says_so_before_it_counts() -> None:
    events = said(hello(1, 1000, (TANK,)) + reading(2, 2000, ("01901900",)))
    assert events[0] == ChannelsChanged(before=CHANNELS, after=(TANK,))
    assert events[2] == Reading(seq=2, uptime_ms=2000, fields=("01901900",))


def test_the_same_hello_again_changes_nothing() -> None:
    assert [type(event) for event in said(hello(1, 60_000))] == [Hello]


def test_an_unfinished_line_can_be_asked_for() -> None:
    parser = FrameParser()
    assert parser.feed(hello()[:-2]) == []
    assert isinstance(parser.finish()[0], Hello)
    assert parser.finish() == []


@pytest.mark.parametrize("content", [{"channels": ()}, {"period_ms": 0}, {"firmware": "two words"}])
def test_a_hello_that_would_be_malformed_is_not_written(content: dict[str, object]) -> None:
    asked: dict[str, object] = {"firmware": "ref-1", "period_ms": 1000, "channels": CHANNELS}
    with refused(UsageError, "hello frame"):
        format_hello(seq=0, uptime_ms=0, **{**asked, **content})  # type: ignore[arg-type]


def test_an_event_that_would_be_malformed_is_not_written() -> None:
    with refused(UsageError, "event frame"):
        format_event(seq=0, uptime_ms=0, code="mark", detail="two words")


def test_a_line_that_would_be_oversized_is_not_written() -> None:
    with pytest.raises(UsageError, match="at most 512 bytes"):
        format_line("R1," + "9" * 503)


def test_every_thermocouple_a_hello_may_declare_can_be_read() -> None:
    declared = [(source, detail) for source in HEX_DIGITS for detail in details_of(source)]
    assert [pair for pair in declared if not supports(*pair)] == []
    assert len(declared) == sum(len(part.letters) for part in PARTS.values())
    with pytest.raises(UsageError, match="tank:max31855:B"):
        WireChannel(name="tank", source="max31855", detail="B")


@pytest.mark.parametrize(
    ("data", "at_line_start", "found"),
    [
        (b"H1,0", True, (0, True)),
        (b"H1,0", False, (4, False)),
        (b"3\r\nH1,0", False, (3, True)),
        (b"R1,3\r\nH", True, (6, False)),
        (b"R1,3\r\nH1", True, (6, False)),
        (b"R1,3\r\n", True, (6, False)),
        (b"R1,H1,", True, (6, False)),
        (b"H", True, (0, False)),
        (b"", True, (0, False)),
    ],
)
def test_a_hello_is_found_at_the_start_of_a_line_alone(
    data: bytes, at_line_start: bool, found: tuple[int, bool]
) -> None:
    assert find_hello(data, at_line_start=at_line_start) == found


def test_a_channel_that_no_hello_may_carry_is_refused() -> None:
    with refused(UsageError, "channel 'Tank'"):
        WireChannel(name="Tank", source="state")


_STREAM = st.lists(
    st.one_of(
        st.binary(max_size=40),
        st.sampled_from([b"\r", b"\n", b"\r\n", b"*", b"R1,", b"9" * 600, hello(), hello(3, 9)]),
        st.builds(reading, st.integers(0, 9), st.integers(0, 9000)),
        st.builds(reading, st.just(2), st.integers(2**32 - 10, 2**32 - 1)),
    ),
    max_size=12,
).map(b"".join)


@given(stream=_STREAM, data=st.data())
def test_however_the_stream_is_cut_the_events_are_the_same(
    stream: bytes, data: st.DataObject
) -> None:
    whole = FrameParser().feed(stream)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=12)))
    parser = FrameParser()
    pieces: list[Event] = []
    for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        pieces += parser.feed(stream[start:end])
        assert parser.held_bytes <= MAX_LINE
    assert pieces == whole


@given(stream=st.binary(max_size=2000))
def test_any_bytes_at_all_give_events_and_never_an_error(stream: bytes) -> None:
    parser = FrameParser()
    events = parser.feed(stream) + parser.finish()
    ends = len(re.findall(rb"\r\n|\r|\n", stream))
    assert len(events) <= ends + 2


@given(
    words=st.lists(st.integers(0, 2**32 - 1), min_size=1, max_size=16),
    seq=st.integers(0, 2**32 - 1),
    uptime_ms=st.integers(0, 2**32 - 1),
)
def test_what_is_written_reads_back(words: list[int], seq: int, uptime_ms: int) -> None:
    channels = tuple(
        WireChannel(name=f"c{i}", source="max31855", detail="K") for i in range(len(words))
    )
    parser = FrameParser()
    fields = tuple(f"{word:08X}" for word in words)
    first = parser.feed(hello(seq, uptime_ms, channels))
    second = parser.feed(reading(seq + 1, uptime_ms, fields))
    assert isinstance(first[0], Hello)
    assert first[0].channels == channels
    assert second == [Reading(seq=(seq + 1) % 2**32, uptime_ms=uptime_ms, fields=fields)]


@pytest.mark.parametrize("cut", [1, 7, 20, 30])
def test_a_hello_that_ends_a_line_cut_by_a_restart_is_taken(cut: int) -> None:
    line = reading(5, 9000)[:cut]
    events = said(line + hello(0, 12))
    assert [type(event) for event in events[-2:]] == [Reboot, Hello]
    assert isinstance(events[-3], BadCrc | Noise)
