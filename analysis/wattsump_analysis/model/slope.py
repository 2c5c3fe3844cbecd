"""The slope of a thermal network's likelihood in its coefficient series, by one pass back.

Fisher's identity [1]_: the slope is that of the expected squares of all rows, states and unknowns
held at their distribution given the readings, for which the covariances of neighbouring bins
suffice. Compiled on first use; arguments are those of `kernel`.

References
----------
.. [1] O. Cappé, E. Moulines, T. Rydén, Inference in Hidden Markov Models, 2005, sec. 10.1.5.
"""

import numpy as np
from numba import njit

from wattsump_analysis.model.kernel import assemble, back, probe_row, weigh

__all__ = ("slope",)


@njit(cache=True, fastmath=True, error_model="numpy")
def _inverse_of_lower(c, g):
    for i in range(c.shape[0]):
        for j in range(c.shape[0]):
            g[i, j] = 0.0
        g[i, i] = 1.0 / c[i, i]
        for j in range(i):
            total = 0.0
            for k in range(j, i):
                total -= c[i, k] * g[k, j]
            g[i, j] = total / c[i, i]


@njit(cache=True, fastmath=True, error_model="numpy")
def _covariances(ties, c, u, is_last, cov_then, g, carried, cov, cross):
    """Covariance of a bin's states given the unknowns, and of the next bin's with it.

    C^-T C^-1 + G cov' G' and -cov' G', G = C^-T U.
    """
    size = len(ties)
    _inverse_of_lower(c, g)
    for i in range(size):
        for j in range(i + 1):
            total = 0.0
            for k in range(i, size):
                total += g[k, i] * g[k, j]
            cov[i, j] = total
            cov[j, i] = total
    if is_last:
        return
    carried[:] = 0.0
    for i in range(size):
        for k in range(i, size):
            for j in range(size):
                carried[i, j] += g[k, i] * u[k, j]
    for i in range(size):
        for j in range(size):
            total = 0.0
            for k in range(size):
                total -= cov_then[i, k] * carried[j, k]
            cross[i, j] = total
    for i in range(size):
        for j in range(size):
            total = 0.0
            for k in range(size):
                total -= carried[i, k] * cross[k, j]
            cov[i, j] += total


@njit(cache=True, fastmath=True, error_model="numpy")
def _row_moments(i, ties, a, b, f, seen, later_r, now_r, rz, q):
    """Expected products of row i with the later states, these, and the unknowns.

    Fills `later_r`, `now_r` and `rz`; returns the row's mean and expected square.
    """
    z, v, mean, mean_then, columns, columns_then, cov, cov_then, cross = seen
    size, unknowns = len(ties), z.size
    r1 = -f[i, 0]
    for k in range(unknowns):
        q[k] = -f[i, 1 + k]
        r1 -= f[i, 1 + k] * z[k]
    for j in range(size):
        later_r[j] = 0.0
        now_r[j] = 0.0
    for j in range(size):
        by_a, by_b = a[i, j], b[i, j]
        if by_a != 0.0 or by_b != 0.0:
            r1 += by_a * mean_then[j] + by_b * mean[j]
            for k in range(unknowns):
                q[k] += by_a * columns_then[j, 1 + k] + by_b * columns[j, 1 + k]
            for k in range(size):
                later_r[k] += by_a * cov_then[j, k] + by_b * cross[k, j]
                now_r[k] += by_a * cross[j, k] + by_b * cov[j, k]
    for k in range(unknowns):
        total = 0.0
        for m in range(unknowns):
            total += q[m] * v[m, k]
        rz[k] = total
    for j in range(size):
        later_r[j] += r1 * mean_then[j]
        now_r[j] += r1 * mean[j]
        for k in range(unknowns):
            later_r[j] += rz[k] * columns_then[j, 1 + k]
            now_r[j] += rz[k] * columns[j, 1 + k]
    square = -f[i, 0] * r1
    for k in range(unknowns):
        rz[k] += r1 * z[k]
        square -= f[i, 1 + k] * rz[k]
    for j in range(size):
        square += a[i, j] * later_r[j] + b[i, j] * now_r[j]
    return r1, square


@njit(cache=True, fastmath=True, error_model="numpy")
def _invert(ties, a, lu, inverse):
    """Inverse of the nodes' A by elimination without exchange."""
    nodes = len(ties) - 1
    for i in range(nodes):
        for j in range(nodes):
            lu[i, j] = a[i, j]
            inverse[i, j] = 1.0 if i == j else 0.0
    for i in range(nodes):
        pivot = 1.0 / lu[i, i]
        for j in range(nodes):
            lu[i, j] *= pivot
            inverse[i, j] *= pivot
        for k in range(nodes):
            ratio = lu[k, i]
            if k != i and ratio != 0.0:
                for j in range(nodes):
                    lu[k, j] -= ratio * lu[i, j]
                    inverse[k, j] -= ratio * inverse[i, j]


