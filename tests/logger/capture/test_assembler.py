"""The one path from bytes to rows: what each event on the wire leaves in the session."""

from datetime import UTC, datetime

import pytest

from refusal import refused
from wattsump_logger.capture.assembler import Assembler, Start
from wattsump_logger.capture.clock import NO_ANCHOR, Anchor
from wattsump_logger.errors import UsageError
from wattsump_logger.machine.profile import profile_from_dict
from wattsump_logger.session.rows import Row
from wattsump_logger.wire.events import WireChannel
from wattsump_logger.wire.frames import format_event, format_hello, format_line, format_reading

TANK = WireChannel(name="tank", source="max31855", detail="K")
FAN = WireChannel(name="fan", source="state")
FLOW = WireChannel(name="flow", source="value", detail="lpm")
AIR = WireChannel(name="ambient", source="value", detail="c")
CHANNELS = (TANK, FAN, FLOW, AIR)
# published: MAX31855 datasheet tables 4 and 5: 25.00 °C at a cold junction of 25 °C.
FIELDS = ("01901900", "1", "12.5", "15.25")
CELLS = ["25.000", "1", "12.5", "15.25"]
NOON_MS = 1_777_896_000_000  # 2026-05-04T12:00:00Z


def hello(seq: int = 0, uptime_ms: int = 0, channels: tuple[WireChannel, ...] = CHANNELS) -> bytes:
    return format_hello(
        seq=seq, uptime_ms=uptime_ms, firmware="ref-1", period_ms=1000, channels=channels
    )


def reading(seq: int, uptime_ms: int, fields: tuple[str, ...] = FIELDS) -> bytes:
    return format_reading(seq=seq, uptime_ms=uptime_ms, fields=fields)


def event(seq: int, uptime_ms: int, code: str, detail: str) -> bytes:
    return format_event(seq=seq, uptime_ms=uptime_ms, code=code, detail=detail)


def at(mono_s: float, utc_ms: int | None = None) -> Anchor:
    mono_ms = round(mono_s * 1000)
    return Anchor(utc_ms=NOON_MS + mono_ms if utc_ms is None else utc_ms, mono_ms=mono_ms)


def rows_of(*pieces: bytes | tuple[bytes, Anchor], **options: object) -> list[Row]:
    """Return the rows of these pieces, and the last one for what no reading carried."""
    assembler = Assembler(**options)  # type: ignore[arg-type]
    out: list[Start | Row] = []
    for piece in pieces:
        data, anchor = piece if isinstance(piece, tuple) else (piece, NO_ANCHOR)
        out += assembler.feed(data, anchor)
    return [item for item in [*out, *assembler.finish()] if isinstance(item, Row)]


def test_a_session_starts_with_the_hello_and_its_columns() -> None:
    start = Assembler().feed(hello())[0]
    assert isinstance(start, Start)
    assert start.columns == ("tank_c", "fan_on", "flow_lpm", "ambient_c")


def test_readings_become_rows_from_elapsed_zero() -> None:
    rows = rows_of(hello() + reading(1, 700) + reading(2, 1700))
    assert [(row.elapsed_ms, row.seq, list(row.cells)) for row in rows] == [
        (0, 1, CELLS),
        (1000, 2, CELLS),
    ]
    assert all(row.time_utc == row.fault == row.mark == "" for row in rows)


def test_no_reading_is_an_empty_cell_and_a_fault_is_one_too_but_named() -> None:
    # published: MAX31855 datasheet table 2: D16 and D0 set is an open thermocouple.
    row = rows_of(hello() + reading(1, 0, ("00011901", "", "", "")))[0]
    assert list(row.cells) == ["", "", "", ""]
    assert row.fault == "tank:open"


def test_a_field_of_the_wrong_form_is_a_fault_of_its_channel() -> None:
    row = rows_of(hello() + reading(1, 0, ("0190", "yes", "12.5", "1e9")))[0]
    assert list(row.cells) == ["", "", "12.5", ""]
    assert row.fault == "tank:form;fan:form;ambient:form"


def test_a_gap_and_a_bad_checksum_are_told_in_the_next_row() -> None:
    damaged = reading(2, 1000).replace(b"12.5", b"92.5")
    rows = rows_of(hello() + reading(1, 0) + damaged + b"zz\r\n" + reading(5, 4000))
    assert rows[1].fault == "wire:bad_crc=1;wire:noise=2;wire:gap=3"
    assert rows[1].elapsed_ms == 4000


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        (b"9" * 600 + b"\n", "wire:oversized=600"),
        (format_line("X1,2,2000,abc"), "wire:unknown=1"),
        (format_line("R1,2,2000,1"), "wire:malformed=1"),
        (reading(1, 1000), "wire:repeat=1"),
        (event(2, 1100, "overrun", "7"), "wire:overrun=7"),
        (event(2, 1100, "boot", "watchdog"), "wire:boot=watchdog"),
    ],
)
def test_each_trouble_on_the_wire_has_a_code(line: bytes, fault: str) -> None:
    rows = rows_of(hello() + reading(1, 1000) + line + reading(3, 2000))
    assert rows[1].fault.split(";")[0] == fault


