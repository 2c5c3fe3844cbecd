"""`import` of another logger's table, as it is typed."""

import shlex
from pathlib import Path

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from wattsump_logger.commands import adopting, program
from wattsump_logger.errors import UsageError
from wattsump_logger.machine.profile import profile_from_dict
from wattsump_logger.session.reader import load_session, write_session
from wattsump_logger.wire.frames import format_line

ROWS = "".join(f"09:{s // 60:02d}:{s % 60:02d};{20 + s / 100:.2f};18.5\n" for s in range(120))


@pytest.fixture
def app() -> typer.Typer:
    app = typer.Typer()
    program.register(app)
    return app


@pytest.fixture
def other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "other.csv"
    path.write_text("Time;Oil;Air C\n" + ROWS, encoding="utf-8")
    return path


def test_an_open_question_without_a_terminal_is_refused_with_the_words_to_type(
    app: typer.Typer, other: Path
) -> None:
    result = CliRunner().invoke(app, ["import", "other.csv"])
    assert isinstance(result.exception, UsageError)
    assert '--column "Oil=tank"' in str(result.exception)


def test_typed_columns_make_a_session_and_are_kept_for_the_next_file(
    app: typer.Typer, other: Path
) -> None:
    typed = ["--column", "Oil=tank degC", "--column", "Air C=ambient"]
    result = CliRunner().invoke(app, ["import", "other.csv", *typed, "--name", "first"])
    assert result.exit_code == 0, result.output
    assert "next    wattsump prove first.csv" in result.output
    again = CliRunner().invoke(app, ["import", "other.csv", "--name", "again"])
    assert "columns as kept in columns.json" in again.output
    assert set(load_session("again.csv").columns) >= {"tank_c", "ambient_c"}


def test_a_preview_writes_nothing(app: typer.Typer, other: Path, tmp_path: Path) -> None:
    typed = ["--column", "Oil=tank degC", "--column", "Air C=ambient", "--out", "new/folder"]
    result = CliRunner().invoke(app, ["import", "other.csv", *typed, "--preview"])
    assert "nothing was written" in result.output
    assert [path.name for path in tmp_path.iterdir()] == ["other.csv"]
    CliRunner().invoke(app, ["import", "other.csv", *typed])
    assert {path.name for path in Path("new/folder").iterdir()} >= {"other.csv", "columns.json"}


def test_no_session_that_is_there_is_written_over(app: typer.Typer, other: Path) -> None:
    before = other.read_bytes()
    typed = ["--column", "Oil=tank degC", "--column", "Air C=ambient"]
    CliRunner().invoke(app, ["import", "other.csv", *typed])
    assert other.read_bytes() == before
    assert Path("other.2.csv").exists()


