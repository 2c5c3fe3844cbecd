"""Files that overlap: each frame once, none lost, and other runs of the controller left alone."""

import math
from pathlib import Path

import pytest

from wattsump_logger.bench.controller import EmulatedController
from wattsump_logger.capture.clock import Anchor
from wattsump_logger.capture.importing import Imported, import_files
from wattsump_logger.capture.wirefile import Chunk, HostNote, encode_item
from wattsump_logger.commands.telling import imported
from wattsump_logger.session.reader import load_session
from wattsump_logger.wire.events import WireChannel

TANK = WireChannel(name="tank", source="max31855", detail="K")


def frames(seconds: float, warmer_k: float = 0.0) -> bytes:
    def source(elapsed_s: float) -> dict[str, float | str | None]:
        return {"tank": 20.0 + warmer_k + elapsed_s / 4 + math.sin(elapsed_s)}

    return b"".join(EmulatedController(source, [TANK]).until(seconds))


def made(folder: Path, *parts: bytes) -> tuple[Imported, list[float]]:
    files = []
    for number, part in enumerate(parts):
        files.append(folder / f"card{number}.txt")
        files[-1].write_bytes(part)
    found = import_files(files, folder, "all")
    return found, load_session(folder / "all.csv").columns["seq"].tolist()


def alone(folder: Path, whole: bytes) -> str:
    (folder / "alone").mkdir()
    made(folder / "alone", whole)
    return (folder / "alone" / "all.csv").read_text()


@pytest.mark.parametrize("upto", [0.3, 0.61, 1.0])
@pytest.mark.parametrize("since", [0.0, 0.2, 0.29])
def test_two_files_that_overlap_give_the_session_of_the_whole(
    tmp_path: Path, since: float, upto: float
) -> None:
    whole = frames(100)
    begin = whole.index(b"\n", int(since * len(whole))) + 1 if since else 0
    found, _ = made(tmp_path, whole[: int(upto * len(whole))], whole[begin:])
    text = (tmp_path / "all.csv").read_text()
    if upto == 1.0:  # otherwise the torn line of the first file is told
        assert text == alone(tmp_path, whole)
    assert found.repeated > 0 or since > 0.28
    rows = load_session(tmp_path / "all.csv")
    assert rows.columns["seq"].tolist() == sorted(set(rows.columns["seq"].tolist()))
    assert len(rows.elapsed_s) == whole.count(b"R1,")


def test_the_same_file_twice_is_taken_once_and_told(tmp_path: Path) -> None:
    whole = frames(50)
    found, seqs = made(tmp_path, whole, whole)
    assert len(seqs) == whole.count(b"R1,") == found.row_count
    assert found.repeated == whole.count(b"\n")
    assert list(imported(found))[-1] == (
        f"{found.repeated} frames were in an earlier file too and were taken once"
    )


def test_another_run_of_the_controller_keeps_all_its_rows(tmp_path: Path) -> None:
    found, seqs = made(tmp_path, frames(50), frames(50, warmer_k=3.0))
    assert len(seqs) == 2 * frames(50).count(b"R1,")
    assert (found.repeated, found.counts["reboot"]) == (0, 1)


def test_a_torn_last_line_takes_nothing_of_the_next_file_with_it(tmp_path: Path) -> None:
    first, second = frames(50), frames(50, warmer_k=3.0)
    found, seqs = made(tmp_path, first[:-7], second)
    assert len(seqs) == first.count(b"R1,") - 1 + second.count(b"R1,")
    assert found.counts["bad_crc"] == 1


def test_a_line_cut_between_two_files_is_joined_again(tmp_path: Path) -> None:
    whole = frames(50)
    cut = whole.index(b"R1,20,") + 9
    found, seqs = made(tmp_path, whole[:cut], whole[cut:])
    assert len(seqs) == whole.count(b"R1,")
    assert "bad_crc" not in found.counts


def test_two_overlapping_files_of_two_runs_give_both_runs_once(tmp_path: Path) -> None:
    one, two = frames(40), frames(40, warmer_k=3.0)
    found, seqs = made(tmp_path, one + two[:600], one[300:].split(b"\n", 1)[1] + two)
    assert len(seqs) == one.count(b"R1,") + two.count(b"R1,")
    assert found.counts["reboot"] == 1


def test_a_wire_file_and_its_copy_give_its_rows_and_each_mark_once(tmp_path: Path) -> None:
    anchor = Anchor(utc_ms=1_777_878_000_000, mono_ms=5)
    items = (
        Chunk(anchor=anchor, data=frames(20)),
        HostNote(
            anchor=Anchor(utc_ms=1_777_878_020_000, mono_ms=20_005), word="mark", detail="fan"
        ),
    )
    wire = b"wattsump-wire-1\n" + b"".join(encode_item(item) for item in items)
    _, seqs = made(tmp_path, wire, wire)
    session = load_session(tmp_path / "all.csv")
    assert [mark.text for mark in session.marks] == ["fan"]
    assert len(seqs) == frames(20).count(b"R1,") + 1  # no reading came to carry the mark
