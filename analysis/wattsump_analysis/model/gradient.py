"""The slope of the network's likelihood in all parameters at once.

With states and levels z given the readings at mean and covariance, the slope of the log
likelihood is that of the expected squares of all rows, the distribution of z held fixed
(Fisher's identity). The blocks of the covariance beside the diagonal suffice. What the rows
are made of is then followed back to the parameters, one product after the other.

References
----------
.. [1] O. Cappé, E. Moulines, T. Rydén, Inference in Hidden Markov Models, 2005, sec. 10.1.5.
.. [2] A. Griewank, A. Walther, Evaluating Derivatives, 2nd ed., 2008, ch. 3: the reverse mode.
"""

from dataclasses import dataclass, field

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.model.banded import STATES, covariances, solve
from wattsump_analysis.model.network import Coefficients, Network, Parameters, Steps

__all__ = ("log_likelihood_and_slope",)


# mutable: every probe adds its part
@dataclass(slots=True, kw_only=True)
class _Bars:
    """Slopes of the sum of squares in the coefficients, shape (n,), capacity (n, 4)."""

    cooler: FloatArray
    moved: FloatArray
    link: FloatArray
    film: FloatArray
    shell: FloatArray
    air: FloatArray
    capacity: FloatArray
    core: FloatArray
    direct: dict[str, float] = field(default_factory=dict)


def log_likelihood_and_slope(network: Network, p: Parameters) -> tuple[float, dict[str, float]]:
    """Log likelihood, and its derivative in every field of `Parameters`."""
    c = network.coefficients(p)
    steps = network.steps(p, c)
    system = network.system_of(p, c, steps)
    solution = solve(system)
    value = network.likelihood_of(system, solution)
    moments = _Moments(*solution)
    bars = _steps_bars(network, p, c, steps, moments)
    _probe_bars(network, p, c, moments, bars)
    slopes = _parameters(network, p, c, bars)
    return value, {name: -0.5 * slope for name, slope in slopes.items()}


class _Moments:
    """Second moments of states and levels given the readings."""

    def __init__(
        self,
        factor: FloatArray,
        solved: FloatArray,
        levels_factor: FloatArray,
        levels: FloatArray,
    ) -> None:
        own, cross = covariances(factor)
        n = own.shape[0]
        follow = solved[:, 1:].reshape(n, STATES, -1)
        root = np.linalg.inv(levels_factor)
        levels_cov = root.T @ root
        mean = (solved[:, 0] + solved[:, 1:] @ levels).reshape(n, STATES)
        swayed = follow @ levels_cov
        follow_t = follow.transpose(0, 2, 1)
        self.own = own + swayed @ follow_t + mean[:, :, np.newaxis] * mean[:, np.newaxis, :]
        self.cross = cross + swayed[1:] @ follow_t[:-1]
        self.cross += mean[1:, :, np.newaxis] * mean[:-1, np.newaxis, :]
        self.mean = mean
        self.with_levels = swayed + mean[:, :, np.newaxis] * levels
        self.levels = levels
        self.level_moment = levels_cov + np.outer(levels, levels)

    def of_steps(self) -> FloatArray:
        """Moments of (later state, earlier state, 1, levels), shape (n - 1, m, m)."""
        n, count = self.mean.shape[0], self.levels.size
        a, b, one = slice(0, STATES), slice(STATES, 2 * STATES), 2 * STATES
        rest = slice(one + 1, one + 1 + count)
        whole = np.zeros((n - 1, one + 1 + count, one + 1 + count))
        whole[:, a, a], whole[:, b, b] = self.own[1:], self.own[:-1]
        whole[:, a, b] = self.cross
        whole[:, b, a] = self.cross.transpose(0, 2, 1)
        for part, states in ((a, slice(1, None)), (b, slice(None, -1))):
            whole[:, part, one] = whole[:, one, part] = self.mean[states]
            whole[:, part, rest] = self.with_levels[states]
            whole[:, rest, part] = self.with_levels[states].transpose(0, 2, 1)
        whole[:, one, one] = 1.0
        whole[:, one, rest] = whole[:, rest, one] = self.levels
        whole[:, rest, rest] = self.level_moment
        return whole


