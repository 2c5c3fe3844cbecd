"""The season of Bracken: ordinary sessions, whose truth is known."""

from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

from wattsump_analysis.emulation.bracken import demo_machine, demo_profile
from wattsump_analysis.emulation.season import (
    CHANGES,
    NEW_COOLER_W_K,
    Change,
    bracken,
    write_season,
)
from wattsump_logger.machine.profile import profile_from_dict
from wattsump_logger.session.reader import load_session

SAMPLE = Path(__file__).parents[3] / "sample-data" / "season"


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, ...]:
    return write_season(
        tmp_path_factory.mktemp("season"),
        demo_profile(),
        changes=(Change(at=1, air_side=0.4, mark="chaff everywhere"),),
        outings=2,
    )


def test_a_season_is_ordinary_sessions_with_profile_clock_and_marks(pair: tuple[Path, ...]) -> None:
    first, second = (load_session(path) for path in pair)
    assert first.notes == second.notes == ()
    assert first.start_utc is not None
    assert second.start_utc is not None
    assert (second.start_utc - first.start_utc).days == 7
    held = second.metadata["profile"]
    assert isinstance(held, dict)
    assert profile_from_dict(held).name == demo_profile().name
    assert [mark.text for mark in second.marks] == ["chaff everywhere"]
    assert {"tank_c", "ambient_c", "fan_on", "engine_rpm"} <= set(second.columns)


def test_a_blocked_core_runs_hotter_at_the_same_work(pair: tuple[Path, ...]) -> None:
    def rise_k(path: Path) -> float:
        columns = load_session(path).columns
        on = columns["fan_on"] > 0
        return float(np.nanmean((columns["tank_c"] - columns["ambient_c"])[on][-60:]))

    assert rise_k(pair[1]) > 1.2 * rise_k(pair[0])


def test_the_same_seed_gives_the_same_files(pair: tuple[Path, ...], tmp_path: Path) -> None:
    again = write_season(
        tmp_path,
        demo_profile(),
        changes=(Change(at=1, air_side=0.4, mark="chaff everywhere"),),
        outings=2,
    )
    assert [p.read_bytes() for p in again] == [p.read_bytes() for p in pair]


def test_every_outing_has_the_demonstrations_machine_with_a_new_cooler() -> None:
    one = demo_machine(demo_profile(), NEW_COOLER_W_K)
    many = bracken(demo_profile(), 3)
    for f in fields(one):
        values = getattr(many, f.name)
        assert values.shape == (3,)
        assert (values == getattr(one, f.name)).all()


def test_the_sample_season_is_what_its_script_makes(tmp_path: Path) -> None:
    made = write_season(tmp_path, demo_profile(), changes=CHANGES, outings=2)
    # The draws depend on the number of outings, so the names are compared, not the numbers.
    names = sorted(path.name for path in SAMPLE.glob("*.csv"))
    assert names[:2] == [path.name for path in made]
    marks = [mark.text for name in names for mark in load_session(SAMPLE / name).marks]
    assert marks == [change.mark for change in CHANGES if change.mark]
