"""Several machines in one tree: each by itself, worst first, in folders that serve a trend too."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.few_outings import outing, row_of_outings
from wattsump_analysis.season.fleet import fleet_of, gather_tree
from wattsump_analysis.season.folder import Gathered
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.state import Standing, state_of, turn_of
from wattsump_analysis.season.trend import trend_of
from wattsump_logger.errors import UsageError


def gathered(machines: dict[str, Sequence[Outing]]) -> Gathered:
    """Return outings of machines that lie in folders of their own, by the path of each."""
    outings: list[Outing] = []
    paths = {}
    for name, row in machines.items():
        for found in row:
            mine = replace(found, machine=name, key=f"{name} {found.key}")
            outings.append(mine)
            paths[mine.key] = Path("fleet") / name / f"{found.name}.csv"
    return Gathered(outings=tuple(outings), left_out=(), notes=(), paths=paths)


def test_machines_stand_in_the_order_of_how_soon_to_look_at_them() -> None:
    hot = [replace(o, minutes_above_max=3.0) for o in row_of_outings([], n=3)]
    members = fleet_of(
        gathered(
            {
                "steady": row_of_outings([], n=12, seed=2),
                "better": row_of_outings([(8, 1.5, 1.0)], n=16),
                "worse": row_of_outings([(8, 0.7, 1.0)], n=16),
                "much worse": row_of_outings([(8, 0.5, 1.0)], n=16),
                "new": row_of_outings([], n=3),
                "too hot": hot,
            }
        )
    )
    assert [(member.machine, member.standing) for member in members] == [
        ("too hot", Standing.TOO_HOT),
        ("much worse", Standing.WORSE),
        ("worse", Standing.WORSE),
        ("new", Standing.FEW),
        ("better", Standing.BETTER),
        ("steady", Standing.SAME),
    ]


def test_a_newest_outing_that_lies_apart_is_a_standing_of_its_own() -> None:
    row = [*row_of_outings([], n=12, seed=2), outing(12, 0.6 * 95.0, 3400.0)]
    assert state_of(trend_of(row)).standing is Standing.APART


def test_the_levels_now_are_those_of_the_newest_stretch_and_their_ranges_hold_the_truth() -> None:
    state = state_of(trend_of(row_of_outings([(10, 0.6, 1.3)], n=24)))
    assert state.k_w_k.low < 0.6 * 95.0 < state.k_w_k.high
    assert state.heat_w.low < 1.3 * 3400.0 < state.heat_w.high
    assert state.k_w_k.high < 95.0


def test_harm_is_how_much_higher_the_oil_stands_over_the_air_at_like_work() -> None:
    (step,) = trend_of(row_of_outings([(8, 0.6, 1.0)], n=16)).steps
    # independent: at steady work oil over air is heat over K
    assert turn_of(step) == pytest.approx((1 + step.heat.value) / (1 + step.k.value) - 1, rel=1e-9)
    assert 0.4 < turn_of(step) < 1.0


def test_a_machines_folder_is_its_own_only_where_no_other_lies_in_it() -> None:
    both = gathered({"one": row_of_outings([], n=4), "two": row_of_outings([], n=4)})
    assert {m.machine: m.folder for m in fleet_of(both)} == {
        "one": Path("fleet/one"),
        "two": Path("fleet/two"),
    }
    shared = replace(
        both, paths={key: Path("fleet") / path.name for key, path in both.paths.items()}
    )
    assert {m.folder for m in fleet_of(shared)} == {None}


def test_one_name_in_two_folders_is_two_machines_and_both_folders_are_named() -> None:
    both = gathered({"one": row_of_outings([], n=12), "two": row_of_outings([(6, 0.5, 1.0)], n=12)})
    alike = replace(both, outings=tuple(replace(o, machine="Alder") for o in both.outings))
    members = fleet_of(alike, Path("fleet"))
    assert [(m.machine, m.folder, len(m.outings)) for m in members] == [
        ("Alder", Path("fleet/two"), 12),
        ("Alder", Path("fleet/one"), 12),
    ]
    for member in members:
        assert member.remark is not None
        assert member.remark.code == "same-name-two-folders"
        assert "fleet/one" in member.remark.text
        assert "fleet/two" in member.remark.text
    assert all(m.remark is None for m in fleet_of(both, Path("fleet")))


def test_each_folder_below_is_gathered_by_itself_and_sessions_on_top_too(tmp_path: Path) -> None:
    for name in ("alder/a.csv", "alder/older/b.csv", "birch/c.csv", "d.csv", ".hidden/e.csv"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    asked: dict[str, list[str]] = {}

    def gatherer(folder: Path, sessions: frozenset[Path]) -> Gathered:
        asked[folder.relative_to(tmp_path).as_posix()] = sorted(path.stem for path in sessions)
        return Gathered(outings=(), left_out=(), notes=())

    gather_tree(tmp_path, gatherer)
    assert asked == {"alder": ["a", "b"], "birch": ["c"], ".": ["d"]}


@pytest.mark.parametrize("name", ["nowhere", "."])
def test_a_tree_without_a_session_is_one_line(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match="expected a folder of machines' folders with sessions"):
        gather_tree(tmp_path / name, lambda folder, sessions: pytest.fail("nothing to gather"))
