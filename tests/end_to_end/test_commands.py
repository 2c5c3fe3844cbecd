"""The program as a whole: what it prints where, and how it ends."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from jsonschema import (  # type: ignore[import-untyped] # its stubs are a package more
    Draft202012Validator,
    ValidationError,
)

from analysis import proof_fixture
from end_to_end.ended import Ended
from wattsump_analysis.commands import prove
from wattsump_analysis.commands.prove import Proved
from wattsump_analysis.proof.proof_json import SCHEMA, proof_data
from wattsump_analysis.results import Proof, Verdict
from wattsump_logger.errors import PortError, SessionError, UsageError
from wattsump_logger.session.reader import Session

ROOT = Path(__file__).parents[2]
PACKAGES = (ROOT / "logger", ROOT / "analysis")
RULES = json.loads((ROOT / "docs" / "wattsump-proof-2.schema.json").read_text(encoding="utf-8"))


def given(monkeypatch: pytest.MonkeyPatch, proof: Proof) -> None:
    monkeypatch.setattr(prove, "prove_file", lambda path, machine: Proved(proof=proof))


def test_the_fan_is_found_by_the_profile_in_the_sidecar_too() -> None:
    on = np.array([0.0, 1.0, 1.0])
    outing = Session(
        path=Path("out.csv"),
        elapsed_s=np.array([0.0, 10.0, 20.0]),
        columns={"tank_c": np.full(3, 50.0), "blower_on": on},
        metadata={
            "profile": {
                "name": "Bracken",
                "oil": {"grade": "VG 46", "volume": "18 L"},
                "channels": {"blower": {"role": "fan"}},
            }
        },
    )
    samples = Proved(proof=proof_fixture.falls_short(), outing=outing).samples()
    assert samples is not None
    assert samples.fan is not None
    assert samples.fan.tolist() == on.tolist()


def test_help_names_every_command_and_version_the_release(run: Callable[..., Ended]) -> None:
    helped = run("--help")
    assert helped.code == 0
    for word in ("ports", "log", "import", "prove", "demo"):
        assert f"\n  {word}" in helped.out
    assert run("--version").out.startswith("wattsump ")


def test_without_a_word_help_is_shown(run: Callable[..., Ended]) -> None:
    ended = run()
    assert ended.code == UsageError.exit_code
    assert "Usage: wattsump" in ended.err


def test_a_real_outing_is_proved_from_its_session_alone(
    run: Callable[..., Ended], session: Path, tmp_path: Path
) -> None:
    report, plot = tmp_path / "page.html", tmp_path / "outing.svg"
    ended = run("prove", session, "--json", "--report", report, "--plot", plot)
    assert ended.err == ""
    data = json.loads(ended.out)
    Draft202012Validator(RULES).validate(data)
    assert ended.code == (5 if data["verdict"] == "cannot tell" else 0)
    assert data["label"]["label_heat_w"] == 6000
    assert [mark[1] for mark in data["marks"]][1] == "fan-off-rise"
    assert "<h1" in report.read_text(encoding="utf-8")
    assert plot.read_text(encoding="utf-8").startswith("<?xml")


def test_a_cooler_that_was_judged_ends_with_0_and_an_open_question_with_5(
    run: Callable[..., Ended], monkeypatch: pytest.MonkeyPatch
) -> None:
    given(monkeypatch, proof_fixture.falls_short())
    assert run("prove", "any.csv").code == 0
    given(monkeypatch, proof_fixture.cannot_tell())
    ended = run("prove", "any.csv")
    assert ended.code == prove.CANNOT_TELL
    assert "because" in ended.out


def test_off_a_terminal_the_answer_is_plain_text_on_stdout(
    run: Callable[..., Ended], monkeypatch: pytest.MonkeyPatch
) -> None:
    given(monkeypatch, proof_fixture.falls_short())
    ended = run("prove", "any.csv", "--units", "us")
    assert "\x1b" not in ended.out
    assert "17,800 BTU/h (5.20 kW)" in ended.out
    assert ended.err == ""


@pytest.mark.parametrize(
    "make",
    [proof_fixture.falls_short, proof_fixture.without_etd, proof_fixture.cannot_tell],
)
def test_every_kind_of_proof_fits_the_schema(make: Callable[[], Proof]) -> None:
    data = json.loads(json.dumps(proof_data(make()), allow_nan=False))
    Draft202012Validator.check_schema(RULES)
    Draft202012Validator(RULES).validate(data)
    assert data["schema"] == SCHEMA


def test_the_schema_refuses_what_is_not_a_proof() -> None:
    data = json.loads(json.dumps(proof_data(proof_fixture.falls_short()))) | {"verdict": "fine"}
    with pytest.raises(ValidationError, match="fine"):
        Draft202012Validator(RULES).validate(data)


def test_what_is_no_session_is_one_line_on_stderr(
    run: Callable[..., Ended], tmp_path: Path
) -> None:
    empty = tmp_path / "empty.csv"
    empty.write_bytes(b"")
    ended = run("prove", empty)
    assert ended.code == SessionError.exit_code
    assert ended.out == ""
    assert ended.err.startswith(f"wattsump: {empty}")
    assert ended.err.count("\n") == 1
    assert "expected" in ended.err
    assert "Traceback" not in ended.err


@pytest.mark.parametrize(
    "words", [("prove", "a", "b"), ("prove", "a.csv", "--units", "nautical"), ("sing",)]
)
def test_a_mistyped_line_ends_with_2(run: Callable[..., Ended], words: tuple[str, ...]) -> None:
    ended = run(*words)
    assert ended.code == UsageError.exit_code
    assert ended.out == ""
    assert "Usage: wattsump" in ended.err


def test_a_port_that_is_not_there_ends_with_its_own_code(
    run: Callable[..., Ended], tmp_path: Path
) -> None:
    ended = run("log", str(tmp_path / "no-such-port"), "--out", tmp_path)
    assert ended.code == PortError.exit_code
    assert "no-such-port" in ended.err


def test_a_picture_of_an_unknown_kind_is_refused_with_2(
    run: Callable[..., Ended], monkeypatch: pytest.MonkeyPatch
) -> None:
    given(monkeypatch, proof_fixture.falls_short())
    ended = run("prove", "any.csv", "--plot", "outing.bmp")
    assert ended.code == UsageError.exit_code
    assert ended.err.count("\n") == 1


def test_each_documented_code_is_the_codes_own() -> None:
    text = (ROOT / "docs" / "exit-codes.md").read_text(encoding="utf-8")
    for code in (
        0,
        1,
        UsageError.exit_code,
        SessionError.exit_code,
        PortError.exit_code,
        prove.CANNOT_TELL,
    ):
        assert f"\n| {code} |" in text


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\nfrom wattsump_analysis.commands import program\n"
        "try:\n    program.main(['--help'])\nexcept SystemExit:\n    pass\n"
        "print([n for n in ('numpy', 'pandas', 'scipy', 'matplotlib', 'pyarrow', 'pint', 'rich')"
        " if n in sys.modules], file=sys.stderr)"
    )
    said = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
        env={
            **os.environ,
            "PYTHONPATH": os.pathsep.join((str(ROOT / "logger"), str(ROOT / "analysis"))),
        },
    )
    assert said.stderr.strip() == "[]"


def test_the_schema_knows_every_verdict() -> None:
    assert RULES["properties"]["verdict"]["enum"] == list(Verdict)
