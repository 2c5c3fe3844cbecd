"""Drawn seasons and the oracle that bounds what can be found in them."""

import json
import re
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest
from bound import found_by_oracle, likelihood_ratios
from scipy import stats
from seasons import (
    AS_THEY_COME,
    KINDS,
    MANNERS,
    OFTEN,
    Case,
    SeasonScore,
    cases,
    draw_season,
    kept,
    score_case,
)
from seasons_page import goal_lines, odds_lines, summary_lines

from wattsump_analysis.season.causes import Cause
from wattsump_analysis.season.conditions import log_rows


@pytest.mark.parametrize("manner", MANNERS)
@pytest.mark.parametrize("kind", KINDS)
def test_every_season_is_in_order_and_its_changes_lie_within(kind: str, manner: str) -> None:
    outings, truths = draw_season(kind, np.random.default_rng(1), MANNERS[manner])
    assert [o.start_utc for o in outings] == sorted(o.start_utc or "" for o in outings)
    assert all(0 < truth.at < len(outings) for truth in truths)
    if kind != AS_THEY_COME:
        assert bool(truths) == (kind != "control")
    assert len({o.rests_on for o in outings}) == 1 + MANNERS[manner].profile


def test_changes_as_they_come_are_one_in_25_outings_and_apart() -> None:
    drawn = [draw_season(AS_THEY_COME, np.random.default_rng(seed))[1] for seed in range(400)]
    places = [[truth.at for truth in truths] for truths in drawn]
    assert all(np.diff(at).min(initial=3) >= 3 for at in places)
    # independent: a place is free unless one of the two before it has a change: with a rate p at
    # free places, p / (1 + 2 p) of all 25 places have one; 400 seasons know it to 5 %
    expected = 25 * (1 / 25) / (1 + 2 / 25)
    assert np.mean([len(at) for at in places]) == pytest.approx(expected, rel=0.15)


def test_a_missed_goal_is_named_with_what_was_counted() -> None:
    def score(kind: str, delay: int | None, alarms: int, odds: float) -> SeasonScore:
        return SeasonScore(
            kind=kind,
            outings=50,
            false_alarms=alarms,
            delays=(delay,),
            right=(True,),
            right_later=(True,),
            odds=((odds, True),) * 60,
            chances=((odds, True),) * 60,
        )

    def missed(scores: dict[str, list[SeasonScore]]) -> list[str]:
        return [line for line in goal_lines(scores) if "**missed**" in line]

    found = [score(kind, 2, 0, 0.97) for kind in OFTEN]
    assert missed({"tidy": found}) == []
    late = [score(OFTEN[2], 9, 0, 0.97), score("control", None, 2, 0.97)]
    come = [score(AS_THEY_COME, 2, 0, 0.6)]
    lines = missed({"tidy": [*late, *come]})
    assert len(lines) == 4
    assert any("control: 2.00" in line for line in lines)
    assert any("0 % (0/1)" in line for line in lines)
    assert sum("60 %" in line and "100 ± 0 %" in line for line in lines) == 2


def test_chaff_and_wear_lower_k_and_raise_heat_at_the_same_outing() -> None:
    before, after = [], []
    for seed in range(20):
        outings, (truth,) = draw_season("chaff and wear at once", np.random.default_rng(seed))
        assert truth.cause is Cause.BOTH
        rows = log_rows(outings)
        before.append(np.median(rows[: truth.at], axis=0))
        after.append(np.median(rows[truth.at :], axis=0))
    k, heat = (np.array(after) - np.array(before)).mean(axis=0)
    # independent: means of ln(1 - u) over u of 0.2 to 0.5, and of ln u over 1.2 to 1.4; 20
    # seasons know either to 0.04
    assert k == pytest.approx(-0.436, abs=0.12)
    assert heat == pytest.approx(0.262, abs=0.12)


def test_a_share_right_is_as_uncertain_as_whole_seasons_leave_it() -> None:
    seasons = [[(0.55, True)] * 10, [(0.55, False)] * 10, [(0.55, True)] * 10, [(0.55, False)] * 10]
    # independent: four seasons, half of them right, know a share to sqrt(0.5 * 0.5 / 4)
    assert odds_lines(seasons)[2] == "| 50 to 60 % | 55 % | 50 ± 25 % | 40 |"


def test_scores_are_kept_as_lines_and_read_again(tmp_path: Path) -> None:
    wanted = cases(often=1, others=0, seed=5)
    assert {case.kind for case in wanted} == set(OFTEN)
    case = Case(manner="tidy", kind="cooler loses 20 %", number=0, seed=5)
    assert case in wanted
    score = score_case(case)
    path = tmp_path / "scores.jsonl"
    path.write_text(json.dumps({"case": asdict(case), "score": asdict(score)}) + "\n")
    assert kept(path) == {case: score}
    assert kept(tmp_path / "none.jsonl") == {}
    assert score.delays[0] is not None
    assert summary_lines([score])[2].startswith("| cooler loses 20 % | 1 | 1 |")
    assert len(odds_lines([score.odds])) > 2


def test_the_oracles_ratio_is_that_of_densities_of_differences() -> None:
    rng, rho, n = np.random.default_rng(2), 0.4, 6
    covariance, change = np.array([[0.005, 0.003], [0.003, 0.009]]), np.array([-0.1, 0.02])
    rows = rng.normal(0.0, 0.1, (n, 2))
    # Differences of neighbours know nothing of the level.
    contrast = np.diff(np.eye(n), axis=0)
    serial = contrast @ rho ** np.abs(np.subtract.outer(np.arange(n), np.arange(n))) @ contrast.T
    density = stats.multivariate_normal(cov=np.kron(covariance, serial))
    seen = np.diff(rows, axis=0).T.ravel()
    found = likelihood_ratios(rows, covariance, rho, change)
    for at in range(1, n):
        step = np.diff(np.outer(np.arange(n) >= at, change), axis=0).T.ravel()
        # independent: scipy's density of the five differences of both numbers
        expected = density.logpdf(seen - step) - density.logpdf(seen)
        assert found[at - 1] == pytest.approx(expected, abs=1e-9)


def test_the_oracle_finds_every_large_loss_and_few_tiny_ones() -> None:
    assert found_by_oracle(0.6, 3, 0.0, 12, seed=3) == 1.0
    assert found_by_oracle(0.01, 3, 0.0, 12, seed=3) < 0.5


def test_owners_are_told_of_chances_what_was_counted() -> None:
    docs = Path(__file__).parents[2] / "docs"
    counted = (docs / "validation-seasons.md").read_text("utf-8").split("The chance that anything")
    rows = re.findall(r"\| (\d+) to (\d+) % \| \d+ % \| (\d+) ± \d+ % \| \d+ \|", counted[1])
    owners = " ".join((docs / "a-season.md").read_text("utf-8").split())
    # Of rows with the same ends, those of the first table are kept.
    told = {low: (high, right) for low, high, right in reversed(rows)}
    for low in ("10", "30"):
        high, right = told[low]
        assert f"told with {low} to {high} in 100, {right} in 100 were real" in owners
