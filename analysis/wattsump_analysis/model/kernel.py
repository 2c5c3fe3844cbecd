"""One pass over the bins of a thermal network: likelihood and states. Compiled on first use.

The network comes as tables of numbers (`network.Network` makes them): `values` are the coefficient
series, a row each, and every stamp adds `factor` times one of them to one entry of

    E dT/dt = M T + sum over inputs,    row by row a heat balance in W,

where T are the temperatures of the nodes and, last, a wander of unit variance that follows
itself with the factor `keep` from bin to bin. The trapezoidal rule carries it: with A = E - h M / 2
and B = -(E + h M / 2), coefficients at the midpoints, A x' + B x - f has independent errors. States
are counted from `base`, so that their squares stay small. Unknowns z on which everything depends
linearly (levels of heat, offsets of probes) are columns beside the readings; they are integrated
out with the states by block elimination [1]_.

`net` is the tuple of `Network._net`; `scales` are lags in bins and noises of the probes, weights of
the nodes' balances, and `keep`.

References
----------
.. [1] H. Rue, L. Held, Gaussian Markov Random Fields, 2005, ch. 2.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ("assemble", "back", "draw", "forward", "likelihoods", "probe_row", "storage", "weigh")

LOG_2PI = float(np.log(2.0 * np.pi))


@njit(cache=True, fastmath=True, error_model="numpy")
def assemble(t, net, values, keep, a, b, f):
    """Rows of the step from bin t to t + 1: a x' + b x - f (1, z)."""
    h, base, stamps, factors, feeds, feed_factors, inputs = net[:7]
    size = len(net[15])  # known to the compiler, unlike a shape
    a[:] = 0.0
    b[:] = 0.0
    f[:] = 0.0
    for s in range(stamps.shape[0]):
        row, column, element = stamps[s, 1], stamps[s, 2], stamps[s, 3]
        value = factors[s] * 0.5 * (values[element, t] + values[element, t + 1])
        if stamps[s, 0] == 0:
            a[row, column] += value
            b[row, column] -= value
        else:
            a[row, column] -= 0.5 * h * value
            b[row, column] -= 0.5 * h * value
    for s in range(feeds.shape[0]):
        row, column, element, source = feeds[s, 0], feeds[s, 1], feeds[s, 2], feeds[s, 3]
        value = feed_factors[s] * 0.5 * (values[element, t] + values[element, t + 1])
        f[row, column] += h * value * 0.5 * (inputs[source, t] + inputs[source, t + 1])
    for row in range(size - 1):
        for column in range(size - 1):
            f[row, 0] -= a[row, column] * base[t + 1] + b[row, column] * base[t]
    a[size - 1, size - 1] = 1.0
    b[size - 1, size - 1] = -keep


@njit(cache=True, fastmath=True, error_model="numpy")
def probe_row(t, p, net, values, lags, row):
    """Reading p at bin t as row[0] x + row[1] x before + row[3:] z = row[2]; returns its node."""
    h, base, inputs, air, air_feeds = net[0], net[1], net[6], net[10], net[11]
    node, offset, cooled, stored, flow = net[7][p]
    late = lags[p] if t > 0 else 0.0
    row[:] = 0.0
    d = 0.0  # share of the way to the air
    e = 0.0  # the same, a bin ago
    r = 0.0  # bins' rise that is missing
    if flow >= 0:
        d = values[cooled, t] / values[flow, t]
        if t > 0:
            e = values[cooled, t - 1] / values[flow, t - 1]
            r = values[stored, t] / (values[flow, t] * h)
    now = (1.0 - late) * (1.0 - d) - r
    known = now * base[t] + (1.0 - late) * d * air[t]
    before = 0.0
    if t > 0:
        before = late * (1.0 - e) + r
        known += before * base[t - 1] + late * e * air[t - 1]
    for s in range(air_feeds.shape[0]):
        column, source = 2 + air_feeds[s, 0], air_feeds[s, 1]
        row[column] += (1.0 - late) * d * inputs[source, t]
        if t > 0:
            row[column] += late * e * inputs[source, t - 1]
    if offset > 0:
        row[2 + offset] += 1.0
    row[0] = now
    row[1] = before
    row[2] = net[8][p, t] - known
    return node


@njit(cache=True, fastmath=True)
def weigh(weights, keep, w):
    """Weights of all rows of a step, and the sum of their logarithms."""
    total = 0.0
    for i in range(w.size - 1):
        w[i] = weights[i]
        total += np.log(w[i])
    w[w.size - 1] = 1.0 / (1.0 - keep * keep)
    return total + np.log(w[w.size - 1])


@njit(cache=True, fastmath=True, error_model="numpy")
def _add_reading(node, row, g, now, right, schur, right_z):
    """Rows of a reading in the precision of its own bin and of the unknowns; its square."""
    now[node, node] += g * row[0] * row[0]
    right[node, 0] += g * row[0] * row[2]
    for k in range(right_z.size):
        if row[3 + k] != 0.0:
            right[node, 1 + k] -= g * row[0] * row[3 + k]
            right_z[k] += g * row[3 + k] * row[2]
            for m in range(right_z.size):
                schur[k, m] += g * row[3 + k] * row[3 + m]
    return g * row[2] * row[2]


