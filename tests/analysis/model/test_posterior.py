"""Draws of a posterior: a Gaussian whose answer is known, and a mixture of two layouts."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from wattsump_analysis.model import posterior
from wattsump_analysis.model.case import Gaussian
from wattsump_analysis.model.network import Spread
from wattsump_analysis.model.posterior import Posterior, Target, _within_prior, draw_from, find_mode
from wattsump_logger.arrays import FloatArray


class OneReading:
    """A stand-in network that saw the motion gain once, at 0.8 with a deviation of 0.3."""

    unknowns = ("offset_in_k",)
    unknown_priors = {"offset_in_k": Gaussian(mean=0.0, sd=2.0)}  # noqa: RUF012 - never changed

    def log(self, gain: Any) -> Any:
        return -0.5 * ((np.asarray(gain) - 0.8) / 0.3) ** 2

    def log_likelihoods(self, given: Any) -> FloatArray:
        return np.asarray(np.ravel(self.log(given.motion_gain)))

    def spread(self, given: Any) -> Spread:
        trials = np.size(given.motion_gain)
        return Spread(means=np.full((trials, 1), 0.5), roots=np.full((trials, 1, 1), 4.0))

    def slopes(self, names: tuple[str, ...], given: Any) -> tuple[FloatArray, FloatArray]:
        by_gain = -(np.ravel(given.motion_gain) - 0.8) / 0.3**2
        slopes = np.zeros((by_gain.size, len(names)))
        slopes[:, names.index("motion_gain")] = by_gain
        return self.log_likelihoods(given), slopes


def priors(k: float = 4.5) -> dict[str, Gaussian]:
    return {
        "motion_gain": Gaussian(mean=0.2, sd=0.4),
        "cooler_w_k": Gaussian(mean=k, sd=0.2, stated=True),
        "memory_s": Gaussian(mean=4.0, sd=0.0),
    }


def drawn(layouts: list[dict[str, Gaussian]], network: Any = None) -> Posterior:
    stand_in: Any = network or OneReading()
    target = Target(stand_in, layouts)
    modes = [
        find_mode(target.only(row), [target.mean[row], target.mean[row] + 0.1])
        for row in range(len(layouts))
    ]
    return draw_from(target, modes, np.random.default_rng(3))


def test_prior_and_reading_meet_at_their_weighted_mean() -> None:
    result = drawn([priors()])
    gain = result.column("motion_gain")
    # independent: precision-weighted mean of 0.2 +/- 0.4 and 0.8 +/- 0.3 is 0.584, deviation
    # 0.24; some hundred effective draws know them to a fifteenth of that.
    assert gain.mean() == pytest.approx(0.584, abs=0.05)
    # independent: as above.
    assert gain.std() == pytest.approx(0.24, abs=0.04)
    # independent: a fixed one is the exponential of its prior's mean, every time.
    assert result.column("memory_s") == pytest.approx(np.exp(4.0))
    assert result.effective_draws > 150


def test_linear_unknowns_are_drawn_beside_the_parameters() -> None:
    offset = drawn([priors()]).column("offset_in_k")
    # independent: mean 0.5 and a root of the precision of 4 were put in; 600 draws.
    assert offset.mean() == pytest.approx(0.5, abs=4 * 0.25 / np.sqrt(600))
    # independent: the same; a deviation is known to 1 in sqrt(1200).
    assert offset.std() == pytest.approx(0.25, rel=4 / np.sqrt(1200))


def test_draws_are_of_every_layout_in_its_share() -> None:
    result = drawn([priors(3.0), priors(6.0)])
    k = np.log(result.column("cooler_w_k"))
    # independent: the readings tell nothing of K, so half of the draws lie about each mean.
    assert np.mean(k > 4.5) == pytest.approx(0.5, abs=0.12)
    assert result.layout == pytest.approx([0.5, 0.5], abs=0.12)
    assert not np.any((k > 4.2) & (k < 4.8))


def test_a_model_without_reach_is_said_so() -> None:
    class Nowhere(OneReading):
        def log_likelihoods(self, given: Any) -> FloatArray:
            return np.full_like(super().log_likelihoods(given), -np.inf)

    with pytest.raises(ArithmeticError, match="within the model's reach"):
        drawn([priors()], Nowhere())


def test_a_proposal_is_no_wider_than_a_little_more_than_the_prior_in_any_direction() -> None:
    sd = np.array([0.1, 3.0])
    turn = np.array([[0.8, -0.6], [0.6, 0.8]])
    misread = np.outer(sd, sd) * (turn @ np.diag([0.02, 1e5]) @ turn.T)
    kept = _within_prior(misread, sd) / np.outer(sd, sd)
    # independent: the narrow direction stays, the wide one is brought to the bound.
    assert np.linalg.eigvalsh(kept) == pytest.approx([0.02, posterior.WIDEST], rel=1e-6)
    assert turn[:, 0] @ kept @ turn[:, 0] == pytest.approx(0.02, rel=1e-6)


def test_parameters_of_rows_are_columns_and_those_of_a_row_are_numbers() -> None:
    stand_in: Any = OneReading()
    target = Target(stand_in, [priors()])
    many = target.given(np.array([[0.1, 1.0], [0.2, 2.0]]))
    assert many.motion_gain.shape == (2, 1)
    # independent: exponentials of 1 and 2.
    assert many.cooler_w_k[:, 0] == pytest.approx(np.exp([1.0, 2.0]))
    assert isinstance(target.given(np.array([0.1, 1.0])), SimpleNamespace)
