"""Causes: the rule of the trade, Bayes' rule by another route, and honest doubt."""

import numpy as np
import pytest
from scipy import stats

from refusal import refused
from wattsump_analysis.season.causes import PATTERNS, Cause, FanStep, attribute, more_outings
from wattsump_analysis.season.events import EventKind
from wattsump_analysis.season.evidence import TYPICAL, covariance_of
from wattsump_logger.errors import RangeError

USUAL = covariance_of(TYPICAL)
# Three outings after ten.
SPREAD = USUAL * (1.0 / 3.0 + 1.0 / 10.0)
STEP_STAYS = FanStep(before=0.9, after=0.88, u_before=0.07, u_after=0.07)
STEP_GONE = FanStep(before=0.9, after=0.1, u_before=0.07, u_after=0.07)


# practice: the rule itself is common practice of the trade, no source: K down and heat the
# same is the cooler, K the same and heat up the drive, both oil, air or a moved sensor.
@pytest.mark.parametrize(
    ("change", "cause"),
    [
        ((-0.35, 0.0), Cause.COOLER),
        ((0.35, 0.02), Cause.COOLER),
        ((0.0, 0.35), Cause.DRIVE),
        ((-0.3, -0.3), Cause.OTHER),
        ((0.35, 0.3), Cause.OTHER),
        ((-0.35, 0.3), Cause.BOTH),
    ],
)
def test_the_rule_of_the_trade_holds(change: tuple[float, float], cause: Cause) -> None:
    causes = attribute(change, SPREAD)
    assert causes[0].cause is cause
    assert causes[0].probability > 0.8


def test_probabilities_sum_to_one_and_fall() -> None:
    p = [likely.probability for likely in attribute((-0.2, 0.1), SPREAD)]
    assert sum(p) == pytest.approx(1.0)
    assert p == sorted(p, reverse=True)
    assert len(p) == len(Cause)


def test_a_loss_with_the_fan_step_gone_is_the_fan_and_with_it_there_the_cooler() -> None:
    loss = (-0.7, 0.0)
    assert attribute(loss, SPREAD, fan=STEP_GONE)[0].cause is Cause.FAN
    assert attribute(loss, SPREAD, fan=STEP_STAYS)[0].cause is Cause.COOLER
    without = {c.cause: c.probability for c in attribute(loss, SPREAD)}
    assert without[Cause.FAN] > 0.05


def test_what_was_noted_shifts_the_odds_and_does_not_overrule_the_numbers() -> None:
    unclear = (0.25, 0.12)
    plain = {c.cause: c.probability for c in attribute(unclear, SPREAD)}
    oil = {c.cause: c.probability for c in attribute(unclear, SPREAD, events=[EventKind.OIL])}
    assert oil[Cause.OTHER] > plain[Cause.OTHER]
    worn = attribute((0.0, 0.4), SPREAD, events=[EventKind.CLEAN])
    assert worn[0].cause is Cause.DRIVE


def test_a_change_within_repeatability_settles_nothing() -> None:
    first = attribute((-0.03, 0.03), USUAL)[0]
    assert first.probability < 0.75


def test_few_outings_leave_more_doubt_than_many() -> None:
    change = (-0.3, 0.0)
    few = attribute(change, USUAL * (1.0 / 3.0 + 1.0 / 1.0))[0].probability
    many = attribute(change, USUAL * (1.0 / 3.0 + 1.0 / 20.0))[0].probability
    assert few < many


def test_odds_agree_with_drawing_changes_from_the_stories_themselves() -> None:
    # Each pattern drawn many times, weighed by the likelihood of the change seen.
    rng, change = np.random.default_rng(0), np.array([-0.15, 0.05])
    likelihood = stats.multivariate_normal([0.0, 0.0], SPREAD).pdf
    weight = dict.fromkeys(Cause, 0.0)
    for pattern in PATTERNS:
        drawn = rng.multivariate_normal(pattern.mean, pattern.covariance, size=200_000)
        weight[pattern.cause] += pattern.odds * float(likelihood(change - drawn).mean())
    found = {c.cause: c.probability for c in attribute(change, SPREAD)}
    for cause in (Cause.COOLER, Cause.DRIVE, Cause.BOTH, Cause.OTHER):
        # independent: by Monte Carlo, to its own error of under 1 %
        assert found[cause] == pytest.approx(weight[cause] / sum(weight.values()), rel=0.03)


def test_a_settled_cause_needs_no_more_outings_and_a_hopeless_one_says_so() -> None:
    def more(change: tuple[float, float], after: int) -> int | None:
        return more_outings(change, USUAL, 10, after)

    assert more((0.5, 0.0), 5) == 0
    needed = more((-0.15, 0.0), 1)
    assert needed is not None
    assert needed > 0
    assert more((-0.02, 0.02), 2) is None


@pytest.mark.parametrize("change", [(1.0,), (np.nan, 0.0)])
def test_a_change_that_is_no_pair_is_refused(change: tuple[float, ...]) -> None:
    with refused(RangeError, "attribution"):
        attribute(change, SPREAD)
