"""Answers on a narrow terminal: no line too long, and no fact missing."""

import io
import os
import re
from collections.abc import Iterator

import pytest

from analysis import proof_fixture
from wattsump_analysis.emulation.bracken import demo_profile
from wattsump_analysis.questions.ask import ask_preheat, ask_rating
from wattsump_analysis.questions.writing import screen
from wattsump_analysis.show.machine import machine_lines
from wattsump_analysis.show.screen import proof_screen
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
    return set(re.sub(r"[=|^o]{2,}", " ", re.sub(r"\[/?[a-z ]*\]", "", text)).split())


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
        ask_preheat(heater="125 W", oil="18 L", steel="60 kg"),
    ):
        text = screen(answer, "us")
        assert max(map(len, text.splitlines())) <= narrow
        with of_terminal(io.StringIO()):
            assert words(screen(answer, "us")) <= words(text)


def test_a_machine_fits_a_narrow_terminal(narrow: int) -> None:
    assert max(map(len, machine_lines(demo_profile(), "us"))) <= narrow
