"""What the field does to a capture, done to it: nothing lost unsaid, nothing invented.

Each test ends with a session that loads, whose rows are all rows that were sent, and
whose faults account for the frames that are missing.
"""

import errno
import json
import os
import resource
import signal
import subprocess
import sys
import termios
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import serial

from end_to_end.rig import CHANNELS, PATIENCE_S, Cable, Capture, controller
from refusal import refused
from wattsump_logger.bench.controller import MemoryPort
from wattsump_logger.capture import loop
from wattsump_logger.capture.clock import Anchor
from wattsump_logger.capture.importing import import_files
from wattsump_logger.capture.ports import SerialSource
from wattsump_logger.errors import PortError, SessionError
from wattsump_logger.session.reader import Session, load_session
from wattsump_logger.wire.frames import format_hello

_QUICK_S = (0.02,)
_PROGRAM = """
import typer
from wattsump_logger.commands.program import register
app = typer.Typer(pretty_exceptions_enable=False)
register(app)
app()
"""


def lost_frames(session: Session) -> int:
    """Return the frames that the session's gaps account for."""
    return sum(int(f.detail) for f in session.faults if (f.channel, f.code) == ("wire", "gap"))


def codes(session: Session) -> set[str]:
    """Return the codes of the link's faults."""
    return {fault.code for fault in session.faults if fault.channel == "wire"}


