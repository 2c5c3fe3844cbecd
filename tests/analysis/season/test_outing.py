"""One outing summed up from its proof."""

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from analysis import proof_fixture
from wattsump_analysis.results import Proof
from wattsump_analysis.season.events import EventKind, event_kinds
from wattsump_analysis.season.outing import (
    ONE_FOR_ALL,
    outing_from,
    outing_from_dict,
    outing_to_dict,
    outings_of_stretches,
    start_of,
)
from wattsump_logger.machine.profile import profile_from_dict
from wattsump_logger.session.reader import Session
from wattsump_logger.session.rows import UNDO, by_program
from wattsump_logger.watch.alarm_rules import Typed, rules_for
from wattsump_logger.watch.alarms import Notice
from wattsump_logger.watch.keys import MARK_KEYS
from wattsump_logger.watch.proving_run import proving_steps

START = datetime(2026, 5, 2, 9, tzinfo=UTC)
PROFILE = profile_from_dict(
    {
        "name": "Bracken",
        "oil": {"grade": "VG 46", "volume": "18 L"},
        "limits": {"oil_warn": "50 degC", "oil_max": "55 degC"},
    }
)


def session(proof: Proof, missing: float = 0.0) -> Session:
    n = 6301
    tank = np.full(n, 40.0)
    tank[: round(missing * n)] = np.nan
    return Session(
        path=Path("may-2.csv"),
        elapsed_s=np.arange(n, dtype=float),
        columns={"tank_c": tank, "ambient_c": np.full(n, 18.0), "fan_on": np.ones(n)},
        faults=(),
        marks=(),
        start_utc=START,
        metadata={},
        notes=(),
    )


@pytest.fixture(scope="module")
def proof() -> Proof:
    return proof_fixture.falls_short()


def test_the_fan_step_is_the_fans_part_of_the_cooler(proof: Proof) -> None:
    found = outing_from(proof, session(proof), PROFILE, "k").fan_step_w_k
    # pinned in proof_fixture: the made plant has 95 W/K with the fan and none without; slopes
    # over minutes of a curve that bends give it to a tenth.
    assert found == pytest.approx(95.0, rel=0.12)


def test_k_heat_and_rise_are_those_of_the_proof(proof: Proof) -> None:
    found = outing_from(proof, session(proof), PROFILE, "k")
    assert proof.k_w_k is not None
    assert found.k_w_k == proof.k_w_k.value
    assert found.u_k == pytest.approx(proof.k_w_k.half_width_rel / 1.96, rel=1e-4)
    steady = [p for p in proof.phases if p.kind == "steady work"]
    inside = (proof.series_s >= steady[0].start_s) & (proof.series_s < steady[0].end_s)
    over = proof.series_c["tank"] - proof.series_c["ambient"]
    assert found.rise_k == pytest.approx(float(np.nanmean(over[inside])))


def test_what_all_outings_share_is_no_part_of_what_one_draws_afresh(proof: Proof) -> None:
    found = outing_from(proof, session(proof), PROFILE, "k")
    assert found.u_k is not None
    assert found.own_u_k is not None
    shared = [b.relative for b in proof.budget if b.source in ONE_FOR_ALL]
    assert sum(shared) > 0.0
    assert 0.0 < found.own_u_k < found.u_k


def test_minutes_above_the_limits_are_counted_on_the_tank(proof: Proof) -> None:
    found = outing_from(proof, session(proof), PROFILE, "k")
    tank = proof.series_c["tank"]
    width_min = float(np.median(np.diff(proof.series_s))) / 60.0
    assert found.minutes_above_warn == pytest.approx(width_min * np.sum(tank > 50.0))
    assert found.minutes_above_max < found.minutes_above_warn


def test_missing_readings_and_missing_time_lower_the_completeness(proof: Proof) -> None:
    whole = outing_from(proof, session(proof), PROFILE, "k").completeness
    assert whole == 1.0
    # independent: half of one of two channels is missing, to the rows' own rounding.
    half = outing_from(proof, session(proof, missing=0.5), PROFILE, "k").completeness
    assert half == pytest.approx(1.0 - 0.5 / 2, abs=1e-3)
    full = session(proof)
    late = np.where(full.elapsed_s > 3000, full.elapsed_s + 6301, full.elapsed_s)
    gap = outing_from(proof, replace(full, elapsed_s=late), PROFILE, "k").completeness
    # independent: half of the time has no rows, to the rows' own rounding.
    assert gap == pytest.approx(1.0 / 2, abs=1e-3)


def test_an_outing_survives_being_written_down(proof: Proof) -> None:
    marked = replace(proof, marks=((60.0, "washed the core"),))
    found = outing_from(marked, session(proof), PROFILE, "k")
    again = outing_from_dict(json.loads(json.dumps(outing_to_dict(found))))
    assert again == found
    assert found.events[0].kind is EventKind.CLEAN
    assert start_of(again) == START


def test_an_outing_of_another_version_is_refused(proof: Proof) -> None:
    raw = outing_to_dict(outing_from(proof, session(proof), PROFILE, "k"))
    del raw["rise_k"]
    with pytest.raises(ValueError, match=r"not an outing: .*rise_k"):
        outing_from_dict(raw)


def test_without_a_profile_the_usual_limits_count(proof: Proof) -> None:
    found = outing_from(proof, session(proof), None, "k")
    assert found.machine == ""
    assert found.facts == {}
    tank = proof.series_c["tank"]
    # Usual warning limit: 66 degC, the default of a profile.
    assert (found.minutes_above_warn > 0.0) == bool((tank > 66.0).any())


