"""A filter's innovations against the likelihood of all readings at once."""

from copy import copy
from dataclasses import replace

import numpy as np
import pytest

from analysis.model.test_network import BINS, P, make_network, propagate, readings
from wattsump_analysis.model.banded import STATES
from wattsump_analysis.model.innovations import innovations
from wattsump_analysis.model.network import Network


@pytest.mark.parametrize("seed", [1, 2])
def test_innovations_multiply_to_the_likelihood_of_the_whole(seed: int) -> None:
    network = make_network(seed)
    network.level_spread_w = np.full_like(network.level_spread_w, 1e-3)
    found = innovations(network, P, network.level_prior_w)
    # independent: one banded factor of all readings, the levels fixed to a milliwatt, which
    # costs the determinant six of its digits.
    assert found.log_likelihood == pytest.approx(network.log_likelihood(P), abs=2e-3)
    assert found.tank.size == int(network.seen["tank"].sum())


def drawn_from(network: Network, rng: np.random.Generator) -> Network:
    """The same network with readings that are its own: start, steps and noise drawn."""
    starts = [2.0, 1.0, 1.0, 1.0, P.wander_w]
    steps = network.step_weights(P, network.coefficients(P)) ** -0.5
    draw = np.concatenate(
        [
            starts * rng.standard_normal(STATES),
            (steps * rng.standard_normal((BINS - 1, STATES))).ravel(),
            network.level_prior_w,
        ]
    )
    draw[0] += network.base_c[0]
    clean = propagate(network, draw)
    oils, at = {}, 0
    for probe in readings(network):
        seen = network.seen[probe.name]
        read = clean[at : at + seen.sum()] + probe.noise_k * rng.standard_normal(seen.sum())
        oils[probe.name] = np.full(BINS, np.nan)
        oils[probe.name][seen] = read
        at += int(seen.sum())
    own = copy(network)
    own.record = replace(network.record, oils_c=oils)
    return own


def test_innovations_of_the_networks_own_readings_are_white() -> None:
    network, rng = make_network(3), np.random.default_rng(5)
    found = [
        innovations(drawn_from(network, rng), P, network.level_prior_w).tank for _ in range(300)
    ]
    whole = np.concatenate(found)
    # independent: mean 0 and variance 1 of 4200 standard normals, to four standard errors.
    assert whole.mean() == pytest.approx(0.0, abs=4 / np.sqrt(whole.size))
    # independent: the same.
    assert whole.var() == pytest.approx(1.0, abs=4 * np.sqrt(2 / whole.size))
    followed = float(np.mean([np.mean(one[1:] * one[:-1]) for one in found]))
    # independent: products of neighbours have mean 0 and variance 1.
    assert followed == pytest.approx(0.0, abs=4 / np.sqrt(whole.size))