def check_rows_are_true(session: Session) -> None:
    """Check each row against what the controller sends: its seconds in `engine`."""
    sent = np.round(session.columns["engine_rpm"])
    np.testing.assert_array_equal(sent, session.columns["seq"] - 2 - sent // 60)


@pytest.fixture(autouse=True)
def _quick_pauses(monkeypatch: pytest.MonkeyPatch) -> None:
    """Try again at once: the lengths of the pauses are tested where they are kept."""
    monkeypatch.setattr("wattsump_logger.capture.link.PAUSES_S", _QUICK_S)


def test_unplugged_and_plugged_in_elsewhere_it_goes_on_under_the_new_name(tmp_path: Path) -> None:
    with Cable() as cable, Capture(cable.source(), tmp_path, name="a") as running:
        first_name = cable.name
        sender = controller()
        cable.play(sender.until(10))
        running.wait_rows(10)
        cable.unplug()
        running.wait_status(lambda status: not status.is_open)
        cable.plug()
        assert cable.name != first_name
        sender.reboot("power")
        cable.play(sender.until(20))
        running.wait_rows(20)
        captured = running.end()
    assert captured.row_count == 20
    session = load_session(tmp_path / "a.csv")
    assert {"lost", "reboot", "boot"} <= codes(session)
    assert lost_frames(session) == 0
    import_files([tmp_path / "a.wire"], tmp_path, "again")
    assert (tmp_path / "again.csv").read_bytes() == (tmp_path / "a.csv").read_bytes()


def test_an_error_while_a_bumped_port_comes_back_costs_no_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    failing = [termios.error(errno.EIO, "Input/output error") for _ in range(3)]
    opened = serial.Serial.open

    def open_badly(port: serial.Serial) -> None:
        if cable.name == second_name and failing:
            raise failing.pop()
        opened(port)

    second_name = ""
    monkeypatch.setattr(serial.Serial, "open", open_badly)
    with Cable() as cable, Capture(cable.source(), tmp_path, name="a") as running:
        sender = controller()
        cable.play(sender.until(10))
        running.wait_rows(10)
        cable.unplug()
        cable.plug()
        second_name = cable.name
        cable.play(sender.until(20))
        running.wait_rows(20)
        captured = running.end()
    assert not failing
    assert captured.row_count == 20
    check_rows_are_true(load_session(tmp_path / "a.csv"))


def test_a_capture_whose_reader_broke_off_is_no_success(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def die(port: MemoryPort, timeout_s: float) -> bytes | None:
        raise SystemExit

    monkeypatch.setattr(MemoryPort, "read", die)
    with pytest.raises(PortError, match="reading failed"):
        loop.run(MemoryPort(controller(), until_s=5), tmp_path, name="a")


def test_pulled_in_the_middle_of_a_line_the_half_line_is_not_taken_for_a_whole(
    tmp_path: Path,
) -> None:
    with Cable() as cable, Capture(cable.source(), tmp_path, name="a") as running:
        sender = controller()
        cable.send(sender.step() + sender.step()[:-9])
        running.wait_rows(1)
        running.wait_status(lambda status: status.silent_s > 0)
        cable.unplug()
        running.wait_status(lambda status: not status.is_open)
        cable.plug()
        cable.send(sender.step())
        running.wait_rows(2)
        running.end()
    session = load_session(tmp_path / "a.csv")
    assert lost_frames(session) == 1
    check_rows_are_true(session)


def test_a_second_program_on_the_port_is_refused(tmp_path: Path) -> None:
    with Cable() as cable, Capture(cable.source(), tmp_path) as running:
        cable.send(controller().step())
        running.wait_rows(1)
        with refused(PortError, cable.name):
            SerialSource(cable.name).open()


def test_bytes_stolen_by_a_program_that_does_not_ask_are_missed_and_counted(
    tmp_path: Path,
) -> None:
    with Cable() as cable, Capture(cable.source(), tmp_path, name="a") as running:
        sender = controller()
        cable.send(sender.step())
        running.wait_rows(1)
        thief = os.open(cable.name, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
        for frames in sender.until(400):
            cable.send(frames)
            try:
                os.read(thief, 20)
            except BlockingIOError:
                continue
        os.close(thief)
        cable.send(sender.step())
        running.wait(lambda: bool(running.rows) and running.rows[-1].cells[2] == "400.00")
        running.end()
    session = load_session(tmp_path / "a.csv")
    check_rows_are_true(session)
    sent = int(session.columns["seq"][-1]) + 1
    events = 1 + 1 + 400 // 60  # the boot event and the hellos
    assert len(session.elapsed_s) + lost_frames(session) in range(sent - events, sent + 1)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_flipped_bits_cost_their_frames_and_never_change_a_value(tmp_path: Path, seed: int) -> None:
    random = np.random.default_rng(seed)
    stream = np.frombuffer(b"".join(controller().until(500)), dtype=np.uint8).copy()
    where = random.random(stream.size) < 0.0005
    stream[where] ^= (1 << random.integers(0, 8, int(where.sum()))).astype(np.uint8)
    with Cable() as cable, Capture(cable.source(), tmp_path, name="a") as running:
        hello = format_hello(
            seq=0, uptime_ms=0, firmware="emulated-1", period_ms=1000, channels=CHANNELS
        )
        cable.send(hello + stream.tobytes())
        running.wait(lambda: bool(running.rows) and (running.rows[-1].seq or 0) >= 500)
        running.end()
    session = load_session(tmp_path / "a.csv")
    check_rows_are_true(session)
    assert lost_frames(session) > 0
    assert {"gap", "bad_crc"} <= codes(session)


def test_a_wrong_speed_and_binary_noise_are_noise_and_then_it_goes_on(tmp_path: Path) -> None:
    noise = np.random.default_rng(7).integers(0, 256, 20_000, dtype=np.uint8).tobytes()
    with Cable() as cable, Capture(cable.source(), tmp_path, name="a") as running:
        sender = controller()
        cable.send(noise + b"\n" + sender.step() + noise + b"\n" + sender.step())
        running.wait_rows(2)
        running.end()
    session = load_session(tmp_path / "a.csv")
    check_rows_are_true(session)
    assert "noise" in codes(session)
    assert lost_frames(session) == 0


def test_a_controller_in_a_reboot_loop_is_counted_and_recovers(tmp_path: Path) -> None:
    with Cable() as cable, Capture(cable.source(), tmp_path, name="a") as running:
        sender = controller()
        cable.send(sender.step())
        for _ in range(50):
            sender.now_ms += 3000
            sender.reboot("brownout")
            cable.send(sender.pending())
            sender.now_ms += 200
        sender.reboot("power")
        cable.play(sender.step() for _ in range(5))
        running.wait_rows(6)
        running.end()
    session = load_session(tmp_path / "a.csv")
    assert len(session.elapsed_s) == 6
    reboots = sum(int(f.detail) for f in session.faults if f.code == "reboot")
    assert reboots == 51
    causes = {f.detail for f in session.faults if f.code == "boot"}
    assert causes == {"power", "brownout"}


def test_a_wall_clock_that_jumps_is_told_and_the_outing_stays_whole(tmp_path: Path) -> None:
    class Jumping:
        """A clock whose wall time jumps back by a year after the fifth row."""

        def anchor(self) -> Anchor:
            late = len(running.rows) >= 5
            mono_ms = len(running.rows) * 1000
            wall_ms = 1_777_896_000_000 + mono_ms - (31_536_000_000 if late else 0)
            return Anchor(utc_ms=wall_ms, mono_ms=mono_ms)

    with Cable() as cable:
        running = Capture(cable.source(), tmp_path, name="a", clock=Jumping())
        with running:
            for number, frames in enumerate(controller().until(10)):
                cable.send(frames)
                running.wait_rows(number + 1)
            running.end()
    session = load_session(tmp_path / "a.csv")
    assert session.elapsed_s.tolist() == [float(n) for n in range(10)]
    steps = [fault.detail for fault in session.faults if fault.code == "clock_step"]
    assert steps == ["-31536000"]


def log_command(port: str, folder: Path) -> list[str]:
    """Return the words of a `log` as a program of its own."""
    return [sys.executable, "-c", _PROGRAM, "log", port, "--out", str(folder), "--name", "a"]


def start_log(port: str, folder: Path, **options: Any) -> subprocess.Popen[str]:
    """Start `log` as a program of its own."""
    options = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **options}
    return subprocess.Popen(log_command(port, folder), text=True, **options)


def wait_for_rows(path: Path, count: int) -> None:
    """Wait until the file holds so many rows."""
    pause = threading.Event()
    for _ in range(round(PATIENCE_S / 0.01)):
        if path.exists() and path.read_bytes().count(b"\n") > count:
            return
        pause.wait(0.01)
    pytest.fail(f"{path} never held {count} rows")


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_asked_to_end_it_ends_cleanly_with_all_rows(tmp_path: Path, how: signal.Signals) -> None:
    with Cable() as cable:
        program = start_log(cable.name, tmp_path)
        for frames in controller().until(30):
            cable.send(frames)
        wait_for_rows(tmp_path / "a.csv", 30)
        program.send_signal(how)
        out, err = program.communicate(timeout=PATIENCE_S)
    assert program.returncode == 0, err
    assert "30 rows; on the wire: boot 1" in out
    session = load_session(tmp_path / "a.csv")
    assert len(session.elapsed_s) == 30
    assert session.notes == ()


def test_an_outing_whose_rows_are_not_all_on_the_disk_is_no_success(tmp_path: Path) -> None:
    def limit() -> None:  # like a quota: what is beyond is refused for good
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))

    with Cable() as cable:
        program = start_log(cable.name, tmp_path, preexec_fn=limit)
        for frames in controller().until(100):
            cable.send(frames)
        wait_for_rows(tmp_path / "a.csv", 30)
        pause = threading.Event()
        while not pause.wait(0.05) and (tmp_path / "a.csv").stat().st_size < 3900:
            pass
        program.send_signal(signal.SIGTERM)
        out, err = program.communicate(timeout=PATIENCE_S)
    assert program.returncode == 6, err
    assert "not on disk" in out
    assert "Traceback" not in err