@njit(cache=True, fastmath=True, error_model="numpy")
def _add_later(node, row, g, now, below, right):
    """What a late reading of the next bin adds to this one."""
    now[node, node] += g * row[1] * row[1]
    below[node, node] += g * row[1] * row[0]
    right[node, 0] += g * row[1] * row[2]
    for k in range(right.shape[1] - 1):
        right[node, 1 + k] -= g * row[1] * row[3 + k]


@njit(cache=True, fastmath=True, error_model="numpy")
def _add_step(ties, w, a, b, f, now, then, below, right, right_then, schur, right_z):
    """Rows of a step in the precision of both its bins and of the unknowns; their square."""
    size = len(ties)
    columns = right.shape[1]
    total = 0.0
    for i in range(size):
        for j in range(size):
            by_a = w[i] * a[i, j]
            by_b = w[i] * b[i, j]
            if by_a != 0.0:
                for k in range(size):
                    then[j, k] += by_a * a[i, k]
                    below[j, k] += by_a * b[i, k]
                for k in range(columns):
                    right_then[j, k] += by_a * f[i, k]
            if by_b != 0.0:
                for k in range(size):
                    now[j, k] += by_b * b[i, k]
                for k in range(columns):
                    right[j, k] += by_b * f[i, k]
        total += w[i] * f[i, 0] * f[i, 0]
        for k in range(columns - 1):
            by_f = w[i] * f[i, 1 + k]
            if by_f != 0.0:
                right_z[k] -= by_f * f[i, 0]
                for m in range(columns - 1):
                    schur[k, m] += by_f * f[i, 1 + m]
    return total


@njit(cache=True, fastmath=True, error_model="numpy")
def _log_det(ties, a, lu):
    """Log |det| of the nodes' A by elimination without exchange: A is diagonally heavy."""
    nodes = len(ties) - 1
    total = 0.0
    for i in range(nodes):
        for j in range(nodes):
            lu[i, j] = a[i, j]
    for i in range(nodes):
        total += np.log(abs(lu[i, i]))
        for j in range(i + 1, nodes):
            ratio = lu[j, i] / lu[i, i]
            if ratio != 0.0:
                for k in range(i + 1, nodes):
                    lu[j, k] -= ratio * lu[i, k]
    return total


@njit(cache=True, fastmath=True, error_model="numpy")
def _eliminate(ties, now, below, right, then, right_then, c, u, y, schur, right_z):
    """Factor of a bin's precision, what it leaves to the next bin, and its part of the total."""
    size = len(ties)
    columns = right.shape[1]
    total = 0.0
    for i in range(size):
        for j in range(i + 1):
            value = now[i, j]
            for k in range(j):
                value -= c[i, k] * c[j, k]
            if i == j:
                if not value > 0.0:
                    return np.inf
                c[i, i] = np.sqrt(value)
                total += np.log(value)
            else:
                c[i, j] = value / c[j, j]
        inverse = 1.0 / c[i, i]
        for k in range(columns):
            value = right[i, k]
            for j in range(i):
                value -= c[i, j] * y[j, k]
            y[i, k] = value * inverse
        for k in range(size):
            value = below[k, i]
            for j in range(i):
                value -= c[i, j] * u[j, k]
            u[i, k] = value * inverse
        total -= y[i, 0] * y[i, 0]
        for k in range(columns - 1):
            own = y[i, 1 + k]
            if own != 0.0:
                right_z[k] += own * y[i, 0]
                for m in range(columns - 1):
                    schur[k, m] -= own * y[i, 1 + m]
        for j in range(size):
            own = u[i, j]
            if own != 0.0:
                for k in range(size):
                    then[j, k] -= own * u[i, k]
                for k in range(columns):
                    right_then[j, k] -= own * y[i, k]
    return total


@njit(cache=True, fastmath=True, error_model="numpy")
def _solve_unknowns(schur, right_z):
    """Lower factor of the unknowns' precision and their mean in place; part of the total."""
    total = 0.0
    unknowns = right_z.size
    for i in range(unknowns):
        for j in range(i + 1):
            value = schur[i, j]
            for k in range(j):
                value -= schur[i, k] * schur[j, k]
            if i == j:
                if not value > 0.0:
                    return np.inf
                schur[i, i] = np.sqrt(value)
                total += np.log(value)
            else:
                schur[i, j] = value / schur[j, j]
                schur[j, i] = 0.0
        value = right_z[i]
        for k in range(i):
            value -= schur[i, k] * right_z[k]
        right_z[i] = value / schur[i, i]
        total -= right_z[i] * right_z[i]
    for i in range(unknowns - 1, -1, -1):
        value = right_z[i]
        for k in range(i + 1, unknowns):
            value -= schur[k, i] * right_z[k]
        right_z[i] = value / schur[i, i]
    return total


def storage(n: int, size: int, unknowns: int) -> tuple[NDArray[np.float64], ...]:
    """Room for what `forward` leaves."""
    return (
        np.zeros((n, size, size)),
        np.zeros((n, size, size)),
        np.zeros((n, size, 1 + unknowns)),
        np.zeros((unknowns, unknowns)),
        np.zeros(unknowns),
    )


