"""A short run of the validation, so that a change that breaks the method shows at once."""

import numpy as np
import pytest
from form import needed
from run import kept_lines, line, page, rows_of
from score import HEAT_AT_LABEL, PLAINER, PROTOCOLS, Score, fit_one, record_of, rehearse

from wattsump_analysis._suspects import suspects_of

MACHINES = 6


@pytest.mark.parametrize(
    ("name", "worst", "widest"),
    [
        ("guided, five probes + flow", 0.05, 0.10),
        ("guided, tank and ambient", 0.14, 0.27),
        (f"{PLAINER}guided, five probes", 0.12, 0.25),
    ],
)
def test_intervals_hold_the_truth_of_most_machines_and_are_of_use(
    name: str, worst: float, widest: float
) -> None:
    rehearsed = rehearse(PROTOCOLS[name], MACHINES, seed=404)
    scores = [fit_one(rehearsed, one) for one in range(MACHINES)]
    assert all(score.found for score in scores)
    for quantity in ("K", HEAT_AT_LABEL):
        held = [low <= truth <= high for truth, _, low, high in (s.found[quantity] for s in scores)]
        # 95 % intervals hold 4 or more of 6 with a chance of 99.8 %, 80 % ones with 90 %.
        assert np.count_nonzero(held) >= 4
    rows = list(rows_of(name, scores))
    assert rows[0].quantity == "K"
    assert rows[0].refused == 0.0
    # pinned: about twice the median error and 1.4 times the half-width of docs/validation.md.
    assert rows[0].error < worst
    # pinned: the same.
    assert rows[0].half_width < widest
    text = page([line(row) for row in rows], 404)
    assert f"| {name} | K |" in text
    assert len(kept_lines(text, ("short run",))) == len(rows)
    assert kept_lines(text, (name,)) == []


def test_the_form_that_is_needed_makes_19_of_20_intervals_hold() -> None:
    # independent: intervals of 10 % either way that miss by 0.00, 0.02, ... 0.38 in the
    # logarithm; the last but one, 0.36, is held by sqrt(0.36^2 - ln(1.1)^2) / 1.96 = 0.1771, and
    # the grid of 0.001 is gone up.
    misses = 0.02 * np.arange(20.0)
    scores = [
        Score(machine=i, found={"K": (np.exp(m), 1.0, 1 / 1.1, 1.1)}, effective_draws=1.0, nodes=4)
        for i, m in enumerate(misses)
    ]
    assert needed(scores, "K") == pytest.approx(0.178, abs=1e-9)
    assert needed(scores[:5], "K") == 0.0


def test_healthy_machines_at_work_are_hardly_ever_accused() -> None:
    protocol = PROTOCOLS["ordinary work"]
    rehearsed = rehearse(protocol, 40, seed=77)
    accused = [
        bool(
            suspects_of(
                record_of(rehearsed.drawn, rehearsed.truth, rehearsed.readings, i, protocol)
            )
        )
        for i in range(40)
    ]
    # Of 300 such machines none was; one in 40 would be more than the two in 100 allowed.
    assert np.count_nonzero(accused) <= 1
