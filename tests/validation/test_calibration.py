"""A short version of the simulation-based calibration."""

import numpy as np
from calibration import KNOW, drawn_theta, outing, ranks
from effective import effective_draws
from scipy.special import logsumexp

from wattsump_analysis.model.fit import build_target


def test_true_parameters_lie_within_the_draws_of_their_own_machine() -> None:
    found = [ranks(60, seed) for seed in range(3)]
    below = np.array([list(one.values()) for one in found])
    # independent: uniform ranks of 90 parameters have mean 0.5 +/- 0.03, more as those of one
    # machine go together; four times that.
    assert abs(below.mean() - 0.5) < 0.12
    # independent: 95 in 100 are expected; 80 allows for machines whose parameters miss together.
    assert np.mean((below > 0.025) & (below < 0.975)) > 0.8


def test_drawn_parameters_are_of_the_prior_that_is_fitted_with() -> None:
    target = build_target(outing(40), KNOW)
    rng = np.random.default_rng(3)
    drawn = np.array([drawn_theta(target, rng) for _ in range(2000)])
    middle = target.mean.mean(axis=0)
    spread = np.sqrt(target.sd**2 + (target.mean - middle) ** 2).max(axis=0)
    # independent: the mean of an even mixture, to five of its errors.
    assert np.all(np.abs(drawn.mean(axis=0) - middle) < 5 * spread / np.sqrt(2000))
    # independent: minus the mean log density of a mixture of two normals is at most that of one
    # of them plus ln 2, and at least it; the entropies of the normals by their formula.
    entropy = 0.5 * np.log(2 * np.pi * np.e * target.sd**2).sum(axis=1)
    told = -logsumexp(target.log_priors(drawn), axis=0).mean()
    assert entropy.min() - 0.5 < told < entropy.max() + np.log(2) + 0.5


def test_draws_of_a_drawn_machine_count() -> None:
    # pinned: fewer than this means that chains no longer move.
    assert (effective_draws(0) or 0.0) > 150.0