def test_a_session_with_a_swap_gives_an_outing_for_each_stretch(proof: Proof) -> None:
    segment = proof.segments[0]
    parts = (
        replace(segment, start_s=0.0, end_s=3000.0),
        replace(segment, start_s=3000.0, end_s=6300.0),
    )
    swapped = replace(
        proof, segments=parts, marks=((10.0, "loaded"), (3000.0, "new cooler fitted"))
    )
    first, second = outings_of_stretches(swapped, session(proof), PROFILE, "k")
    assert (first.name, second.name) == ("may-2#1", "may-2#2")
    assert first.key != second.key
    assert first.marks == ("loaded",)
    assert [event.kind for event in second.events] == [EventKind.COOLER]
    starts = start_of(first), start_of(second)
    assert starts[0] == START
    assert starts[1] is not None
    assert (starts[1] - START).total_seconds() == parts[1].start_s
    assert first.completeness == second.completeness == 1.0


@pytest.mark.parametrize(
    ("text", "kinds"),
    [
        ("washed chaff out of the core", [EventKind.CLEAN]),
        ("Cleaned the cooler", [EventKind.CLEAN]),
        ("new cooler", [EventKind.COOLER]),
        ("cooler changed", [EventKind.COOLER]),
        ("oil changed to VG 32", [EventKind.OIL]),
        ("new fan motor", [EventKind.FAN]),
        ("moved the probe", [EventKind.PROBE]),
        ("motor rebuilt", [EventKind.DRIVE]),
        ("new cooler, new oil", [EventKind.OIL, EventKind.COOLER]),
        ("fan belt slipped, tightened it", [EventKind.FAN]),
        ("the fan was stuck", [EventKind.FAN]),
        ("fan off", []),
        ("fan-off-rise", []),
        ("note: fan on from here", []),
        ("new cooler, fan runs", [EventKind.COOLER]),
        ("fan step 2", []),
        ("loaded 3 logs", []),
        ("hot oil, stopped", []),
    ],
)
def test_marks_are_understood_as_what_was_done(text: str, kinds: list[EventKind]) -> None:
    assert list(event_kinds(text)) == kinds


def _marks_of_the_program() -> list[str]:
    """Every mark that a key, the guide or an alarm writes by itself."""
    ends = ("", " left out", " ends: done", " ends: cut short, case drain hot")
    stages = [f"stage {step.name}{end}" for step in proving_steps(PROFILE) for end in ends]
    rules = rules_for(("fan_on", "cooler_out_c"), PROFILE, Typed())
    notices = [
        Notice(rule=rule, event=event, value=1.0).text
        for rule in rules
        for event in ("raised", "over", "seen")
    ]
    undone = [UNDO + text for text in (*MARK_KEYS.values(), "note: new fan belt")]
    return [*MARK_KEYS.values(), *undone, *stages, *notices]


def test_what_the_program_marks_by_itself_is_nothing_that_was_done() -> None:
    marks = _marks_of_the_program()
    assert [mark for mark in marks if not by_program(mark)] == []
    assert [mark for mark in marks if event_kinds(mark)] == []
    assert not by_program("note: new fan belt")


def test_watts_rest_on_the_routes_and_on_the_capacity_the_profile_states(proof: Proof) -> None:
    def rests_on(proof: Proof, volume: str, name: str = "Bracken") -> str:
        profile = profile_from_dict({"name": name, "oil": {"grade": "VG 46", "volume": volume}})
        return outing_from(proof, session(proof), profile, "k").rests_on

    usual = rests_on(proof, "18 L")
    assert rests_on(proof, "18 L", name="another") == usual
    assert rests_on(proof, "20 L") != usual
    assert rests_on(replace(proof, routes=()), "18 L") != usual


def test_an_outing_says_how_thick_its_oil_was_and_how_fast_the_engine_ran(proof: Proof) -> None:
    ran = session(proof)
    rpm = np.where(np.arange(ran.elapsed_s.size) < 600, 0.0, 2400.0)
    found = outing_from(
        proof, replace(ran, columns={**ran.columns, "engine_rpm": rpm}), PROFILE, ""
    )
    assert found.engine_rpm == 2400.0
    assert found.oil_mm2_s is not None
    # published: VG 46 is 46 mm2/s at 40 degC (ISO 3448) and typically 6.8 at 100 degC
    assert 6.8 < found.oil_mm2_s < 46.0
    bare = outing_from(proof, ran, None, "")
    assert (bare.engine_rpm, bare.oil_mm2_s) == (None, None)
    named = profile_from_dict(
        {
            "name": "Bracken",
            "oil": {"grade": "VG 46", "volume": "18 L"},
            "channels": {"revs": {"role": "engine", "unit": "rpm"}},
        }
    )
    by_role = outing_from(proof, replace(ran, columns={**ran.columns, "revs_rpm": rpm}), named, "")
    assert by_role.engine_rpm == 2400.0


def test_the_heat_is_that_of_the_stretch_that_gave_k(proof: Proof) -> None:
    of_k = proof.segments[-1]
    assert of_k.k_w_k == proof.k_w_k
    assert of_k.heat_in_w is not None
    short = replace(
        of_k, k_w_k=proof_fixture.near(40.0, 0.5), heat_in_w=proof_fixture.near(900.0, 0.5)
    )
    found = outing_from(
        replace(proof, segments=(*proof.segments, short)), session(proof), PROFILE, "k"
    )
    assert found.heat_w == of_k.heat_in_w.value
