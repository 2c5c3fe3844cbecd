"""Before and after: made rows, and a real rig whose cooler was swapped."""

from pathlib import Path

import numpy as np
import pytest

from analysis.codes import codes
from analysis.few_outings import outing, row_of_outings
from wattsump_analysis.season.causes import Cause
from wattsump_analysis.season.compare import compare
from wattsump_analysis.season.events import Event, EventKind
from wattsump_analysis.season.folder import stretches_of
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.splitting import TESTS
from wattsump_analysis.show.season_screen import compare_sentence
from wattsump_logger.errors import UsageError

RIG = Path(__file__).parents[3] / "sample-data" / "rig" / "rig.csv"


@pytest.fixture(scope="module")
def rig() -> tuple[Outing, ...]:
    return stretches_of(RIG)


def test_on_a_real_rig_the_cooler_changed_and_the_drive_did_not(rig: tuple[Outing, ...]) -> None:
    weak, better = rig
    found = compare([weak], [better])
    assert found.causes[0].cause is Cause.COOLER
    assert found.causes[0].probability > 0.8
    assert found.k is not None
    # independent: 67.7 over 49.4 W/K, cooling power over (TS3 - air) by the rig's own columns
    # (cycles 45 to 53 and 760 to 768); whole stretches scatter about those windows by 2 %, and
    # oil 7 K colder and air 3 K warmer bring another 1.5 % to like conditions.
    assert 1.0 + found.k.value == pytest.approx(67.7 / 49.4, rel=0.04)
    assert found.heat is not None
    assert found.heat.low < 0.0 < found.heat.high
    assert compare_sentence(found).code == "cause-known"
    assert found.causes[0].cause is Cause.COOLER


def test_the_rigs_air_side_by_side_is_listed_and_its_swap_is_told(rig: tuple[Outing, ...]) -> None:
    found = compare(rig[:1], rig[1:])
    (noted,) = (remark for remark in found.also if remark.code == "noted")
    assert "cooler changed from the 3 %" in noted.text
    air = next(line for line in found.lines if line.name == "air")
    # independent: air from the rig's own cooling efficiency, 21.5 to 22.6 and 24.4 to 25.2 degC.
    assert air.before == pytest.approx(22.1, abs=0.5)
    # independent: as above
    assert air.after == pytest.approx(24.8, abs=0.5)


def test_a_bigger_cooler_is_so_many_kelvin_cooler_at_the_same_air_and_work() -> None:
    season = row_of_outings([(8, 2.0, 1.0)], n=16)
    found = compare(season[:8], season[8:])
    assert found.like_rise is not None
    change = found.like_rise.change
    true_k = 3400.0 / 95.0 / 2.0 - 3400.0 / 95.0
    assert change.low < true_k < change.high
    assert found.like_rise.beyond
    assert compare_sentence(found).text.startswith("About ")


def test_more_work_after_the_change_is_taken_out_of_the_rise() -> None:
    before = [outing(i, 100.0, 3000.0) for i in range(3)]
    after = [outing(10 + i, 100.0, 4500.0) for i in range(3)]
    found = compare(before, after)
    assert found.like_rise is not None
    # The machine warmed by half as much again, all of it from the work.
    assert found.like_rise.after == pytest.approx(found.like_rise.before)
    run = next(line for line in found.lines if line.name == "oil over air, as run")
    more_heat_w, k_w_k = 4500.0 - 3000.0, 100.0
    assert run.change.value == pytest.approx(more_heat_w / k_w_k)
    assert found.causes[0].cause is Cause.DRIVE


def test_one_outing_a_side_has_a_wider_interval_than_several() -> None:
    season = row_of_outings([(8, 0.7, 1.0)], n=16)
    one, many = compare(season[7:8], season[8:9]), compare(season[:8], season[8:])
    assert one.k is not None
    assert many.k is not None
    assert one.k.high - one.k.low > 2 * (many.k.high - many.k.low)
    assert one.smallest_k > many.smallest_k
    assert all(np.isnan(line.change.low) for line in one.lines)


def test_alike_outings_are_no_change_and_it_says_what_would_have_shown() -> None:
    season = row_of_outings([], n=24, seed=1)
    found = compare(season[:12], season[12:])
    assert compare_sentence(found).code == "no-change"
    assert f"{100 * found.smallest_k:.0f} % of K" in compare_sentence(found).text


def test_cooler_and_oil_changed_together_cannot_be_split_and_the_test_is_named() -> None:
    season = row_of_outings([(4, 1.5, 1.0)], n=8, noted={4: EventKind.COOLER, 5: EventKind.OIL})
    found = compare(season[:4], season[4:])
    assert found.cannot_split is not None
    assert found.cannot_split.code == "several-changes"
    assert found.test == TESTS[EventKind.OIL]


def test_a_profile_that_states_another_oil_counts_as_an_oil_change() -> None:
    before = [outing(i, 90.0, 3000.0, facts={"oil.grade": "VG 46"}) for i in range(2)]
    after = [
        outing(
            5 + i,
            130.0,
            3000.0,
            facts={"oil.grade": "VG 32"},
            events=(Event(kind=EventKind.COOLER, text="new cooler"),),
        )
        for i in range(2)
    ]
    found = compare(before, after)
    (differs,) = (remark for remark in found.also if remark.code == "profile-differs")
    assert "oil.grade: VG 46 -> VG 32" in differs.text
    assert found.cannot_split is not None


def test_a_restated_heat_capacity_is_warned_of() -> None:
    found = compare(
        [outing(0, 90.0, 3000.0, facts={"oil.volume": "18 L"})],
        [outing(1, 90.0, 3000.0, facts={"oil.volume": "20 L"})],
    )
    assert "capacity-differs" in codes(found.also)


def test_gaps_and_other_air_are_listed() -> None:
    found = compare(
        [outing(0, 90.0, 3000.0, ambient_c=4.0)],
        [outing(1, 90.0, 3000.0, ambient_c=24.0, completeness=0.6)],
    )
    assert codes(found.also) == ["air-differs", "readings-missing"]
    assert "+20 K" in found.also[0].text
    assert "60 %" in found.also[1].text


def test_outings_that_cannot_tell_leave_the_cause_open() -> None:
    found = compare([outing(0, None, None)], [outing(1, 90.0, 3000.0)])
    assert found.k is None
    assert found.causes == ()
    assert compare_sentence(found).code == "cause-unknown"


def test_sides_that_tell_k_and_no_heat_say_what_k_did() -> None:
    found = compare([outing(0, 73.0, None)], [outing(1, 46.0, None)])
    assert found.heat is None
    assert found.k is not None
    # independent: 46/73 - 1, by hand.
    assert found.k.value == pytest.approx(-0.370, abs=0.001)
    assert found.k.low < found.k.value < found.k.high < 0.0
    sentence = compare_sentence(found)
    assert sentence.code == "cause-unknown"
    assert "37 %" in sentence.text


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ([], [outing(0, 90.0, 3000.0)], "found none before"),
        ([outing(0, 90.0, 3000.0)], [], "found none after"),
        ([outing(0, 90.0, 3000.0)], [outing(0, 90.0, 3000.0)], "day-000 on both sides"),
        (
            [outing(0, 90.0, 3000.0)],
            [outing(1, 90.0, 3000.0, machine="another")],
            "outings of one machine",
        ),
    ],
)
def test_sides_that_cannot_be_compared_are_refused(
    before: list[Outing], after: list[Outing], said: str
) -> None:
    with pytest.raises(UsageError, match=said):
        compare(before, after)
