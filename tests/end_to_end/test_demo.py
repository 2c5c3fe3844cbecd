"""The demonstration: through a real port, the real capture, to files a stranger can use."""

import contextlib
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from checkout import BRACKEN_FILE
from wattsump_analysis.commands import demo
from wattsump_analysis.emulation import bracken
from wattsump_analysis.emulation.plant import cooler_conductance_w_k
from wattsump_logger.bench import controller
from wattsump_logger.machine.profile import load_profile, profile_from_dict
from wattsump_logger.session.reader import Session, load_session

FAST = 2000.0


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    if not controller.has_ptys():
        pytest.skip("no pseudo-terminals here")
    session, _ = demo.record(tmp_path_factory.mktemp("demo"), FAST)
    return session


@pytest.fixture(scope="module")
def outing(recorded: Path) -> Session:
    return load_session(recorded)


def test_every_reading_arrives_through_the_port(outing: Session) -> None:
    length_s = bracken.rehearse(bracken.demo_profile()).length_s
    assert outing.elapsed_s.size == length_s
    assert np.all(np.diff(outing.elapsed_s) == 1)
    # On a busy computer the emulated controller may fall behind the clock, which is flagged.
    faults = {fault.code for fault in outing.faults if fault.channel == "wire"}
    assert faults - {"uptime_slow"} == {"boot"}


def test_each_stage_is_a_mark_at_its_beginning(outing: Session) -> None:
    assert [mark.text for mark in outing.marks] == [
        stage.name.replace(" ", "-") for stage in bracken.STAGES
    ]
    fan = outing.columns["fan_on"]
    at = {mark.text: mark.elapsed_s for mark in outing.marks}
    began = int(np.searchsorted(outing.elapsed_s, at["fan-on-1"]))
    assert (fan[began - 1], fan[began]) == (0, 1)


def test_the_sidecar_carries_the_machine_so_that_nothing_else_is_needed(outing: Session) -> None:
    held = outing.metadata["profile"]
    assert isinstance(held, dict)
    assert profile_from_dict(held) == bracken.demo_profile()


def test_the_files_a_stranger_wants_lie_side_by_side(recorded: Path) -> None:
    assert recorded.with_suffix(".wire").stat().st_size > 100_000
    assert load_profile(recorded.with_name("bracken.toml")) == bracken.demo_profile()


def test_a_second_demonstration_leaves_the_first_alone(recorded: Path, no_ptys: None) -> None:
    before = recorded.read_bytes()
    again, _ = demo.record(recorded.parent, FAST)
    assert again != recorded
    assert recorded.read_bytes() == before


@pytest.fixture
def no_ptys(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wattsump_logger.bench.controller.has_ptys", lambda: False)


def test_without_pseudo_terminals_the_same_readings_come_through_memory_and_it_is_said(
    outing: Session, tmp_path: Path, no_ptys: None, capsys: pytest.CaptureFixture[str]
) -> None:
    session, _ = demo.record(tmp_path, FAST)
    assert "the port is in memory" in capsys.readouterr().err
    other = load_session(session)
    assert other.columns.keys() == outing.columns.keys()
    for name, values in outing.columns.items():
        assert np.array_equal(other.columns[name], values, equal_nan=True), name


def test_progress_over_one_line_is_for_terminals_only(
    tmp_path: Path, no_ptys: None, capsys: pytest.CaptureFixture[str]
) -> None:
    demo.record(tmp_path, FAST)
    said = capsys.readouterr()
    assert said.out == ""
    assert "\x1b" not in said.err
    assert "rows: " in said.err


def test_there_is_one_profile_of_the_example_machine() -> None:
    # The packaged copy is what an installed wheel has; the other is what the docs point to.
    assert bracken.demo_text() == BRACKEN_FILE.read_text(encoding="utf-8")


def test_the_emulated_cooler_is_what_the_demonstration_says_it_is() -> None:
    machine = bracken.demo_machine(bracken.demo_profile())
    settled = float(cooler_conductance_w_k(machine, np.array([70.0]))[0])
    assert settled == pytest.approx(bracken.COOLER_W_K, rel=2e-3)  # the bypass takes a little
    assert 0.70 < settled / (6000 / 55) < 0.72


def test_the_machine_is_near_its_profile_and_not_the_same() -> None:
    machine = bracken.demo_machine(bracken.demo_profile())
    metal = machine.drive_metal_j_k + machine.tank_wall_j_k + machine.core_j_k
    oil = machine.oil_tank_j_k + machine.oil_loop_j_k
    assert 0.4 < float((metal / (metal + oil))[0]) < 0.6  # about half is metal


@contextlib.contextmanager
def unwritable(folder: Path) -> Iterator[Path]:
    (folder / "taken").write_text("", encoding="utf-8")
    yield folder / "taken"


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path: Path) -> None:
    with (
        unwritable(tmp_path) as taken,
        pytest.raises(ValueError, match="choose another one with --out"),
    ):
        demo.record(taken, FAST)


def test_the_live_screen_of_a_recording_can_be_seen_in_the_demonstration(
    outing: Session, tmp_path: Path, no_ptys: None, capsys: pytest.CaptureFixture[str]
) -> None:
    session, _ = demo.record(tmp_path, FAST, "us")
    shown = capsys.readouterr().out  # no terminal: plain lines
    # Played so fast, a hold-up of the computer by some milliseconds is a silence of seconds.
    assert re.search("^bracken: (recording|silent for) ", shown)
    assert "tank_f " in shown
    watched = load_session(session)
    assert watched.elapsed_s.size == outing.elapsed_s.size
    stages = [mark.text for mark in outing.marks]
    assert [mark.text for mark in watched.marks if mark.text in stages] == stages
