"""`wattsump sensors`: from a session to corrections that the next capture uses."""

from collections.abc import Mapping
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner, Result

from checkout import BRACKEN_FILE
from refusal import refused
from wattsump_logger.bench.controller import EmulatedController
from wattsump_logger.calibration.kept import beside, load_machine
from wattsump_logger.capture.importing import import_files
from wattsump_logger.commands import program as commands
from wattsump_logger.errors import RangeError, UsageError
from wattsump_logger.wire.events import WireChannel

NAMES = ("tank", "cooler_in", "cooler_out")


def recorded(folder: Path, name: str, **temps_c: float) -> Path:
    """A minute of these temperatures as a session."""
    channels = [WireChannel(name=probe, source="value", detail="c") for probe in temps_c]

    def source(_: float) -> Mapping[str, float | str | None]:
        return temps_c

    card = folder / f"{name}.txt"
    card.write_bytes(b"".join(EmulatedController(source, channels).until(60)))
    return import_files([card], folder, name).paths[0]


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    path = tmp_path / "bracken.toml"
    path.write_bytes(BRACKEN_FILE.read_bytes())
    return path


def ask(*words: object) -> Result:
    program = typer.Typer(pretty_exceptions_enable=False)
    commands.register(program)
    result = CliRunner().invoke(program, ["sensors", *map(str, words)])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result


def test_a_bucket_match_is_told_kept_and_used_by_the_next_capture(
    tmp_path: Path, machine: Path
) -> None:
    bucket = recorded(tmp_path, "bucket", tank=45.5, cooler_in=45.0, cooler_out=44.5)
    said = ask("match", bucket, "--machine", machine).stdout
    assert "45.00 degC, 60 readings" in said
    assert "tank             -0.500 K, u " in said
    assert "drop of 10 K" in said
    profile, _ = load_machine(machine)
    assert profile is not None
    assert [profile.channels[name].offset_k for name in NAMES] == [-0.5, 0.0, 0.5]
    assert "bucket match" in ask("show", "--machine", machine).stdout


def test_ice_and_then_boiling_water_make_a_straight_line(tmp_path: Path, machine: Path) -> None:
    ask("ice", recorded(tmp_path, "ice", tank=0.5), "--machine", machine)
    boil = recorded(tmp_path, "boil", tank=98.0)
    said = ask("boil", boil, "--pressure", "1000 hPa", "--machine", machine).stdout
    # published: IAPWS R7-97, table 36: 372.755 919 K at 0.1 MPa
    assert "99.61 degC" in said
    assert "K/K from" in said
    profile, _ = load_machine(machine)
    assert profile is not None
    tank = profile.channels["tank"]
    assert round(0.5 + tank.correction_k(0.5), 6) == 0
    assert round(98.0 + tank.correction_k(98.0), 2) == 99.61


def test_altitude_will_do_where_there_is_no_barometer(tmp_path: Path) -> None:
    boil = recorded(tmp_path, "boil", tank=98.0)
    said = ask("boil", boil, "--altitude", "1000 m")
    assert "u 0.4 K" in said.stdout
    assert "scalds" in said.stderr
    assert "not kept" in said.stdout


@pytest.mark.parametrize("words", [[], ["--pressure", "985 hPa", "--altitude", "0 m"]])
def test_boiling_water_needs_one_of_pressure_and_altitude(tmp_path: Path, words: list[str]) -> None:
    boil = recorded(tmp_path, "boil", tank=98.0)
    with refused(UsageError, "sensors boil"):
        ask("boil", boil, *words)


def test_a_table_of_pairs_is_kept_in_any_file(tmp_path: Path) -> None:
    pairs, into = tmp_path / "pairs.csv", tmp_path / "probes.json"
    pairs.write_text("reading_c,true_c\n0,0.1\n50,50\n100,99.9\n", encoding="utf-8")
    assert "-0.0020 K/K" in ask("line", "tank", pairs, "--into", into).stdout
    assert "3 points" in ask("show", "--into", into).stdout


def test_only_the_named_probes_are_corrected(tmp_path: Path, machine: Path) -> None:
    ice = recorded(tmp_path, "ice", tank=0.5, ambient=19.0)
    ask("ice", ice, "--probe", "tank", "--machine", machine)
    assert "ambient" not in beside(machine).read_text(encoding="utf-8")


