"""Answers on a narrow terminal: no line too long, and no fact missing."""

import io
import os
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import partial

import pytest

from analysis import proof_fixture
from analysis.few_outings import outing, row_of_outings
from analysis.season.test_fleet import gathered
from analysis.show.test_fleet import LEFT_OUT
from wattsump_analysis.emulation.bracken import demo_profile
from wattsump_analysis.questions.answer import Answer, Figure, Row, Section
from wattsump_analysis.questions.ask import ask_limits, ask_oil, ask_preheat, ask_rating
from wattsump_analysis.questions.writing import screen
from wattsump_analysis.results import Interval
from wattsump_analysis.season.compare import compare
from wattsump_analysis.season.fleet import fleet_of
from wattsump_analysis.season.trend import trend_of
from wattsump_analysis.show.fleet_screen import fleet_screen
from wattsump_analysis.show.machine import machine_lines
from wattsump_analysis.show.screen import proof_screen
from wattsump_analysis.show.season_screen import compare_screen, trend_screen
from wattsump_logger.width import columns, of_terminal


class Terminal(io.StringIO):
    """One end of a pseudo-terminal of a given width."""

    def __init__(self, wide: int) -> None:
        super().__init__()
        import fcntl
        import struct
        import termios

        self.ours, self.theirs = os.openpty()
        fcntl.ioctl(self.theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, wide, 0, 0))

    def isatty(self) -> bool:
        return True

    def fileno(self) -> int:
        return self.theirs


@pytest.fixture(params=[40, 60])
def narrow(request: pytest.FixtureRequest) -> Iterator[int]:
    if os.name != "posix":
        pytest.skip("pseudo-terminals")
    terminal = Terminal(request.param)
    with of_terminal(terminal):
        yield request.param
    os.close(terminal.ours)
    os.close(terminal.theirs)


def words(text: str) -> set[str]:
    plain = re.sub(r"[=|^o]{2,}", " ", re.sub(r"\[/?[a-z ]*\]", "", text))
    return {word.removesuffix(";") for word in plain.split()}


def test_a_file_a_pipe_and_a_wide_terminal_get_80_columns() -> None:
    with of_terminal(io.StringIO()):
        assert columns() == 80
    if os.name == "posix":
        with of_terminal(Terminal(200)):
            assert columns() == 80
    assert columns() == 80


@pytest.mark.parametrize("units", ["si", "us"])
def test_a_proof_fits_a_narrow_terminal_whole(narrow: int, units: str) -> None:
    text = proof_screen(proof_fixture.falls_short(), units)
    plain = re.sub(r"\[/?[a-z ]*\]", "", text)
    assert max(map(len, plain.splitlines())) <= narrow
    with of_terminal(io.StringIO()):
        wide = proof_screen(proof_fixture.falls_short(), units)
    assert words(wide) <= words(text)


def test_an_answer_fits_a_narrow_terminal_whole(narrow: int) -> None:
    for answer in (
        ask_rating(label_heat="6 kW", label_etd="55 K", power="12 hp", air_flow="600 cfm"),
        ask_rating(label_heat="6 kW", measured="95 to 115 W/K", air_flow="600 cfm"),
        ask_preheat(heater="125 W", oil="18 L", steel="60 kg"),
        ask_oil(machine=demo_profile(), cold="-5 degC", peak="71 degC", compare=["VG 32"]),
        ask_limits(oil="85 degC", cold="-30 degC"),
    ):
        text = screen(answer, "us")
        assert max(map(len, text.splitlines())) <= narrow
        with of_terminal(io.StringIO()):
            assert words(screen(answer, "us")) <= words(text)


def test_a_season_a_comparison_and_a_fleet_fit_a_narrow_terminal_whole(narrow: int) -> None:
    row = row_of_outings([(8, 0.5, 1.2)], n=16)
    whole = fleet_of(gathered({"Bracken": row}))
    for write in (
        partial(trend_screen, trend_of(row), "us"),
        partial(compare_screen, compare(row[:8], row[8:]), "us"),
        partial(fleet_screen, whole, LEFT_OUT, "us"),
    ):
        text = write()
        assert max(map(len, text.splitlines())) <= narrow
        with of_terminal(io.StringIO()):
            assert words(write()) - {"machine"} <= words(text)  # a head of names alone


def test_a_range_wider_than_the_screen_is_not_cut_off() -> None:
    wild = compare([outing(0, 95.0, 3400.0)], [outing(1, 95.0, 3400.0)])
    line = replace(
        wild.lines[0], change=Interval(value=-123.0, low=-1111.0, high=1111.0), name="x" * 31
    )
    text = compare_screen(replace(wild, like_rise=None, lines=(line,)), "us")
    assert max(map(len, text.splitlines())) <= 80
    assert "to +2000)" in text  # independent: 1111 K are 1999.8 degF


def test_a_row_below_another_in_a_narrow_answer_keeps_its_indent(narrow: int) -> None:
    row = Row(key="a", label="  margin", figure=Figure(value=1e9, kind="power", low=5e8, high=2e9))
    section = Section(title="Air", rows=(row,))
    text = screen(Answer(question="forecast", headline=(), sections=(section,)), "us")
    assert [line[:7].rstrip() for line in text.splitlines()[:2]] == ["Air", "    mar"]


def test_values_of_a_proof_end_in_one_column_in_both_systems() -> None:
    for units in ("si", "us"):
        text = re.sub(r"\[/?[a-z ]*\]", "", proof_screen(proof_fixture.falls_short(), units))
        rows = [line for line in text.splitlines() if line.endswith(" (95 %)")]
        assert len({len(line) - len(line.split("  ")[-1].lstrip()) for line in rows}) == 1


def test_a_machine_fits_a_narrow_terminal(narrow: int) -> None:
    assert max(map(len, machine_lines(demo_profile(), "us"))) <= narrow
