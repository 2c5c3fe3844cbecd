"""The network's likelihood against a dense Gaussian, its balance, its slope and its smoother."""

from dataclasses import replace
from itertools import combinations
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from wattsump_analysis.model.activity import idle_of, kinds_of, speed_of, usual_rpm
from wattsump_analysis.model.case import Gaussian
from wattsump_analysis.model.description import (
    AIR,
    ENGINE,
    HEATER,
    LINKS,
    LOAD,
    NODES,
    PARAMETERS,
    QUANTITIES,
    SOURCES,
    STORES,
)
from wattsump_analysis.model.equations import equations
from wattsump_analysis.model.network import SIZE, Network, natural, shell_ratio
from wattsump_analysis.model.passes import Pass
from wattsump_analysis.reading.record import Record
from wattsump_logger.arrays import FloatArray

BINS = 14
P: Any = SimpleNamespace(
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
    noise_pipe_k=0.4,
    model_error_w=30.0,
    lag_tank_s=4.0,
    lag_in_s=7.0,
    lag_out_s=9.0,
    metal_heat=0.3,
    wall_w_k=220.0,
    past_cooler=0.1,
    tank_heat=0.07,
    standing_speed=0.7,
    speed_power=0.3,
    heat_power=0.8,
    oil_heat=1.02,
    calm_wander=0.6,
    leakage=0.2,
    calm_flow=0.9,
)
UNKNOWN = {
    "offset_ambient_k": Gaussian(mean=0.3, sd=0.5),
    "offset_in_k": Gaussian(mean=0.1, sd=0.2),
    "offset_out_k": Gaussian(mean=-0.2, sd=0.2),
    "contact_tank": Gaussian(mean=0.1, sd=0.05),
    "contact_in": Gaussian(mean=0.03, sd=0.02),
    "contact_out": Gaussian(mean=0.05, sd=0.03),
    "heater_gain": Gaussian(mean=1.02, sd=0.05),
    "engine_w_k": Gaussian(mean=1.0, sd=2.0),
}


def changed(**values: Any) -> Any:
    return SimpleNamespace(**(vars(P) | values))


def make_network(seed: int = 1, flow: bool = False, switched: bool = True) -> Network:
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
        fan=(index > 6).astype(float) if switched else np.ones(BINS),
        engine=(index > 1).astype(float),
        moving=(index > 8).astype(float),
        heater_w=np.where(index < 3, 50.0, 0.0),
        work=np.where(index > 1, np.where(index > 9, 1, 0), -1),
        flow_w_k=np.full(BINS, 0.9) if flow else None,
    )
    ratio = np.linspace(0.9, 1.0, BINS)
    return Network(record, np.linspace(90.0, 30.0, BINS), 30.0, ratio, 0.95 * ratio, UNKNOWN)


def propagate(network: Network, draws: FloatArray, given: Any = P) -> FloatArray:
    """All readings without noise for starts, step noises and unknowns in rows, by plain loops."""
    count = len(network.unknowns)
    unknowns = draws[:, -count:]
    forced = np.column_stack([np.ones(len(draws)), unknowns])
    a, b, f = network.steps(given)
    start = draws[:, :SIZE].copy()
    start[:, 1:-1] += start[:, :1]
    states = [start]
    for k in range(BINS - 1):
        noise = draws[:, SIZE * (k + 1) : SIZE * (k + 2)]
        right = forced @ f[k].T + noise - states[-1] @ b[k].T
        states.append(np.linalg.solve(a[k], right.T).T)
    paths = np.stack(states, axis=1)
    rows = []
    for path, unknown in zip(paths, unknowns, strict=True):
        seen = []
        for row, probe in enumerate(network.probes):
            now, before, value, _ = network.reading(row, given, unknown)
            node = path[:, NODES.index(probe.node)]
            predicted = now * node + before * np.roll(node, 1)
            seen.append((network.record.oils_c[probe.name] - value + predicted)[network.seen[row]])
        rows.append(np.concatenate(seen))
    return np.array(rows)


