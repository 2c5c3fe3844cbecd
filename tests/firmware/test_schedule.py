"""What is due when, across the wrap of the uptime and after a long delay."""

import random

from firmware.harness import Harness

WRAP = 2**32


def test_each_period_is_due_once_across_the_wrap(harness: Harness) -> None:
    start = WRAP - 2500
    nows = [(start + step) % WRAP for step in range(5000)]
    answer = harness.order(f"schedule {start} 1000 " + " ".join(map(str, nows[:4000])))
    assert [at for at, due in enumerate(answer) if due == "1"] == [0, 1000, 2000, 3000]


def test_what_could_not_be_done_in_time_is_skipped_and_the_phase_is_kept(harness: Harness) -> None:
    # due at 100; looked at 3450: the runs at 100..3400 are one late run, the next is 3500
    assert harness.order("schedule 100 100 99 3450 3499 3500 3599 3600") == "010101"


def test_the_phase_is_kept_for_any_pattern_of_late_looks(harness: Harness) -> None:
    pick = random.Random(20260419)
    for _ in range(50):
        period = pick.randrange(1, 60_001)
        start = pick.randrange(WRAP)
        elapsed = sorted(pick.randrange(20 * period) for _ in range(200))
        looks = " ".join(str((start + at) % WRAP) for at in elapsed)
        answer = harness.order(f"schedule {start} {period} {looks}")
        seen = -1
        for at, due in zip(elapsed, answer, strict=True):
            assert (due == "1") == (at // period > seen)
            seen = max(seen, at // period)
