"""Through a real terminal port: what was sent is in the session, live or made again."""

from pathlib import Path

import numpy as np
import pytest

from end_to_end.rig import CHANNELS, Cable, Capture, controller
from refusal import refused
from wattsump_logger.bench.controller import EmulatedController, MemoryPort, serve_pty
from wattsump_logger.capture import loop
from wattsump_logger.capture.clock import Anchor, FastClock
from wattsump_logger.capture.importing import import_files
from wattsump_logger.capture.ports import SerialSource
from wattsump_logger.capture.wirefile import Chunk, HostNote, read_wire
from wattsump_logger.errors import PortError, SessionError, UsageError
from wattsump_logger.session.reader import load_session

NOON_MS = 1_777_896_000_000


def data_columns(path: Path) -> list[str]:
    """Return the lines of a session without their wall time."""
    return [line.partition(",")[2] for line in path.read_text().splitlines()]


def test_what_a_controller_sends_is_in_the_session_row_for_row(tmp_path: Path) -> None:
    sender = controller(period_ms=250)
    with (
        serve_pty(sender, 500, until_s=600) as name,
        Capture(SerialSource(name), tmp_path, name="a", clock=FastClock(500, NOON_MS)) as running,
    ):
        running.wait_rows(2400)
        captured = running.end()
    assert captured.row_count == 2400
    session = load_session(tmp_path / "a.csv")
    np.testing.assert_allclose(session.elapsed_s, np.arange(2400) * 0.25)
    # The controller sends the seconds since power-up with two places.
    np.testing.assert_allclose(session.columns["engine_rpm"], session.elapsed_s, atol=0.0051)
    assert session.notes == ()
    assert session.metadata["controller"] == "emulated-1"
    assert [fault.code for fault in session.faults] == ["boot"]


def test_live_card_and_made_again_are_the_same_session(tmp_path: Path) -> None:
    card = b"".join(controller().until(300))
    (tmp_path / "card.txt").write_bytes(card)
    with Cable() as cable, Capture(cable.source(), tmp_path, name="live") as running:
        for start in range(0, len(card), 333):
            cable.send(card[start : start + 333])
        running.wait_rows(300)
        running.end()
    import_files([tmp_path / "card.txt"], tmp_path, "card")
    import_files([tmp_path / "live.wire"], tmp_path, "again")
    assert (tmp_path / "again.csv").read_bytes() == (tmp_path / "live.csv").read_bytes()
    assert data_columns(tmp_path / "card.csv") == data_columns(tmp_path / "live.csv")
    kept = b"".join(i.data for i in read_wire(tmp_path / "live.wire") if isinstance(i, Chunk))
    assert kept == card


def test_a_memory_port_gives_the_same_rows_as_a_terminal_port(tmp_path: Path) -> None:
    loop.run(MemoryPort(controller(), until_s=300), tmp_path, name="memory")
    with Cable() as cable, Capture(cable.source(), tmp_path, name="pty") as running:
        for frames in controller().until(300):
            cable.send(frames)
        running.wait_rows(300)
        running.end()
    assert data_columns(tmp_path / "memory.csv") == data_columns(tmp_path / "pty.csv")


def test_two_card_files_make_one_outing(tmp_path: Path) -> None:
    sender = controller()
    for name, until_s in (("one", 100), ("two", 200)):
        (tmp_path / name).write_bytes(b"".join(sender.until(until_s)))
    made = import_files([tmp_path / "one", tmp_path / "two"], tmp_path, "both")
    assert made.row_count == 200
    assert load_session(tmp_path / "both.csv").elapsed_s[-1] == 199.0


class Script:
    """A port that says what it is told to, at the times it is told."""

    name = "script"

    def __init__(self, *steps: tuple[float, bytes | None]) -> None:
        self._steps = list(steps)
        self._now_ms = 0

    def open(self) -> "Script":
        return self

    def anchor(self) -> Anchor:
        return Anchor(utc_ms=NOON_MS + self._now_ms, mono_ms=self._now_ms)

    def read(self, timeout_s: float) -> bytes | None:
        if not self._steps:
            return None
        at_s, data = self._steps.pop(0)
        self._now_ms = round(at_s * 1000)
        return data

    def close(self) -> None:
        self._steps.clear()


def test_a_long_silence_ends_the_outing_and_the_next_bytes_begin_another(tmp_path: Path) -> None:
    morning, evening = controller(), controller()
    script = Script(
        *((n, morning.step()) for n in range(10)),
        *((3600 + n, evening.step()) for n in range(5)),
    )
    captured = loop.run(script, tmp_path, clock=script, quiet_ends_s=600)
    assert [load_session(path).elapsed_s.size for path in captured.sessions] == [10, 5]
    assert [path.name for path in captured.wires] == [
        "20260504-120000Z.wire",
        "20260504-130000Z.wire",
    ]


def test_a_short_silence_does_not_end_an_outing(tmp_path: Path) -> None:
    sender = controller()
    script = Script(*((n * 500.0, sender.step()) for n in range(4)))
    captured = loop.run(script, tmp_path, clock=script, quiet_ends_s=600)
    assert len(captured.sessions) == 1


def test_other_channels_begin_another_file_of_the_same_outing(tmp_path: Path) -> None:
    first = controller()
    second = EmulatedController(lambda _: {"tank": 20.0}, CHANNELS[:1])
    script = Script((0, first.step()), (1, first.step()), (2, second.step()))
    captured = loop.run(script, tmp_path, clock=script, name="a")
    assert [path.name for path in captured.sessions] == ["a.csv", "a-2.csv"]
    assert list(load_session(tmp_path / "a-2.csv").columns) == ["elapsed_s", "seq", "tank_c"]
    assert [path.name for path in captured.wires] == ["a.wire"]


def test_a_mark_of_the_driver_is_in_the_session_and_in_the_wire(tmp_path: Path) -> None:
    notes = [["=climb"], []]
    with Cable() as cable:
        sender = controller()

        def marks() -> list[str]:
            return notes.pop(0) if running.rows and notes else []

        running = Capture(cable.source(), tmp_path, name="a", marks=marks)
        with running:
            cable.send(sender.step())
            running.wait(lambda: len(notes) == 0)
            cable.send(sender.step())
            running.wait_rows(2)
            running.end()
    assert [mark.text for mark in load_session(tmp_path / "a.csv").marks] == ["=climb"]
    said = [i.detail for i in read_wire(tmp_path / "a.wire") if isinstance(i, HostNote)]
    assert "=climb" in said
    import_files([tmp_path / "a.wire"], tmp_path, "b")
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()


def test_a_name_in_use_is_not_written_over(tmp_path: Path) -> None:
    for _ in range(3):
        loop.run(MemoryPort(controller(), until_s=2), tmp_path, name="a")
    assert sorted(path.name for path in tmp_path.glob("*.csv")) == ["a.2.csv", "a.3.csv", "a.csv"]


@pytest.mark.parametrize("name", ["", "../up", "a/b", ".hidden", "a b", "x\n"])
def test_a_name_that_could_lead_elsewhere_is_refused(tmp_path: Path, name: str) -> None:
    with refused(UsageError, "--name"):
        loop.run(MemoryPort(controller()), tmp_path, name=name)


def test_a_port_that_is_not_there_is_refused_with_what_to_do(tmp_path: Path) -> None:
    with refused(PortError, "ttyNone"):
        loop.run(SerialSource(str(tmp_path / "ttyNone")), tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with refused(SessionError, "folder"):
        loop.run(MemoryPort(controller()), tmp_path / "file" / "folder")
