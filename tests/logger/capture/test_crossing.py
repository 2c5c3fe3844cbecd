"""Two controllers on one wire: reported, and no reading is attributed to the wrong one."""

import itertools
from pathlib import Path

import numpy as np
import pytest

from logger.capture.test_assembler import AIR, TANK, at, event, hello, reading
from wattsump_logger.capture.assembler import Assembler, Start
from wattsump_logger.capture.recorder import MOST_SESSIONS, Recorder
from wattsump_logger.capture.wirefile import Chunk
from wattsump_logger.session.reader import load_session
from wattsump_logger.session.rows import Row
from wattsump_logger.wire.frames import format_hello, format_reading

OURS, THEIRS = ("01901900",), ("03201900",)
Frame = tuple[float, bytes]  # when it is sent, in s, and its bytes


def controller(
    began_s: float, first: int, until_s: float, fields: tuple[str, ...], *, boots: bool = True
) -> list[Frame]:
    """Return what one sends from `began_s` on: hello and boot, a reading a second, hello a minute.

    One that does not boot has counted to `first` already, and said hello half a minute ago.
    """
    seq, up_ms, frames = first, 0 if boots else 1_000 * first, []
    for second in range(int(until_s - began_s)):
        now_s, now_ms = began_s + second, up_ms + 1000 * second
        if (second if boots else second + 30) % 60 == 0:
            frames.append((now_s, hello(seq, now_ms, (TANK,))))
            seq += 1
        if boots and second == 0:
            frames.append((now_s, event(seq, now_ms, "boot", "power")))
            seq += 1
        else:
            frames.append((now_s + 0.01, reading(seq, now_ms + 10, fields)))
            seq += 1
    return frames


def heard(*controllers: list[Frame]) -> tuple[list[Row], Assembler]:
    """Return the rows of what they say at once, every frame whole."""
    assembler = Assembler()
    out: list[Start | Row] = []
    for when_s, line in sorted(itertools.chain(*controllers)):
        out += assembler.feed(line, at(when_s))
    out += assembler.finish()
    return [item for item in out if isinstance(item, Row)], assembler


def values(rows: list[Row]) -> set[str]:
    return {cell for row in rows for cell in row.cells if cell}


@pytest.mark.parametrize("later_s", [0.003, 0.3, 0.5, 0.7, 20.0, 20.4, 400.0])
def test_a_second_controller_is_said_and_no_reading_of_it_is_taken(later_s: float) -> None:
    ours = controller(0.0, 0, later_s + 200.0, OURS)
    theirs = controller(later_s, 0, later_s + 200.0, THEIRS)
    rows, assembler = heard(ours, theirs)
    assert len(values(rows)) <= 1
    assert assembler.counts["crossed"] > 300
    assert assembler.trouble.startswith("two controllers send on this line")
    # what came before the second one began is there
    assert sum(cell != "" for row in rows for cell in row.cells) >= later_s - 2


@pytest.mark.parametrize("apart", [3, 17, 400, 100_000])
def test_two_that_both_ran_already_give_no_row_of_both(apart: int) -> None:
    ours = controller(0.0, 5000, 300.0, OURS, boots=False)
    theirs = controller(0.4, 5000 + apart, 300.0, THEIRS, boots=False)
    rows, assembler = heard(ours, theirs)
    assert len(values(rows)) <= 1
    assert assembler.counts["crossed"] > 400


def test_with_one_unplugged_again_the_next_hello_begins_anew_and_every_reading_is_its_own() -> None:
    ours = controller(0.0, 0, 60.0, OURS)
    theirs = controller(20.3, 0, 300.0, THEIRS)
    rows, assembler = heard(ours, theirs)
    seconds = {row.cells[0]: row.elapsed_ms / 1000 for row in rows if row.cells[0]}
    assert len(seconds) == 2
    # theirs count from the first hello that came when it was alone: at 80.3 s
    taken = [row for row in rows if row.cells[0] == rows[-1].cells[0]]
    assert 79.0 < taken[0].elapsed_ms / 1000 < 81.0
    assert len(taken) >= 219
    assert assembler.trouble == ""
    assert "wire:crossed=" in taken[0].fault


