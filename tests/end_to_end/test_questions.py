"""The owner's questions at the command line, and each example of their document."""

import ast
import json
import re
import shlex
import shutil
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import pytest
import typer
from jsonschema import (  # type: ignore[import-untyped] # its stubs are a package more
    Draft202012Validator,
)
from typer.testing import CliRunner, Result

from analysis import proof_fixture
from checkout import BRACKEN_FILE, ROOT
from wattsump_analysis import questions as room
from wattsump_analysis.commands import program, questions
from wattsump_analysis.proof.proof_json import proof_text
from wattsump_analysis.questions.asked import QUESTIONS

PAGE = ROOT / "docs" / "owner-questions.md"
SCHEMA = json.loads((ROOT / "docs" / "wattsump-answer-2.schema.json").read_text("utf-8"))
BLOCK = re.compile(r"```sh\n(?P<line>wattsump .+)\n```\n\n```text\n(?P<facts>(?:.+\n)+)```")
TEXT = PAGE.read_text(encoding="utf-8")
EXAMPLES = [(found["line"], found["facts"].splitlines()) for found in BLOCK.finditer(TEXT)]
WIDTH = 80


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "sample-data").mkdir()
    shutil.copy(BRACKEN_FILE, tmp_path / "sample-data")
    (tmp_path / "proof.json").write_text(proof_text(proof_fixture.falls_short()), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(line: str) -> Result:
    app = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False)
    questions.register(app)
    return CliRunner().invoke(app, shlex.split(line)[1:], catch_exceptions=False)


def test_every_block_of_the_page_is_among_the_examples() -> None:
    assert len(EXAMPLES) == TEXT.count("```sh") == 12
    asked = {line.split()[1] for line, _ in EXAMPLES}
    assert asked == {"rating", "forecast", "preheat", "oil", "cab", "limits", "lines"}


@pytest.mark.parametrize(("line", "facts"), EXAMPLES, ids=[line[:40] for line, _ in EXAMPLES])
def test_an_example_of_the_page_says_what_the_page_says(line: str, facts: list[str]) -> None:
    said = run(line)
    assert said.exit_code == 0
    shown = " ".join(said.stdout.split())
    assert [fact for fact in facts if " ".join(fact.split()) not in shown] == []


@pytest.mark.parametrize("units", ["si", "us"])
@pytest.mark.parametrize("line", [line for line, _ in EXAMPLES])
def test_every_screen_fits_eighty_columns(line: str, units: str) -> None:
    rows = run(f"{line} --units {units}").stdout.splitlines()
    assert [row for row in rows if len(row) > WIDTH] == []


@pytest.mark.parametrize("line", [line for line, _ in EXAMPLES])
def test_json_is_the_documented_schema_and_nothing_else(line: str) -> None:
    said = json.loads(run(f"{line} --json").stdout)
    Draft202012Validator(SCHEMA).validate(said)
    assert said["question"] == line.split()[1]
    documented = set(re.findall(r"`(\w+)`", TEXT.split("## JSON")[1]))
    assert set(said) <= documented
    for value in said["values"].values():
        assert set(value) <= documented | {"bound"}


def test_cautions_stand_before_any_figure_where_hands_are_at_work() -> None:
    line = next(line for line, _ in EXAMPLES if line.split()[1] == "lines")
    said = run(line).stdout
    assert said.startswith("CAUTION\n! ")
    assert re.search(r"\d+(\.\d+)? (°C|W|min)\b", said.split("\n\n")[0]) is None


