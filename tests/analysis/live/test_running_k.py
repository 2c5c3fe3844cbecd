"""The running estimate: when it begins, what it says, and that a capture never waits for it."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from wattsump_analysis.emulation.bracken import (
    COOLER_W_K,
    WIRE_CHANNELS,
    Rehearsal,
    demo_profile,
    rehearse,
)
from wattsump_analysis.live import running_k
from wattsump_analysis.live.running_k import (
    Guided,
    Kept,
    Known,
    Plainly,
    RunningK,
    adds_little,
    know_so_far,
    words,
)
from wattsump_analysis.live.supplies import supplies
from wattsump_analysis.proof.prove import prove
from wattsump_logger.commands.log import PROVING_RUN
from wattsump_logger.machine.parts import Cooler
from wattsump_logger.watch.alarm_rules import Typed
from wattsump_logger.watch.look import Look
from wattsump_logger.watch.proving_run import proving_run


@cache
def rehearsed() -> Rehearsal:
    return rehearse(demo_profile())


def looks(until_s: int) -> list[Look]:
    rehearsal, found = rehearsed(), []
    for second in range(0, until_s, 2):
        values = rehearsal.values(float(second))
        cells = {c.column: values[c.name] for c in WIRE_CHANNELS}
        found.append(
            Look(
                now_s=float(second),
                elapsed_s=float(second),
                values={
                    name: None if cell is None else float(cell) for name, cell in cells.items()
                },
            )
        )
    return found


def known(*widths: float) -> list[Known]:
    return [
        Known(elapsed_s=60.0 * at, k_w_k=95.0, half_width_rel=width)
        for at, width in enumerate(widths)
    ]


class Later:
    """Keeps the work that a thread would do, for the test to do when it wants."""

    def __init__(self) -> None:
        self.works: list[Callable[[], None]] = []

    def __call__(self, work: Callable[[], None]) -> None:
        self.works.append(work)


def test_a_fit_begins_once_a_minute_and_never_two_at_a_time() -> None:
    later = Later()
    running = RunningK(demo_profile(), later)
    for look in looks(400):
        running.take(look)
    assert len(later.works) == 1  # it has not come back yet
    later.works[0]()
    assert running.learned(Look(now_s=400.0), "soak") is None  # no oil has been cooled yet
    running.take(Look(now_s=402.0, elapsed_s=402.0, values=looks(2)[0].values))
    assert len(later.works) == 2


@pytest.mark.parametrize(("took_s", "next_s"), [(1.0, 62.0), (30.0, 2.0 + 19 * 30.0)])
def test_beside_a_plain_recording_fits_take_a_twentieth_of_the_time_however_slow_they_are(
    took_s: float, next_s: float
) -> None:
    later, times_s = Later(), iter((0.0, took_s))
    running = RunningK(demo_profile(), later, rests=19.0, clock=times_s.__next__)
    for look in looks(600):
        running.take(look)
        if look.now_s == 2.0:
            later.works[0]()
        if len(later.works) == 2:
            break
    assert look.now_s == next_s


def test_plainly_nothing_is_shown_until_k_is_known() -> None:
    later = Later()
    plain = Plainly(demo_profile(), later)
    assert [plain(look) for look in looks(200)][-1] == ""
    assert len(later.works) == 1
    plain._running._known += known(0.9)
    assert plain(Look(now_s=201.0)) == ""
    plain._running._known += known(0.9, 0.2)[1:]
    assert plain(Look(now_s=202.0)) == "K 95 W/K to +/- 20 %"


def test_a_rehearsed_run_tells_k_near_the_cooler_that_was_built() -> None:
    later = Later()
    running = RunningK(demo_profile(), later)
    seen = looks(3200)
    for look in seen[:-1]:
        running._kept.take(look)
    running.take(seen[-1])
    later.works[0]()
    told = running.learned(Look(now_s=3300.0), "work loop")
    assert told is not None
    assert told.text.startswith("K ")
    # independent: what the finer plant's cooler is built to reject; 20 % is the half width the
    # estimate itself has by then.
    assert float(told.text.split()[1]) == pytest.approx(COOLER_W_K, rel=0.2)
    assert not told.enough  # one fit tells nothing of what the next would add


def test_without_readings_of_the_tank_it_says_why_and_goes_on() -> None:
    later = Later()
    running = RunningK(None, later)
    for second in (0.0, 10.0, 20.0):
        running.take(Look(now_s=second, elapsed_s=second, values={"ambient_c": 20.0}))
    later.works[0]()
    told = running.learned(Look(now_s=21.0), "work loop")
    assert told is not None
    assert told.text.startswith("no running estimate: found no such channel among ambient_c")


def test_what_is_known_is_said_with_what_more_minutes_bring() -> None:
    assert words(known(0.14, 0.13, 0.12, 0.11, 0.10)).endswith(
        "to +/- 10 %, about 2 more minutes for +/- 8 %"
    )
    assert words(known(0.9)) == "K not yet: +/- 90 %"
    unscaled = Known(elapsed_s=60.0, k_w_k=None, half_width_rel=0.1)
    assert words([unscaled]) == "K to +/- 10 % of the machine's unknown heat capacity"


@pytest.mark.parametrize(
    ("widths", "little"),
    [
        ((0.14, 0.13, 0.12, 0.11, 0.10), False),
        ((0.10, 0.101, 0.10, 0.099, 0.10), True),
        ((0.10, 0.10), False),
        ((0.9, 0.9, 0.9, 0.9, 0.9), False),
    ],
    ids=["narrows", "stands", "too few fits", "knows nothing"],
)
def test_enough_is_known_where_more_minutes_add_little(
    widths: tuple[float, ...], little: bool
) -> None:
    assert adds_little(known(*widths)) is little


def test_the_guide_shows_the_estimate_and_feeds_it_every_look() -> None:
    later = Later()
    running = RunningK(demo_profile(), later)
    guide = Guided(proving_run(demo_profile(), estimate=running.learned), running)
    advice = [guide.follow(look) for look in looks(200)]
    assert advice[-1].stage == "soak"
    assert len(later.works) == 1


def test_what_is_known_shows_between_steps_too_and_the_newer_figure_alone() -> None:
    later = Later()
    running = RunningK(demo_profile(), later)
    guide = Guided(proving_run(demo_profile(), estimate=running.learned), running)
    running._known += known(0.2)
    first = guide.follow(Look(now_s=0.0))
    assert first.learned == ("K 95 W/K to +/- 20 %",)
    running._known += known(0.2, 0.15)[1:]
    assert guide.follow(Look(now_s=1.0)).learned == ("K 95 W/K to +/- 15 %",)


def test_the_program_supplies_a_forecaster_and_a_guided_proving_run() -> None:
    given = supplies()
    assert given.forecaster is not None
    assert given.forecaster(demo_profile(), {}) is not None
    advice = given.guides[PROVING_RUN](demo_profile(), Typed()).follow(Look(now_s=0.0))
    assert advice is not None
    assert advice.stage == "soak"


def test_nothing_is_known_before_the_fan_cooled_the_oil() -> None:
    running = RunningK(demo_profile(), Later())
    for look in looks(1500):
        running._kept.take(look)
    session = running._kept.session()
    assert session.elapsed_s.size == 750
    assert np.all(np.diff(session.elapsed_s) > 0)
    assert know_so_far(session, demo_profile()) is None


def spoilt(look: Look, how: str) -> Look:
    values = dict(look.values)
    if how == "probes swapped":
        values["tank_c"], values["cooler_in_c"] = values["cooler_in_c"], values["tank_c"]
    elif how == "drive unlogged":
        values["engine_on"] = float((values.pop("engine_rpm") or 0.0) > 0.0)
        del values["drive_on"]
    elif look.now_s == 1800.0:
        return replace(look, marks=((1800.0, how),))
    return replace(look, values=values)


@pytest.mark.parametrize("how", ["probes swapped", "drive unlogged", "cleaned the cooler"])
def test_the_figure_is_the_proofs_and_where_that_refuses_there_is_none(how: str) -> None:
    later = Later()
    running, seen = RunningK(demo_profile(), later), [spoilt(look, how) for look in looks(2200)]
    for look in seen:
        running._kept.take(look)
    running.take(replace(seen[-1], marks=()))
    later.works[0]()
    proof, told = prove(running._kept.session(), demo_profile()), running.learned(seen[-1], "soak")
    assert told is not None
    if proof.k_w_k is None:
        assert running.figure() == ""
        assert proof.reasons[0].text in told.text
    else:
        assert told.text.startswith(f"K {proof.k_w_k.value:.0f} W/K")
        assert len(proof.segments) == 2


def test_a_machine_without_listed_metal_gives_the_ratio_alone() -> None:
    profile = replace(demo_profile(), metal=(), cooler=Cooler(fitted=True))
    running = RunningK(None, Later())
    for look in looks(2600):
        running._kept.take(look)
    so_far = know_so_far(running._kept.session(), profile)
    assert so_far is not None
    assert so_far.k_w_k is None
    assert 0.0 < so_far.half_width_rel < 1.0


def test_a_mark_taken_back_does_not_cut_the_outing() -> None:
    kept = Kept()
    for look, mark in zip(looks(6), ("cooler cleaned", "undo: cooler cleaned", "fan"), strict=True):
        kept.take(replace(look, marks=((look.now_s, mark),)))
    assert [mark.text for mark in kept.session().marks] == ["fan"]


def test_marks_of_rows_that_were_dropped_are_dropped_with_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(running_k, "_MOST_ROWS", 8)
    kept = Kept()
    for look in looks(40):
        kept.take(replace(look, marks=((look.now_s, "alarm"),)))
    session = kept.session()
    assert [mark.elapsed_s for mark in session.marks] == list(session.elapsed_s)
