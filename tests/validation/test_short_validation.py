"""A short run of the validation, so that a change that breaks the method shows at once."""

import numpy as np
from run import page, rows_of
from score import PROTOCOLS, fit_one, rehearse

MACHINES = 6


def test_intervals_of_a_guided_run_hold_the_truth_of_most_machines() -> None:
    name = "guided, five probes + flow"
    rehearsed = rehearse(PROTOCOLS[name], MACHINES, seed=404)
    scores = [fit_one(rehearsed, one) for one in range(MACHINES)]
    held = [low <= truth <= high for truth, _, low, high in (s.found["K"] for s in scores)]
    # 95 % intervals hold 4 or more of 6 with a chance of 99.8 %.
    assert np.count_nonzero(held) >= 4
    rows = list(rows_of(name, scores))
    assert rows[0].quantity == "K"
    assert rows[0].refused == 0.0
    assert f"| {name} | K |" in page(rows, MACHINES, 404)
