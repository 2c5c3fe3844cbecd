"""Labels decoded and judged, against the trade's printed examples and hand arithmetic."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattsump_analysis.physics import air, label
from wattsump_analysis.physics.exchanger import ceilings
from wattsump_logger.errors import RangeError

BTU_H = 0.2930710701722  # NIST SP 811, W
HP = 745.69987158227022  # NIST SP 811, W


def test_a_heat_per_hundred_fahrenheit_converts_as_the_units_say() -> None:
    hundred = 100.0 / 1.8
    # independent: NIST SP 811 factors, eight digits: 1 Btu/(min 100 °F) and 1 hp per 100 °F.
    assert label.conductance_from_label_w_k(60.0 * BTU_H, hundred) == pytest.approx(
        0.31651676, rel=1e-7
    )
    # independent: as above.
    assert label.conductance_from_label_w_k(HP, hundred) == pytest.approx(13.42260, rel=1e-6)


def test_a_selection_chart_example_scales_linearly_with_the_entering_difference() -> None:
    # published: an oil cooler data sheet's selection page: oil 200 °F, air 75 °F, 125 °F, so the
    # curve is read at 0.800 of the load.
    etd_f = 200.0 - 75.0
    assert label.heat_w(1.0, 100.0) / label.heat_w(1.0, etd_f) == pytest.approx(0.800, abs=5e-4)


@pytest.mark.parametrize(
    ("btu_h", "kw", "row"),
    [
        # independent: hand arithmetic rounded to three digits: W/K at 100 °F, 40 K, 60 °F, 25 K.
        (10_000, 2.93, (53, 73, 88, 117)),
        (20_000, 5.86, (105, 147, 176, 234)),
        (40_000, 11.7, (211, 293, 352, 469)),
    ],
)
def test_a_bare_label_spans_the_conductances_of_the_trades_bases(
    btu_h: float, kw: float, row: tuple[int, ...]
) -> None:
    result = {r.basis.name: r.conductance_w_k for r in label.readings(btu_h * BTU_H)}
    names = (
        "100 °F entering difference",
        "40 K entering difference",
        "60 °F entering difference",
        "25 K entering difference",
    )
    # independent: the row above, half a unit of its last digit.
    assert [result[name] for name in names] == pytest.approx(row, abs=0.51)
    # independent: as above.
    assert btu_h * BTU_H / 1e3 == pytest.approx(kw, abs=0.05)
    assert result["60 °C oil entering, 20 °C air"] == result["40 K entering difference"]
    assert result["40 °F leaving approach"] is None


def test_a_leaving_approach_becomes_an_entering_difference_with_the_oil_flow() -> None:
    heat, oil_rate = 5861.0, 500.0
    last = label.readings(heat, oil_rate)[-1]
    assert last.basis.kind == "leaving"
    assert last.etd_k is not None
    leaving_over_air = last.etd_k - heat / oil_rate
    assert math.isclose(leaving_over_air, 40.0 / 1.8)
    assert last.conductance_w_k is not None
    assert math.isclose(last.conductance_w_k * last.etd_k, heat)


def test_the_label_is_true_at_the_difference_that_the_measured_cooler_needs() -> None:
    measured = 100.0
    etd = label.true_etd_k(6000.0, measured)
    assert math.isclose(label.heat_w(measured, etd), 6000.0)
    assert etd == 60.0


def test_a_label_delivers_less_at_smaller_differences() -> None:
    k = label.conductance_from_label_w_k(20_000 * BTU_H, 100.0 / 1.8)
    # independent: hand arithmetic, two digits: 4.2, 3.2 and 2.1 kW at 40, 30 and 20 K.
    assert [label.heat_w(k, etd) / 1e3 for etd in (40, 30, 20)] == pytest.approx(
        (4.2, 3.2, 2.1), abs=0.05
    )


def test_no_cooler_carries_more_than_its_streams() -> None:
    cfm = 0.3048**3 / 60.0
    result = ceilings(air_rate_w_k=air.capacity_rate_w_k(190.0 * cfm, 25.0))
    # independent: trade arithmetic, 20 000 Btu/h at 100 °F needs at least 190 cfm through the
    # core; two digits.
    assert result.lowest_w_k == pytest.approx(105.5, rel=0.02)
    assert result.built_high_w_k is not None
    assert result.built_high_w_k < result.lowest_w_k
    both = ceilings(air_rate_w_k=300.0, oil_rate_w_k=250.0)
    assert (both.lowest_w_k, both.air_w_k, both.oil_w_k) == (250.0, 300.0, 250.0)
    only_oil = ceilings(oil_rate_w_k=250.0)
    assert only_oil.built_low_w_k is None


@pytest.mark.parametrize(
    ("measured", "word"),
    [(170.0, "meets"), (109.0, "cannot tell"), (60.0, "falls short"), (125.0, "cannot tell")],
)
def test_a_word_is_said_only_at_nineteen_to_one(measured: float, word: str) -> None:
    assert label.verdict(6000.0 / 55.0, measured, 0.1).word == word


def test_the_probability_is_that_of_the_normal_distribution() -> None:
    result = label.verdict(100.0, 100.0 * math.exp(0.1 * 1.0), 0.1)
    # published: standard normal table, 0.8413 at one standard deviation, four digits.
    assert result.probability == pytest.approx(0.8413, abs=5e-5)


def test_a_stated_tolerance_of_the_label_counts_for_the_cooler() -> None:
    strict = label.verdict(100.0, 95.0, 0.02)
    kind = label.verdict(100.0, 95.0, 0.02, tolerance_rel=0.05)
    assert strict.probability < 0.01
    assert math.isclose(kind.probability, 0.5)


def test_a_sample_and_its_normal_distribution_agree() -> None:
    draws = np.exp(np.random.default_rng(5).normal(math.log(120.0), 0.08, 200_000))
    counted = label.verdict_from_samples(109.0, draws)
    exact = label.verdict(109.0, 120.0, 0.08)
    # Counting 200 000 draws leaves a standard error of 0.0008 of probability.
    assert abs(counted.probability - exact.probability) < 0.004
    assert abs(counted.share - exact.share) < 0.005
    assert counted.word == exact.word


def test_draws_of_little_weight_count_little() -> None:
    draws = np.repeat([90.0, 100.0, 110.0, 120.0], 50)
    weights = np.repeat([0.1, 0.2, 0.3, 0.4], 50) / 50.0
    result = label.verdict_from_samples(6000.0 / 55.0, draws, weights)
    # independent: 6000/55 = 109.09 W/K, so the last two values meet it: 0.3 + 0.4, by hand.
    assert result.probability == pytest.approx(0.7)
    even = label.verdict_from_samples(6000.0 / 55.0, draws)
    # independent: two values of four, by hand.
    assert even.probability == pytest.approx(2 / 4)


@pytest.mark.parametrize(
    ("probability", "half_width", "word"),
    [
        (0.96, 0.05, "meets"),
        (0.95, 0.05, "meets"),
        (0.94, 0.05, "cannot tell"),
        (0.06, 0.05, "cannot tell"),
        (0.05, 0.05, "falls short"),
        (0.99, 0.40, "cannot tell"),
        (0.01, 0.40, "cannot tell"),
    ],
)
def test_a_word_needs_nineteen_to_one_and_a_narrow_range(
    probability: float, half_width: float, word: str
) -> None:
    assert label.word_of(probability, half_width) == word


@settings(deadline=None)
@given(st.floats(10.0, 1000.0), st.floats(10.0, 1000.0), st.floats(0.01, 0.5))
def test_a_better_cooler_is_never_judged_worse(a: float, b: float, u: float) -> None:
    low, high = sorted((a, b))
    assert label.verdict(100.0, low, u).probability <= label.verdict(100.0, high, u).probability


def judged(measured: float, u_log: float, oil_rate_w_k: float | None = None) -> label.LabelVerdict:
    return label.label_verdict(
        6000.0,
        measured,
        lambda claim: label.verdict(claim, measured, u_log),
        oil_rate_w_k=oil_rate_w_k,
    )


def test_an_unprinted_difference_is_decided_only_when_every_basis_agrees() -> None:
    good = judged(400.0, 0.1)
    bad = judged(50.0, 0.1)
    between = judged(150.0, 0.03)
    assert (good.word, bad.word, between.word) == ("meets", "falls short", "cannot tell")
    assert {v.word for _, v in between.each} == {"meets", "cannot tell", "falls short"}
    assert between.true_etd_k == 40.0
    assert len(good.each) == len(label.TRADE_BASES) - 1
    assert len(judged(400.0, 0.1, oil_rate_w_k=500.0).each) == len(label.TRADE_BASES)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: label.conductance_from_label_w_k(6000.0, 0.0), "entering difference"),
        (lambda: label.conductance_from_label_w_k(-1.0, 55.0), "label heat"),
        (lambda: label.readings(6000.0, 0.0), "oil flow"),
        (lambda: label.true_etd_k(6000.0, 0.0), "measured conductance"),
        (lambda: ceilings(), "give air or oil flow"),
        (lambda: ceilings(air_rate_w_k=-5.0), "capacity rate"),
        (lambda: label.verdict(100.0, 100.0, 0.0), "uncertainty of ln K"),
        (lambda: label.verdict(100.0, 100.0, 0.1, sure=0.5), "probability to be sure at"),
        (lambda: label.verdict(100.0, 100.0, 0.1, tolerance_rel=0.6), "tolerance"),
        (lambda: label.verdict_from_samples(100.0, np.ones(99)), "finite draws"),
        (
            lambda: label.verdict_from_samples(1.0, np.r_[np.nan, np.ones(200)]),
            "at least 201 finite",
        ),
        (lambda: label.verdict_from_samples(1.0, np.ones(200), np.ones(9) / 9), "weights"),
        (lambda: label.verdict_from_samples(1.0, np.ones(200), np.ones(200)), "weights of a"),
    ],
)
def test_what_cannot_be_judged_is_refused_by_name(call, words: str) -> None:  # type: ignore[no-untyped-def] # lambdas of many shapes
    with pytest.raises(RangeError, match=words):
        call()
