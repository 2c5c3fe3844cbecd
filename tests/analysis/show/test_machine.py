"""What a profile was understood to say, line by line, and the command that asks for one."""

import json
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner, Result

from wattsump_analysis.commands import machine
from wattsump_analysis.emulation.bracken import demo_profile
from wattsump_analysis.show.machine import machine_lines
from wattsump_logger.errors import UsageError
from wattsump_logger.machine.describing import QUESTIONS
from wattsump_logger.machine.profile import load_profile, profile_from_dict


@pytest.fixture
def app() -> typer.Typer:
    app = typer.Typer()
    machine.register(app)
    return app


def new(app: typer.Typer, path: Path, typed: str, *options: str) -> Result:
    return CliRunner().invoke(app, ["machine", "new", str(path), *options], input=typed)


def test_the_label_is_told_per_kelvin_and_the_drive_s_heat_beside_it() -> None:
    text = "\n".join(machine_lines(demo_profile()))
    # independent, by hand: 6000 W / 55 K; 15 kW x (1 - 0.85 x 0.85)
    assert "109 W/K" in text
    assert "4.16 kW of 15.0 kW" in text


def test_both_unit_systems_show_the_same_machine() -> None:
    text = "\n".join(machine_lines(demo_profile(), "us"))
    assert "20,500 BTU/h" in text
    assert "kW" not in text


def test_what_is_missing_is_told_with_its_cost() -> None:
    bare = profile_from_dict({"name": "x", "oil": {"grade": "VG 46", "volume": "18 L"}})
    missing = [line for line in machine_lines(bare) if "missing" in line]
    assert [line.split()[1].rstrip(":") for line in missing] == [
        "metal",
        "label_heat",
        "oil",
        "drive",
    ]


@pytest.mark.parametrize(
    ("section", "key", "typed"),
    [
        ("cooler", "label_heat", "6 W"),
        ("cooler", "label_heat", "6 MW"),
        ("cooler", "label_etd", "150 degF"),
        ("cooler", "oil_flow", "12 L/s"),
        ("cooler", "fan_thermostat", "122 degC"),
        ("oil", "volume", "1800 L"),
    ],
)
def test_an_entry_whose_unit_slipped_is_called_doubtful(section: str, key: str, typed: str) -> None:
    data: dict[str, Any] = demo_profile().to_dict()
    assert not any("doubtful" in line for line in machine_lines(profile_from_dict(data)))
    data[section][key] = typed
    lines = [line for line in machine_lines(profile_from_dict(data)) if "doubtful" in line]
    assert len(lines) == 1


def test_ctrl_c_keeps_the_answers_and_the_same_command_goes_on(
    app: typer.Typer, tmp_path: Path
) -> None:
    path = tmp_path / "mine.toml"
    first = new(app, path, "Mine\n\n18 L\n")
    assert first.exit_code != 0
    rest = "24 kg\n34 kg\n\n6 kW\n\n\n\nin oil\n\n\n"
    second = new(app, path, rest)
    assert "3 answers" in second.output
    profile = load_profile(path)
    assert (profile.name, len(profile.metal)) == ("Mine", 2)
    assert {name: channel.mount for name, channel in profile.channels.items()} == {
        "cooler_in": "in oil",
        "cooler_out": "in oil",
    }
    assert [file.name for file in tmp_path.iterdir()] == ["mine.toml"]