@pytest.mark.parametrize(
    ("line", "code", "told"),
    [
        ("rating", 2, "expected --label-heat, --measured or --power, found nothing"),
        ("rating --label-heat 20000", 3, "--label-heat: expected a power"),
        ("rating --label-heat '20000 degC'", 3, "--label-heat: expected a power"),
        ("rating --measured '115 to 95 W/K'", 3, "--measured: expected a range from low to high"),
        ("forecast --measured '105 W/K'", 2, "expected --heat, --ambient"),
        ("forecast --from none.json --ambient '20 degC'", 2, "none.json: expected a proof"),
        ("preheat --heater '500 W'", 2, "--oil and --steel, or --capacity"),
        ("oil", 2, "--grade"),
        ("oil --grade 'thick'", 2, "oil grade: expected an ISO 3448 grade such as"),
        ("oil --viscosity-40 '46 mm2/s'", 2, "both --viscosity-40 and --viscosity-100"),
        ("cab --ambient '0 degC'", 2, "--heat, --measured, --air-flow"),
        ("limits", 2, "expected --oil"),
        ("limits --oil 85", 3, "--oil: expected a temperature"),
        ("limits --oil '20 degC' --cold '30 degC'", 3, "hottest temperature: expected at least 30"),
        ("lines", 2, "--flow, --hose, --containers or --dash"),
        ("lines --flow '12 L/min' --line sideways", 2, "--line: expected one of suction"),
        ("lines --hose '3 m'", 2, "--hose: expected bore x length"),
        ("lines --hose '-8 x 3'", 3, "--hose: expected a length such as"),
        ("lines --core='-1 L'", 3, "--core: expected a volume"),
        ("lines --pressure '10 bar' --hose-class R99", 2, "pressure class: expected one of 100R4"),
        ("rating --power '6 hp' --pump-efficiency 85", 3, "80 % is 0.80"),
        ("rating --power '6 hp' --pump-efficiency '85 %'", 2, "expected --motor-efficiency"),
        ("rating --measured '10 +- 20 W/K'", 3, "--measured: expected a half width"),
        ("oil --grade 10W-90", 2, "expected an engine-oil name, one of 0W-20"),
        ("oil --grade 'VG 46' --session none.csv", 3, "none.csv: expected the CSV file"),
        ("lines --dash eight", 2, "dash size: expected a dash size such as -8"),
        ("lines --containers 2", 2, "--container, the size of one"),
        ("lines --pressure '10 bar'", 2, "--hose-class"),
    ],
)
def test_a_wrong_question_is_one_line_on_stderr_and_its_code(
    line: str, code: int, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert program.main(shlex.split(line)) == code
    said = capsys.readouterr()
    assert told in said.err
    assert said.err.count("\n") == 1
    assert said.out == ""


def test_a_file_that_is_no_proof_is_refused_with_what_makes_one(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for text, found in (("[]", "schema 'list'"), ("{", "no JSON"), ('{"schema": "x-1"}', "'x-1'")):
        (folder / "other.json").write_text(text, encoding="utf-8")
        assert program.main(["rating", "--from", "other.json"]) == 2
        said = capsys.readouterr().err
        assert found in said
        assert "prove SESSION --json" in said


def test_a_session_adds_its_minutes_outside_the_window(folder: Path) -> None:
    rows = ["time_utc,elapsed_s,seq,tank_c,engine_rpm,drive_on,fault,mark"]
    # Ten minutes at -20 °C, too thick for VG 46, then ten at idle at 30 °C.
    rows += [f",{s}.000,{s},{-20 if s < 600 else 30}.000,900,0,," for s in range(0, 1200, 10)]
    (folder / "out.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    said = json.loads(run("wattsump oil --grade 'VG 46' --session out.csv --json").stdout)
    grade, thick, inside, thin = said["tables"]["time_outside"]["rows"][0]
    assert grade == "VG 46 (in it)"
    # 59 of 119 steps of 10 s have both ends cold; the step between counts at its mean of 5 °C.
    assert [thick["value"], inside["value"], thin["value"]] == [590.0, 600.0, 0.0]
    assert said["values"]["idle_mm2_s"]["value"] > 0


def test_a_session_without_a_tank_is_refused_by_name(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = "time_utc,elapsed_s,seq,ambient_c,fault,mark\n,0.000,0,20.000,,\n,1.000,1,20.000,,\n"
    (folder / "out.csv").write_text(text, encoding="utf-8")
    assert program.main(["oil", "--grade", "VG 46", "--session", "out.csv"]) == 2
    assert capsys.readouterr().err.startswith("wattsump: out.csv: ")


def test_no_option_is_accepted_and_then_ignored() -> None:
    sources = [ast.parse(path.read_text("utf-8")) for path in Path(room.__path__[0]).glob("*.py")]
    read = {
        node.attr
        for source in sources
        for node in ast.walk(source)
        if isinstance(node, ast.Attribute) and ast.unparse(node.value) == "asked"
    }
    options = {spot.name for question in QUESTIONS.values() for spot in fields(question.asked)}
    assert options - read == set()


def test_help_of_the_questions_loads_nothing_heavy() -> None:
    code = (
        "import sys, wattsump_analysis.commands.questions; "
        "print([n for n in ('numpy', 'scipy', 'pandas', 'pint', 'matplotlib') if n in sys.modules])"
    )
    said = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert said.stdout.strip() == "[]"
