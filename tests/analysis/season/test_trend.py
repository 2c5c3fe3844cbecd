"""Trends over outings whose truth is known."""

import numpy as np
import pytest

from analysis.few_outings import outing, row_of_outings
from refusal import refused
from wattsump_analysis.season.causes import Cause
from wattsump_analysis.season.events import EventKind
from wattsump_analysis.season.splitting import TESTS
from wattsump_analysis.season.trend import in_order, trend_of
from wattsump_logger.errors import UsageError


def test_a_season_with_a_blocked_core_a_cleaning_and_a_worn_motor_is_told_as_such() -> None:
    season = row_of_outings(
        [(8, 0.65, 1.0), (14, 1 / 0.65, 1.0), (20, 1.0, 1.35)],
        n=26,
        noted={14: EventKind.CLEAN},
    )
    trend = trend_of(season)
    assert [step.at for step in trend.steps] == [8, 14, 20]
    assert [step.cause for step in trend.steps] == [Cause.COOLER, Cause.COOLER, Cause.DRIVE]
    assert [event.kind for event in trend.steps[1].events] == [EventKind.CLEAN]
    assert trend.steps[0].events == ()
    assert trend.steps[0].k.low < -0.35 < trend.steps[0].k.high
    assert trend.steps[2].heat.low < 0.35 < trend.steps[2].heat.high
    assert trend.changed


def test_chaff_and_wear_between_the_same_outings_are_named_as_both() -> None:
    (step,) = trend_of(row_of_outings([(10, 0.65, 1.35)], n=20)).steps
    assert step.at == 10
    assert step.cause is Cause.BOTH
    assert step.chance > 0.99


def test_things_of_two_kinds_done_at_once_leave_the_step_open_with_a_test_to_split_them() -> None:
    done = {10: EventKind.CLEAN, 11: EventKind.OIL}
    (step,) = trend_of(row_of_outings([(10, 1.6, 1.0)], n=20, noted=done)).steps
    assert step.cannot_split is not None
    assert step.cannot_split.code == "several-changes"
    assert step.test == TESTS[EventKind.OIL]


def test_a_small_change_just_begun_is_told_with_a_chance_that_grows_as_it_stays() -> None:
    season = row_of_outings([(12, 0.88, 1.0)], n=24, seed=3)
    begun, stayed = (trend_of(season[:n]).steps[0].chance for n in (14, 24))
    assert begun < 0.9 < stayed


def test_a_season_without_changes_names_none_and_says_what_would_have_shown() -> None:
    trend = trend_of(row_of_outings([], n=24, seed=2))
    assert trend.steps == ()
    assert not trend.changed
    k, heat = trend.would_have_seen
    assert 0.05 < k < 0.3
    assert 0.05 < heat < 0.4


def test_an_event_without_a_change_is_no_step() -> None:
    assert trend_of(row_of_outings([], n=20, seed=3, noted={9: EventKind.OIL})).steps == ()


def test_a_scale_wrong_for_all_outings_changes_nothing_that_is_said() -> None:
    season = row_of_outings([(10, 0.7, 1.0)])
    scaled = [
        outing(i, 1.3 * (o.k_w_k or 0.0), 1.3 * (o.heat_w or 0.0)) for i, o in enumerate(season)
    ]
    first, second = trend_of(season).steps[0], trend_of(scaled).steps[0]
    assert first.k.value == pytest.approx(second.k.value)
    assert first.causes[0].probability == pytest.approx(second.causes[0].probability)


def test_outings_are_put_in_order_of_time_whatever_their_names() -> None:
    season = row_of_outings([(10, 0.6, 1.0)])
    shuffled = [season[i] for i in np.random.default_rng(0).permutation(len(season))]
    assert trend_of(shuffled).steps == trend_of(season).steps


def test_a_copy_counts_once_and_an_outing_that_cannot_tell_is_named() -> None:
    season = row_of_outings([], n=6)
    copy = outing(3, season[3].k_w_k, season[3].heat_w, name="copy of day-003")
    again = outing(99, 80.0, 3000.0, name="imported again", start_utc=season[2].start_utc)
    kept, left = in_order([*season, copy, again, outing(50, None, 3000.0)])
    assert len(kept) == 6
    assert {o.name: o.why.code for o in left} == {
        "day-003": "same-outing",
        "imported again": "same-outing",
        "day-050": "outing-without-k",
    }


def test_a_drift_is_told_as_such_or_as_steps() -> None:
    season = row_of_outings([], n=24, seed=5, scatter=(0.03, 0.03))
    drifting = [outing(i, (o.k_w_k or 0.0) * 0.985**i, o.heat_w) for i, o in enumerate(season)]
    trend = trend_of(drifting)
    assert trend.changed
    assert trend.drifting[0] or trend.steps[-1].k.high < 0.0


def test_charts_begin_only_once_a_stretch_has_a_level_of_its_own() -> None:
    trend = trend_of(row_of_outings([(14, 0.6, 1.0)], n=17))
    positions = [chart.positions.tolist() for chart in trend.charts_k]
    # Of 14 outings 7 make the level; 3 are too few for a chart.
    assert positions == [[7, 8, 9, 10, 11, 12, 13]]
    assert trend.drifting == (False, False)


def test_too_few_outings_are_refused_with_what_was_left_out() -> None:
    few = [*row_of_outings([], n=3), outing(7, None, None)]
    with refused(UsageError, "trend") as caught:
        trend_of(few)
    assert "day-007" in str(caught.value)
    # More of the same is no advice where outings lack something.
    assert caught.value.do.startswith("mend")
    assert "day-007" in caught.value.do
    with refused(UsageError, "trend") as caught:
        trend_of(row_of_outings([], n=3))
    assert caught.value.do.startswith("record 1 more")


def test_outings_of_two_machines_are_refused() -> None:
    mixed = [*row_of_outings([], n=4), outing(9, 90.0, 3000.0, machine="another")]
    with refused(UsageError, "trend") as caught:
        trend_of(mixed)
    assert caught.value.found == "'Bracken', 'another'"
