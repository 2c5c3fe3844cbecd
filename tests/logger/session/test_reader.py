"""The session file: what is written reads back, and what is damaged is told of."""

import csv
import io
import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from refusal import refused
from wattsump_logger.errors import SessionError, UsageError
from wattsump_logger.session.newest import newest_session
from wattsump_logger.session.reader import Fault, Mark, Session, load_session, write_session
from wattsump_logger.session.rows import Row, mark_cell, marks_of
from wattsump_logger.session.sidecar import FORMAT, sidecar_path
from wattsump_logger.session.writer import SessionWriter

HEADER = "time_utc,elapsed_s,seq,tank_c,fan_on,fault,mark\r\n"
START = datetime(2026, 5, 4, 7, 30, tzinfo=UTC)


def bare(folder: Path, *rows: str, header: str = HEADER) -> Path:
    """Write a session CSV by hand, without sidecar."""
    path = folder / "outing.csv"
    path.write_text(header + "".join(f"{row}\r\n" for row in rows), encoding="utf-8", newline="")
    return path


def row(second: int, tank: str = "20.000", fault: str = "", mark: str = "") -> str:
    return f"2026-05-04T07:30:{second:02d}.000Z,{second}.000,{second},{tank},1,{fault},{mark}"


def test_what_is_written_reads_back_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    tank = [20.0, np.nan, 21.5]
    write_session(
        path,
        [0.0, 0.5, 1.25],
        {"tank_c": tank, "fan_on": [0, 1, 1]},
        start_utc=START,
        metadata={"controller": "ref-1"},
        faults={1: "tank:open;wire:gap=3"},
        marks={2: "climb"},
    )
    session = load_session(path)
    assert session.elapsed_s.tolist() == [0.0, 0.5, 1.25]
    np.testing.assert_array_equal(session.columns["tank_c"], tank)
    assert session.columns["seq"].tolist() == [0, 1, 2]
    assert session.faults == (
        Fault(row=1, elapsed_s=0.5, channel="tank", code="open"),
        Fault(row=1, elapsed_s=0.5, channel="wire", code="gap", detail="3"),
    )
    assert session.marks == (Mark(elapsed_s=1.25, text="climb"),)
    assert session.start_utc == START
    assert session.metadata == {"format": FORMAT, "controller": "ref-1"}
    assert session.notes == ()
    table = session.frame()
    assert list(table.columns) == ["elapsed_s", "seq", "tank_c", "fan_on", "fault", "mark"]
    assert table.index[0] == START
    assert table["fault"].tolist() == ["", "tank:open;wire:gap=3", ""]
    assert table["mark"].tolist() == ["", "", "climb"]
    assert "3 rows" in repr(session)


def codes(session: Session) -> list[str]:
    return [note.code for note in session.notes]


def test_the_file_is_what_the_standard_library_s_csv_reader_expects(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    write_session(path, [0.0], {"tank_c": [20.0]}, marks={0: 'said "go", twice'})
    data = path.read_bytes()
    # published: RFC 4180 section 2, rules 1, 3 and 7: CRLF, a header, doubled quotes.
    assert data.count(b"\r\n") == data.count(b"\n") == 2
    rows = list(csv.reader(io.StringIO(data.decode()), strict=True))
    assert rows[0] == ["time_utc", "elapsed_s", "seq", "tank_c", "fault", "mark"]
    assert rows[1][-1] == 'said "go", twice'


def test_a_torn_last_row_is_left_out_and_said(tmp_path: Path) -> None:
    path = bare(tmp_path, row(0), row(1))
    with path.open("ab") as file:
        file.write(b"2026-05-04T07:30:02.000Z,2.0")
    session = load_session(path)
    assert len(session.elapsed_s) == 2
    assert codes(session) == ["row-torn", "no-sidecar"]


def test_cut_anywhere_the_file_still_loads_or_is_refused_plainly(tmp_path: Path) -> None:
    whole = bare(tmp_path, row(0, mark="go"), row(1, fault="tank:open"), row(2)).read_bytes()
    path = tmp_path / "cut.csv"
    for size in range(len(whole) + 1):
        path.write_bytes(whole[:size])
        if size < len(HEADER):
            with refused(SessionError, "cut.csv, line 1"):
                load_session(path)
        else:
            assert len(load_session(path).elapsed_s) == whole[:size].count(b"\n") - 1


@pytest.mark.parametrize("zeros", [1, 40, 5000])
def test_nul_bytes_of_a_power_cut_cost_their_rows_only(tmp_path: Path, zeros: int) -> None:
    path = bare(tmp_path, row(0), "\0" * zeros, row(2))
    session = load_session(path)
    assert session.elapsed_s.tolist() == [0.0, 2.0]
    assert codes(session) == ["rows-damaged", "no-sidecar"]
    assert f"line 3: {zeros} NUL bytes" in session.notes[0].text


def test_a_tail_of_nul_bytes_is_a_torn_row(tmp_path: Path) -> None:
    path = bare(tmp_path, row(0))
    path.write_bytes(path.read_bytes() + b"\0" * 4096)
    assert codes(load_session(path)) == ["row-torn", "no-sidecar"]


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        ("x,y", "2 cells for 7 columns"),
        (row(1, tank="warm"), "'warm' in tank_c"),
        (row(1, tank="inf"), "'inf' in tank_c"),
        (row(1) + ",", "8 cells for 7 columns"),
        (row(1, mark='"open'), "unexpected end of data"),
    ],
)
def test_a_damaged_row_is_left_out_and_said(tmp_path: Path, bad: str, said: str) -> None:
    session = load_session(bare(tmp_path, row(0), bad, row(2)))
    assert session.elapsed_s.tolist() == [0.0, 2.0]
    assert codes(session) == ["rows-damaged", "no-sidecar"]
    assert f"line 3: {said}" in session.notes[0].text


