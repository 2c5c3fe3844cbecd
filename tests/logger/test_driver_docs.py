"""What the pages for drivers say is what the program does."""

import configparser
import os
import re
import shlex
import subprocess
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from checkout import BRACKEN, BRACKEN_FILE, ROOT
from wattsump_analysis.commands import program as whole
from wattsump_logger.commands import program as commands
from wattsump_logger.errors import PortError
from wattsump_logger.watch.alarm_command import environment_of, words_of
from wattsump_logger.watch.alarm_rules import Typed, rules_for
from wattsump_logger.watch.alarms import Kind, Notice, Rule
from wattsump_logger.watch.keys import MARK_KEYS
from wattsump_logger.watch.proving_run import proving_steps

DOCS = ROOT / "docs"
PAGES = ("alarms.md", "first-evening.md")
UNIT = DOCS / "examples" / "wattsump-log.service"
SCRIPT = DOCS / "examples" / "alarm.sh"
RULE = Rule(name="tank above 82 degC", kind=Kind.ABOVE, column="tank_c", trip=82.0, clear=80.0)


def lines_in_blocks(page: str) -> list[str]:
    text = (DOCS / page).read_text(encoding="utf-8")
    blocks = re.findall(r"```sh\n(.*?)```", text, re.DOTALL)
    return [line.strip() for block in blocks for line in block.splitlines() if line.strip()]


LINES = [line for page in PAGES for line in lines_in_blocks(page)]


def parse(words: list[str]) -> None:
    """Have the program read these words without doing what they say."""
    command = whole.command_tree()
    while hasattr(command, "commands"):
        command, words = command.commands[words[0]], words[1:]
    command.make_context("wattsump", list(words))


def test_there_are_commands_to_check() -> None:
    assert len(LINES) > 10


@pytest.mark.parametrize("line", LINES)
def test_each_command_on_the_pages_is_one_the_program_takes(line: str) -> None:
    program, *words = shlex.split(line)
    assert program == "wattsump"
    parse(words)


def test_a_command_the_program_does_not_take_is_noticed() -> None:
    with pytest.raises(Exception, match="--no-such-option"):
        parse(["sensors", "ice", "a.csv", "--no-such-option"])


def test_every_variable_is_listed_and_no_other() -> None:
    listed = re.findall(r"^\| `(WATTSUMP_\w+)` \|", (DOCS / "alarms.md").read_text(), re.MULTILINE)
    assert listed == list(environment_of(Notice(rule=RULE, event="raised", value=1.0)))


def test_every_kind_of_alarm_is_listed() -> None:
    text = (DOCS / "alarms.md").read_text(encoding="utf-8")
    (row,) = re.findall(r"^\| `WATTSUMP_KIND` \| (.*) \|$", text, re.MULTILINE)
    assert re.findall(r"`(\w+)`", row) == list(Kind)


def test_the_table_of_alarms_has_the_figures_of_the_rules() -> None:
    text = (DOCS / "alarms.md").read_text(encoding="utf-8")
    by_kind = {rule.kind: rule for rule in rules_for(("tank_c",), BRACKEN, Typed())}
    hot, rate, stalled = by_kind[Kind.ABOVE], by_kind[Kind.RATE], by_kind[Kind.STALLED]
    assert f"{hot.trip - hot.clear:g} K below | {hot.hold_off_s:g} s" in text
    assert f"else {rate.trip:g} K a minute" in text
    assert f"{rate.clear / rate.trip:g} of it | {rate.hold_off_s:g} s" in text
    assert f"{stalled.trip:g} s of silence | {stalled.clear:g} s" in text
    fault = by_kind[Kind.FAULT]
    assert (fault.trip, fault.clear, fault.hold_off_s) == (1 / 4, 1 / 20, 5)


def test_the_table_of_keys_has_all_marks() -> None:
    text = (DOCS / "first-evening.md").read_text(encoding="utf-8")
    keys = " ".join(key for key in MARK_KEYS if key != "n")
    marks = ", ".join(mark for mark in MARK_KEYS.values() if mark != "note")
    assert f"| **{keys}** | mark {marks} |" in text


def test_the_page_names_the_steps_in_their_order() -> None:
    text = " ".join((DOCS / "first-evening.md").read_text(encoding="utf-8").split())
    assert (
        "soak, heater run and circulation in neutral (if the machine has a heater), fan-off rise "
        "to a safe limit, fan on and off three times with the drive turning at working speed, "
        "your work loop, cool-down" in text
    )
    assert sum(step.name.startswith("fan on") for step in proving_steps()) == 3


def test_the_table_of_the_proving_run_has_its_steps_and_their_times_in_order() -> None:
    text = (DOCS / "proving-a-cooler.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| \*\*([a-z -]+)\*\*.* \| (\d+) min", text, re.MULTILINE)
    steps = proving_steps(BRACKEN)
    kinds = [(step.name.rstrip(" 123"), f"{step.longest_s / 60:.0f}") for step in steps]
    assert rows == [kind for kind in dict.fromkeys(kinds) if kind[0] != "fan off"]
    assert dict(kinds)["fan off"] == dict(kinds)["fan on"]  # both in one row


def unit() -> configparser.ConfigParser:
    parser = configparser.ConfigParser(interpolation=None)
    parser.optionxform = str  # type: ignore[assignment,method-assign]
    parser.read_string(UNIT.read_text(encoding="utf-8"))
    return parser


def test_the_service_comes_at_boot_comes_back_and_is_ended_as_the_program_expects() -> None:
    parsed = unit()
    assert parsed["Install"]["WantedBy"] == "multi-user.target"
    assert parsed["Service"]["Restart"] == "always"
    assert parsed["Unit"]["StartLimitIntervalSec"] == "0"  # however long the plug is out
    assert parsed["Service"]["KillSignal"] == "SIGTERM"


def test_the_services_command_line_is_one_the_program_takes_and_only_the_port_is_missing(
    tmp_path: Path,
) -> None:
    program, *words = shlex.split(unit()["Service"]["ExecStart"])
    assert program.endswith("/wattsump")
    there = {
        "/etc/wattsump/bracken.toml": str(BRACKEN_FILE),
        "/var/lib/wattsump": str(tmp_path),
        "/etc/wattsump/alarm.sh": str(SCRIPT),
    }
    app = typer.Typer(pretty_exceptions_enable=False)
    commands.register(app)
    result = CliRunner().invoke(app, [there.get(word, word) for word in words])
    assert isinstance(result.exception, PortError), result.output


@pytest.mark.skipif(os.name != "posix", reason="a shell script")
def test_the_example_script_writes_hostile_words_down_and_runs_none_of_them(tmp_path: Path) -> None:
    told = tmp_path / "alarms.txt"
    evil = "x'; touch owned; $(touch owned) `touch owned` %s %n \\"
    rule = Rule(name=evil, kind=Kind.ABOVE, column="tank_c", trip=82.0, clear=80.0)
    notice = Notice(rule=rule, event="raised", value=83.0)
    environment = {**os.environ, **environment_of(notice), "ALARM_LIST": str(told)}
    subprocess.run(words_of(str(SCRIPT)), env=environment, cwd=tmp_path, check=True, timeout=30)
    assert told.read_text(encoding="utf-8") == f"on alarm: {evil} (83.0 degC)\n"
    assert [path.name for path in tmp_path.iterdir()] == ["alarms.txt"]
