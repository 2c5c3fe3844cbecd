"""The flashed binary on the emulated chip, through its port, to a session on disk.

An outing of six minutes on the invented log carrier Bracken: the oil warms, the fan comes
and goes, probes fail and recover, the line is disturbed, the driver presses the button,
the supply dips. Whatever was done to the machine must be found in the session at its
time and on its channel, and nothing else.
"""

import math
import os
import tty
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from firmware.harness import need
from wattsump_logger.bench import chip
from wattsump_logger.bench.chip import ChipBench
from wattsump_logger.capture import loop
from wattsump_logger.capture.clock import Anchor
from wattsump_logger.capture.importing import import_files
from wattsump_logger.capture.ports import SerialSource
from wattsump_logger.capture.recorder import Recorder
from wattsump_logger.capture.wirefile import Chunk
from wattsump_logger.session.reader import Session, load_session
from wattsump_logger.session.rows import Row

pytestmark = pytest.mark.chip

END_S = 360
STEP_MS = 100
START_UTC_MS = 1_776_582_000_000  # 2026-04-19 07:00 UTC, an invented morning
DEAD_MS = 2_500  # without supply in the dip
DIP_S = 200.55
# One step of bench time, the chip's 2 ms of start-up and a late reading.
TIME_SLACK_S = 0.12
# published: MAX31855 data sheet, steps of 0.25 °C and of 0.0625 °C for the cold junction, so
# half of each; the straight line is up to 5 % flatter than type K below 100 °C, which
# stretches the first to 0.1325 °C and the second to 0.0325 °C.
RESOLUTION_C = 0.165

PROBES = ("tank", "cooler_in", "cooler_out", "ambient", "case_drain", "pump_inlet")

# channel, what the plant says, the session's code, from, to (seconds of bench time; half a
# second off the readings, which are on whole seconds, except after the dip)
FAULTS = (
    ("cooler_in", "fault:open", "open", 40.5, 55.5),
    ("ambient", "fault:short_ground", "short_ground", 50.5, 52.5),
    ("pump_inlet", "fault:short_supply", "short_supply", 90.5, 120.5),
    ("case_drain", None, "bus", 100.5, 130.5),
    ("tank", "fault:open", "open", 250.25, 251.25),
    ("cooler_out", "fault:suspect", "suspect", 300.25, 310.25),
)


def bracken(elapsed_s: float) -> dict[str, float | str | None]:
    """What every probe really is at, in °C, and what is switched on."""
    warm_k = 52.0 * (1.0 - math.exp(-elapsed_s / 240.0))
    fan_on = 150.0 <= elapsed_s < 330.0
    drop_k = (9.0 if fan_on else 2.5) * warm_k / 52.0
    return {
        "board": 9.0 + elapsed_s / 60.0,
        "tank": 6.0 + warm_k,
        "cooler_in": 6.5 + 1.02 * warm_k,
        "cooler_out": 6.5 + 1.02 * warm_k - drop_k,
        "ambient": -3.0 + 0.6 * math.sin(elapsed_s / 17.0),
        "case_drain": 7.0 + 1.25 * warm_k,
        "pump_inlet": 6.0 + 0.97 * warm_k,
        "fan": float(fan_on),
        "engine": float(elapsed_s >= 10.0),
        "drive": float(elapsed_s < 10.0),
        "supply": 13.8 if elapsed_s >= 10.0 else 12.4,
    }


def with_faults(elapsed_s: float) -> dict[str, float | str | None]:
    """What the wires carry."""
    values = bracken(elapsed_s)
    for channel, said, _, begin_s, end_s in FAULTS:
        if begin_s <= elapsed_s < end_s:
            values[channel] = said
    return values


@dataclass
class Outing:  # mutable: grows as the outing goes on
    """A bench, the host's end of its port, and the session being made of it."""

    bench: ChipBench
    port: int
    recorder: Recorder
    raw: bytearray = field(default_factory=bytearray)

    def until(self, time_s: float) -> None:
        """Go on, feeding wires and taking what the port says, in steps."""
        while self.bench.at_ms < round(time_s * 1000):
            self.bench.feed(with_faults(self.bench.at_ms / 1000))
            self.bench.run_until(min(self.bench.at_ms + STEP_MS, round(time_s * 1000)))
            self.take()

    def take(self) -> None:
        """Record what waits at the port, with the bench's own time as the host's clock."""
        try:
            data = os.read(self.port, 65_536)
        except BlockingIOError:
            return
        self.raw += data
        at_ms = self.bench.at_ms
        self.recorder.take(
            Chunk(data=data, anchor=Anchor(utc_ms=START_UTC_MS + at_ms, mono_ms=at_ms))
        )