def test_many_damaged_rows_are_counted_and_a_few_shown(tmp_path: Path) -> None:
    session = load_session(bare(tmp_path, row(0), *["?"] * 9))
    assert session.notes[0].code == "rows-damaged"
    assert session.notes[0].text.count("line ") == 3


def test_a_file_of_damaged_rows_only_is_refused(tmp_path: Path) -> None:
    with refused(SessionError, "outing.csv"):
        load_session(bare(tmp_path, "a,b", "c,d"))


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "found an empty file"),
        (b"\n", "found an empty file"),
        (b"Time,Oil,Air\r\n0,20,15\r\n", "found 'Time,Oil,Air"),
        (b"time_utc;elapsed_s;seq;fault;mark\r\n", "a spreadsheet saved it"),
        (b"wattsump-wire-1\n@- - 3\nabc\n", "`wattsump import` makes a session"),
        (b"H1,0,0,ref-1,1000,a:state:*0000\r\n", "`wattsump import` makes a session"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "expected a header"),
        (b"x" * 10_000, "expected a header"),
        (b"time_utc,elapsed_s,seq,a_c,a_c,fault,mark\r\n", "expected every column once, found a_c"),
    ],
)
def test_what_is_no_session_is_refused_with_what_to_do(
    tmp_path: Path, content: bytes, said: str
) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes(content)
    with pytest.raises(SessionError) as error:
        load_session(path)
    assert said in str(error.value)
    assert "\n" not in str(error.value)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(SessionError, match="expected the CSV file of a session"):
            load_session(path)


def test_a_header_without_rows_is_a_session_without_rows(tmp_path: Path) -> None:
    session = load_session(bare(tmp_path))
    assert session.elapsed_s.shape == session.columns["tank_c"].shape == (0,)
    assert session.notes[-1].code == "no-rows"


def test_time_that_goes_back_is_refused(tmp_path: Path) -> None:
    with pytest.raises(
        SessionError, match=r"found 1\.000 after 3\.000: |found 1\.000 after 3\.000;"
    ):
        load_session(bare(tmp_path, row(3), row(1)))


def test_a_row_without_time_is_refused(tmp_path: Path) -> None:
    with refused(SessionError, "outing.csv, row 1"):
        load_session(bare(tmp_path, ",,0,20.000,1,,"))


def test_a_spreadsheet_s_byte_order_mark_and_bare_line_feeds_are_read(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    text = HEADER + row(0) + "\r\n" + row(1) + "\r\n"
    path.write_bytes(b"\xef\xbb\xbf" + text.replace("\r\n", "\n").encode())
    assert len(load_session(path).elapsed_s) == 2


def test_the_start_is_taken_from_the_first_row_with_a_clock(tmp_path: Path) -> None:
    unset = ",0.000,0,20.000,1,wire:clock_unset,"
    assert load_session(bare(tmp_path, unset, row(1))).start_utc == START
    assert load_session(bare(tmp_path, unset)).start_utc is None


def test_a_time_that_is_none_is_refused(tmp_path: Path) -> None:
    with refused(SessionError, "outing.csv, row 1, time_utc"):
        load_session(bare(tmp_path, "noon,0.000,0,20.000,1,,"))


def test_without_a_sidecar_it_loads_and_says_so(tmp_path: Path) -> None:
    session = load_session(bare(tmp_path, row(0)))
    assert session.metadata == {}
    assert codes(session) == ["no-sidecar"]


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"{}", b'{"notes": []}', b"\xff"])
def test_a_sidecar_that_cannot_be_read_is_said_and_not_used(tmp_path: Path, content: bytes) -> None:
    path = bare(tmp_path, row(0))
    sidecar_path(path).write_bytes(content)
    session = load_session(path)
    assert session.metadata == {}
    assert codes(session) == ["sidecar-unreadable"]