def test_check_says_what_is_strange_or_that_nothing_is(tmp_path: Path) -> None:
    assert "nothing strange" in ask("check", recorded(tmp_path, "a", tank=20.0)).stdout
    assert "exactly 0.00" in ask("check", recorded(tmp_path, "b", tank=0.0)).stdout


def test_show_needs_to_know_whose(tmp_path: Path) -> None:
    with refused(UsageError, "sensors show"):
        ask("show")


def test_probes_that_stood_in_no_common_bath_are_refused_and_nothing_is_kept(
    tmp_path: Path, machine: Path
) -> None:
    day = recorded(tmp_path, "day", tank=60.0, cooler_in=66.0, cooler_out=40.0)
    with refused(RangeError, "day.csv"):
        ask("match", day, "--machine", machine)
    profile, _ = load_machine(machine)
    assert profile is not None
    assert all(channel.offset_k == 0.0 for channel in profile.channels.values())


def test_a_probe_tied_to_ice_takes_those_along_that_were_matched_with_it(
    tmp_path: Path, machine: Path
) -> None:
    bucket = recorded(tmp_path, "bucket", tank=45.5, cooler_in=45.0, cooler_out=44.5)
    ask("match", bucket, "--machine", machine)

    def readings(**raw_c: float) -> list[float]:
        profile, _ = load_machine(machine)
        assert profile is not None
        channels = profile.channels
        return [round(raw + channels[name].correction_k(raw), 6) for name, raw in raw_c.items()]

    ask("ice", recorded(tmp_path, "ice", tank=1.5), "--probe", "tank", "--machine", machine)
    assert readings(tank=1.5, cooler_in=1.0, cooler_out=0.5) == [0.0, 0.0, 0.0]
    boil = recorded(tmp_path, "boil", tank=98.5)
    ask("boil", boil, "--probe", "tank", "--pressure", "1000 hPa", "--machine", machine)
    # published: IAPWS R7-97, table 36: 372.755 919 K at 0.1 MPa; half a step of the converter
    assert readings(tank=98.5)[0] == pytest.approx(372.755919 - 273.15, abs=0.001)
    warm = readings(tank=60.5, cooler_in=60.0, cooler_out=59.5)
    assert warm == pytest.approx([warm[0]] * 3, abs=1e-6)
    again = recorded(tmp_path, "ice-2", tank=1.0)
    ask("ice", again, "--probe", "tank", "--machine", machine)
    assert readings(tank=1.0, cooler_in=0.5) == pytest.approx([0.0, 0.0], abs=1e-6)


def test_a_probe_moves_with_the_one_of_its_bath_whichever_is_named_first(
    tmp_path: Path, machine: Path
) -> None:
    bucket = recorded(tmp_path, "bucket", tank=45.5, cooler_in=45.0)
    ask("match", bucket, "--machine", machine)
    ask("ice", recorded(tmp_path, "ice", ambient=0.5, tank=1.5), "--machine", machine)
    profile, _ = load_machine(machine)
    assert profile is not None
    offsets_k = [profile.channels[name].offset_k for name in ("ambient", "tank", "cooler_in")]
    assert offsets_k == [-0.5, -1.5, -1.0]


def test_a_probe_of_no_common_bath_stays_as_it_was(tmp_path: Path, machine: Path) -> None:
    bucket = recorded(tmp_path, "bucket", tank=45.5, cooler_in=45.0)
    ask("match", bucket, "--machine", machine)
    ask("ice", recorded(tmp_path, "ice", case_drain=1.5), "--machine", machine)
    profile, _ = load_machine(machine)
    assert profile is not None
    assert [profile.channels[name].offset_k for name in ("tank", "case_drain")] == [-0.25, -1.5]


def test_two_baths_whose_recordings_have_a_comma_in_their_names_stay_apart(
    tmp_path: Path, machine: Path
) -> None:
    for name, probes in (("bath, first", {"tank": 45.5, "cooler_in": 45.0}),
                         ("bath, second", {"cooler_out": 45.5, "case_drain": 45.0})):  # fmt: skip
        ask("match", recorded(tmp_path, name, **probes), "--machine", machine)
    ask("ice", recorded(tmp_path, "ice", tank=1.5), "--machine", machine)
    profile, _ = load_machine(machine)
    assert profile is not None
    offsets_k = [profile.channels[name].offset_k for name in ("tank", "cooler_in", "cooler_out")]
    assert offsets_k == [-1.5, -1.0, -0.25]
