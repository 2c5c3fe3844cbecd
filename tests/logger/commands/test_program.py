"""The logger's commands: what they print, what they leave, what they cost to ask for help."""

import ast
import os
import sys
import tty
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest
import typer
from typer.testing import CliRunner

from wattsump_logger.bench.controller import EmulatedController
from wattsump_logger.capture.loop import Captured
from wattsump_logger.commands import log, sensors, telling
from wattsump_logger.commands import program as commands
from wattsump_logger.errors import PortError, ProfileError, SessionError, UsageError
from wattsump_logger.session.reader import load_session
from wattsump_logger.watch import view
from wattsump_logger.watch.moment import Screen
from wattsump_logger.wire.events import WireChannel

FAN = WireChannel(name="fan", source="state")


@pytest.fixture
def app() -> typer.Typer:
    program = typer.Typer(pretty_exceptions_enable=False)
    commands.register(program)
    return program


@pytest.fixture
def card(tmp_path: Path) -> Path:
    path = tmp_path / "card.txt"
    controller = EmulatedController(lambda _: {"fan": 1}, [FAN])
    path.write_bytes(b"".join(controller.until(5)))
    return path


@pytest.fixture
def pty_name() -> Iterator[str]:
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    controller = EmulatedController(lambda _: {"fan": 1}, [FAN])
    os.write(ours, b"".join(controller.until(5)))
    yield os.ttyname(theirs)
    os.close(ours)
    os.close(theirs)


def test_import_makes_a_session_and_says_where(app: typer.Typer, card: Path) -> None:
    out = card.parent / "out"
    result = CliRunner().invoke(app, ["import", str(card), "--out", str(out), "--name", "a"])
    assert result.exit_code == 0, result.output
    assert result.stdout.splitlines() == [
        f"session {out / 'a.csv'}",
        "5 rows; on the wire: boot 1",
    ]
    assert len(load_session(out / "a.csv").elapsed_s) == 5


def test_import_takes_names_and_a_start(app: typer.Typer, card: Path) -> None:
    words = ["import", str(card), "--out", str(card.parent), "--name", "a", "--rename", "fan=drive"]
    result = CliRunner().invoke(app, [*words, "--start", "2026-05-04T07:30:00Z"])
    assert result.exit_code == 0, result.output
    session = load_session(card.parent / "a.csv")
    assert "drive_on" in session.columns
    assert session.start_utc is not None


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        (["import", "none.txt"], SessionError),
        (["import", "{card}", "--rename", "fan"], UsageError),
        (["import", "{card}", "--machine", "none.toml"], ProfileError),
        (["log", "/nowhere/ttyX"], PortError),
    ],
)
def test_expected_errors_are_raised_for_the_program_to_tell(
    app: typer.Typer, card: Path, words: list[str], kind: type[Exception]
) -> None:
    full = [word.replace("{card}", str(card)) for word in words] + ["--out", str(card.parent)]
    result = CliRunner().invoke(app, full)
    assert isinstance(result.exception, kind)


def test_log_records_until_it_is_asked_to_end(
    app: typer.Typer, tmp_path: Path, pty_name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop_with_all_rows(screen: Screen) -> str:
        if screen.row_count == 5:
            os.kill(os.getpid(), 15)
        return f"{screen.row_count} so far"

    monkeypatch.setattr(view, "line", stop_with_all_rows)
    result = CliRunner().invoke(app, ["log", pty_name, "--out", str(tmp_path), "--name", "a"])
    assert result.exit_code == 0, result.output
    assert "Ctrl-C ends" in result.stderr
    lines = result.stdout.splitlines()
    assert "5 so far" in lines
    assert lines[-2] == "5 rows; on the wire: boot 1"
    assert lines[-1].startswith("next    wattsump prove")


def test_ports_lists_without_opening(app: typer.Typer) -> None:
    assert CliRunner().invoke(app, ["ports"]).exit_code == 0


def test_the_next_command_keeps_the_units() -> None:
    captured = Captured(
        wires=(), sessions=(Path("a.csv"),), row_count=5, dropped_rows=0, counts={}, trouble=""
    )
    for units, option in (("si", ""), ("us", " --units us")):
        (line,) = (x for x in telling.ending(captured, units) if x.startswith("next"))
        assert line == "next    wattsump prove a.csv" + option


def test_what_was_not_kept_is_said_at_the_end() -> None:
    captured = Captured(
        wires=(), sessions=(), row_count=0, dropped_rows=7, counts={}, trouble="disk full"
    )
    lines = list(telling.ending(captured))
    assert "check the speed (--baud)" in lines[1]
    assert lines[2] == "not on disk: 7 rows (disk full)"


@pytest.mark.parametrize("module", [commands, log, sensors])
def test_no_module_is_imported_for_help_but_typer(module: ModuleType) -> None:
    tree = ast.parse(Path(module.__file__ or "").read_text(encoding="utf-8"))
    names = {
        alias.name if isinstance(node, ast.Import) else str(node.module)
        for node in tree.body
        if isinstance(node, ast.Import | ast.ImportFrom)
        for alias in node.names
    }
    ours = {"wattsump_logger.commands", "wattsump_logger.commands.log"}
    assert names <= {"typer", *ours} | set(sys.stdlib_module_names | {"collections.abc"})