def test_a_sidecar_of_other_columns_is_said_and_not_used(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    write_session(path, [0.0], {"ambient_c": [9.0]}, metadata={"controller": "other"})
    path.write_text(HEADER + row(0) + "\r\n", newline="")
    session = load_session(path)
    assert session.metadata == {}
    assert codes(session) == ["sidecar-other-columns"]
    assert "ambient_c, fan_on, tank_c" in session.notes[0].text


def test_a_renamed_session_keeps_its_metadata_and_says_so(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    write_session(path, [0.0], {"tank_c": [9.0]}, metadata={"controller": "ref-1"})
    renamed = path.rename(tmp_path / "b.csv")
    sidecar_path(path).rename(sidecar_path(renamed))
    session = load_session(renamed)
    assert session.metadata["controller"] == "ref-1"
    assert codes(session) == ["sidecar-renamed"]


def test_a_session_of_a_later_format_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    write_session(path, [0.0], {"tank_c": [9.0]}, metadata={"format": "wattsump-session-9"})
    with refused(SessionError, "a.csv-metadata.json"):
        load_session(path)


def test_the_sidecar_has_what_csv_on_the_web_asks_for(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    write_session(path, [0.0], {"tank_c": [9.0], "fan_on": [1], "engine_rpm": [1800]})
    document = json.loads(sidecar_path(path).read_text(encoding="utf-8"))
    # published: W3C Metadata Vocabulary for Tabular Data (2015), 5.2 and 5.3: the context
    # comes first and names the vocabulary; a table has a url and a schema with columns.
    assert next(iter(document)) == "@context"
    assert document["@context"][0] == "http://www.w3.org/ns/csvw"
    assert document["url"] == "a.csv"
    columns = document["tableSchema"]["columns"]
    header = path.read_text().splitlines()[0].split(",")
    assert [column["name"] for column in columns] == header
    units = {column["name"]: column.get("schema:unitText") for column in columns}
    assert units["tank_c"] == "degC"
    assert units["engine_rpm"] == "r/min"
    assert units["elapsed_s"] == "s"


@pytest.mark.parametrize("text", ["=1+1", "+44", "-2", "@SUM(A1)", "'quoted", "=cmd|' /C calc'!A0"])
def test_a_mark_is_never_a_formula_and_reads_back_as_noted(tmp_path: Path, text: str) -> None:
    path = tmp_path / "a.csv"
    write_session(path, [0.0], {"tank_c": [9.0]}, marks={0: text})
    cell = next(csv.DictReader(io.StringIO(path.read_text())))["mark"]
    assert cell.startswith("'")
    assert load_session(path).marks[0].text == text


def test_a_mark_behind_another_is_guarded_too() -> None:
    assert mark_cell(["fan", "=A1"]) == "fan;'=A1"
    assert marks_of("fan;'=A1") == ("fan", "=A1")


@given(st.text(max_size=60))
def test_any_text_becomes_one_harmless_cell(text: str) -> None:
    cell = mark_cell([text])
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
    assert not any(c in cell for c in "\r\n\0;")
    assert len(marks_of(cell)) <= 1


def test_a_name_that_exists_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("precious")
    with refused(SessionError, "a.csv"):
        SessionWriter(path, ("tank_c",), {})
    assert path.read_text() == "precious"


def test_a_row_is_in_the_file_as_soon_as_it_is_written(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    with SessionWriter(path, ("tank_c",), {"format": FORMAT}) as writer:
        writer.write([Row(time_utc="", elapsed_ms=1234, seq=7, cells=["20.000"])])
        assert path.read_text().splitlines()[1] == ",1.234,7,20.000,,"


def test_columns_of_different_length_are_refused(tmp_path: Path) -> None:
    with refused(UsageError, "a.csv"):
        write_session(tmp_path / "a.csv", [0.0, 1.0], {"tank_c": [9.0]})


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150, deadline=None
)
@given(st.data())
def test_any_damage_to_the_body_loads_or_is_refused_and_never_breaks(
    tmp_path: Path, data: st.DataObject
) -> None:
    good = (HEADER + "".join(row(i, mark="go") + "\r\n" for i in range(4))).encode()
    at = data.draw(st.integers(len(HEADER), len(good)))
    cut = data.draw(st.integers(0, 30))
    junk = data.draw(st.binary(max_size=30))
    path = tmp_path / "fuzz.csv"
    path.write_bytes(good[:at] + junk + good[at + cut :])
    try:
        session = load_session(path)
    except SessionError:
        return
    assert all(len(column) == len(session.elapsed_s) for column in session.columns.values())
    assert bool((np.diff(session.elapsed_s) > 0).all())


@pytest.mark.parametrize("cell", ["7", "0.5", "-1", "1e308"])
def test_a_state_that_is_neither_0_nor_1_is_no_reading_and_is_said(
    tmp_path: Path, cell: str
) -> None:
    path = tmp_path / "a.csv"
    rows = "".join(f",{n}.000,{n},40.000,{cell if n == 3 else 1},,\r\n" for n in range(6))
    path.write_text("time_utc,elapsed_s,seq,tank_c,fan_on,fault,mark\r\n" + rows, newline="")
    session = load_session(path)
    assert np.flatnonzero(np.isnan(session.columns["fan_on"])).tolist() == [3]
    assert codes(session) == ["no-sidecar", "impossible-cells"]
    assert "fan_on" in session.notes[1].text


@pytest.mark.parametrize("cell", ["-400", "1e308"])
def test_a_temperature_that_there_cannot_be_is_no_reading_and_is_said(
    tmp_path: Path, cell: str
) -> None:
    path = tmp_path / "a.csv"
    rows = "".join(f",{n}.000,{n},{cell if n == 3 else 40},,\r\n" for n in range(6))
    path.write_text("time_utc,elapsed_s,seq,tank_c,fault,mark\r\n" + rows, newline="")
    session = load_session(path)
    assert np.flatnonzero(np.isnan(session.columns["tank_c"])).tolist() == [3]
    assert codes(session) == ["no-sidecar", "impossible-cells"]


def test_a_block_of_zeros_that_begins_in_a_time_is_noticed(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    head = b"time_utc,elapsed_s,seq,tank_c,fault,mark\r\n"
    rows = [f"2026-05-04T07:30:00.000Z,{n}.000,{n},40.5,,\r\n".encode() for n in range(320)]
    data = bytearray(b"".join(rows))
    begin, end = len(b"".join(rows[:100])) + 5, len(b"".join(rows[:200])) + 9
    data[begin:end] = bytes(end - begin)
    path.write_bytes(head + data)
    session = load_session(path)
    assert session.elapsed_s.size == 219
    assert "line 102: " in session.notes[0].text
    assert "NUL bytes" in session.notes[0].text


def test_one_bad_row_among_very_many_costs_itself_only(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    rows = [f",{n}.000,{n},40.5,,\r\n" for n in range(300_000)]
    rows[123_456] = ',123456.000,123456,40.5x,,"\r\n'
    path.write_text("time_utc,elapsed_s,seq,tank_c,fault,mark\r\n" + "".join(rows), newline="")
    session = load_session(path)
    assert session.elapsed_s.size == 299_999
    assert "line 123458: " in session.notes[0].text


@pytest.mark.parametrize(
    ("noted", "counts"),
    [
        (("fan", "undo: fan"), ()),
        (("fan", "fan", "undo: fan"), ("fan",)),
        (("fan", "undo: fan", "undo: fan"), ("undo: fan",)),
        (("load", "fan", "undo: load"), ("fan",)),
        (("undo: fan", "fan"), ("undo: fan", "fan")),
        (("note", "note: mud, wet", "undo: note: mud, wet"), ("note",)),
    ],
)
def test_a_mark_taken_back_does_not_count(
    noted: tuple[str, ...], counts: tuple[str, ...], tmp_path: Path
) -> None:
    cells = (mark_cell([text]) for text in noted)
    path = bare(tmp_path, *(row(second, mark=f'"{cell}"') for second, cell in enumerate(cells)))
    assert tuple(mark.text for mark in load_session(path).marks) == counts


@pytest.mark.parametrize(
    "head",
    [
        "time,oil in,oil out,air",
        "time;oil in;air",
        "time\toil in\tair",
        "2026-05-04,1.0,2",
        "Log for: Old Blue",
    ],
)
def test_a_table_of_another_logger_is_sent_to_the_command_that_reads_it(
    head: str, tmp_path: Path
) -> None:
    path = tmp_path / "my outing.csv"
    path.write_text(f"{head}\n1,2,3,4\n", encoding="utf-8")
    with pytest.raises(SessionError, match=r"wattsump import '.*my outing\.csv'"):
        load_session(path)


def test_the_newest_session_is_the_one_that_began_last_whenever_it_was_copied(
    tmp_path: Path,
) -> None:
    assert newest_session(tmp_path) is None
    old, new = tmp_path / "b.csv", tmp_path / "a.csv"
    for path, day in ((new, 5), (old, 4)):
        write_session(path, [0.0, 1.0], {"tank_c": [20.0, 20.0]}, start_utc=START.replace(day=day))
    (tmp_path / "c.csv").write_text("time,oil\n", encoding="utf-8")
    (tmp_path / "d.csv").mkdir()
    assert newest_session(tmp_path) == new
    without_clock = bare(tmp_path, ",0.000,0,20.000,1,,")
    assert newest_session(tmp_path) == without_clock  # written after all of them
