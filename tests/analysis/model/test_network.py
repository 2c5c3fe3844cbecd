"""The network's likelihood against a dense Gaussian, its balance, and its smoother."""

from collections.abc import Iterator
from dataclasses import fields, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from wattsump_analysis.model.banded import STATES, covariances, solve
from wattsump_analysis.model.gradient import log_likelihood_and_slope
from wattsump_analysis.model.network import Network, Parameters, Probe, levels_of, shell_ratio
from wattsump_analysis.reading.record import Record

FloatArray = NDArray[np.float64]
BINS = 14
P = Parameters(
    oil_j_k=3e3,
    metal_j_k=2.5e3,
    loop_oil=0.3,
    tank_metal=0.4,
    link_in_loop=0.7,
    core_metal=0.1,
    cooler_w_k=100.0,
    still_air=0.1,
    oil_side=0.25,
    viscosity_exponent=0.1,
    bypass_mm2_s=400.0,
    shell_w_k=12.0,
    motion_gain=0.4,
    link_w_k=300.0,
    oil_flow_w_k=500.0,
    wander_w=300.0,
    memory_s=60.0,
    noise_tank_k=0.3,
    noise_in_k=0.4,
    noise_out_k=0.5,
    model_error_w=30.0,
    offset_ambient_k=0.3,
    offset_in_k=0.1,
    offset_out_k=-0.2,
    heater_gain=1.02,
    lag_tank_s=4.0,
    lag_in_s=7.0,
    lag_out_s=9.0,
    metal_heat=0.3,
    wall_w_k=220.0,
)


def make_network(seed: int = 1, flow: bool = False) -> Network:
    rng = np.random.default_rng(seed)
    index = np.arange(BINS, dtype=float)
    record = Record(
        bin_s=10.0,
        elapsed_s=index * 10.0 + 5.0,
        oils_c={
            "tank": 20.0 + rng.normal(size=BINS),
            "cooler_in": np.where(index == 9, np.nan, 24.0 + rng.normal(size=BINS)),
            "cooler_out": 21.0 + rng.normal(size=BINS),
        },
        ambient_c=10.0 + rng.normal(size=BINS),
        fan=(index > 6).astype(float),
        engine=(index > 1).astype(float),
        moving=(index > 8).astype(float),
        heater_w=np.where(index < 3, 50.0, 0.0),
        work=np.where(index > 1, np.where(index > 9, 1, 0), -1),
        flow_w_k=np.full(BINS, 0.9) if flow else None,
    )
    ratio = np.linspace(0.9, 1.0, BINS)
    return Network(record, np.linspace(90.0, 30.0, BINS), 30.0, ratio, 0.95 * ratio)


def midpoints(values: FloatArray) -> FloatArray:
    return 0.5 * (values[1:] + values[:-1])


def readings(network: Network) -> Iterator[Probe]:
    yield from network.observations(P, network.coefficients(P))


def propagate(network: Network, draw: FloatArray) -> FloatArray:
    """All readings without noise for given start, step noises and levels, by plain loops."""
    c = network.coefficients(P)
    rates, known = (midpoints(values) for values in network.balance(P, c))
    levels = draw[-network.levels :]
    noise = draw[STATES : -network.levels].reshape(BINS - 1, STATES)
    start = draw[:STATES]
    states = [np.append(start[0] + np.array([0.0, *start[1:4]]), start[4])]
    active = midpoints(network.level_of)
    for k in range(BINS - 1):
        before, matrix = states[-1], rates[k][:, :4]
        wander = np.exp(-10.0 / P.memory_s) * before[4] + noise[k, 4]
        load = 0.5 * (before[4] + wander) + active[k] @ levels
        heat = rates[k][:, 4] * load + known[k]
        right = (np.eye(4) + 5.0 * matrix) @ before[:4] + 10.0 * heat + noise[k, :4]
        after = np.linalg.solve(np.eye(4) - 5.0 * matrix, right)
        states.append(np.append(after, wander))
    path = np.array(states)
    seen = []
    for probe in readings(network):
        prompt = probe.design * path[:, probe.node] + probe.known_c
        times = network.record.elapsed_s
        clean = np.interp(times - probe.lag_s, times, prompt)
        clean -= probe.rise_bins * np.diff(path[:, probe.node], prepend=path[0, probe.node])
        seen.append(clean[network.seen[probe.name]])
    return np.concatenate(seen)


