"""The practice machine, driven as its guide says: what the guide asks is what `prove` can use."""

from collections.abc import Mapping
from functools import cache

import numpy as np
import pytest

from wattsump_analysis.emulation.bracken import COOLER_W_K, demo_profile
from wattsump_analysis.emulation.practice import CHANNELS, PracticeMachine
from wattsump_analysis.live.running_k import Kept
from wattsump_analysis.proof.prove import prove
from wattsump_analysis.reading.phases import find_soak, switches_of
from wattsump_analysis.reading.samples import gather
from wattsump_logger.session.reader import Session
from wattsump_logger.watch.look import History
from wattsump_logger.watch.proving_run import proving_run, proving_steps

PROFILE = demo_profile()
KEY_OF = {"engine": "e", "drive": "d", "fan": "f", "heater": "h"}
TICK_S = 2.0
STEP_K = 0.25  # of a thermocouple's converter
READS_HIGH_K = {"tank": 0.9, "cooler_in": -0.7, "cooler_out": 0.4, "case_drain": 1.1}
LATE_S = 20.0  # how long a driver takes for what he reads


def wanted(stage: str) -> Mapping[str, bool]:
    """The switches as a stage of the guide asks for them."""
    needs = {
        need.what: need.want
        for step in proving_steps(PROFILE)
        if step.name == stage
        for need in step.needs
    }
    works = needs.get("working", False)
    return {
        "engine": needs.get("engine", works),
        "drive": needs.get("drive", works),
        "fan": needs.get("fan", False),
        "heater": needs.get("heater", False),
    }


def read(name: str, value: float) -> float:
    """What the wire says of a channel: its probe's error, in the converter's steps."""
    if name not in (*READS_HIGH_K, "ambient"):
        return value
    return STEP_K * round((value + READS_HIGH_K.get(name, 0.0)) / STEP_K)


@cache
def driven() -> tuple[Session, tuple[str, ...]]:
    """The rows and the marks of a run by a driver who does at once what he is asked."""
    machine, guide, history, kept = (
        PracticeMachine(PROFILE),
        proving_run(PROFILE),
        History(),
        Kept(),
    )
    marks: list[str] = []
    is_on = dict.fromkeys(KEY_OF, False)
    stage, since_s, now_s = "soak", 0.0, 0.0
    while now_s < 4 * 3600.0:
        if now_s - since_s >= LATE_S:
            for switch, want in wanted(stage).items():
                if is_on[switch] != want:
                    machine.press(KEY_OF[switch])
                    is_on[switch] = want
        values = machine.values(now_s)
        cells = {
            channel.column: str(read(channel.name, float(str(values[channel.name]))))
            for channel in CHANNELS
        }
        look = history.take(now_s=now_s, elapsed_s=now_s, silent_s=0.0, cells=cells)
        kept.take(look)
        advice = guide.follow(look)
        marks += advice.marks
        since_s = now_s if advice.stage != stage else since_s
        stage, now_s = advice.stage, now_s + TICK_S
        if advice.finished:
            break
    return kept.session(), tuple(marks)


def test_every_step_is_begun_and_done_by_a_driver_who_does_as_asked() -> None:
    names = [step.name for step in proving_steps(PROFILE)]
    _, marks = driven()
    assert list(marks) == [
        mark for name in names for mark in (f"stage {name}", f"stage {name} ends: done")
    ]


def test_the_soak_matches_the_probes_and_ends_before_heater_and_engine() -> None:
    session, _ = driven()
    samples = gather(session, PROFILE)
    soak = find_soak(samples, switches_of(samples)[0].engine)
    assert soak is not None
    assert soak.offsets_k is not None
    # independent: what was put on, to a fifth of the converter's step
    apart_k = READS_HIGH_K["cooler_in"] - READS_HIGH_K["tank"]
    assert soak.offsets_k["cooler_in"] == pytest.approx(apart_k, abs=STEP_K / 5)
    started = (session.columns["engine_rpm"] > 0) | (session.columns["heater_w"] > 0)
    assert soak.end_s < session.elapsed_s[np.flatnonzero(started)[0]]


@pytest.mark.timeout(300)
def test_what_is_proved_rests_on_the_heater_too_and_holds_the_cooler_that_was_built() -> None:
    proof = prove(driven()[0], PROFILE)
    assert "probes-matched" in [note.code for note in proof.notes]
    shares = {line.source: line.relative for line in proof.budget}
    # K goes up and down with the heater's watts, which are all that its error can act through.
    assert shares["heater_gain"] > 0.005
    assert proof.k_w_k is not None
    # independent: the plant's cooler as it is built
    assert proof.k_w_k.low < COOLER_W_K < proof.k_w_k.high
