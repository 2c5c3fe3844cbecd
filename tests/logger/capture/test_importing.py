"""Import: sessions from card and wire files, and the recorder both share with live capture."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from refusal import refused
from wattsump_logger.bench.controller import EmulatedController
from wattsump_logger.capture.clock import NO_ANCHOR
from wattsump_logger.capture.importing import import_files, name_for, typed_names, typed_start
from wattsump_logger.capture.recorder import Recorder
from wattsump_logger.capture.wirefile import Chunk
from wattsump_logger.errors import SessionError, UsageError
from wattsump_logger.machine.profile import profile_from_dict
from wattsump_logger.session.reader import load_session
from wattsump_logger.session.writer import SessionWriter
from wattsump_logger.wire.events import WireChannel

TANK = WireChannel(name="tank", source="max31855", detail="K")


def card(folder: Path, seconds: float = 10, name: str = "card.txt") -> Path:
    path = folder / name
    controller = EmulatedController(lambda _: {"tank": 25.0}, [TANK])
    path.write_bytes(b"".join(controller.until(seconds)))
    return path


def test_the_sidecar_tells_where_a_session_is_from(tmp_path: Path) -> None:
    machine = profile_from_dict(
        {
            "name": "Bracken",
            "oil": {"grade": "VG 46", "volume": "18 L"},
            "channels": {"tank": {"offset": "0.5 K"}},
        }
    )
    import_files([card(tmp_path)], tmp_path, "a", machine)
    session = load_session(tmp_path / "a.csv")
    assert session.metadata["controller"] == "emulated-1"
    assert session.metadata["made_from"] == ["card.txt"]
    assert session.metadata["offsets"] == {"tank_c": 0.5}
    assert session.metadata["profile"] == machine.to_dict()
    assert session.metadata["channels"] == [
        {"column": "tank_c", "source": "max31855", "detail": "K"}
    ]
    assert profile_from_dict(session.metadata["profile"]) == machine
    assert set(session.columns["tank_c"].tolist()) == {25.5}


def test_a_renamed_and_dated_import_has_new_columns_and_times(tmp_path: Path) -> None:
    import_files(
        [card(tmp_path)],
        tmp_path,
        "a",
        start_utc=datetime(2026, 5, 4, tzinfo=UTC),
        names={"tank": "sump"},
    )
    session = load_session(tmp_path / "a.csv")
    assert "sump_c" in session.columns
    assert session.start_utc == datetime(2026, 5, 4, tzinfo=UTC)


@pytest.mark.parametrize("content", [b"hello\n", b"\0" * 5000, b"\x89PNG\r\n" * 99])
def test_a_file_without_frames_is_refused_and_leaves_nothing(
    tmp_path: Path, content: bytes
) -> None:
    path = tmp_path / "x.txt"
    path.write_bytes(content)
    with pytest.raises(SessionError, match=r"found 0 frames; check that this"):
        import_files([path], tmp_path, "a")
    assert [file.name for file in tmp_path.iterdir()] == ["x.txt"]


def test_an_import_never_writes_over_a_session(tmp_path: Path) -> None:
    first = card(tmp_path)
    import_files([first], tmp_path, "a")
    before = (tmp_path / "a.csv").read_bytes()
    again = import_files([first], tmp_path, "a")
    assert again.paths == (tmp_path / "a-2.csv",)
    assert (tmp_path / "a.csv").read_bytes() == before
    assert name_for([first], tmp_path, "a") == "a.2"
    assert name_for([first], tmp_path, None) == "card"
    assert name_for([first], tmp_path / "new" / "folder", None) == "card"


def test_a_typed_start_without_a_zone_is_local_time() -> None:
    local = datetime(2026, 5, 4, 7, 30).astimezone()
    assert typed_start("2026-05-04T07:30") == local
    assert typed_start("2026-05-04T07:30:00+02:00") == datetime(2026, 5, 4, 5, 30, tzinfo=UTC)
    assert typed_start(None) is None


def test_a_typed_start_that_is_none_is_refused() -> None:
    with refused(UsageError, "--start"):
        typed_start("this morning")


def test_new_names_are_pairs() -> None:
    assert typed_names(["tank=sump", "air=ambient"]) == {"tank": "sump", "air": "ambient"}
    for wrong in ("tank", "=x", "tank="):
        with refused(UsageError, "--rename"):
            typed_names([wrong])


def chunks(count: int) -> list[Chunk]:
    controller = EmulatedController(lambda _: {"tank": 25.0}, [TANK])
    return [Chunk(anchor=NO_ANCHOR, data=controller.step()) for _ in range(count)]


class Refusing:
    """Lets a session writer fail as a full disk does, while told to."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.is_full = False
        write = SessionWriter.write

        def refuse(writer: SessionWriter, rows: object) -> None:
            if self.is_full:
                raise OSError(28, "No space left on device")
            write(writer, rows)  # type: ignore[arg-type]

        monkeypatch.setattr(SessionWriter, "write", refuse)


def test_rows_wait_for_a_full_disk_and_are_then_all_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk, recorder, items = Refusing(monkeypatch), Recorder(tmp_path, "a"), chunks(30)
    for item in items[:10]:
        recorder.take(item)
    disk.is_full = True
    for item in items[10:20]:
        recorder.take(item)
    assert (recorder.waiting_rows, recorder.trouble) == (10, "No space left on device")
    disk.is_full = False
    for item in items[20:]:
        recorder.take(item)
    recorder.close()
    assert (recorder.waiting_rows, recorder.dropped_rows, recorder.row_count) == (0, 0, 30)
    assert recorder.trouble == ""
    assert load_session(tmp_path / "a.csv").elapsed_s.tolist() == [float(n) for n in range(30)]


def test_rows_given_up_are_told_in_the_next_row_that_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = Refusing(monkeypatch)
    recorder, items = Recorder(tmp_path, "a", most_waiting=5), chunks(30)
    disk.is_full = True
    for item in items[:20]:
        recorder.take(item)
    assert recorder.waiting_rows == 5
    disk.is_full = False
    for item in items[20:]:
        recorder.take(item)
    recorder.close()
    session = load_session(tmp_path / "a.csv")
    told = [fault for fault in session.faults if fault.code == "rows_dropped"]
    assert [(fault.detail, fault.elapsed_s) for fault in told] == [(str(15), 20.0)]
    assert recorder.dropped_rows + len(session.elapsed_s) == 30


def test_rows_given_up_at_the_very_end_are_told_in_a_last_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = Refusing(monkeypatch)
    recorder = Recorder(tmp_path, "a", most_waiting=5)
    disk.is_full = True
    for item in chunks(20):
        recorder.take(item)
    disk.is_full = False
    recorder.close()
    session = load_session(tmp_path / "a.csv")
    assert session.faults[-1].code == "rows_dropped"
    assert int(session.faults[-1].detail) == recorder.dropped_rows
