"""The wire file: every byte back with its time, whatever a power cut left of it."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from refusal import refused
from wattsump_logger.capture.clock import NO_ANCHOR, Anchor
from wattsump_logger.capture.wirefile import (
    MAX_CHUNK,
    Chunk,
    HostNote,
    WireItem,
    WireWriter,
    encode_item,
    read_wire,
)
from wattsump_logger.errors import SessionError
from wattsump_logger.session.appendfile import AppendFile

THEN = Anchor(utc_ms=1_777_880_400_123, mono_ms=98_765)
ITEMS: tuple[WireItem, ...] = (
    HostNote(anchor=THEN, word="opened", detail="/dev/ttyACM0"),
    Chunk(anchor=THEN, data=b"R1,1,5,00000000*0000\r\n"),
    Chunk(anchor=NO_ANCHOR, data=b"\n@- - 3\n\0\xff!"),
    HostNote(anchor=THEN, word="mark", detail="steep climb, second gear °"),
    Chunk(anchor=Anchor(utc_ms=-5_000, mono_ms=-1), data=b"x"),
)


def written(folder: Path, items: tuple[WireItem, ...] = ITEMS) -> Path:
    path = folder / "a.wire"
    writer = WireWriter(lambda lost: AppendFile(path))
    for item in items:
        writer.put(item)
    writer.close()
    return path


def data_of(items: list[WireItem]) -> bytes:
    return b"".join(item.data for item in items if isinstance(item, Chunk))


def test_what_goes_in_comes_out_with_its_times(tmp_path: Path) -> None:
    assert tuple(read_wire(written(tmp_path))) == ITEMS


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    st.lists(
        st.builds(
            Chunk,
            anchor=st.builds(
                Anchor,
                utc_ms=st.integers(0, 4_000_000_000_000) | st.none(),
                mono_ms=st.integers(0, 10**15) | st.none(),
            ),
            data=st.binary(max_size=300),
        ),
        max_size=6,
    ).map(tuple)
)
def test_any_bytes_at_any_time_come_back(tmp_path: Path, items: tuple[Chunk, ...]) -> None:
    path = tmp_path / "a.wire"
    path.unlink(missing_ok=True)
    assert tuple(read_wire(written(tmp_path, items))) == items


def test_cut_anywhere_all_bytes_before_the_cut_come_back(tmp_path: Path) -> None:
    whole = written(tmp_path).read_bytes()
    path = tmp_path / "cut.wire"
    everything = data_of(list(ITEMS))
    for size in range(len(b"wattsump-wire-1\n"), len(whole) + 1):
        path.write_bytes(whole[:size])
        assert everything.startswith(data_of(list(read_wire(path))))


def test_a_stretch_of_nul_bytes_is_counted_and_the_rest_is_read(tmp_path: Path) -> None:
    path = written(tmp_path)
    lines = path.read_bytes().split(b"\n", 2)
    path.write_bytes(lines[0] + b"\n" + b"\0" * 5000 + b"\n" + lines[2])
    items = list(read_wire(path))
    sound = items.index(ITEMS[1])
    assert data_of(items[:sound]) == b"\0" * 5000 + b"\n"
    assert items[sound - 1] == HostNote(anchor=THEN, word="damaged", detail="5001")
    assert tuple(items[sound:]) == ITEMS[1:]


def test_a_damaged_count_is_told_and_the_lines_behind_it_are_kept(tmp_path: Path) -> None:
    path = written(tmp_path)
    path.write_bytes(path.read_bytes().replace(b" 22\nR1,", b" 29\nR1,"))
    items = list(read_wire(path))
    assert items[1] == ITEMS[1]
    damage = str(len(encode_item(ITEMS[1])))
    assert items[3] == HostNote(anchor=NO_ANCHOR, word="damaged", detail=damage)
    assert tuple(items[4:]) == ITEMS[2:]


def test_a_record_cut_and_filled_with_nul_bytes_keeps_its_whole_lines(tmp_path: Path) -> None:
    path = tmp_path / "a.wire"
    record = encode_item(Chunk(anchor=THEN, data=b"one\r\ntwo\r\nthree\r\n"))
    path.write_bytes(b"wattsump-wire-1\n" + record[:-6] + b"\0" * 4096)
    items = list(read_wire(path))
    assert data_of(items).startswith(b"one\r\ntwo\r\nth\0")
    assert all(item.anchor == THEN for item in items)
    assert items[-1] == HostNote(anchor=THEN, word="damaged", detail=str(len(record) - 6 + 4096))


@pytest.mark.parametrize(
    "head", [b"@x x 3\nabc\n", b"@- - 99999999\n", b"@- - -1\n", b"!- - \xff\n"]
)
def test_damage_at_the_end_is_told_too(tmp_path: Path, head: bytes) -> None:
    path = tmp_path / "a.wire"
    path.write_bytes(b"wattsump-wire-1\n" + head)
    said = HostNote(anchor=NO_ANCHOR, word="damaged", detail=str(len(head)))
    assert list(read_wire(path))[-1] == said


def test_a_card_file_is_its_bytes_without_times(tmp_path: Path) -> None:
    path = tmp_path / "card.txt"
    data = b"H1,0,0,ref-1,1000,a:state:*0000\r\n" * 9000
    path.write_bytes(data)
    items = list(read_wire(path))
    assert data_of(items) == data
    assert all(isinstance(i, Chunk) and len(i.data) <= MAX_CHUNK for i in items)
    assert all(i.anchor == NO_ANCHOR for i in items)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "an empty file"),
        (b"wattsump-wire-2\nabc", "wattsump-wire-2"),
        (b"time_utc,elapsed_s,seq", "time_utc,elapsed"),
    ],
)
def test_what_is_no_wire_file_is_refused(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "a.wire"
    path.write_bytes(content)
    with refused(SessionError, "a.wire"):
        list(read_wire(path))


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with refused(SessionError, "none.wire"):
        list(read_wire(tmp_path / "none.wire"))


class FullDisk(AppendFile):
    """A file on a disk that takes nothing while `is_full`."""

    is_full = False

    def append(self, piece: bytes) -> None:
        if self.is_full:
            raise OSError(28, "No space left on device")
        super().append(piece)


def test_a_full_disk_holds_back_and_then_all_is_there(tmp_path: Path) -> None:
    file = FullDisk(tmp_path / "a.wire")
    writer = WireWriter(lambda lost: file)
    writer.put(ITEMS[0])
    file.is_full = True
    for item in ITEMS[1:]:
        writer.put(item)
    assert writer.trouble == "No space left on device"
    assert writer.waiting_bytes > 0
    file.is_full = False
    writer.close()
    assert writer.trouble == ""
    assert writer.waiting_bytes == 0
    assert tuple(read_wire(file.path)) == ITEMS


def test_beyond_its_backlog_it_gives_up_new_bytes_and_writes_down_how_many(tmp_path: Path) -> None:
    file = FullDisk(tmp_path / "a.wire")
    writer = WireWriter(lambda lost: file, backlog_bytes=600)
    file.is_full = True
    for _ in range(10):
        writer.put(Chunk(anchor=THEN, data=b"x" * 100))
        assert writer.waiting_bytes <= 600
    kept = writer.waiting_bytes // len(encode_item(Chunk(anchor=THEN, data=b"x" * 100)))
    assert writer.dropped_bytes == (10 - kept) * 100
    file.is_full = False
    writer.put(Chunk(anchor=THEN, data=b"after"))
    writer.close()
    items = list(read_wire(file.path))
    assert len(data_of(items)) == kept * 100 + 5
    said = [item for item in items if isinstance(item, HostNote)]
    assert said == [HostNote(anchor=THEN, word="dropped", detail=str((10 - kept) * 100))]