def test_a_channel_of_an_unknown_source_is_named_once_and_the_others_are_kept() -> None:
    declared = format_line("H1,0,0,fw,1000,probe:rtd24:P;fan:state:")
    rows = rows_of(declared + format_line("R1,1,1000,FF,1") + format_line("R1,2,2000,FF,0"))
    assert [row.fault for row in rows] == ["wire:unread=probe", ""]
    assert [list(row.cells) for row in rows] == [["1"], ["0"]]


def test_readings_before_a_hello_are_counted() -> None:
    rows = rows_of(reading(8, 8000) + reading(9, 9000) + hello(10, 9500) + reading(11, 10_000))
    assert [(row.elapsed_ms, row.fault) for row in rows] == [(0, "wire:no_hello=2")]


def test_a_mark_goes_to_the_reading_after_it() -> None:
    rows = rows_of(
        hello()
        + reading(1, 0)
        + event(2, 300, "mark", "fan")
        + event(3, 400, "note", "card-full")
        + reading(4, 1000)
    )
    assert [row.mark for row in rows] == ["", "fan;note card-full"]


def test_a_last_mark_without_a_reading_gets_a_row_of_its_own() -> None:
    rows = rows_of(hello() + reading(1, 0) + event(2, 300, "mark", "stop"))
    assert (rows[1].elapsed_ms, rows[1].seq, rows[1].mark) == (300, None, "stop")
    assert list(rows[1].cells) == [""] * 4


def test_marks_without_end_are_bounded_and_counted() -> None:
    presses = b"".join(event(n, n, "mark", "x") for n in range(2, 102))
    row = rows_of(hello() + reading(1, 0) + presses + reading(102, 1000))[1]
    assert row.mark.count("x") == 64
    assert row.fault == "wire:marks_dropped=36"


def test_uptime_wrapping_goes_on_evenly() -> None:
    high = 2**32 - 1000
    rows = rows_of(hello(0, high) + reading(1, high) + reading(2, 0) + reading(3, 1000))
    assert [row.elapsed_ms for row in rows] == [0, 1000, 2000]
    assert all(row.fault == "" for row in rows)


def test_after_a_reboot_time_goes_on_by_the_host_s_monotonic_clock() -> None:
    rows = rows_of(
        (hello() + reading(1, 60_000), at(100)),
        (hello(0, 12) + event(1, 12, "boot", "brownout") + reading(2, 20), at(107.5)),
        (reading(3, 1020), at(108.5)),
    )
    assert [row.elapsed_ms for row in rows] == [0, 7508, 8508]
    assert rows[1].fault == "wire:reboot=1;wire:boot=brownout"


def test_after_a_reboot_without_a_host_clock_the_time_is_the_least_it_was_and_said_so() -> None:
    rows = rows_of(hello() + reading(1, 60_000) + hello(0, 12) + reading(1, 500))
    assert [row.elapsed_ms for row in rows] == [0, 500]
    assert rows[1].fault == "wire:reboot=1;wire:time_unknown=1"


@pytest.mark.parametrize("wrong_ms", [3_599_999, 3_602_000 + 65_536, 3_602_000 + 2**24])
def test_an_uptime_misread_after_an_hour_costs_no_time_and_is_told(wrong_ms: int) -> None:
    hour_s, hour_ms = 3600, 3_600_000
    rows = rows_of(
        (hello() + reading(1, 0), at(0)),
        *((reading(n + 1, n * 1000), at(n)) for n in range(1, hour_s + 1)),
        (reading(hour_s + 2, hour_ms + 1000), at(hour_s + 1)),
        (reading(hour_s + 3, wrong_ms), at(hour_s + 2)),
        (reading(hour_s + 4, hour_ms + 3000), at(hour_s + 3)),
        (reading(hour_s + 5, hour_ms + 4000), at(hour_s + 4)),
    )
    assert [row.elapsed_ms for row in rows[-4:]] == [hour_ms + n * 1000 for n in (1, 2, 3, 4)]
    assert [row.fault for row in rows if row.fault] == ["wire:uptime_step=1"]


