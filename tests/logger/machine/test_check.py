"""All errors of a profile at once, and a machine described by answers."""

import tomllib
from pathlib import Path

import pytest

from checkout import BRACKEN_FILE
from refusal import refused
from wattsump_logger.errors import ProfileError, UsageError
from wattsump_logger.machine.check import problems
from wattsump_logger.machine.describing import QUESTIONS, checked, profile_data, toml_of
from wattsump_logger.machine.profile import profile_from_dict, raw_profile

BY_NAME = {question.name: question for question in QUESTIONS}


def test_a_sound_profile_has_no_problems() -> None:
    assert problems(raw_profile(BRACKEN_FILE), "bracken.toml") == ()


def test_every_error_is_listed_with_its_place() -> None:
    raw = {
        "nme": "x",
        "oil": {"grad": "VG 46", "volume": "18"},
        "metal": [{"name": "tank", "material": "tin", "mass": "24 L"}],
        "cooler": {"label_heat": "6 L"},
        "channels": {"tank": {"role": "tnk"}, "Fan": {}, "ambient": {"sensor": "Q"}},
    }
    places = [error.where.partition(", ")[2] for error in problems(raw, "x.toml")]
    assert places == [
        "",
        "name",
        "oil",
        "oil.grade",
        "oil.volume",
        "cooler.label_heat",
        "metal[1].material",
        "metal[1].mass",
        "channels.tank.role",
        "channels.Fan",
        "channels.ambient.sensor",
    ]


def test_what_is_wrong_between_keys_is_told_once_each_is_right() -> None:
    raw = {
        "name": "x",
        "oil": {"grade": "VG 46", "volume": "18 L"},
        "limits": {"oil_warn": "90 degC", "oil_max": "80 degC"},
    }
    (error,) = problems(raw, "x.toml")
    assert error.where == "x.toml, limits.oil_warn"


def test_a_file_that_is_no_toml_is_named(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text("name = ")
    with refused(ProfileError, "x.toml"):
        raw_profile(path)


def test_a_check_reads_a_file_as_a_recording_does(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(b"\xef\xbb\xbf" + BRACKEN_FILE.read_bytes())
    assert raw_profile(path) == raw_profile(BRACKEN_FILE)
    path.write_text("name = " + "[" * 5000)
    with refused(ProfileError, "x.toml"):
        raw_profile(path)


ANSWERS = {
    "name": 'the "blue" one',
    "grade": "VG 32",
    "volume": "5 gal",
    "tank metal": "60 lb",
    "drive metal": "34 kg",
    "label heat": "20000 BTU/h",
    "label difference": "100 degF",
    "fan": "thermostat 50 degC",
    "power": "20 hp",
}


def test_answers_make_a_profile_that_says_what_was_typed() -> None:
    text = toml_of(profile_data(ANSWERS))
    profile = profile_from_dict(tomllib.loads(text))
    assert profile.name == 'the "blue" one'
    # published: NIST SP 811, B.8: gallon 3.785412 L, pound 0.4535924 kg; six digits
    assert profile.oil.volume_m3 == pytest.approx(5 * 3.785412e-3, rel=1e-6)
    assert profile.metal[0].mass_kg == pytest.approx(60 * 0.4535924, rel=1e-6)
    assert profile.cooler.fan_thermostat_c == 50.0
    assert '"20000 BTU/h"' in text
    assert profile.heater is None


def test_a_metal_list_without_a_heavy_part_is_no_list() -> None:
    assert "metal" not in profile_data({**ANSWERS, "drive metal": ""})


def test_nothing_of_the_example_machine_is_in_a_described_one() -> None:
    text = toml_of(profile_data({"name": "mine", "grade": "VG 46", "volume": "9 L"}))
    assert tomllib.loads(text) == {"name": "mine", "oil": {"grade": "VG 46", "volume": "9 L"}}


def test_an_empty_answer_is_the_usual_one_or_skips() -> None:
    assert checked(BY_NAME["grade"], "") == "VG 46"
    assert checked(BY_NAME["heater"], " ") == ""
    with refused(UsageError, "How much oil is in the whole circuit, hoses and drive included?"):
        checked(BY_NAME["volume"], "")


@pytest.mark.parametrize(
    ("name", "typed"), [("volume", "18"), ("label heat", "6 L"), ("fan", "a boy with a bellows")]
)
def test_an_answer_the_profile_would_refuse_is_refused_at_once(name: str, typed: str) -> None:
    with pytest.raises((ProfileError, UsageError)):
        checked(BY_NAME[name], typed)