def test_killed_outright_it_leaves_every_row_it_had_shown(tmp_path: Path) -> None:
    with Cable() as cable:
        program = start_log(cable.name, tmp_path)
        for frames in controller().until(30):
            cable.send(frames)
        wait_for_rows(tmp_path / "a.csv", 30)
        program.kill()
        program.communicate(timeout=PATIENCE_S)
        SerialSource(cable.name).open().close()  # nothing keeps the port busy
    assert len(load_session(tmp_path / "a.csv").elapsed_s) == 30
    import_files([tmp_path / "a.wire"], tmp_path, "again")
    assert (tmp_path / "again.csv").read_bytes() == (tmp_path / "a.csv").read_bytes()


@pytest.mark.parametrize("tail", [b"", b"\0" * 4096])
@pytest.mark.parametrize("cut", [1, 7, 40, 333])
def test_a_power_cut_in_a_write_costs_the_torn_row_only(
    tmp_path: Path, cut: int, tail: bytes
) -> None:
    with Cable() as cable, Capture(cable.source(), tmp_path, name="a") as running:
        for frames in controller().until(30):
            cable.send(frames)
        running.wait_rows(30)
        running.end()
    for path in (tmp_path / "a.csv", tmp_path / "a.wire"):
        path.write_bytes(path.read_bytes()[:-cut] + tail)
    session = load_session(tmp_path / "a.csv")
    check_rows_are_true(session)
    assert len(session.elapsed_s) >= 29 - cut // 40
    assert session.notes[0].code == "row-torn"
    import_files([tmp_path / "a.wire"], tmp_path, "again")
    again = load_session(tmp_path / "again.csv")
    check_rows_are_true(again)
    assert len(again.elapsed_s) >= 28 - cut // 20