def dense(network: Network, given: Any = P) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Readings, and their mean and covariance before any is read."""
    priors = list(network.unknown_priors.values())
    start = [2.0, *[network.start_spread_k] * (SIZE - 2), 1.0]
    sd = np.array([*start, *np.ravel(network.step_sds(given)), *[g.sd for g in priors]])
    centre = np.zeros(sd.size)
    centre[-len(priors) :] = [g.mean for g in priors]
    base, *moved = propagate(network, np.vstack([np.zeros(sd.size), np.eye(sd.size)]), given)
    design = (np.array(moved) - base).T
    # A reading has noise, and so has the share that it kept of the one before.
    kept = [np.exp(-network.record.bin_s / getattr(given, probe.lag)) for probe in network.probes]
    noise = [
        np.full(network.seen[row].sum(), (1.0 + kept[row] ** 2) * getattr(given, probe.noise) ** 2)
        for row, probe in enumerate(network.probes)
    ]
    data = [
        network.record.oils_c[probe.name][network.seen[row]]
        for row, probe in enumerate(network.probes)
    ]
    covariance = (design * sd**2) @ design.T + np.diag(np.concatenate(noise))
    return np.concatenate(data), base + design @ centre, covariance


def dense_log_likelihood(network: Network, given: Any = P) -> float:
    data, mean, covariance = dense(network, given)
    residuals = data - mean
    determinant = np.linalg.slogdet(covariance)[1] + data.size * np.log(2 * np.pi)
    return float(-0.5 * (residuals @ np.linalg.solve(covariance, residuals) + determinant))


@pytest.mark.parametrize(("flow", "switched"), [(False, True), (True, False)])
def test_the_likelihood_is_that_of_the_dense_gaussian(flow: bool, switched: bool) -> None:
    network = make_network(flow=flow, switched=switched)
    # independent: every start, step noise and unknown propagated by loops into one dense
    # normal density; both in double precision, so eight digits.
    assert network.log_likelihood(P) == pytest.approx(dense_log_likelihood(network), rel=1e-8)


def test_fifty_drawn_machines_are_as_likely_as_the_dense_gaussian_says() -> None:
    network, rng = make_network(), np.random.default_rng(50)
    back: Any = {"log": np.log, "share": lambda x: np.log(x / (1 - x)), "linear": float}
    for _ in range(50):
        drawn = {
            one.name: float(natural(one.name, back[one.transform](getattr(P, one.name)) + move))
            for one, move in zip(
                PARAMETERS, rng.normal(scale=0.3, size=len(PARAMETERS)), strict=True
            )
        }
        machine = SimpleNamespace(**drawn)
        # independent: as above.
        assert network.log_likelihood(machine) == pytest.approx(
            dense_log_likelihood(network, machine), rel=1e-8
        )


@pytest.mark.parametrize(("flow", "switched"), [(False, True), (True, False)])
def test_the_slope_is_the_difference_quotient_in_every_parameter(
    flow: bool, switched: bool
) -> None:
    network = make_network(flow=flow, switched=switched)
    names = [parameter.name for parameter in PARAMETERS]
    back: Any = {"log": np.log, "share": lambda x: np.log(x / (1 - x)), "linear": float}
    given = changed(oil_flow_w_k=520.0 if flow else P.oil_flow_w_k)
    theta = np.array([back[one.transform](getattr(given, one.name)) for one in PARAMETERS])
    values, slopes = network.slopes(names, given)
    value, slope = values[0], slopes[0]
    assert value == pytest.approx(network.log_likelihood(given), rel=1e-12)
    for row, name in enumerate(names):
        ahead, behind = (
            network.log_likelihood(
                SimpleNamespace(**(vars(given) | {name: natural(name, theta[row] + side)}))
            )
            for side in (1e-4, -1e-4)
        )
        # independent: central differences, good to the square of their step.
        assert slope[row] == pytest.approx((ahead - behind) / 2e-4, rel=1e-4, abs=1e-5), name


def test_no_two_arrays_of_a_compiled_function_share_memory(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # The texts declare every array `noalias`: the compiler may move a load past any store.
    network, seen, call = make_network(), list[str](), Pass._call

    def watched(self: Pass, name: str, up: Any, *rest: FloatArray) -> None:
        seen.append(name)
        arrays = (self.common, self.start, up.given, up.values, up.carry, up.columns, *rest)
        assert not any(np.shares_memory(*pair) for pair in combinations(arrays, 2)), name
        call(self, name, up, *rest)

    monkeypatch.setattr(Pass, "_call", watched)
    network.slopes(["cooler_w_k"], P)
    network.smooth(P, np.random.default_rng(1))
    assert set(seen) == {"forward", "backward", "draw"}


def test_many_trials_at_once_are_each_as_one_alone() -> None:
    network = make_network()
    k = np.array([[60.0], [100.0], [140.0]])
    result = network.log_likelihoods(changed(cooler_w_k=k))
    alone = [network.log_likelihood(changed(cooler_w_k=float(one))) for one in k[:, 0]]
    assert result == pytest.approx(alone, rel=1e-12)


def quantity(network: Network, name: str) -> FloatArray:
    return np.asarray(QUANTITIES[name](P, network.series)) * np.ones(BINS)


def test_the_balance_of_all_nodes_is_heat_in_less_cooler_and_shell() -> None:
    network = make_network()
    total: dict[str, float] = dict.fromkeys((*NODES, AIR), 0.0)
    for link in LINKS:
        assert link.leaves != link.enters
        if link.enters == AIR:
            assert link.booked in ("cooler", "shell")
        total[link.enters] += 1.0
        total[link.leaves] -= 1.0
    assert sum(total.values()) == 0.0
    shares = sum(quantity(network, s.quantity) for s in SOURCES if s.heat == LOAD)
    np.testing.assert_allclose(shares, network.record.engine)
    heated = [s for s in SOURCES if s.heat == HEATER]
    assert np.all(sum(quantity(network, s.quantity) for s in heated) == 1.0)
    ones = np.ones(BINS)
    pad = Network(network.record, 30.0 * ones, 30.0, ones, ones, UNKNOWN, heater_bonded=True)
    assert {s.enters for s in heated if np.all(quantity(pad, s.quantity) == 1.0)} == {"wall"}


def test_steps_follow_the_declared_balances_as_an_integrator_of_other_hands_does(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    network = make_network()
    ones = np.ones(BINS)
    record = replace(
        network.record, fan=ones, engine=ones, moving=ones, work=np.zeros(BINS, dtype=np.int64)
    )
    record = replace(record, ambient_c=10.0 * ones, heater_w=400.0 * ones)
    monkeypatch.setattr(
        "wattsump_analysis.model.network.engine_over_k", lambda record, oil_c: 30.0 * ones
    )
    warms = {"engine_w_k": Gaussian(mean=0.0, sd=1.0)}
    calm = Network(record, 30.0 * ones, 30.0, ones, ones, warms)
    calm.series = replace(calm.series, shell_ratio=ones)
    slow = changed(oil_j_k=3e5, metal_j_k=2.5e5)
    c = {name: float(np.ravel(of(slow, calm.series))[0]) for name, of in QUANTITIES.items()}
    at = {node: row for row, node in enumerate(NODES)}
    load_w = 900.0

    def rates(_t: float, temps: FloatArray) -> FloatArray:
        t = {node: temps[at[node]] for node in NODES} | {AIR: 10.0}
        heat, store = np.zeros(len(NODES)), np.zeros((len(NODES), len(NODES)))
        for link in LINKS:
            flow = c[link.quantity] * (t[link.hot] - t[link.cold])
            for node, sign in ((link.enters, 1.0), (link.leaves, -1.0)):
                if node != AIR:
                    heat[at[node]] += sign * flow
        for source in SOURCES:
            of = {LOAD: load_w, HEATER: 400.0, ENGINE: 5.0 * 30.0}[source.heat]
            heat[at[source.enters]] += c[source.quantity] * of
        for one in STORES:
            store[at[one.at], at[one.of]] += c[one.quantity]
        return np.asarray(np.linalg.solve(store, heat))

    start = 40.0 + 5.0 * np.arange(len(NODES)) % 12.0
    a, b, f = calm.steps(slow)
    state = np.append(start - calm.base_c[0], 0.0)
    for k in range(BINS - 1):
        state = np.linalg.solve(a[k], f[k] @ np.array([1.0, 5.0, load_w]) - b[k] @ state)
    end_s = 10.0 * (BINS - 1)
    # independent: scipy's solve_ivp of the declared tables; the trapezoidal rule errs by the
    # square of a step of 10 s over the loop's 180 s.
    whole = solve_ivp(rates, (0.0, end_s), start, rtol=1e-10, atol=1e-10).y[:, -1]
    np.testing.assert_allclose(state[:-1] + calm.base_c[-1], whole, atol=0.02)


def test_a_draw_of_the_smoother_closes_with_the_heaters_own_error() -> None:
    made, ones = make_network().record, np.ones(BINS)
    record = replace(made, fan=ones, engine=ones, work=np.zeros(BINS, dtype=np.int64))
    gain = {"heater_gain": Gaussian(mean=1.5, sd=1e-4)}
    network = Network(record, 30.0 * ones, 30.0, ones, ones, gain)
    path = network.smooth(changed(model_error_w=1e-3), np.random.default_rng(3))
    net_w = path.heat_w + path.heater_w - path.cooler_w - path.shell_w
    stored_j = float(np.sum(0.5 * (net_w[1:] + net_w[:-1]))) * 10.0
    # independent: the first law, with an error of the balance of a milliwatt. Means of products
    # stand for products of means, hence some joules; a heater without its factor leaves 625.
    assert path.stored_j[-1] == pytest.approx(stored_j, abs=20.0)
    # independent: the readings times the factor put in, to four standard deviations.
    assert path.heater_w == pytest.approx(1.5 * record.heater_w, rel=4e-4)


def test_draws_of_the_smoother_scatter_about_its_mean() -> None:
    network = make_network()
    rng = np.random.default_rng(2)
    draws = np.array([network.smooth(P, rng).tank_c for _ in range(400)])
    centre = network.smooth(P).tank_c
    standard_error = draws.std(axis=0) / np.sqrt(400)
    assert np.all(np.abs(draws.mean(axis=0) - centre) < 5 * standard_error)


def test_after_a_stand_what_no_probe_reads_may_be_off_by_a_share_of_the_heat_lost() -> None:
    made = make_network().record
    engine = (np.arange(BINS) % 7 > 2).astype(float)
    record = replace(made, engine=engine, oils_c={"tank": np.full(BINS, 60.0)})
    record = replace(record, ambient_c=np.full(BINS, 20.0))
    ones = np.ones(BINS)
    network = Network(record, 30.0 * ones, 30.0, ones, ones, {})
    # independent: 40 K over the air through three bins of 10 s, before each of the two starts.
    assert network.series.stood_ks == pytest.approx(1200.0 * np.isin(np.arange(BINS), (3, 10)))
    sds = network.step_sds(P)
    calm, started = sds[0], sds[2]
    # independent: 0.3 of a shell of 12 W/K for 1200 K s, in quadrature, in all nodes but the tank.
    assert started[0] == calm[0]
    assert started[1:-1] == pytest.approx(np.hypot(calm[1:-1], 0.3 * 12.0 * 1200.0))
    assert started[-1] == calm[-1]


def test_unknowns_have_the_mean_and_spread_that_the_dense_gaussian_gives_them() -> None:
    network = make_network()
    data, mean, covariance = dense(network)
    pair = np.zeros((2, SIZE * BINS + len(network.unknowns)))
    row = network.unknowns.index("offset_in_k")
    pair[1, SIZE * BINS + row] = 1.0
    base, moved = propagate(network, pair)
    prior = UNKNOWN["offset_in_k"]
    gain = prior.sd**2 * np.linalg.solve(covariance, moved - base)
    spread = network.spread(P)
    # independent: conditioning of the dense normal; double precision.
    assert spread.means[0, row] == pytest.approx(prior.mean + gain @ (data - mean), rel=1e-6)
    variance = prior.sd**2 - prior.sd**2 * gain @ (moved - base)
    many = replace(
        spread,
        means=np.repeat(spread.means, 4000, axis=0),
        roots=np.repeat(spread.roots, 4000, axis=0),
    )
    drawn = many.drawn(np.random.default_rng(1))[:, row]
    # independent: the same; 4000 draws know a deviation to 1.1 %, four times that.
    assert drawn.std() == pytest.approx(np.sqrt(variance), rel=0.045)


def test_an_outlet_probe_is_not_believed_just_after_the_fan_is_switched() -> None:
    network = make_network()
    assert not network.seen[2][7]
    assert network.seen[1][7]


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
    )
    level_of, circulating = kinds_of(record)
    assert level_of.sum(axis=1).tolist() == [0, 1, 1, 1, 1, 1]
    kind = level_of.argmax(axis=1)
    assert kind[1] == kind[2] != kind[3]
    assert kind[4] == kind[5]
    assert circulating[kind[1]]
    assert not circulating[kind[3]]
    assert not circulating[kind[4]]


def paused(rpm: FloatArray | None) -> Record:
    """A trial of 5 min, then drives of a minute with pauses of 40 s, the last half a bin late."""
    trial, drive, pause = np.zeros(15), np.ones(3), np.zeros(2)
    moving = np.concatenate([trial, drive, pause, drive, pause, [0.5, 1.0, 1.0]])
    flat = np.zeros(moving.size)
    return Record(
        bin_s=20.0,
        elapsed_s=np.linspace(0.0, 20.0 * (moving.size - 1), moving.size),
        oils_c={"tank": flat + 40.0},
        ambient_c=flat,
        fan=flat,
        engine=flat + 1.0,
        moving=moving,
        heater_w=flat,
        work=np.rint(moving).astype(np.int64),
        engine_rpm=rpm,
    )


def test_a_pause_between_drives_is_another_kind_of_standing_than_a_trial_before_them() -> None:
    full = np.full(28, 2400.0)
    for rpm in (None, full):
        idle = idle_of(paused(rpm))
        assert np.flatnonzero(idle).tolist()[:4] == [18, 19, 23, 24]
        assert not idle[:15].any()
    slow = np.where(np.arange(28) < 5, 1200.0, full)
    assert idle_of(paused(slow))[:6].tolist() == [1, 1, 1, 1, 1, 0]


def test_a_bin_in_which_the_drive_started_has_its_share_of_both_heats() -> None:
    shares, _ = kinds_of(paused(np.full(28, 2400.0)))
    assert shares.shape == (28, 3)
    assert shares.sum(axis=1) == pytest.approx(1.0)
    assert sorted(shares[25]) == [0.0, 0.5, 0.5]


def test_a_flow_that_is_all_the_pumps_leaves_what_misses_the_cooler_out_of_it() -> None:
    steady = make_network()
    ones = np.ones(BINS)
    network = Network(steady.record, 30.0 * ones, 30.0, ones, ones, UNKNOWN, flow_of_pump=True)
    running = steady.record.engine > 0.5
    # independent: 500 W/K pumped and 2 % for the oil's heat, a tenth of it past the cooler
    assert quantity(network, "flow")[running] == pytest.approx(510.0)
    assert quantity(network, "cooler_flow")[running] == pytest.approx(459.0)


def test_no_pipe_probe_is_read_between_two_engine_speeds() -> None:
    steady = make_network()
    ones = np.ones(BINS)
    slower = np.where(np.arange(BINS) < 12, 2400.0, 1500.0)
    record = replace(steady.record, engine_rpm=slower)
    network = Network(record, 30.0 * ones, 30.0, ones, ones, UNKNOWN)
    tank, inlet, _ = network.seen
    assert steady.seen[1][11:].all()
    assert not inlet[11:].any()
    assert inlet[8]
    assert not inlet[9:11].any()  # the ninth is missing, and the next cannot be told without it
    assert tank[1:].all()


def test_the_oil_heats_the_core_less_with_the_fan_on_and_not_once_it_stands() -> None:
    network = make_network()
    record = network.record
    stored = quantity(network, "core") / (P.metal_j_k * P.core_metal)
    assert np.all(stored[record.engine < 0.5] == 0.0)
    # independent: oil side 3, air side 1 with the fan on, 0.1 without (25 % of the resistance
    # is the oil's): the metal stands at 3/4 and at 3/3.1 of the way, squared for the balance.
    on, still = (record.engine > 0.99) & (record.fan > 0.99), record.engine > 0.99
    assert stored[on] == pytest.approx(0.75**2, rel=1e-12)
    assert stored[still & ~on] == pytest.approx((3.0 / 3.1) ** 2, rel=1e-12)


def test_motion_cools_a_core_without_fan_and_hardly_one_with_it() -> None:
    record = replace(make_network().record, moving=np.ones(BINS), engine=np.ones(BINS))
    ratio = np.ones(BINS)
    driven = Network(record, np.full(BINS, 30.0), 30.0, ratio, ratio, UNKNOWN).series
    with_wind, without = (
        np.asarray(QUANTITIES["cooler"](changed(motion_gain=gain), driven)) for gain in (0.4, 0.0)
    )
    gain = with_wind / without - 1.0
    # independent: resistances in series, a quarter of the core's in the oil; still air carries 0.1
    # of what the fan's does, and 0.14 with the wind
    assert gain[0] == pytest.approx((0.25 + 0.75 / 0.1) / (0.25 + 0.75 / 0.14) - 1.0, rel=1e-9)
    assert abs(gain[-1]) < 0.02


def test_the_method_page_has_the_equations_of_the_declared_machine() -> None:
    page = (Path(__file__).parents[3] / "docs" / "method.md").read_text(encoding="utf-8")
    assert equations() in page


def test_speed_counts_from_the_governed_one_however_often_the_throttle_is_closed() -> None:
    bare = make_network().record
    rpm = np.where(np.arange(bare.bins) % 4 == 0, 2400.0, 1500.0)
    record = replace(bare, engine_rpm=rpm)
    running = record.engine > 0.5
    # independent: a quarter of the time at 2400, the rest at 1500, 0.625 of it.
    assert set(np.unique(speed_of(record)[running])) == {0.625, 1.0}
    assert usual_rpm(record, 1200.0) == pytest.approx(2.0)
    assert usual_rpm(bare, 1200.0) == 1.0
    assert np.all(speed_of(bare) == 1.0)


@pytest.mark.parametrize("rpm", [0.0, 1500.0])
def test_an_engine_that_never_ran_through_a_whole_bin_has_a_speed(rpm: float) -> None:
    bare = make_network().record
    seen = np.where(np.arange(bare.bins) == 3, rpm, 0.0)
    record = replace(bare, engine=np.full(bare.bins, 0.8), engine_rpm=seen)
    assert usual_rpm(record, 1500.0) == 1.0
    assert np.all(np.isfinite(speed_of(record)))
