"""The driver's own command: no shell, values in variables only, never in the way."""

import json
import os
import sys
import threading
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refusal import refused
from wattsump_logger.errors import UsageError
from wattsump_logger.watch.alarm_command import AlarmCommand, environment_of, words_of
from wattsump_logger.watch.alarms import Kind, Notice, Rule

EVIL = "x; touch owned $(touch owned) `touch owned` && touch owned | touch owned\n%PATH%\x00\x1b[2J"


def notice(name: str = "tank above 82 degC", value: float | None = 83.0) -> Notice:
    rule = Rule(name=name, kind=Kind.ABOVE, channel=name, column="tank_c", trip=82.0, clear=80.0)
    return Notice(rule=rule, event="raised", value=value)


class Never:
    """A command that does not end by itself."""

    def __init__(self) -> None:
        self.killed = False

    def poll(self) -> int | None:
        return -9 if self.killed else None

    def kill(self) -> None:
        self.killed = True


def test_the_real_command_gets_its_own_words_and_the_alarm_in_variables(tmp_path: Path) -> None:
    told = tmp_path / "told.json"
    script = tmp_path / "siren.py"
    script.write_text(
        "import json, os, sys\n"
        "seen = {k: v for k, v in os.environ.items() if k.startswith('WATTSUMP_')}\n"
        "json.dump([sys.argv[2:], seen], open(sys.argv[1], 'w'))\n",
        encoding="utf-8",
    )
    typed = f"{sys.executable} {script} {told} $WATTSUMP_TEXT '; echo' `id`"
    processes: list[object] = []

    def start(words: Sequence[str], environment: Mapping[str, str]) -> object:
        from wattsump_logger.watch.alarm_command import _start

        processes.append(_start(words, environment))
        return processes[-1]

    command = AlarmCommand(words_of(typed), start=start)  # type: ignore[arg-type]
    command.tell(notice(EVIL))
    assert processes[0].wait(30) == 0  # type: ignore[attr-defined]
    words, seen = json.loads(told.read_text(encoding="utf-8"))
    # Nothing was expanded, and nothing of the alarm is among the words.
    assert words == ["$WATTSUMP_TEXT", "; echo", "`id`"]
    assert seen["WATTSUMP_VALUE"] == "83.000"
    assert seen["WATTSUMP_LIMIT"] == "82.000"
    assert seen["WATTSUMP_EVENT"] == "raised"
    assert seen["WATTSUMP_CHANNEL"].startswith("x; touch owned $(touch owned)")
    assert not list(tmp_path.glob("owned"))
    assert not Path("owned").exists()


@settings(deadline=None)
@given(name=st.text(max_size=300))
def test_what_the_wire_says_reaches_variables_only_and_without_control_characters(
    name: str,
) -> None:
    started: list[tuple[Sequence[str], Mapping[str, str]]] = []

    def start(words: Sequence[str], environment: Mapping[str, str]) -> Never:
        started.append((words, environment))
        return Never()

    AlarmCommand(("siren", "--short"), start=start).tell(notice(name))
    words, environment = started[0]
    assert words == ("siren", "--short")
    ours = {key: text for key, text in environment.items() if key.startswith("WATTSUMP_")}
    assert ours == environment_of(notice(name))
    for text in ours.values():
        assert len(text) <= 200
        assert not any(ord(char) < 32 or 0x7F <= ord(char) < 0xA0 for char in text)


def test_a_command_that_hangs_neither_stops_us_nor_piles_up() -> None:
    now_s = [0.0]
    started: list[Never] = []

    def start(words: Sequence[str], environment: Mapping[str, str]) -> Never:
        started.append(Never())
        return started[-1]

    command = AlarmCommand(("siren",), start=start, monotonic_s=lambda: now_s[0])
    for _ in range(10):
        command.tell(notice())
    assert len(started) == 4
    assert "not started" in command.trouble
    now_s[0] = 61.0
    command.tidy()
    assert all(process.killed for process in started)
    command.tell(notice())
    assert len(started) == 5
    assert command.trouble == "alarm command ended after 60 s"
    started[-1].kill()
    command.tidy()
    assert command.trouble == "alarm command was ended by signal 9"


def test_a_command_that_cannot_start_is_a_line_of_trouble_and_nothing_else() -> None:
    command = AlarmCommand(("no-such-program-anywhere",))
    command.tell(notice())
    assert command.trouble.startswith("alarm command failed: No such file")


@pytest.mark.parametrize(
    ("typed", "found"),
    [("", "no such program"), ("no-such-program", "no such program"), ("echo 'open", "closing")],
)
def test_a_command_that_cannot_be_run_is_refused_at_once(typed: str, found: str) -> None:
    with refused(UsageError, "--alarm-command"):
        words_of(typed)


def test_no_value_is_an_empty_variable() -> None:
    assert environment_of(notice(value=None))["WATTSUMP_VALUE"] == ""


@pytest.mark.skipif(os.name != "posix", reason="process groups are of POSIX")
def test_a_command_that_hangs_is_ended_with_all_it_has_started(tmp_path: Path) -> None:
    now_s = [0.0]
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    script = tmp_path / "siren.sh"
    script.write_text(f"#!/bin/sh\n(sleep 600) >{pipe} &\nwait\n", encoding="utf-8")
    command = AlarmCommand(("sh", str(script)), monotonic_s=lambda: now_s[0])
    command.tell(notice())
    with pipe.open("rb") as alive:  # opens when the child has, and ends when the child does
        now_s[0] = 61.0
        command.tidy()
        assert alive.read() == b""
    pause = threading.Event()
    while command.running:  # until the system has told that it is gone
        pause.wait(0.01)
        command.tidy()
    assert command.trouble == "alarm command ended after 60 s"


def test_a_command_that_a_signal_ended_is_told() -> None:
    class Killed:
        def poll(self) -> int | None:
            return -9

        def kill(self) -> None:
            pass

    command = AlarmCommand(("x",), start=lambda words, environment: Killed())
    command.tell(notice())
    command.tidy()
    assert command.trouble == "alarm command was ended by signal 9"