def _steps_bars(
    network: Network, p: Parameters, c: Coefficients, steps: Steps, moments: _Moments
) -> _Bars:
    h, base = network.record.bin_s, network.base_c
    later, earlier, forced = steps
    weight = network.step_weights(p, c)
    rows = np.concatenate([later, -earlier, -forced], axis=2)
    moved = rows @ moments.of_steps()
    slope = 2.0 * weight[:, np.newaxis] * moved
    squares = np.einsum("ijk,ijk->j", rows, moved)
    later_bar = slope[:, :4, :4] - 2.0 * np.asarray(np.linalg.inv(later[:, :4, :4])).transpose(
        0, 2, 1
    )
    earlier_bar = -slope[:, :4, STATES : 2 * STATES]
    forced_bar = -slope[:, :4, 2 * STATES :]
    data = forced_bar[:, :, :1]
    later_bar = later_bar - data * base[1:, np.newaxis, np.newaxis]
    nodes_bar = earlier_bar[:, :, :4] + data * base[:-1, np.newaxis, np.newaxis]
    by_level, level_of = forced_bar[:, :, 1:], network.level_of[:, :, np.newaxis]
    load_before = earlier_bar[:, :, 4:] + by_level @ level_of[:-1]
    load_after = slope[:, :4, 4:STATES] - by_level @ level_of[1:]
    rates_bar = np.concatenate([nodes_bar - later_bar, load_before - load_after], axis=2)
    rates_bar *= 0.5 * h
    bars = _balance_bars(network, p, c, _spread(rates_bar), _spread(h * data[:, :, 0]))
    keep_bar = float(np.sum(-slope[:, 4, 2 * STATES - 1]))
    _weight_bars(network, p, c, squares, weight, bars, keep_bar, moments)
    return bars


def _spread(mid_bar: FloatArray) -> FloatArray:
    """Slopes at the midpoints handed to the bins they are the means of."""
    whole = np.zeros((mid_bar.shape[0] + 1, *mid_bar.shape[1:]))
    whole[:-1] += 0.5 * mid_bar
    whole[1:] += 0.5 * mid_bar
    return whole


def _balance_bars(
    network: Network,
    p: Parameters,
    c: Coefficients,
    rates_bar: FloatArray,
    known_bar: FloatArray,
) -> _Bars:
    record = network.record
    rates, known = network.balance(p, c)
    # The tank's row is less a share of the loop's: undone before the rest is followed back.
    share = c.core_j_k / c.capacity_j_k[:, 0]
    share_bar = -np.sum(rates_bar[:, 0] * rates[:, 1], axis=1)
    rates[:, 0] += share[:, np.newaxis] * rates[:, 1]
    rates_bar[:, 1] -= share[:, np.newaxis] * rates_bar[:, 0]
    capacity_bar = -(np.sum(rates_bar * rates, axis=2) + known_bar * known) / c.capacity_j_k
    capacity_bar[:, 0] -= share_bar * share / c.capacity_j_k[:, 0]
    bar = rates_bar / c.capacity_j_k[:, :, np.newaxis]
    warm = known_bar / c.capacity_j_k
    exposed = warm[:, 2] + warm[:, 3]
    before = -bar[:, 1, 1] + bar[:, 1, 2] + bar[:, 2, 1]
    after = -bar[:, 0, 0] + bar[:, 0, 2] + bar[:, 2, 0]
    return _Bars(
        cooler=-bar[:, 0, 1] + warm[:, 0] * c.air_c,
        moved=-bar[:, 0, 0] + bar[:, 0, 1] + bar[:, 1, 0] - bar[:, 1, 1],
        link=p.link_in_loop * before + (1.0 - p.link_in_loop) * after - bar[:, 2, 2],
        film=-bar[:, 0, 0] + bar[:, 0, 3] + bar[:, 3, 0] - bar[:, 3, 3],
        shell=-bar[:, 2, 2] - bar[:, 3, 3] + exposed * c.air_c,
        air=warm[:, 0] * c.cooler_w_k + exposed * c.half_shell_w_k,
        capacity=capacity_bar,
        core=share_bar / c.capacity_j_k[:, 0],
        direct={
            "metal_heat": float(np.sum((bar[:, 2, 4] - bar[:, 1, 4]) * record.engine)),
            "heater_gain": float(np.sum(warm[:, 0] * record.heater_w)),
            "link_in_loop": float(np.sum(c.link_w_k * (before - after))),
        },
    )