@njit(cache=True, fastmath=True, error_model="numpy")
def _step_slope(t, net, w, inverse, r1, rz, later_r, now_r, by_values):
    """Slopes in the values behind a step, which lie half in each of its bins."""
    h, base, stamps, factors, feeds, feed_factors, inputs = net[:7]
    nodes = len(net[15]) - 1
    for s in range(stamps.shape[0]):
        kind, i, j, element = stamps[s]
        after = later_r[i, j]
        before = now_r[i, j]
        jacobian = 0.0
        if j < nodes:
            after += base[t + 1] * r1[i]
            before += base[t] * r1[i]
            jacobian = inverse[j, i]
        if kind == 0:
            by = jacobian - w[i] * (after - before)
        else:
            by = 0.5 * h * (w[i] * (after + before) - jacobian)
        by *= 0.5 * factors[s]
        by_values[element, t] += by
        by_values[element, t + 1] += by
    for s in range(feeds.shape[0]):
        i, column, element, source = feeds[s]
        by = r1[i] if column == 0 else rz[i, column - 1]
        by *= w[i] * h * 0.5 * (inputs[source, t] + inputs[source, t + 1])
        by *= 0.5 * feed_factors[s]
        by_values[element, t] += by
        by_values[element, t + 1] += by


@njit(cache=True, fastmath=True, error_model="numpy")
def _reading_moments(t, node, row, net, z, v, now, was, covs):
    """Mean of a reading's error, and its expected products: itself, states, air now and before.

    `now` and `was` hold the columns of the states, their mean in the last.
    """
    air_feeds, inputs, unknowns = net[11], net[6], z.size
    cov, cov_before, cross = covs
    r1 = row[0] * now[node, 1 + unknowns] + row[1] * was[node, 1 + unknowns] - row[2]
    for k in range(unknowns):
        r1 += row[3 + k] * z[k]
    r_now = row[0] * cov[node, node]
    r_was = 0.0
    if t > 0:
        r_now += row[1] * cross[node, node]
        r_was = row[0] * cross[node, node] + row[1] * cov_before[node, node]
    square = row[0] * r_now + row[1] * r_was + r1 * r1
    r_air = 0.0
    r_air_was = 0.0
    for k in range(unknowns):
        rz = 0.0
        for m in range(unknowns):
            q = row[0] * now[node, 1 + m] + row[1] * was[node, 1 + m] + row[3 + m]
            rz += q * v[m, k]
        square += rz * (row[0] * now[node, 1 + k] + row[1] * was[node, 1 + k] + row[3 + k])
        r_now += rz * now[node, 1 + k]
        r_was += rz * was[node, 1 + k]
        for s in range(air_feeds.shape[0]):
            if air_feeds[s, 0] == k + 1:
                r_air += (rz + r1 * z[k]) * inputs[air_feeds[s, 1], t]
                r_air_was += (rz + r1 * z[k]) * inputs[air_feeds[s, 1], max(t - 1, 0)]
    return r1, square, r_now, r_was, r_air, r_air_was


@njit(cache=True, fastmath=True, error_model="numpy")
def _reading_slope(t, p, net, values, lags, sigmas, row, now, was, covs, z, v, by):
    """Add the slopes of the reading of probe p at bin t."""
    by_values, by_lags, by_sigmas = by
    h, base, air = net[0], net[1], net[10]
    _, _, cooled, stored, flow = net[7][p]
    node = probe_row(t, p, net, values, lags, row)
    r1, square, r_now, r_was, r_air, r_air_was = _reading_moments(
        t, node, row, net, z, v, now, was, covs
    )
    last = z.size + 1
    g = 1.0 / sigmas[p] ** 2
    by_sigmas[p] += g * square - 1.0
    r_now += r1 * (now[node, last] + base[t])  # expected error x temperature
    late = lags[p] if t > 0 else 0.0
    d = 0.0
    e = 0.0
    over = r1 * air[t] + r_air - r_now
    if flow >= 0:
        d = values[cooled, t] / values[flow, t]
        by_d = g * (1.0 - late) * over / values[flow, t]
        by_values[cooled, t] -= by_d
        by_values[flow, t] += by_d * d
    if t > 0:
        r_was += r1 * (was[node, last] + base[t - 1])
        over_was = r1 * air[t - 1] + r_air_was - r_was
        if flow >= 0:
            e = values[cooled, t - 1] / values[flow, t - 1]
            by_e = g * late * over_was / values[flow, t - 1]
            by_values[cooled, t - 1] -= by_e
            by_values[flow, t - 1] += by_e * e
            by_r = g * (r_now - r_was) / (values[flow, t] * h)
            by_values[stored, t] += by_r
            by_values[flow, t] -= by_r * values[stored, t] / values[flow, t]
        by_lags[p] -= g * (r_was + e * over_was - r_now - d * over)