def test_no_profile_that_is_there_is_written_over(app: typer.Typer, tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("x")
    result = new(app, path, "Mine\n")
    assert result.exit_code != 0
    assert path.read_text() == "x"


def test_check_ends_with_three_where_something_is_wrong(app: typer.Typer, tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text('nme = "x"\n[oil]\nvolume = "18"\n')
    result = CliRunner().invoke(app, ["machine", "check", str(path)])
    assert result.exit_code == 3
    assert result.output.count("wrong:") == 4


def test_a_slip_is_mended_by_going_back_and_what_was_right_stays(
    app: typer.Typer, tmp_path: Path
) -> None:
    path = tmp_path / "mine.toml"
    typed = "Mine\n5 gal\nVG 46\n81 L\n<\n18 L\n24 kg\n<\n\n34 kg\n\n6 kW\n\n\n\n\n\n\n"
    said = new(app, path, typed)
    assert said.exit_code == 0, said.output
    assert max(len(line) for line in said.output.splitlines() if str(path) not in line) <= 80
    profile = load_profile(path)
    assert round(profile.oil.volume_m3 * 1000) == 18
    assert [part.mass_kg for part in profile.metal] == [24.0, 34.0]


def test_a_difference_typed_in_degrees_is_said_back_in_kelvin(
    app: typer.Typer, tmp_path: Path
) -> None:
    typed = "Mine\n\n18 L\n24 kg\n34 kg\n4 kg\n20.000 BTU/h\n20000 BTU/h\n50 °C\n"
    result = new(app, tmp_path / "mine.toml", typed)
    assert "50.0 K = 90 °F" in result.output


def test_an_answer_that_is_no_quantity_is_printed_once(app: typer.Typer, tmp_path: Path) -> None:
    result = new(app, tmp_path / "mine.toml", "Mine\n\nabout 16 litres\n")
    assert result.output.count("'about 16 litres'") == 1


def test_flow_fan_and_heater_are_said_back() -> None:
    raw = {
        "name": "x",
        "oil": {"grade": "VG 46", "volume": "18 L"},
        "cooler": {"oil_flow": "12 L/min", "fan_thermostat": "130 degF"},
        "heater": {"power": "500 W"},
    }
    text = " ".join(" ".join(machine_lines(profile_from_dict(raw), "us")).split())
    # published: 1 gpm is 6.309e-5 m3/s, NIST SP 811, appendix B.8; three digits
    assert "3.17 gpm" in text
    assert "130 °F;" in text
    assert "500 W" in text


def test_questions_to_a_reader_of_us_units_give_their_examples_first(
    app: typer.Typer, tmp_path: Path
) -> None:
    typed = "Mine\n\n5 gal\n53 lb\n75 lb\n"
    asked = new(app, tmp_path / "mine.toml", typed, "--units", "us")
    assert asked.output.index("75 lb") < asked.output.index("34 kg")


@pytest.mark.parametrize(
    "kept", [b'{"name": "Mi', b"[1]", b'{"name": 3}', b"\xff", b"[" * 100_000], ids=range(5)
)
def test_kept_answers_that_cannot_be_read_are_refused_and_stay(
    app: typer.Typer, tmp_path: Path, kept: bytes
) -> None:
    draft = tmp_path / "mine.toml.answers.json"
    draft.write_bytes(kept)
    result = new(app, tmp_path / "mine.toml", "Mine\n")
    assert isinstance(result.exception, UsageError)
    assert result.exception.where == str(draft)
    assert draft.read_bytes() == kept


def test_a_kept_answer_that_the_profile_would_refuse_is_asked_again(
    app: typer.Typer, tmp_path: Path
) -> None:
    draft = tmp_path / "mine.toml.answers.json"
    draft.write_text(json.dumps({one.name: one.usual for one in QUESTIONS} | {"name": "Mine"}))
    path = tmp_path / "mine.toml"
    result = new(app, path, "18 L\n" + 10 * "\n")
    assert result.exit_code == 0, result.output
    assert load_profile(path).oil.volume_m3 * 1000 == 18.0  # independent: as typed, in litres


def test_how_the_probes_at_the_cooler_sit_is_said_back() -> None:
    said = set()
    for inlet, outlet in (({}, {}), ({"mount": "in oil"}, {}), ({}, {"mount": "bare"})):
        raw = {
            "name": "x",
            "oil": {"grade": "VG 46", "volume": "18 L"},
            "channels": {"cooler_in": inlet, "cooler_out": outlet},
        }
        said.add(tuple(machine_lines(profile_from_dict(raw))))
    assert len(said) == 3
