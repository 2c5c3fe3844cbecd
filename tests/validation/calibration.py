"""Whether every reported parameter's draws are what they claim: simulation-based calibration [1]_.

    python tests/validation/calibration.py [machines]

Parameters are drawn from the program's own prior, readings from its own network with them, and the
rank of each parameter among the draws of a fit to those readings is kept. If sampler and likelihood
are right the ranks are uniform, whatever the readings tell. Printed are, for each parameter, how
many 95 % intervals hold it and the chance of ranks as uneven as these (Kolmogorov-Smirnov).

References
----------
.. [1] S. Talts et al., Validating Bayesian Inference Algorithms with Simulation-Based Calibration,
   arXiv 1804.06788 (2018), theorem 1.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter
from scipy.stats import kstest

from wattsump_analysis.model.description import NODES
from wattsump_analysis.model.fit import build_target, modes_of
from wattsump_analysis.model.network import SIZE, Network
from wattsump_analysis.model.posterior import Target, draw_from
from wattsump_analysis.physics.oil import walther_from_grade
from wattsump_analysis.reading.machine import Knowledge
from wattsump_analysis.reading.record import Record

__all__ = ("drawn_theta", "outing", "ranks", "readings_of")

FloatArray = NDArray[np.float64]
KNOW = Knowledge(
    oil_j_k=35e3,
    u_oil_rel=0.05,
    metal_j_k=30e3,
    u_metal_rel=0.1,
    walther=walther_from_grade("VG 46"),
    u_match_k=0.1,
    u_ambient_k=0.4,
    sun_k=0.0,
)


def outing(bins: int) -> Record:
    """A guided run: rise without fan, fan on and off, idle, and a stopped cool-down."""
    at = np.arange(bins, dtype=np.float64) / bins
    fan = ((at > 0.3) & ((at < 0.45) | (at > 0.55))).astype(float)
    engine = ((at > 0.05) & (at < 0.8)).astype(float)
    work = np.where(engine < 0.5, -1, np.where(at > 0.7, 0, 1))
    warm = np.interp(at, [0.05, 0.3, 0.8, 1.0], [15.0, 65.0, 55.0, 45.0])
    return Record(
        bin_s=20.0,
        elapsed_s=20.0 * np.arange(bins, dtype=np.float64) + 10.0,
        oils_c={"tank": warm, "cooler_in": warm + 4.0, "cooler_out": warm - 2.0},
        ambient_c=np.full(bins, 15.0),
        fan=fan,
        engine=engine,
        moving=(work == 1).astype(float),
        heater_w=np.zeros(bins),
        work=work,
    )


def drawn_theta(target: Target, rng: np.random.Generator) -> FloatArray:
    """One draw of the free parameters from the prior over layouts."""
    layout = rng.integers(len(target.layouts))
    return np.asarray(rng.normal(target.mean[layout], target.sd[layout]))


def readings_of(
    network: Network, theta: FloatArray, target: Target, rng: np.random.Generator
) -> tuple[dict[str, FloatArray], FloatArray]:
    """Readings of the network's own, and the linear unknowns behind them."""
    given = target.given(theta)
    priors = list(network.unknown_priors.values())
    unknown = np.array([rng.normal(prior.mean, prior.sd) for prior in priors])
    a, b, f = network.steps(given)
    sds = network.step_sds(given)
    covariance = np.linalg.inv(network.start_precision)
    states = [rng.multivariate_normal(np.zeros(SIZE), covariance)]
    for k in range(network.record.bins - 1):
        right = f[k] @ np.append(1.0, unknown) + sds[k] * rng.standard_normal(SIZE)
        states.append(np.linalg.solve(a[k], right - b[k] @ states[-1]))
    path = np.array(states)
    oils = {}
    for row, probe in enumerate(network.probes):
        now, before, value, variance = network.reading(row, given, unknown)
        node = path[:, NODES.index(probe.node)]
        kept = np.exp(-network.record.bin_s / getattr(given, probe.lag))
        read = network.record.oils_c[probe.name]
        taken = read - kept * np.roll(read, 1) - value + now * node + before * np.roll(node, 1)
        taken += np.sqrt(variance) * rng.standard_normal(node.size)
        start = [kept * taken[0] / (1.0 - kept)]
        oils[probe.name], _ = lfilter([1.0], [1.0, -kept], taken, zi=start)
    return oils, unknown


def ranks(bins: int, seed: int) -> dict[str, float]:
    """Share of the draws below the true value of every parameter, for one drawn machine."""
    rng = np.random.default_rng(seed)
    target = build_target(outing(bins), KNOW)
    network = target.network
    theta = drawn_theta(target, rng)
    oils, unknown = readings_of(network, theta, target, rng)
    network.record = replace(network.record, oils_c=oils)
    network.forget()
    posterior = draw_from(target, modes_of(target), rng)
    named = len(posterior.names) - theta.size
    truth = np.append(theta, unknown[:named])
    below = np.mean(posterior.draws < truth, axis=0)
    return dict(zip(posterior.names, map(float, below), strict=True))


def main() -> None:
    machines = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    found = [ranks(150, seed) for seed in range(machines)]
    for name in found[0]:
        own = np.array([one[name] for one in found])
        held = np.mean((own > 0.025) & (own < 0.975))
        print(f"{name}: held {held:.1%}, chance of ranks as uneven {kstest(own, 'uniform')[1]:.2g}")


if __name__ == "__main__":
    main()