@njit(cache=True, fastmath=True, error_model="numpy")
def _states(c, u, y, then, z, here):
    """Columns of a bin's states, and their mean in the last."""
    unknowns = z.size
    back(c, u, y, then[:, : 1 + unknowns], here[:, : 1 + unknowns])
    for i in range(here.shape[0]):
        here[i, 1 + unknowns] = here[i, 0]
        for k in range(unknowns):
            here[i, 1 + unknowns] += here[i, 1 + k] * z[k]


@njit(cache=True, fastmath=True, error_model="numpy")
def _rows(t, net, values, keep, w, z, v, here, then, covs, room, by_values, by_weights):
    """Add the slopes of the step from bin t to the next; that in `keep` is returned."""
    ties = net[15]
    size, mean = len(ties), z.size + 1
    cov, cov_then, cross = covs
    a, b, f, lu, later_r, now_r, inverse, r1, rz, q = room
    quiet = 1.0 - keep * keep
    by_keep = 0.0
    assemble(t, net, values, keep, a, b, f)
    for i in range(size):
        seen = (z, v, here[:, mean], then[:, mean], here, then, cov, cov_then, cross)
        r1[i], square = _row_moments(i, ties, a, b, f, seen, later_r[i], now_r[i], rz[i], q)
        if i < size - 1:
            by_weights[i] += 0.5 * (1.0 - w[i] * square)
        else:
            by_keep = (1.0 - square / quiet) * keep / quiet + now_r[i, i] / quiet
    _invert(ties, a, lu, inverse)
    _step_slope(t, net, w, inverse, r1, rz, later_r, now_r, by_values)
    return by_keep


@njit(cache=True, fastmath=True, error_model="numpy")
def _readings(t, net, values, lags, sigmas, now, was, covs, z, v, by):
    """Add the slopes of all readings of bin t; `covs` are of this bin, the last and across."""
    row = np.zeros(3 + z.size)
    for p in range(lags.size):
        if net[9][p, t]:
            _reading_slope(t, p, net, values, lags, sigmas, row, now, was, covs, z, v, by)


@njit(cache=True, fastmath=True, error_model="numpy")
def slope(net, store, values, lags, sigmas, weights, keep):
    """Slopes of the log likelihood: in `values`, `lags`, log `sigmas`, log `weights`, `keep`.

    `store` is what `kernel.likelihoods` left of the same trial.
    """
    n, size, unknowns = net[1].size, len(net[15]), net[13].size
    by = (np.zeros(values.shape), np.zeros(lags.size), np.zeros(sigmas.size))
    by_weights, by_keep = np.zeros(weights.size), 0.0
    chol, carry, solved, root, z = store
    inverse_root = np.zeros((unknowns, unknowns))
    _inverse_of_lower(root, inverse_root)
    v = inverse_root.T @ inverse_root
    here, then = np.zeros((size, 2 + unknowns)), np.zeros((size, 2 + unknowns))
    cov, cov_then, cross = np.zeros((3, size, size))
    g, carried, lu = np.zeros((3, size, size))
    a, b, later_r = np.zeros((3, size, size))
    now_r, inverse = np.zeros((2, size, size))
    f, rz = np.zeros((size, 1 + unknowns)), np.zeros((size, unknowns))
    room = (a, b, f, lu, later_r, now_r, inverse, np.zeros(size), rz, np.zeros(unknowns))
    w = np.empty(size)
    weigh(weights, keep, w)
    for t in range(n - 1, -1, -1):
        is_last = t == n - 1
        _states(chol[t], carry[t], solved[t], then, z, here)
        _covariances(net[15], chol[t], carry[t], is_last, cov_then, g, carried, cov, cross)
        if not is_last:
            covs = (cov, cov_then, cross)
            by_keep += _rows(
                t, net, values, keep, w, z, v, here, then, covs, room, by[0], by_weights
            )
            covs = (cov_then, cov, cross)
            _readings(t + 1, net, values, lags, sigmas, then, here, covs, z, v, by)
        then[:] = here
        cov_then[:] = cov
    _readings(0, net, values, lags, sigmas, then, then, (cov, cov, cross), z, v, by)
    return by[0], by[1], by[2], by_weights, by_keep
