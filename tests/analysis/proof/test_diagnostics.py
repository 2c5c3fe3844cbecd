"""Residual statistics against certified data; the label against draws of K."""

import json
from pathlib import Path

import numpy as np
import pytest

from wattsump_analysis.proof.routes import contradiction, largest_disagreement
from wattsump_analysis.proof.verdict import check_label
from wattsump_analysis.results import Interval, Route
from wattsump_analysis.statistics.residuals import lag_one, periodogram_excess

STRD = json.loads(
    (Path(__file__).parents[2] / "data" / "nist" / "strd.json").read_text(encoding="utf-8")
)


def route(name: str, value: float) -> Route:
    k = Interval(value=value, low=0.9 * value, high=1.1 * value)
    return Route(name=name, rests_on=name, k_w_k=k)


def test_autocorrelation_agrees_with_the_certified_beam_deflections() -> None:
    # certified: NIST StRD univariate, Lew, 15 digits.
    assert lag_one(np.array(STRD["Lew"]["y"], dtype=float)) == pytest.approx(
        -0.307304800605679, rel=1e-12
    )


def test_white_noise_passes_the_periodogram_nineteen_times_in_twenty() -> None:
    rng = np.random.default_rng(8)
    beyond = sum(periodogram_excess(rng.standard_normal(400)) > 1.36 for _ in range(400))
    # published: 1.36 is the 5 % point of Kolmogorov's distribution; 400 trials scatter by 1.1 %.
    assert beyond / 400 == pytest.approx(0.05, abs=0.035)


def test_a_drift_fails_the_periodogram() -> None:
    walk = np.cumsum(np.random.default_rng(9).standard_normal(400))
    assert periodogram_excess(walk) > 3.0


def test_the_label_is_met_with_the_weight_of_the_draws_that_meet_it() -> None:
    k = np.array([90.0, 100.0, 110.0, 120.0])
    weights = np.array([0.1, 0.2, 0.3, 0.4])
    found = check_label(6000.0, 55.0, k, weights)
    # independent: 6000/55 = 109.09 W/K, so the last two draws meet it.
    assert found.probability_met == pytest.approx(0.7)
    assert found.heat_at_etd_w is not None
    assert found.share_of_label is not None
    ratio = found.share_of_label.value / found.heat_at_etd_w.value
    assert ratio == pytest.approx(1.0 / 6000.0)


def test_a_label_without_its_difference_has_no_share() -> None:
    found = check_label(6000.0, None, np.array([100.0]), np.array([1.0]))
    assert found.share_of_label is None
    assert found.probability_met is None


def test_routes_disagree_by_their_difference_over_their_mean() -> None:
    # independent: 20 over their mean of 100.
    assert largest_disagreement([route("a", 90.0), route("b", 110.0)]) == pytest.approx(0.2)
    assert largest_disagreement([route("a", 90.0)]) == 0.0


def test_ways_whose_ranges_do_not_touch_contradict_each_other() -> None:
    def within(name: str, value: float, half: float) -> Route:
        k = Interval(value=value, low=value - half, high=value + half)
        return Route(name=name, rests_on="", k_w_k=k)

    said = contradiction([within("oil side", 78.0, 6.0), within("temperatures", 104.0, 15.0)])
    assert said is not None
    assert said.code == "routes-exclude"
    assert contradiction([within("a", 78.0, 6.0), within("b", 104.0, 21.0)]) is None
    # Narrow ranges 10 % apart are a caution's business, not a contradiction.
    assert contradiction([within("a", 100.0, 1.0), within("b", 110.0, 1.0)]) is None
    assert contradiction([]) is None