def drive(outing: Outing) -> None:
    """The outing, disturbances of line and supply included."""
    outing.until(30.5)
    outing.bench.press_button()
    outing.until(70.5)
    outing.bench.order("noise 00C3FF410D0A")
    outing.until(75.5)
    outing.bench.order("noise 7E7E")  # no line end: it takes the next frame with it
    outing.until(80.5)
    outing.bench.order("spoil 1")
    outing.until(140.5)
    outing.bench.order("swallow 100000")
    outing.until(143.5)
    outing.bench.order("swallow 0")
    outing.until(DIP_S)
    outing.bench.order(f"reset brownout {DEAD_MS}")
    outing.until(270.25)
    outing.bench.press_button()
    outing.until(END_S)


@pytest.fixture(scope="module")
def outing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Outing]:
    need(chip.missing_tools())
    folder = tmp_path_factory.mktemp("chip-outing")
    built = chip.build(folder / "build")
    with ChipBench(built) as bench:
        port = os.open(bench.port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        tty.setraw(port)
        made = Outing(bench=bench, port=port, recorder=Recorder(folder, "outing"))
        drive(made)
        made.recorder.close()
        os.close(port)
        yield made


@pytest.fixture(scope="module")
def session(outing: Outing) -> Session:
    return load_session(outing.recorder.paths[0])


def bench_s(session: Session) -> np.ndarray:
    """When each row was, in bench time: the first reading is one period after the boot."""
    return session.elapsed_s + 1.0


def test_one_outing_is_one_session_through_the_dip(outing: Outing, session: Session) -> None:
    assert len(outing.recorder.paths) == 1
    assert session.notes == ()
    assert session.start_utc is not None
    began = datetime.fromtimestamp((START_UTC_MS + 1_000) / 1000, UTC)
    assert abs((session.start_utc - began).total_seconds()) <= TIME_SLACK_S


def test_no_reading_is_lost_and_none_invented(session: Session) -> None:
    times_s = bench_s(session)
    # Before the dip on whole seconds, but for the frames the line lost; after it on whole
    # seconds of the second boot.
    again_s = DIP_S + DEAD_MS / 1000
    first = [s for s in range(1, 201) if s not in (76, 81, 141, 142, 143)]
    second = [again_s + s for s in range(1, math.ceil(END_S - again_s))]
    assert times_s == pytest.approx([*first, *second], abs=TIME_SLACK_S)


def test_temperatures_are_what_the_plant_fed_to_the_resolution_of_the_converter(
    session: Session,
) -> None:
    checked = 0
    for row, time_s in enumerate(bench_s(session)):
        # What was on the wire at the reading: the plant moves a fraction of a step between.
        near = [with_faults(time_s + shift) for shift in (-TIME_SLACK_S, 0.0, TIME_SLACK_S)]
        for probe in PROBES:
            fed = [values[probe] for values in near]
            numbers = [value for value in fed if isinstance(value, float)]
            if len(numbers) < len(fed):
                continue
            got_c = session.columns[f"{probe}_c"][row]
            assert min(numbers) - RESOLUTION_C <= got_c <= max(numbers) + RESOLUTION_C
            checked += 1
    assert checked > 2_000


def test_states_and_supply_follow_the_plant(session: Session) -> None:
    for row, time_s in enumerate(bench_s(session)):
        values = bracken(time_s + TIME_SLACK_S)
        if values != {**values, **{k: bracken(time_s - 2 * TIME_SLACK_S)[k] for k in STATES}}:
            continue
        for state in STATES:
            assert session.columns[f"{state}_on"][row] == values[state]
        supply_v = values["supply"]
        assert isinstance(supply_v, float)
        # independent: two counts of a 10-bit converter over 17.6 V, see the firmware's tests
        assert session.columns["supply_v"][row] == pytest.approx(supply_v, abs=0.035)


STATES = ("fan", "engine", "drive")


def test_every_injected_fault_is_on_its_channel_at_its_time_and_no_other(
    session: Session,
) -> None:
    times_s = bench_s(session)
    found = {(f.channel, f.code, f.row) for f in session.faults if f.channel != "wire"}
    expected = {
        (channel, code, row)
        for channel, _, code, begin_s, end_s in FAULTS
        for row, time_s in enumerate(times_s)
        if begin_s <= time_s < end_s
    }
    assert found == expected
    assert {code for _, code, _ in found} == {code for _, _, code, _, _ in FAULTS}
    for channel, _, row in found:
        assert math.isnan(session.columns[f"{channel}_c"][row])


def test_a_cell_is_empty_only_where_a_fault_says_why(session: Session) -> None:
    faulty = {(f.channel, f.row) for f in session.faults}
    for probe in PROBES:
        for row in np.flatnonzero(np.isnan(session.columns[f"{probe}_c"])):
            assert (probe, int(row)) in faulty


def test_what_happened_on_the_line_is_told_in_the_next_row(session: Session) -> None:
    times_s = bench_s(session)
    wire = [
        (float(times_s[fault.row]), fault.code, fault.detail)
        for fault in session.faults
        if fault.channel == "wire"
    ]
    again_s = DIP_S + DEAD_MS / 1000 + 1.0
    whole = [(time_s, code, detail) for time_s, code, detail in wire if time_s < again_s - 1]
    assert [(round(t), code, detail) for t, code, detail in whole] == [
        (1, "boot", "power"),
        (71, "noise", "4"),
        (77, "bad_crc", "1"),
        (77, "gap", "1"),
        (82, "bad_crc", "1"),
        (82, "gap", "1"),
        (144, "gap", "3"),
    ]
    dip = [(code, detail) for _, code, detail in wire[len(whole) :]]
    assert dip == [("reboot", "1"), ("boot", "brownout")]
    assert wire[-1][0] == pytest.approx(again_s, abs=TIME_SLACK_S)


def test_the_dip_shows_as_a_gap_of_its_true_length(session: Session) -> None:
    times_s = bench_s(session)
    last = int(np.flatnonzero(times_s < DIP_S)[-1])
    # 200 s was the last reading; the next comes one period after the second boot.
    expected_s = DIP_S + DEAD_MS / 1000 + 1.0 - 200.0
    assert times_s[last + 1] - times_s[last] == pytest.approx(expected_s, abs=TIME_SLACK_S)


def test_the_drivers_marks_are_at_their_times(session: Session) -> None:
    # every boot says which table the controller uses
    marks = [mark for mark in session.marks if not mark.text.startswith("note table-")]
    assert len(marks) < len(session.marks)
    assert [mark.text for mark in marks] == ["button", "button"]
    # A mark is told with the reading that follows it, at most a period later.
    for mark, pressed_s in zip(marks, (30.5, 270.25), strict=True):
        assert 0.0 <= mark.elapsed_s + 1.0 - pressed_s <= 1.0 + TIME_SLACK_S


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchClock:
    """The host's clocks, running on the bench's time."""

    bench: ChipBench

    def anchor(self) -> Anchor:
        at_ms = self.bench.at_ms
        return Anchor(utc_ms=START_UTC_MS + at_ms, mono_ms=at_ms)


def test_a_live_capture_through_the_serial_port_goes_on_through_a_dip(tmp_path: Path) -> None:
    need(chip.missing_tools())
    until_s, dead_ms, quiet = 40.0, 1_500, 0
    dips: list[float] = []
    serving = chip.serve(bracken, tmp_path / "build", until_s=until_s, speed=20.0, step_s=0.1)
    with serving as bench:

        def on_rows(rows: Sequence[Row]) -> None:
            nonlocal quiet
            quiet = 0
            if not dips and rows[-1].elapsed_ms >= 15_000:
                bench.order(f"reset brownout {dead_ms}")
                dips.append(bench.at_ms / 1000)

        def stop() -> bool:
            nonlocal quiet
            quiet += bench.at_ms >= until_s * 1000
            return quiet > 5

        captured = loop.run(
            SerialSource(bench.port),
            tmp_path,
            clock=BenchClock(bench=bench),
            stop=stop,
            on_rows=on_rows,
            name="live",
        )
    assert len(captured.sessions) == 1
    session = load_session(captured.sessions[0])
    assert [(f.code, f.detail) for f in session.faults] == [
        ("boot", "power"),
        ("reboot", "1"),
        ("boot", "brownout"),
    ]
    times_s = bench_s(session)
    again_s = dips[0] + dead_ms / 1000
    # A frame takes 10 ms to send, so one that was due at the very dip is not among them.
    expected = [*range(1, int(dips[0] - 0.05) + 1)]
    expected += [again_s + s for s in range(1, math.ceil(until_s - again_s))]
    # The reader takes what came every few tens of milliseconds, twenty times as much there.
    assert times_s == pytest.approx(expected, abs=1.0)
    tank_c = [float(bracken(time_s)["tank"] or 0.0) for time_s in times_s]
    # The oil warms by 0.22 K a second at most.
    assert session.columns["tank_c"] == pytest.approx(tank_c, abs=RESOLUTION_C + 0.22)


def test_the_same_bytes_from_a_card_give_the_same_data(
    outing: Outing, session: Session, tmp_path: Path
) -> None:
    card = tmp_path / "card.txt"
    card.write_bytes(outing.raw)
    imported = import_files([card], tmp_path, "again")
    again = load_session(imported.paths[0])
    assert list(again.columns) == list(session.columns)
    for name in [f"{probe}_c" for probe in PROBES] + ["fan_on", "supply_v"]:
        np.testing.assert_array_equal(again.columns[name], session.columns[name])
    # A card has no clock: how long the supply was away is not known, and that is said.
    assert ("wire", "time_unknown") in {(fault.channel, fault.code) for fault in again.faults}