def needs_root() -> None:
    """Skip without root and mount namespaces, except where they are promised."""
    usable = (
        os.geteuid() == 0
        and not subprocess.run(
            ["unshare", "-m", "true"], check=False, capture_output=True
        ).returncode
    )
    if not usable and os.environ.get("CI") == "true":
        pytest.fail("CI must run as root with mount namespaces")
    if not usable:
        pytest.skip("needs root and a mount namespace")


_ON_SMALL_DISK = Path(__file__).with_name("on_small_disk.py")


def on_small_disk(tmp_path: Path, mount: str, story: str) -> dict[str, object]:
    """Run a story of `on_small_disk.py` on a filesystem of its own; return what it saw."""
    needs_root()
    place = tmp_path / "disk"
    place.mkdir()
    script = 'mount -t tmpfs -o "$1" none "$2" && exec "$3" "$4" "$5" "$2"'
    words = [mount, str(place), sys.executable, str(_ON_SMALL_DISK), story]
    done = subprocess.run(
        ["unshare", "-m", "sh", "-c", script, "sh", *words],
        check=False,
        capture_output=True,
        text=True,
        timeout=100,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
    )
    assert done.returncode == 0, done.stderr
    seen: dict[str, object] = json.loads(done.stdout)
    return seen


@pytest.mark.root
def test_a_full_disk_stops_nothing_and_with_space_again_every_row_is_there(
    tmp_path: Path,
) -> None:
    seen = on_small_disk(tmp_path, "size=256k", "fills_and_recovers")
    assert seen["trouble"] == "No space left on device"
    assert seen["rows"] == seen["sent"]
    assert seen["gaps"] == 0
    assert seen["again_equal"] is True


@pytest.mark.root
def test_a_disk_full_for_too_long_gives_up_rows_in_bounded_memory_and_says_how_many(
    tmp_path: Path,
) -> None:
    seen = on_small_disk(tmp_path, "size=256k", "fills_for_long")
    assert seen["most_waiting"] == 200
    assert seen["dropped"] == seen["told_dropped"]
    assert int(str(seen["dropped"])) > 0
    assert int(str(seen["rows"])) + int(str(seen["dropped"])) == seen["sent"]


@pytest.mark.root
def test_a_read_only_folder_is_refused_at_the_start(tmp_path: Path) -> None:
    seen = on_small_disk(tmp_path, "ro", "starts")
    assert "Read-only file system" in str(seen["error"])
    assert "choose another folder with --out" in str(seen["error"])


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_without_permission_is_refused_at_the_start(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with Cable() as cable, pytest.raises(SessionError, match="choose another folder"):
        loop.run(cable.source(), tmp_path)
