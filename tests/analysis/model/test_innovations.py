"""A filter's innovations against the likelihood of all readings at once."""

from copy import copy
from dataclasses import replace

import numpy as np
import pytest

from analysis.model.test_network import BINS, P, changed, make_network, propagate
from wattsump_analysis.model.innovations import innovations
from wattsump_analysis.model.network import SIZE, Network
from wattsump_logger.arrays import FloatArray


@pytest.mark.parametrize("seed", [1, 2])
def test_innovations_multiply_to_the_likelihood_of_the_whole(seed: int) -> None:
    network = make_network(seed)
    priors = network.unknown_priors
    network.unknown_priors = {name: replace(one, sd=1e-4 * one.sd) for name, one in priors.items()}
    result = innovations(network, P, means(network))
    # independent: one pass that eliminates all readings, the unknowns fixed to a ten-thousandth of
    # their spread, which costs the determinant some of its digits.
    assert result.log_likelihood == pytest.approx(network.log_likelihood(P), abs=5e-3)
    assert result.tank.size == int(network.seen[0].sum())


# Probes without lag: the reading before, which a late one is held against, is not drawn here.
QUICK = changed(lag_tank_s=0.01, lag_in_s=0.01, lag_out_s=0.01)


def means(network: Network) -> FloatArray:
    return np.array([one.mean for one in network.unknown_priors.values()])


def drawn_from(network: Network, unknown: FloatArray, rng: np.random.Generator) -> Network:
    """The same network with readings that are its own: start, steps and noise drawn."""
    starts = np.array([2.0, *[network.start_spread_k] * (SIZE - 2), 1.0])
    steps = network.step_sds(QUICK) * rng.standard_normal((BINS - 1, SIZE))
    draw = np.concatenate([starts * rng.standard_normal(SIZE), steps.ravel(), unknown])
    clean = propagate(network, draw[np.newaxis], QUICK)[0]
    oils, at = {}, 0
    for row, probe in enumerate(network.probes):
        seen = network.seen[row]
        noise = getattr(QUICK, probe.noise) * rng.standard_normal(seen.sum())
        oils[probe.name] = np.full(BINS, np.nan)
        oils[probe.name][seen] = clean[at : at + seen.sum()] + noise
        at += int(seen.sum())
    own = copy(network)
    own.record = replace(network.record, oils_c=oils)
    return own


def test_innovations_of_the_networks_own_readings_are_white() -> None:
    network, rng = make_network(3), np.random.default_rng(5)
    unknown = means(network)
    # Probes in the oil: a contact error is taken off the reading, and so would be of its noise.
    unknown[[name.startswith("contact") for name in network.unknowns]] = 0.0
    owns = (drawn_from(network, unknown, rng) for _ in range(300))
    result = [innovations(own, QUICK, unknown).tank for own in owns]
    whole = np.concatenate(result)
    # independent: mean 0 and variance 1 of 3900 standard normals, to four standard errors.
    assert whole.mean() == pytest.approx(0.0, abs=4 / np.sqrt(whole.size))
    # independent: the same.
    assert whole.var() == pytest.approx(1.0, abs=4 * np.sqrt(2 / whole.size))
    followed = float(np.mean([np.mean(one[1:] * one[:-1]) for one in result]))
    # independent: products of neighbours have mean 0 and variance 1.
    assert followed == pytest.approx(0.0, abs=4 / np.sqrt(whole.size))
