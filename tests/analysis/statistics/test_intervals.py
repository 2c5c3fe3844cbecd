"""Ranges of few draws."""

import numpy as np
import pytest

from wattsump_analysis.statistics.intervals import span_of


@pytest.mark.parametrize("count", [60, 120])
def test_a_range_of_few_draws_holds_a_new_one_as_often_as_it_says(count: int) -> None:
    rng = np.random.default_rng(9)
    held = 0
    for _ in range(4000):
        *draws, new = rng.standard_normal(count + 1)
        span = span_of(np.array(draws))
        held += span.low <= new <= span.high
    # independent: 95 %, whose share of 4000 scatters by 0.34 %; three times that. The usual
    # quantiles hold 92 % of 60.
    assert held / 4000 == pytest.approx(0.95, abs=0.0105)