def test_a_hello_of_other_channels_by_a_second_controller_makes_no_file_of_its_own(
    tmp_path: Path,
) -> None:
    ours = controller(0.0, 0, 300.0, OURS)
    theirs = [
        (
            when_s,
            format_reading(
                seq=int(line.split(b",")[1]),
                uptime_ms=int(line.split(b",")[2]),
                fields=(*THEIRS, "20.0"),
            )
            if line[:1] == b"R"
            else format_hello(
                seq=int(line.split(b",")[1]),
                uptime_ms=int(line.split(b",")[2]),
                firmware="other",
                period_ms=1000,
                channels=(TANK, AIR),
            ),
        )
        for when_s, line in controller(20.4, 0, 300.0, THEIRS)
        if line[:1] in b"HR"
    ]
    recorder = Recorder(tmp_path, "a")
    for when_s, line in sorted(ours + theirs):
        recorder.take(Chunk(anchor=at(when_s), data=line))
    recorder.close()
    assert [path.name for path in tmp_path.glob("*.csv")] == ["a.csv"]
    tank_c = load_session(tmp_path / "a.csv").columns["tank_c"]
    # What came before the second one: a boot, then a reading a second.
    assert np.count_nonzero(np.isfinite(tank_c)) == 20


@pytest.mark.parametrize("lost", [1, 5, 40, 3000])
def test_lost_frames_and_restarts_of_one_controller_are_not_taken_for_two(lost: int) -> None:
    frames = [line for _, line in controller(0.0, 0, 3600.0, OURS)]
    again = [line for _, line in controller(0.0, 0, 200.0, OURS)]
    assembler = Assembler()
    sent = frames[:100] + frames[100 + lost :] + again[:50] + again[lost:] + again[3:] + frames[1:]
    for number, line in enumerate(sent):
        assembler.feed(line, at(1.0 * number))
    assert assembler.counts["crossed"] == 0


def changing(count: int, *, with_readings: bool) -> bytes:
    """Return hellos that declare one channel and another in turn."""
    lines = []
    for number in range(count):
        channel, field = ((TANK, OURS[0]), (AIR, "15.25"))[number % 2]
        lines.append(hello(2 * number, 1000 * number, (channel,)))
        if with_readings:
            lines.append(reading(2 * number + 1, 1000 * number + 10, (field,)))
    return b"".join(lines)


def test_hellos_without_a_reading_make_no_session(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, "a")
    recorder.take(Chunk(anchor=at(1), data=changing(3000, with_readings=False)))
    assert list(tmp_path.iterdir()) == []
    assert recorder.waiting_rows == 0
    recorder.take(Chunk(anchor=at(2), data=reading(6001, 3_000_001, ("15.25",))))
    recorder.close()
    assert recorder.row_count == 1
    assert load_session(tmp_path / "a.csv").columns["ambient_c"].tolist() == [15.25]


def test_channels_that_change_without_end_make_a_bounded_number_of_sessions_and_it_is_said(
    tmp_path: Path,
) -> None:
    recorder = Recorder(tmp_path, "a")
    recorder.take(Chunk(anchor=at(1), data=changing(3000, with_readings=True)))
    assert "changed its channels 50 times" in recorder.trouble
    assert recorder.writer is not None
    recorder.writer.file.sync_trouble = "ENOSPC"
    recorder.flush()
    assert recorder.trouble.endswith("; ENOSPC")  # what the disk does not take is not hidden
    recorder.close()
    assert len(recorder.paths) == MOST_SESSIONS
    assert recorder.row_count == MOST_SESSIONS
    assert recorder.row_count + recorder.dropped_rows == 3000