def _weight_bars(
    network: Network,
    p: Parameters,
    c: Coefficients,
    squares: FloatArray,
    weight: FloatArray,
    bars: _Bars,
    keep_bar: float,
    moments: _Moments,
) -> None:
    """Noise of the steps and the start: w enters its squares and minus its logarithm."""
    n, h = network.record.bins, network.record.bin_s
    weight_bar = squares - (n - 1) / weight
    mean = c.capacity_j_k.mean(axis=0)
    nodes = weight_bar[:4] * weight[:4] * 2.0
    bars.capacity += nodes / mean / n
    bars.direct["model_error_w"] = -float(np.sum(nodes)) / p.model_error_w
    keep = np.exp(-h / p.memory_s)
    quiet = 1.0 - keep**2
    last = float(weight_bar[4] * weight[4])
    keep_bar += last * 2.0 * keep / quiet
    bars.direct["memory_s"] = float(keep_bar * keep * h / p.memory_s**2)
    first = float(moments.own[0, 4, 4]) / p.wander_w**2 - 1.0
    bars.direct["wander_w"] = (-2.0 * last - 2.0 * first) / p.wander_w


def _probe_bars(
    network: Network, p: Parameters, c: Coefficients, moments: _Moments, bars: _Bars
) -> None:
    record, base = network.record, network.base_c
    for probe in network.observations(p, c):
        node, late = probe.node, probe.lag_s / record.bin_s
        now, before, reading = network.observed(probe)
        seen = network.seen[probe.name]
        w = np.where(seen, probe.noise_k**-2.0, 0.0)
        own, mean = moments.own[:, node, node], moments.mean[:, node]
        then = np.append(0.0, moments.cross[:, node, node])
        own_before = np.append(0.0, own[:-1])
        mean_before = np.append(0.0, mean[:-1])
        now_bar = 2.0 * w * (now * own + before * then - reading * mean)
        before_bar = 2.0 * w * (now * then + before * own_before - reading * mean_before)
        known_bar = 2.0 * w * (now * mean + before * mean_before - reading)
        squares = now**2 * own + 2 * now * before * then + before**2 * own_before
        squares = squares - 2.0 * reading * (now * mean + before * mean_before) + reading**2
        total = float(np.sum(w * squares))
        bars.direct[f"noise_{_short(probe.name)}_k"] = (
            -2.0 * (total - int(seen.sum())) / probe.noise_k
        )
        whole = probe.known_c + probe.design * base
        late_bar = np.sum((now_bar * -probe.design)[1:])
        late_bar += np.sum((before_bar * np.roll(probe.design, 1))[1:])
        late_bar += np.sum(known_bar[1:] * (whole[:-1] - whole[1:]))
        bars.direct[f"lag_{_short(probe.name)}_s"] = float(late_bar) / record.bin_s
        whole_bar = _undelayed(known_bar, late)
        if node == 0:
            continue
        bars.direct[f"offset_{_short(probe.name)}_k"] = float(np.sum(whole_bar))
        if probe.name != "cooler_out":
            continue
        design_bar = _undelayed(now_bar, late, before_bar) + whole_bar * base
        drop_bar = whole_bar * c.air_c - design_bar
        flow = np.maximum(c.moved_w_k, 1.0)
        drop = c.cooler_w_k / flow
        rise_bar = before_bar - now_bar - known_bar * np.diff(base, prepend=base[0])
        rise_bar[0] = 0.0
        bars.core += rise_bar / (flow * record.bin_s)
        bars.cooler += drop_bar / flow
        by_flow = drop_bar * drop + rise_bar * probe.rise_bins
        bars.moved -= np.where(c.moved_w_k > 1.0, by_flow / flow, 0.0)
        bars.air += whole_bar * drop