def test_an_uptime_that_goes_back_for_good_is_followed_from_there() -> None:
    rows = rows_of(
        (hello() + reading(1, 100_000), at(1)),
        (reading(2, 50_000), at(2)),
        (reading(3, 51_000), at(3)),
        (reading(4, 52_000), at(4)),
    )
    assert [row.elapsed_ms for row in rows] == [0, 1000, 2000, 3000]


def test_without_a_host_a_misread_uptime_is_one_interval_on() -> None:
    rows = rows_of(hello() + reading(1, 9000) + reading(2, 8999) + reading(3, 9999))
    assert [row.elapsed_ms for row in rows] == [0, 1000, 2000]
    assert rows[1].fault == "wire:uptime_step=1"


def test_a_controller_that_stood_still_for_a_minute_keeps_its_time() -> None:
    rows = rows_of(
        (hello() + reading(1, 1000), at(1)),
        (reading(2, 61_000), at(61)),
        (reading(3, 62_000), at(62)),
    )
    assert [row.elapsed_ms for row in rows] == [0, 60_000, 61_000]
    assert all(row.fault == "" for row in rows)


def test_a_reboot_loop_is_counted_and_takes_no_memory() -> None:
    rows = rows_of(hello() + reading(1, 60_000) + hello(0, 12) * 5000 + reading(1, 1000))
    assert rows[1].fault == "wire:reboot=5000;wire:time_unknown=5000"


def test_a_restart_that_only_the_host_s_clock_can_show_is_found_after_a_lost_port() -> None:
    assembler = Assembler()
    assembler.note("opened", "a", at(0))
    assembler.feed(hello() + reading(1, 1000), at(10))
    assembler.note("lost", "a", at(10.5))
    assembler.note("opened", "b", at(300))
    # The counter has gone on from a new zero to just where it might have been.
    assert assembler.feed(reading(90, 90_000), at(300.2)) == []  # nothing speaks for it yet
    rows = assembler.feed(reading(91, 91_000), at(301.2))
    assert isinstance(rows[0], Row)
    assert rows[0].fault == "wire:lost=1;wire:gap=88;wire:reboot=1"
    assert rows[0].elapsed_ms == 290_200


def test_a_lost_port_without_a_restart_leaves_the_controller_s_time() -> None:
    assembler = Assembler()
    assembler.note("opened", "a", at(0))
    assembler.feed(hello() + reading(1, 1000), at(10))
    assembler.note("lost", "a", at(10.5))
    assembler.note("opened", "b", at(300))
    assembler.feed(reading(291, 291_000), at(300.2))
    rows = assembler.feed(reading(292, 292_000), at(301.2))
    assert isinstance(rows[0], Row)
    assert rows[0].fault == "wire:lost=1;wire:gap=289"
    assert rows[0].elapsed_ms == 290_000


def test_the_line_a_lost_port_cut_does_not_swallow_the_next_hello() -> None:
    assembler = Assembler()
    assembler.feed(hello() + reading(1, 1000) + b"R1,2,20", at(10))
    assembler.note("lost", "", at(10))
    out = assembler.feed(hello(0, 5) + reading(1, 1005), at(13))
    assert isinstance(out[0], Row)
    assert out[0].fault == "wire:bad_crc=1;wire:lost=1;wire:reboot=1"


def test_other_channels_begin_another_session_at_elapsed_zero() -> None:
    assembler = Assembler()
    out = assembler.feed(
        hello()
        + reading(1, 1000)
        + event(2, 1500, "mark", "last")
        + hello(3, 2000, (TANK,))
        + reading(4, 3000, ("01901900",)),
        at(5),
    )
    assert [type(item) for item in out] == [Start, Row, Row, Start, Row]
    rows = [item for item in out if isinstance(item, Row)]
    assert [row.elapsed_ms for row in rows] == [0, 500, 0]
    assert rows[1].mark == "last"


def test_wall_time_is_the_host_s_at_the_newest_row_of_a_chunk() -> None:
    rows = rows_of((hello() + reading(1, 1000) + reading(2, 2000), at(60)))
    assert [row.time_utc for row in rows] == [
        "2026-05-04T12:00:59.000Z",
        "2026-05-04T12:01:00.000Z",
    ]


def test_a_host_clock_that_is_not_set_gives_no_time_until_it_is() -> None:
    rows = rows_of(
        (hello() + reading(1, 1000), at(1, utc_ms=5_000)),
        (reading(2, 2000), at(2, utc_ms=6_000)),
        (reading(3, 3000), at(3)),
    )
    assert [row.time_utc for row in rows] == ["", "", "2026-05-04T12:00:03.000Z"]
    assert [row.fault for row in rows] == ["", "wire:clock_unset", ""]