def dense_log_density(network: Network) -> float:
    size = STATES + STATES * (BINS - 1) + network.levels
    centre = np.zeros(size)
    centre[0] = network.base_c[0]
    centre[-network.levels :] = network.level_prior_w
    sd = np.concatenate(
        [
            [2.0, 1.0, 1.0, 1.0, P.wander_w],
            np.tile(network.step_weights(P, network.coefficients(P)) ** -0.5, BINS - 1),
            network.level_spread_w,
        ]
    )
    base = propagate(network, np.zeros(size))
    design = np.array([propagate(network, unit) - base for unit in np.eye(size)]).T
    probes = list(readings(network))
    noise = np.concatenate([np.full(network.seen[p.name].sum(), p.noise_k**2) for p in probes])
    data = np.concatenate([network.record.oils_c[p.name][network.seen[p.name]] for p in probes])
    covariance = design @ np.diag(sd**2) @ design.T + np.diag(noise)
    left = data - (base + design @ centre)
    determinant = np.linalg.slogdet(covariance)[1] + data.size * np.log(2 * np.pi)
    return float(-0.5 * (left @ np.linalg.solve(covariance, left) + determinant))


@pytest.mark.parametrize("flow", [False, True])
def test_the_banded_likelihood_is_that_of_the_dense_gaussian(flow: bool) -> None:
    network = make_network(flow=flow)
    # independent: every start, step noise and level propagated by loops into one dense
    # normal density; both in double precision, so nine digits.
    assert network.log_likelihood(P) == pytest.approx(dense_log_density(network), rel=1e-8)


def test_the_balance_of_all_nodes_is_heat_in_less_cooler_and_shell() -> None:
    network = make_network()
    rates, known = network.balance(P, network.coefficients(P))
    capacity = network.capacities_j_k(P)
    capacity[:, 1] += network.core_j_k(P)
    rng = np.random.default_rng(4)
    state = np.concatenate([rng.uniform(20.0, 70.0, (BINS, 4)), rng.uniform(0, 900, (BINS, 1))], 1)
    total = np.sum(capacity * (np.einsum("nij,nj->ni", rates, state) + known), axis=1)
    air = network.record.ambient_c - P.offset_ambient_k
    cooler = network.conductance_w_k(P) * (state[:, 1] - air)
    shell = 0.5 * network.shell_w_k(P) * (state[:, 2] + state[:, 3] - 2 * air)
    heat = P.heater_gain * network.record.heater_w + state[:, 4] * network.record.engine
    np.testing.assert_allclose(total, heat - cooler - shell, rtol=1e-9, atol=1e-6)


def test_a_draw_of_the_smoother_closes_with_the_heaters_own_error() -> None:
    made, ones = make_network().record, np.ones(BINS)
    record = replace(made, fan=ones, engine=ones, work=np.zeros(BINS, dtype=np.int64))
    network = Network(record, 30.0 * ones, 30.0, ones, ones)
    sure = replace(P, model_error_w=1e-3, heater_gain=1.5)
    path = network.smooth(sure, np.random.default_rng(3))
    net_w = path.heat_w + path.heater_w - path.cooler_w - path.shell_w
    stored_j = float(np.sum(midpoints(net_w))) * 10.0
    # independent: the first law, with an error of the balance of a milliwatt. Means of products
    # stand for products of means, hence some joules; a heater without its factor leaves 625.
    assert path.stored_j[-1] == pytest.approx(stored_j, abs=20.0)
    # independent: the readings times the factor put in.
    assert path.heater_w == pytest.approx(1.5 * record.heater_w)


def test_draws_of_the_smoother_scatter_about_its_mean() -> None:
    network = make_network()
    rng = np.random.default_rng(2)
    draws = np.array([network.smooth(P, rng).tank_c for _ in range(400)])
    centre = network.smooth(P).tank_c
    standard_error = draws.std(axis=0) / np.sqrt(400)
    assert np.all(np.abs(draws.mean(axis=0) - centre) < 5 * standard_error)


def test_an_outlet_probe_is_not_believed_just_after_the_fan_is_switched() -> None:
    network = make_network()
    assert not network.seen["cooler_out"][7]
    assert network.seen["cooler_in"][7]