def _undelayed(bar: FloatArray, late: float, before_bar: FloatArray | None = None) -> FloatArray:
    """Slopes in values of slopes in `delayed` values (or in factors now and before)."""
    back = bar if before_bar is None else before_bar
    whole = (1.0 - late) * bar
    whole[0] = bar[0]
    whole[:-1] += late * back[1:]
    return np.asarray(whole)


def _short(name: str) -> str:
    return {"tank": "tank", "cooler_in": "in", "cooler_out": "out"}[name]


def _parameters(network: Network, p: Parameters, c: Coefficients, bars: _Bars) -> dict[str, float]:
    record = network.record
    engine, ratio = record.engine, network.capacity_ratio
    oil = p.oil_j_k * ratio
    tank, loop, drive, wall = bars.capacity.T
    cooler, by_thick, by_fan = network.core(p).slopes(bars.cooler * engine)
    flowing = np.where(c.moved_w_k > engine, bars.moved * c.moved_w_k, 0.0)
    exposed = bars.shell * network.shell_ratio
    moving = 1.0 + p.motion_gain * record.moving
    apart = float(np.sum(drive * (1.0 - p.tank_metal) + wall * p.tank_metal))
    slopes = bars.direct | cooler
    slopes |= {
        "oil_j_k": float(np.sum((tank * (1 - p.loop_oil) + loop * p.loop_oil) * ratio)),
        "loop_oil": float(np.sum((loop - tank) * oil)),
        "metal_j_k": apart * (1.0 - p.core_metal),
        "tank_metal": float(np.sum(wall - drive)) * p.metal_j_k * (1.0 - p.core_metal),
        "core_metal": -apart * p.metal_j_k,
        "viscosity_exponent": float(np.sum(by_thick * np.log(network.viscosity_ratio))),
        "bypass_mm2_s": -float(np.sum(by_thick * network.excess_mm2_s)) / p.bypass_mm2_s**2,
        "oil_flow_w_k": float(np.sum(flowing)) / p.oil_flow_w_k,
        "shell_w_k": 0.5 * float(np.sum(exposed * moving)),
        "motion_gain": 0.5 * p.shell_w_k * float(np.sum(exposed * record.moving)),
        "link_w_k": float(np.sum(bars.link * network.wet)),
        "wall_w_k": float(np.sum(bars.film * network.wet)),
        "offset_ambient_k": -float(np.sum(bars.air)),
    }
    core = network.core_metal(p)
    _, after_on, after_off = network.fan(p)
    stored = bars.core * engine * core.capacity_j_k
    by_core = core.slopes(
        (
            float(np.sum(by_fan * after_on)) / record.bin_s,
            float(np.sum(by_fan * after_off)) / record.bin_s,
        ),
        (float(np.sum(stored * record.fan)), float(np.sum(stored * (1.0 - record.fan)))),
    )
    by_capacity = (
        by_core["capacity_j_k"] + float(np.sum(bars.core * c.core_j_k)) / core.capacity_j_k
    )
    slopes["metal_j_k"] += by_capacity * p.core_metal
    slopes["core_metal"] += by_capacity * p.metal_j_k
    slopes["cooler_w_k"] += by_core["full_w_k"]
    slopes["still_air"] += by_core["still_air"]
    slopes["oil_side"] += by_core["oil_side"]
    return slopes