def test_on_a_terminal_what_is_open_is_asked_and_the_preview_confirmed(
    app: typer.Typer, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(adopting, "_is_terminal", lambda: True)
    result = CliRunner().invoke(app, ["import", "other.csv"], input="tank\nambient\ndegC\ny\n")
    assert "What does the column 'Oil' measure?" in result.output
    assert Path("other.2.csv").exists(), result.output


def test_a_preview_that_is_wrong_leaves_nothing_and_says_how_to_change_it(
    app: typer.Typer, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(adopting, "_is_terminal", lambda: True)
    result = CliRunner().invoke(app, ["import", "other.csv"], input="tank\nambient\ndegC\nn\n")
    assert "to change a column" in result.output
    assert not Path("other.2.csv").exists()


def test_a_wrong_answer_is_asked_again_and_every_role_has_its_words(
    app: typer.Typer, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(adopting, "_is_terminal", lambda: True)
    other.write_text("Time;Oil;Air\n" + ROWS, encoding="utf-8")
    typed = "oil in\ncooler_in\nambient\nkelvins\nC\ny\n"
    result = CliRunner().invoke(app, ["import", "other.csv"], input=typed)
    assert result.exit_code == 0, result.output
    assert "found 'oil'" in result.output
    assert "cooler_in    oil going into the cooler" in result.output
    assert "expected one of degC, degF, found 'kelvins'" in result.output
    assert max(map(len, result.output.splitlines())) <= 80
    assert "cooler_in_c" in load_session("other.2.csv").columns


def test_answers_outlive_an_end_in_the_middle(
    app: typer.Typer, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(adopting, "_is_terminal", lambda: True)
    other.write_text("Time;Oil;Outside\n" + ROWS, encoding="utf-8")
    ended = CliRunner().invoke(app, ["import", "other.csv"], input="tank\n")
    assert ended.exit_code != 0
    result = CliRunner().invoke(app, ["import", "other.csv"], input="degC\nn\n")
    assert "'Oil'" not in result.output
    CliRunner().invoke(app, ["import", "other.csv"], input="y\n")
    assert "tank_c" in load_session("other.2.csv").columns


def test_a_column_that_the_file_has_not_is_refused(app: typer.Typer, other: Path) -> None:
    result = CliRunner().invoke(app, ["import", "other.csv", "--column", "Olie=tank"])
    assert "write the name as in the file" in str(result.exception)


def test_two_tables_at_once_are_refused(app: typer.Typer, other: Path) -> None:
    Path("more.csv").write_text("Time;Oil\n" + ROWS, encoding="utf-8")
    result = CliRunner().invoke(app, ["import", "other.csv", "more.csv"])
    assert "import a table by itself" in str(result.exception)


def test_the_roles_are_listed_once_and_the_next_command_can_be_pasted(
    app: typer.Typer, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(adopting, "_is_terminal", lambda: True)
    rows = "".join(f"09:00:{s:02d};{70 + s / 100:.2f};{60 + s / 50:.2f};1\n" for s in range(60))
    Path("an export.csv").write_text("Time;Oel;Luft;Zahl\n" + rows, encoding="utf-8")
    typed = "tank degF\nambient degF\nnothing\ny\n"
    result = CliRunner().invoke(app, ["import", "an export.csv"], input=typed)
    assert result.exit_code == 0, result.output
    assert result.output.count("case_drain ") == 1
    assert "degF: " in result.output
    (line,) = (line for line in result.output.splitlines() if line.startswith("next"))
    assert shlex.split(line)[1:] == ["wattsump", "prove", "an export.2.csv"]


@pytest.mark.parametrize(
    ("name", "content", "typed"),
    [
        (
            "x.wire",
            format_line("H1,0,0,mine-1,1000,tank:value:c"),
            ("--was", "drive on throughout"),
        ),
        ("x.csv", b"Time s,Tank C\n1,20\n2,20\n", ("--rename", "a=b")),
    ],
)
def test_an_option_that_a_file_has_no_use_for_is_refused(
    app: typer.Typer, tmp_path: Path, name: str, content: bytes, typed: tuple[str, str]
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    result = CliRunner().invoke(app, ["import", str(path), *typed])
    assert isinstance(result.exception, UsageError)
    assert result.exception.where == typed[0]


def test_a_session_of_our_own_keeps_its_machine_when_times_are_typed_for_it(
    app: typer.Typer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    profile = profile_from_dict({"name": "x", "oil": {"grade": "VG 46", "volume": "18 L"}})
    seconds = np.arange(60.0)
    columns = {"tank_c": 20.0 + seconds / 10.0, "ambient_c": np.full(60, 18.5)}
    write_session(Path("own.csv"), seconds, columns, metadata={"profile": profile.to_dict()})
    typed = ["--was", "drive on 0 min to 1 min", "--name", "again"]
    result = CliRunner().invoke(app, ["import", "own.csv", *typed])
    assert result.exit_code == 0, result.output
    again = load_session("again.csv")
    assert again.profile() == profile
    assert "drive_on" in again.columns