@njit(cache=True, fastmath=True, error_model="numpy")
def forward(net, values, lags, sigmas, weights, keep, store):
    """Eliminate bin by bin. Log likelihood; factors, carries and solved columns in `store`.

    Minus infinity where the precision is not positive.
    """
    seen, start, z_mean, z_sd, ties = net[9], net[12], net[13], net[14], net[15]
    chol, carry, solved, schur, right_z = store
    n, size, unknowns, probes = net[1].size, len(ties), z_mean.size, seen.shape[0]
    a, b, f = np.empty((size, size)), np.empty((size, size)), np.empty((size, 1 + unknowns))
    now, then, below = start.copy(), np.zeros((size, size)), np.zeros((size, size))
    right, right_then = np.zeros((size, 1 + unknowns)), np.zeros((size, 1 + unknowns))
    row, lu, w = np.zeros(3 + unknowns), np.zeros((size, size)), np.empty(size)
    log_w = weigh(weights, keep, w)
    # minus twice the log density, but for its constants
    total = -log_w * (n - 1)
    readings = 0
    schur[:] = 0.0
    for k in range(unknowns):
        schur[k, k] = 1.0 / z_sd[k] ** 2
        right_z[k] = z_mean[k] / z_sd[k] ** 2
        total += (z_mean[k] / z_sd[k]) ** 2 + 2.0 * np.log(z_sd[k])
    for p in range(probes):
        if seen[p, 0]:
            node = probe_row(0, p, net, values, lags, row)
            total += _add_reading(node, row, 1.0 / sigmas[p] ** 2, now, right, schur, right_z)
    for t in range(n):
        then[:] = 0.0
        below[:] = 0.0
        right_then[:] = 0.0
        if t + 1 < n:
            assemble(t, net, values, keep, a, b, f)
            total += _add_step(
                ties, w, a, b, f, now, then, below, right, right_then, schur, right_z
            )
            total -= 2.0 * _log_det(ties, a, lu)
            for p in range(probes):
                if seen[p, t + 1]:
                    g = 1.0 / sigmas[p] ** 2
                    node = probe_row(t + 1, p, net, values, lags, row)
                    total += _add_reading(node, row, g, then, right_then, schur, right_z)
                    _add_later(node, row, g, now, below, right)
        total += _eliminate(
            ties, now, below, right, then, right_then, chol[t], carry[t], solved[t], schur, right_z
        )
        if not total < np.inf:
            return -np.inf
        now[:] = then
        right[:] = right_then
    for p in range(probes):
        count = np.sum(seen[p])
        readings += count
        total += 2.0 * np.log(sigmas[p]) * count
    total += _solve_unknowns(schur, right_z)
    return -0.5 * (total + readings * LOG_2PI)


@njit(cache=True)
def likelihoods(net, log_det_start, values, lags, sigmas, weights, keep, store):
    """Log likelihood, mean and factor of the unknowns' precision of every trial.

    `store` is left as the last trial filled it, for `draw` and `slope`, which are compiled apart.
    """
    trials, unknowns = values.shape[0], net[13].size
    found = np.empty(trials)
    means = np.zeros((trials, unknowns))
    roots = np.zeros((trials, unknowns, unknowns))
    for one in range(trials):
        found[one] = 0.5 * log_det_start + forward(
            net, values[one], lags[one], sigmas[one], weights[one], keep[one], store
        )
        means[one] = store[4]
        roots[one] = store[3]
    return found, means, roots


@njit(cache=True, fastmath=True, error_model="numpy")
def back(c, u, y, later, x):
    """x = C^-T (y - U later), column by column."""
    size = c.shape[0]
    for k in range(x.shape[1]):
        for i in range(size - 1, -1, -1):
            value = y[i, k]
            for j in range(size):
                value -= u[i, j] * later[j, k]
            for j in range(i + 1, size):
                value -= c[j, i] * x[j, k]
            x[i, k] = value / c[i, i]


@njit(cache=True, fastmath=True, error_model="numpy")
def draw(store, noise, noise_z):
    """States (n, size) and unknowns given the readings: the mean, plus a draw's `noise`."""
    chol, carry, solved, root, mean = store
    n, size, unknowns = chol.shape[0], chol.shape[1], mean.size
    z = mean.copy()
    push = np.zeros(unknowns)
    for i in range(unknowns - 1, -1, -1):
        value = noise_z[i]
        for k in range(i + 1, unknowns):
            value -= root[k, i] * push[k]
        push[i] = value / root[i, i]
        z[i] += push[i]
    states = np.zeros((n, size))
    later = np.zeros((size, 1))
    here = np.zeros((size, 1))
    y = np.zeros((size, 1))
    for t in range(n - 1, -1, -1):
        for i in range(size):
            y[i, 0] = solved[t, i, 0] + noise[t, i]
            for k in range(unknowns):
                y[i, 0] += solved[t, i, 1 + k] * z[k]
        back(chol[t], carry[t], y, later, here)
        states[t] = here[:, 0]
        later[:] = here
    return states, z