@pytest.mark.parametrize(
    ("step_s", "said"), [(3600, "+3600"), (-86_400, "-86400"), (10**9, "+1000000000")]
)
def test_a_stepped_wall_clock_is_told_and_elapsed_time_does_not_mind(
    step_s: int, said: str
) -> None:
    rows = rows_of(
        (hello() + reading(1, 1000), at(1)),
        (reading(2, 2000), at(2, utc_ms=NOON_MS + 2000 + step_s * 1000)),
        (reading(3, 3000), at(3, utc_ms=NOON_MS + 3000 + step_s * 1000)),
    )
    assert [row.elapsed_ms for row in rows] == [0, 1000, 2000]
    assert [row.fault for row in rows] == ["", "", f"wire:clock_step={said}"]


def test_a_controller_clock_that_drifts_is_followed_without_a_fault() -> None:
    pieces = [(hello(), at(0))]
    # A ceramic resonator 0.5 % slow (common practice, no source) over an hour.
    pieces += [(reading(n, n * 995), at(n)) for n in range(1, 3601)]
    rows = rows_of(*pieces)
    assert all(row.fault == "" for row in rows)
    assert rows[-1].elapsed_ms == 3599 * 995
    assert rows[-1].time_utc.startswith("2026-05-04T12:59:59.") or rows[-1].time_utc.startswith(
        "2026-05-04T13:00:00."
    )


def test_a_typed_start_gives_the_times_where_nothing_had_a_clock() -> None:
    rows = rows_of(
        hello() + reading(1, 1000) + reading(2, 3000), start_utc=datetime(2026, 5, 4, tzinfo=UTC)
    )
    assert [row.time_utc for row in rows] == [
        "2026-05-04T00:00:00.000Z",
        "2026-05-04T00:00:02.000Z",
    ]


def profile(**channels: dict[str, object]) -> object:
    return profile_from_dict({"name": "Bracken", "oil": _OIL, "channels": channels})


_OIL = {"grade": "VG 46", "volume": "18 L"}


def test_an_offset_of_the_profile_is_added_to_a_temperature_and_kept_in_the_start() -> None:
    machine = profile(tank={"offset": "0.4 K"}, ambient={"offset": "-1 K"})
    assembler = Assembler(machine)  # type: ignore[arg-type]
    start, row = assembler.feed(hello() + reading(1, 0))
    assert isinstance(start, Start)
    assert start.offsets_k == {"tank_c": 0.4, "ambient_c": -1.0}
    assert isinstance(row, Row)
    assert list(row.cells) == ["25.400", "1", "12.5", "14.250"]


def test_a_probe_of_another_type_is_converted_as_what_it_is() -> None:
    # published: type_t and type_k tables of NIST ITS-90: the same emf is a lower
    # temperature on T, whose sensitivity is higher: E_K(100) = 4.096 mV is E_T(96.2).
    field = ("06401900", "1", "12.5", "15.25")
    as_k = rows_of(hello() + reading(1, 0, field))[0]
    as_t = rows_of(hello() + reading(1, 0, field), profile=profile(tank={"sensor": "T class 1"}))[0]
    assert float(as_k.cells[0]) == pytest.approx(100.0, abs=0.1)
    assert float(as_t.cells[0]) == pytest.approx(96.2, abs=0.3)


def test_a_renamed_channel_has_its_new_name_in_column_and_fault() -> None:
    assembler = Assembler(names={"tank": "sump"})
    start, row = assembler.feed(hello() + reading(1, 0, ("00011901", "1", "1", "1")))
    assert isinstance(start, Start)
    assert start.columns[0] == "sump_c"
    assert isinstance(row, Row)
    assert row.fault == "sump:open"


def test_two_channels_cannot_be_given_one_name() -> None:
    with refused(UsageError, "new channel names"):
        Assembler(names={"tank": "flow"}).feed(hello())


def test_however_the_bytes_are_cut_the_rows_are_the_same() -> None:
    stream = (
        hello()
        + event(1, 0, "boot", "power")
        + b"".join(reading(n, n * 100) for n in range(2, 40))
        + b"junk\n"
        + event(41, 4050, "mark", "fan")
        + reading(42, 4200)
        + hello(0, 9)
        + reading(1, 100)
    )
    whole = rows_of(stream)
    for size in (1, 7, 64, 1000):
        pieces = [stream[start : start + size] for start in range(0, len(stream), size)]
        assert rows_of(*pieces) == whole