@pytest.mark.parametrize("flow", [False, True])
def test_the_slope_of_the_likelihood_is_its_difference_quotient_in_every_parameter(
    flow: bool,
) -> None:
    network = make_network(flow=flow)
    p = replace(P, oil_flow_w_k=1.05) if flow else P
    value, slopes = log_likelihood_and_slope(network, p)
    assert value == pytest.approx(network.log_likelihood(p), rel=1e-12)
    assert set(slopes) == {field.name for field in fields(Parameters)}
    for field in fields(Parameters):
        here = getattr(p, field.name)
        step = 1e-4 * max(abs(here), 0.1)
        ahead, behind = (
            network.log_likelihood(replace(p, **{field.name: here + sign * step}))
            for sign in (1.0, -1.0)
        )
        # independent: central differences, good to the square of their step.
        assert slopes[field.name] == pytest.approx((ahead - behind) / (2 * step), rel=1e-4), (
            field.name
        )


def test_the_covariances_are_the_blocks_of_the_inverted_precision() -> None:
    system = make_network().system(P)
    factor, *_ = solve(system)
    size = factor.shape[1]
    lower = np.zeros((size, size))
    for offset in range(factor.shape[0]):
        lower += np.diag(factor[offset, : size - offset], -offset)
    # independent: the dense inverse of the same matrix; double precision leaves eight digits.
    dense = np.linalg.inv(lower @ lower.T).reshape(BINS, STATES, BINS, STATES)
    own, cross = covariances(factor)
    scale = np.abs(dense).max()
    for k in range(BINS):
        np.testing.assert_allclose(own[k], dense[k, :, k], atol=1e-9 * scale)
    for k in range(BINS - 1):
        np.testing.assert_allclose(cross[k], dense[k + 1, :, k], atol=1e-9 * scale)


def test_a_surface_loses_more_per_kelvin_the_further_it_is_above_the_air() -> None:
    rises = np.array([5.0, 20.0, 40.0, 60.0])
    ratio = shell_ratio(20.0 + rises, np.full(4, 20.0))
    assert np.all(np.diff(ratio) > 0)
    # independent: sigma T^4 radiation and a fourth-root convection worked at 5 K by hand:
    # (298.15^4 - 293.15^4) / 5 over (333.15^4 - 293.15^4) / 40 = 0.8382, (5/40)^0.25 = 0.5946.
    assert ratio[0] == pytest.approx(0.5 * (0.8382 + 0.5946), rel=1e-4)
    assert ratio[2] == pytest.approx(1.0, rel=1e-12)


def test_standing_with_the_heater_on_is_a_kind_of_work_by_itself() -> None:
    flat = np.zeros(6)
    record = Record(
        bin_s=20.0,
        elapsed_s=np.arange(6, dtype=float) * 20.0,
        oils_c={"tank": flat + 30.0},
        ambient_c=flat,
        fan=flat,
        engine=np.array([0.0, 1.0, 1.0, 1.0, 1.0, 1.0]),
        moving=np.array([0.0, 0.0, 0.0, 0.0, 1.0, 1.0]),
        heater_w=np.array([900.0, 900.0, 900.0, 0.0, 900.0, 0.0]),
        work=np.array([-1, 0, 0, 0, 1, 1]),
        flow_w_k=None,
    )
    level_of, circulating = levels_of(record)
    assert level_of.sum(axis=1).tolist() == [0, 1, 1, 1, 1, 1]
    kind = level_of.argmax(axis=1)
    assert kind[1] == kind[2] != kind[3]
    assert kind[4] == kind[5]
    assert circulating[kind[1]]
    assert not circulating[kind[3]]
    assert not circulating[kind[4]]


def test_the_oil_heats_the_core_less_with_the_fan_on_and_not_once_it_stands() -> None:
    network = make_network()
    record = network.record
    stored = network.core_j_k(P) / (P.metal_j_k * P.core_metal)
    assert np.all(stored[record.engine < 0.5] == 0.0)
    # independent: oil side 3, air side 1 with the fan on, 0.1 without (25 % of the resistance
    # is the oil's): the metal stands at 3/4 and at 3/3.1 of the way, squared for the balance.
    on, still = (record.engine > 0.99) & (record.fan > 0.99), record.engine > 0.99
    assert stored[on] == pytest.approx(0.75**2, rel=1e-12)
    assert stored[still & ~on] == pytest.approx((3.0 / 3.1) ** 2, rel=1e-12)
