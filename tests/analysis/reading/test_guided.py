"""The drive's times by the steps of a guided run, where no column shows the drive."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.codes import codes
from analysis.outing_maker import GUIDED, bracken, plant_session, with_columns
from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.proof.prove import prove
from wattsump_analysis.reading.guided import drive_by_steps
from wattsump_analysis.reading.samples import gather
from wattsump_logger.session.reader import Mark, Session
from wattsump_logger.watch.look import Look
from wattsump_logger.watch.proving_run import proving_run

NAMES = {"rise": "fan-off rise", "on 1": "fan on 1", "off 1": "fan off 1", "on 2": "fan on 2"}
NAMES |= {"work": "work loop", "stop": "stopped cool-down"}


def without_drive(marks: list[Mark]) -> Session:
    """The guided outing with the engine on and off, and no drive."""
    session = plant_session(GUIDED)
    columns = dict(session.columns)
    columns["engine_on"] = (columns["engine_rpm"] > 0).astype(float)
    bare = with_columns(
        replace(session, columns=columns),
        *("tank_c", "cooler_in_c", "cooler_out_c", "ambient_c", "fan_on", "engine_on"),
    )
    return replace(bare, marks=tuple(marks))


def marks_of_stages() -> list[Mark]:
    """Marks where the fan or the engine was switched, as the guide would have written them."""
    session = plant_session(GUIDED)
    state = np.stack([session.columns[name] for name in ("fan_on", "engine_rpm", "drive_on")])
    changed = 1 + np.flatnonzero(np.any(np.diff(state) != 0, axis=0))
    times_s = session.elapsed_s[changed]
    stages = [stage.name for stage in GUIDED[1:]]
    assert len(times_s) == len(stages)
    marks = []
    for at_s, stage, before in zip(times_s, stages, [None, *stages], strict=False):
        if before is not None:
            marks.append(Mark(elapsed_s=at_s - 5.0, text=f"stage {NAMES[before]} ends: done"))
        marks.append(Mark(elapsed_s=at_s, text=f"stage {NAMES[stage]}"))
    return marks


def guide_walked() -> tuple[list[Mark], FloatArray, FloatArray, FloatArray]:
    """Marks, times, engine and true drive of a guided run on a machine that logs no drive."""
    guide, stage, tank_c = proving_run(), "soak", 15.0
    marks, rows = [], []
    for second in range(3 * 3600):
        drive = float(stage.startswith(("fan", "work")))
        fan = float(stage.startswith(("fan on", "work")))
        values = {"tank_c": tank_c, "engine_on": drive, "fan_on": fan}
        rate_k_s = (4000.0 * drive - (12.0 + 100.0 * fan) * (tank_c - 15.0)) / 62_000.0
        tank_c += rate_k_s
        look = Look(now_s=float(second), values=values, rates_k_min={"tank_c": 60.0 * rate_k_s})
        advice = guide.follow(look)
        marks += [Mark(elapsed_s=float(second), text=text) for text in advice.marks]
        rows.append((float(second), drive))
        stage = advice.stage
        if advice.finished:
            break
    elapsed_s, drive = np.array(rows).T
    return marks, elapsed_s, drive, drive


def test_the_guides_own_marks_tell_when_the_drive_turned() -> None:
    marks, elapsed_s, engine, drive = guide_walked()
    told = drive_by_steps(marks, elapsed_s, engine)
    assert told is not None
    # independent: the machine's own state; a step's mark follows it by a row.
    assert np.count_nonzero(told != drive) <= len(marks)
    assert drive.sum() > 3600.0


def test_a_guided_run_without_a_drive_channel_gives_the_watts_of_one_with_it() -> None:
    guided = prove(without_drive(marks_of_stages()), bracken())
    session = plant_session(GUIDED)
    turning = {**session.columns, "drive_on": (session.columns["engine_rpm"] > 0).astype(float)}
    columns = ("tank_c", "cooler_in_c", "cooler_out_c", "ambient_c", "fan_on", "drive_on")
    logged = with_columns(
        replace(session, columns=turning | {"engine_on": turning["drive_on"]}),
        *(*columns, "engine_on"),
    )
    known = prove(logged, bracken())
    assert guided.k_w_k is not None
    assert known.k_w_k is not None
    assert guided.verdict is known.verdict
    # independent: the same outing with the drive logged; marks are within seconds of it.
    assert guided.k_w_k.value == pytest.approx(known.k_w_k.value, rel=0.02)
    assert "drive-by-guide" in codes(guided.notes)


def test_marks_that_leave_much_of_the_running_untold_tell_no_drive() -> None:
    marks = marks_of_stages()
    assert gather(without_drive(marks), None).moving is not None
    for few in (marks[:0], marks[5:], [replace(marks[0], text="stage soak")]):
        assert gather(without_drive(few), None).moving is None


def test_a_drive_input_that_nothing_is_wired_to_counts_as_none() -> None:
    bare = without_drive([])
    dead = {**bare.columns, "drive_on": np.zeros(bare.elapsed_s.size)}
    unwired = replace(bare, columns=dead)
    assert gather(unwired, None).moving is None
    assert "drive-unlogged" in codes(prove(unwired, bracken()).reasons)
    guided = gather(replace(unwired, marks=tuple(marks_of_stages())), None)
    assert guided.moving is not None
    assert codes(guided.notes) == ["drive-by-guide"]


def test_a_run_that_leaves_the_way_to_it_untold_tells_no_drive() -> None:
    elapsed_s = np.arange(0.0, 4000.0, 10.0)
    engine = np.ones(elapsed_s.size)
    begun, ended = "stage fan-off rise", "stage fan-off rise ends: done"
    marks = [
        Mark(elapsed_s=0.0, text="stage soak"),
        Mark(elapsed_s=100.0, text="stage soak ends: by key"),
        Mark(elapsed_s=1000.0, text=begun),
    ]
    # independent: 900 of 4000 s in which the driver may have gone anywhere.
    assert drive_by_steps(marks, elapsed_s, engine) is None
    soon = [*marks[:2], Mark(elapsed_s=200.0, text=begun)]
    assert drive_by_steps(soon, elapsed_s, engine) is not None
    late = [*soon, Mark(elapsed_s=3000.0, text=ended)]
    assert drive_by_steps(late, elapsed_s, engine) is None


def test_the_drive_is_not_taken_to_go_on_after_oil_that_was_too_hot() -> None:
    elapsed_s = np.arange(0.0, 4000.0, 10.0)
    marks = [
        Mark(elapsed_s=0.0, text="stage fan-off rise"),
        Mark(elapsed_s=2000.0, text="stage fan-off rise ends: cut short, tank hot"),
        Mark(elapsed_s=2100.0, text="stage fan on 1"),
    ]
    told = drive_by_steps(marks, elapsed_s, np.ones(elapsed_s.size))
    # independent: by hand; the guide asks for an idle until the oil is cooler.
    assert told is not None
    assert np.array_equal(told, 1.0 - ((elapsed_s >= 2000.0) & (elapsed_s < 2100.0)))


def test_the_drive_stands_after_the_last_working_step_until_the_engine_stops() -> None:
    elapsed_s = np.arange(0.0, 1000.0, 10.0)
    engine = (elapsed_s < 980.0).astype(float)
    marks = [
        Mark(elapsed_s=0.0, text="stage fan on 1"),
        Mark(elapsed_s=500.0, text="stage fan on 1 ends: done"),
        Mark(elapsed_s=510.0, text="stage fan off 1"),
        Mark(elapsed_s=940.0, text="stage fan off 1 ends: by key"),
        Mark(elapsed_s=980.0, text="stage stopped cool-down"),
    ]
    told = drive_by_steps(marks, elapsed_s, engine)
    # independent: by hand; from one working step to the next the drive goes on.
    assert told is not None
    assert np.array_equal(told, (elapsed_s < 940.0).astype(float))
