"""One pass over the bins of a thermal network: likelihood, slope, states. Compiled.

The network comes as tables of numbers (`network.Network` makes them): `values` are the coefficient
series, a row each, and every stamp adds `factor` times one of them to one entry of

    E dT/dt = M T + sum over inputs,    row by row a heat balance in W,

where T are the temperatures of the nodes and, last, a wander of unit variance that follows
itself with the factor `keep` from bin to bin. The trapezoidal rule carries it: with A = E - h M / 2
and B = -(E + h M / 2), coefficients at the midpoints, A x' + B x - f has independent errors. States
are counted from `base`, so that their squares stay small. Unknowns z on which everything depends
linearly (levels of heat, offsets of probes) are columns beside the readings; they are integrated
out with the states by block elimination [1]_.

The slope is Fisher's identity [2]_: that of the expected squares of all rows, states and unknowns
held at their distribution given the readings.

References
----------
.. [1] H. Rue, L. Held, Gaussian Markov Random Fields, 2005, ch. 2.
.. [2] O. Cappé, E. Moulines, T. Rydén, Inference in Hidden Markov Models, 2005, sec. 10.1.5.
"""

import numpy as np
from numba import njit

__all__ = ("STORAGE", "draw", "likelihoods", "slope")

STORAGE, RATE = 0, 1
LOG_2PI = float(np.log(2.0 * np.pi))


@njit(cache=True, fastmath=True, error_model="numpy")
def _assemble(t, h, base, values, stamps, factors, feeds, feed_factors, inputs, ties, a, b, f):
    """Rows of the step from bin t to t + 1: a x' + b x - f (1, z), wander row apart."""
    size = len(ties)
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
        after = 0.0
        before = 0.0
        for column in range(size - 1):
            after += a[row, column]
            before += b[row, column]
        f[row, 0] -= after * base[t + 1] + before * base[t]


@njit(cache=True, fastmath=True, error_model="numpy")
def _probe_rows(t, h, p, probes, lags, values, base, air, inputs, air_feeds, readings, row):
    """Reading p at bin t as row[0] x + row[1] x_before + row[4:] z = row[2]; row[3] is unused."""
    node, offset, cooled, stored, flow = probes[p]
    late = lags[p] if t > 0 else 0.0
    row[:] = 0.0
    d = 0.0  # share of the way to the air
    r = 0.0  # bins' rise that is missing
    e = 0.0
    if flow >= 0:
        d = values[cooled, t] / values[flow, t]
        if t > 0:
            e = values[cooled, t - 1] / values[flow, t - 1]
            r = values[stored, t] / (values[flow, t] * h)
    now = (1.0 - late) * (1.0 - d) - r
    known = now * base[t] + (1.0 - late) * d * air[t]
    by_air = (1.0 - late) * d
    before = 0.0
    if t > 0:
        before = late * (1.0 - e) + r
        known += before * base[t - 1] + late * e * air[t - 1]
        for s in range(air_feeds.shape[0]):
            row[4 + air_feeds[s, 0] - 1] += late * e * inputs[air_feeds[s, 1], t - 1]
    for s in range(air_feeds.shape[0]):
        row[4 + air_feeds[s, 0] - 1] += by_air * inputs[air_feeds[s, 1], t]
    if offset > 0:
        row[4 + offset - 1] += 1.0
    row[0] = now
    row[1] = before
    row[2] = readings[p, t] - known
    return node


@njit(cache=True, fastmath=True, error_model="numpy")
def _forward(net, values, lags, sigmas, weights, keep, store):
    """Eliminate bin by bin. Log likelihood; factors, carries and solved columns in `store`.

    Minus infinity where the precision is not positive.
    """
    (h, base, stamps, factors, feeds, feed_factors, inputs, probes, readings, seen, air, air_feeds,
     start, z_mean, z_sd, ties) = net
    chol, carry, solved, schur, right_z = store
    n = base.size
    size = len(ties)  # known to the compiler, unlike a shape
    unknowns = z_mean.size
    columns = 1 + unknowns
    a = np.zeros((size, size))
    b = np.zeros((size, size))
    f = np.zeros((size, columns))
    now = start.copy()
    then = np.zeros((size, size))
    below = np.zeros((size, size))
    right = np.zeros((size, columns))
    right_then = np.zeros((size, columns))
    row = np.zeros(4 + unknowns)
    next_row = np.zeros(4 + unknowns)
    lu = np.zeros((size, size))
    w = np.empty(size)
    for i in range(size - 1):
        w[i] = weights[i]
    w[size - 1] = 1.0 / (1.0 - keep * keep)
    schur[:] = 0.0
    right_z[:] = 0.0
    total = 0.0  # minus twice the log density, but for determinants of states and unknowns
    rows = size
    for k in range(unknowns):
        schur[k, k] = 1.0 / z_sd[k] ** 2
        right_z[k] = z_mean[k] / z_sd[k] ** 2
        total += (z_mean[k] / z_sd[k]) ** 2 + 2.0 * np.log(z_sd[k])
    rows += unknowns
    log_w = 0.0
    for i in range(size):
        log_w += np.log(w[i])
    for t in range(n):
        then[:] = 0.0
        below[:] = 0.0
        right_then[:] = 0.0
        # readings of this bin: their part of the bin before was added there
        for p in range(probes.shape[0]):
            if not seen[p, t]:
                continue
            node = _probe_rows(
                t, h, p, probes, lags, values, base, air, inputs, air_feeds, readings, row
            )
            g = 1.0 / sigmas[p] ** 2
            now[node, node] += g * row[0] * row[0]
            right[node, 0] += g * row[0] * row[2]
            for k in range(unknowns):
                if row[4 + k] != 0.0:
                    right[node, 1 + k] -= g * row[0] * row[4 + k]
                    right_z[k] += g * row[4 + k] * row[2]
                    for m in range(unknowns):
                        schur[k, m] += g * row[4 + k] * row[4 + m]
            total += g * row[2] * row[2] + 2.0 * np.log(sigmas[p])
            rows += 1
        if t + 1 < n:
            _assemble(
                t, h, base, values, stamps, factors, feeds, feed_factors, inputs, ties, a, b, f
            )
            a[size - 1, size - 1] = 1.0
            b[size - 1, size - 1] = -keep
            for i in range(size):
                for j in range(size):
                    aij = w[i] * a[i, j]
                    bij = w[i] * b[i, j]
                    if aij != 0.0:
                        for k in range(size):
                            then[j, k] += aij * a[i, k]
                            below[j, k] += aij * b[i, k]
                        for k in range(columns):
                            right_then[j, k] += aij * f[i, k]
                    if bij != 0.0:
                        for k in range(size):
                            now[j, k] += bij * b[i, k]
                        for k in range(columns):
                            right[j, k] += bij * f[i, k]
                total += w[i] * f[i, 0] * f[i, 0]
                for k in range(unknowns):
                    right_z[k] -= w[i] * f[i, 1 + k] * f[i, 0]
                    if f[i, 1 + k] != 0.0:
                        for m in range(unknowns):
                            schur[k, m] += w[i] * f[i, 1 + k] * f[i, 1 + m]
            total -= log_w
            rows += size
            # log |det A| of the nodes by elimination without exchange: A is diagonally heavy
            for i in range(size - 1):
                for j in range(size - 1):
                    lu[i, j] = a[i, j]
            for i in range(size - 1):
                pivot = lu[i, i]
                if pivot == 0.0:
                    return -np.inf
                total -= 2.0 * np.log(abs(pivot))
                for j in range(i + 1, size - 1):
                    ratio = lu[j, i] / pivot
                    if ratio != 0.0:
                        for k in range(i + 1, size - 1):
                            lu[j, k] -= ratio * lu[i, k]
            for p in range(probes.shape[0]):
                if not seen[p, t + 1]:
                    continue
                node = _probe_rows(
                    t + 1, h, p, probes, lags, values, base, air, inputs, air_feeds, readings, next_row
                )
                if next_row[1] == 0.0:
                    continue
                g = next_row[1] / sigmas[p] ** 2
                now[node, node] += g * next_row[1]
                below[node, node] += g * next_row[0]
                right[node, 0] += g * next_row[2]
                for k in range(unknowns):
                    right[node, 1 + k] -= g * next_row[4 + k]
        # factor of this bin's precision, and what it leaves to the next
        c = chol[t]
        u = carry[t]
        y = solved[t]
        for i in range(size):
            for j in range(i + 1):
                value = now[i, j]
                for k in range(j):
                    value -= c[i, k] * c[j, k]
                if i == j:
                    if not value > 0.0:
                        return -np.inf
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
            for k in range(unknowns):
                yk = y[i, 1 + k]
                if yk != 0.0:
                    right_z[k] += yk * y[i, 0]
                    for m in range(unknowns):
                        schur[k, m] -= yk * y[i, 1 + m]
        for i in range(size):
            for j in range(size):
                uij = u[i, j]
                if uij != 0.0:
                    for k in range(size):
                        then[j, k] -= uij * u[i, k]
                    for k in range(columns):
                        right_then[j, k] -= uij * y[i, k]
        now[:] = then
        right[:] = right_then
    # the unknowns: factor in place, mean in right_z
    for i in range(unknowns):
        for j in range(i + 1):
            value = schur[i, j]
            for k in range(j):
                value -= schur[i, k] * schur[j, k]
            if i == j:
                if not value > 0.0:
                    return -np.inf
                schur[i, i] = np.sqrt(value)
                total += np.log(value)
            else:
                schur[i, j] = value / schur[j, j]
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
    return -0.5 * (total + (rows - size * n - unknowns) * LOG_2PI)


@njit(cache=True)
def _storage(n, size, unknowns):
    return (
        np.zeros((n, size, size)),
        np.zeros((n, size, size)),
        np.zeros((n, size, 1 + unknowns)),
        np.zeros((unknowns, unknowns)),
        np.zeros(unknowns),
    )


@njit(cache=True)
def likelihoods(net, log_det_start, values, lags, sigmas, weights, keep):
    """Log likelihood, mean and factor of the unknowns' precision of every trial."""
    trials, n, size, unknowns = values.shape[0], net[1].size, net[12].shape[0], net[13].size
    found = np.empty(trials)
    means = np.zeros((trials, unknowns))
    roots = np.zeros((trials, unknowns, unknowns))
    store = _storage(n, size, unknowns)
    for one in range(trials):
        found[one] = 0.5 * log_det_start + _forward(
            net, values[one], lags[one], sigmas[one], weights[one], keep[one], store
        )
        means[one] = store[4]
        roots[one] = store[3]
    return found, means, roots


@njit(cache=True, fastmath=True, error_model="numpy")
def _back(c, u, y, later, x):
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


@njit(cache=True, fastmath=True)
def draw(net, values, lags, sigmas, weights, keep, noise, noise_z):
    """States (n, size) and unknowns given the readings: the mean, plus a draw's `noise`."""
    n, size, unknowns = net[1].size, net[12].shape[0], net[13].size
    store = _storage(n, size, unknowns)
    _forward(net, values, lags, sigmas, weights, keep, store)
    chol, carry, solved, root, mean = store
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
        _back(chol[t], carry[t], y, later, here)
        for i in range(size):
            states[t, i] = here[i, 0]
            later[i, 0] = here[i, 0]
    return states, z


@njit(cache=True, fastmath=True, error_model="numpy")
def slope(net, log_det_start, values, lags, sigmas, weights, keep):
    """Log likelihood and its slopes: in `values`, `lags`, log `sigmas`, log `weights`, `keep`."""
    (h, base, stamps, factors, feeds, feed_factors, inputs, probes, readings, seen, air, air_feeds,
     start, z_mean, z_sd, ties) = net
    n = base.size
    size = len(ties)  # known to the compiler, unlike a shape
    unknowns = z_mean.size
    store = _storage(n, size, unknowns)
    by_values = np.zeros(values.shape)
    by_lags = np.zeros(lags.size)
    by_sigmas = np.zeros(sigmas.size)
    by_weights = np.zeros(weights.size)
    by_keep = 0.0
    value = 0.5 * log_det_start + _forward(net, values, lags, sigmas, weights, keep, store)
    if not np.isfinite(value):
        return value, by_values, by_lags, by_sigmas, by_weights, by_keep
    chol, carry, solved, root, z = store
    # covariance of the unknowns
    inverse = np.zeros((unknowns, unknowns))
    for i in range(unknowns):
        inverse[i, i] = 1.0 / root[i, i]
        for j in range(i):
            total = 0.0
            for k in range(j, i):
                total -= root[i, k] * inverse[k, j]
            inverse[i, j] = total / root[i, i]
    v = inverse.T @ inverse
    a = np.zeros((size, size))
    b = np.zeros((size, size))
    f = np.zeros((size, 1 + unknowns))
    columns = np.zeros((size, 1 + unknowns))  # states given unknowns, this bin
    columns_then = np.zeros((size, 1 + unknowns))
    none = np.zeros((size, 1 + unknowns))
    cov = np.zeros((size, size))
    cov_then = np.zeros((size, size))
    cross = np.zeros((size, size))  # later state by this one
    g = np.zeros((size, size))
    mean = np.zeros(size)
    mean_then = np.zeros(size)
    row = np.zeros(4 + unknowns)
    weighted = np.empty(size)
    for i in range(size - 1):
        weighted[i] = weights[i]
    weighted[size - 1] = 1.0 / (1.0 - keep * keep)
    lu = np.zeros((size - 1, size - 1))
    inv_a = np.zeros((size - 1, size - 1))
    r1 = np.zeros(size)
    rz = np.zeros((size, unknowns))
    q = np.zeros((size, unknowns))
    later_r = np.zeros((size, size))
    now_r = np.zeros((size, size))
    for t in range(n - 1, -1, -1):
        c, u, y = chol[t], carry[t], solved[t]
        if t == n - 1:
            _back(c, u, y, none, columns)
        else:
            _back(c, u, y, columns_then, columns)
        # own part of the covariance: C^-T C^-1
        for i in range(size):
            for j in range(size):
                g[i, j] = 0.0
            g[i, i] = 1.0 / c[i, i]
            for j in range(i):
                total = 0.0
                for k in range(j, i):
                    total -= c[i, k] * g[k, j]
                g[i, j] = total / c[i, i]
        for i in range(size):
            for j in range(i + 1):
                total = 0.0
                for k in range(i, size):
                    total += g[k, i] * g[k, j]
                cov[i, j] = total
                cov[j, i] = total
        if t < n - 1:
            # G = C^-T U; cov += G cov' G', cross = -cov' G'
            carried = np.zeros((size, size))
            for i in range(size):
                for k in range(i, size):
                    gki = g[k, i]
                    for j in range(size):
                        carried[i, j] += gki * u[k, j]
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
        for i in range(size):
            mean[i] = columns[i, 0]
            for k in range(unknowns):
                mean[i] += columns[i, 1 + k] * z[k]
        if t < n - 1:
            _assemble(
                t, h, base, values, stamps, factors, feeds, feed_factors, inputs, ties, a, b, f
            )
            a[size - 1, size - 1] = 1.0
            b[size - 1, size - 1] = -keep
            for i in range(size):
                r1[i] = -f[i, 0]
                for k in range(unknowns):
                    q[i, k] = -f[i, 1 + k]
                    r1[i] -= f[i, 1 + k] * z[k]
                for j in range(size):
                    later_r[i, j] = 0.0
                    now_r[i, j] = 0.0
                for j in range(size):
                    aij, bij = a[i, j], b[i, j]
                    if aij != 0.0 or bij != 0.0:
                        r1[i] += aij * mean_then[j] + bij * mean[j]
                        for k in range(unknowns):
                            q[i, k] += aij * columns_then[j, 1 + k] + bij * columns[j, 1 + k]
                        for k in range(size):
                            later_r[i, k] += aij * cov_then[j, k] + bij * cross[k, j]
                            now_r[i, k] += aij * cross[j, k] + bij * cov[j, k]
                for k in range(unknowns):
                    total = 0.0
                    for m in range(unknowns):
                        total += q[i, m] * v[m, k]
                    rz[i, k] = total
                for j in range(size):
                    after = r1[i] * mean_then[j]
                    before = r1[i] * mean[j]
                    for k in range(unknowns):
                        after += rz[i, k] * columns_then[j, 1 + k]
                        before += rz[i, k] * columns[j, 1 + k]
                    later_r[i, j] += after
                    now_r[i, j] += before
                for k in range(unknowns):
                    rz[i, k] += r1[i] * z[k]
                square = -f[i, 0] * r1[i]
                for k in range(unknowns):
                    square -= f[i, 1 + k] * rz[i, k]
                for j in range(size):
                    square += a[i, j] * later_r[i, j] + b[i, j] * now_r[i, j]
                if i < size - 1:
                    by_weights[i] += 0.5 * (1.0 - weights[i] * square)
                else:
                    quiet = 1.0 - keep * keep
                    # log weight = -log(1 - keep^2)
                    by_keep += 0.5 * (1.0 - square / quiet) * 2.0 * keep / quiet
                    by_keep += now_r[i, i] / quiet
            # inverse of the nodes' A
            nodes = size - 1
            for i in range(nodes):
                for j in range(nodes):
                    lu[i, j] = a[i, j]
                    inv_a[i, j] = 1.0 if i == j else 0.0
            for i in range(nodes):
                pivot = 1.0 / lu[i, i]
                for j in range(nodes):
                    lu[i, j] *= pivot
                    inv_a[i, j] *= pivot
                for k in range(nodes):
                    if k != i:
                        ratio = lu[k, i]
                        if ratio != 0.0:
                            for j in range(nodes):
                                lu[k, j] -= ratio * lu[i, j]
                                inv_a[k, j] -= ratio * inv_a[i, j]
            for s in range(stamps.shape[0]):
                kind, i, j, element = stamps[s, 0], stamps[s, 1], stamps[s, 2], stamps[s, 3]
                after = later_r[i, j]
                before = now_r[i, j]
                jacobian = 0.0
                if j < nodes:
                    after += base[t + 1] * r1[i]
                    before += base[t] * r1[i]
                    jacobian = inv_a[j, i]
                if kind == 0:
                    by = -weighted[i] * (after - before) + jacobian
                else:
                    by = 0.5 * h * (weighted[i] * (after + before) - jacobian)
                by *= 0.5 * factors[s]
                by_values[element, t] += by
                by_values[element, t + 1] += by
            for s in range(feeds.shape[0]):
                i, column, element, source = feeds[s, 0], feeds[s, 1], feeds[s, 2], feeds[s, 3]
                by = r1[i] if column == 0 else rz[i, column - 1]
                by *= weighted[i] * h * 0.5 * (inputs[source, t] + inputs[source, t + 1])
                by *= 0.5 * feed_factors[s]
                by_values[element, t] += by
                by_values[element, t + 1] += by
            # readings of the bin after, which see this one too
            for p in range(probes.shape[0]):
                if seen[p, t + 1]:
                    _reading_slope(
                        t + 1, p, net, values, lags, sigmas, row, columns_then, columns, mean_then,
                        mean, cov_then, cross, cov, z, v, by_values, by_lags, by_sigmas,
                    )
        if t == 0:
            for p in range(probes.shape[0]):
                if seen[p, 0]:
                    _reading_slope(
                        0, p, net, values, lags, sigmas, row, columns, columns, mean, mean, cov,
                        cross, cov, z, v, by_values, by_lags, by_sigmas,
                    )
        for i in range(size):
            mean_then[i] = mean[i]
            for j in range(size):
                cov_then[i, j] = cov[i, j]
            for k in range(1 + unknowns):
                columns_then[i, k] = columns[i, k]
    return value, by_values, by_lags, by_sigmas, by_weights, by_keep


@njit(cache=True, fastmath=True, error_model="numpy")
def _reading_slope(
    t, p, net, values, lags, sigmas, row, columns, columns_before, mean, mean_before, cov, cross,
    cov_before, z, v, by_values, by_lags, by_sigmas,
):
    """Add what the reading of probe p at bin t has to say; `cross` is this bin by the one before."""
    base, inputs, probes, readings, air, air_feeds = net[1], net[6], net[7], net[8], net[10], net[11]
    node = _probe_rows(t, net[0], p, probes, lags, values, base, air, inputs, air_feeds, readings, row)
    cooled, stored, flow = probes[p, 2], probes[p, 3], probes[p, 4]
    unknowns = z.size
    now, before = row[0], row[1]
    r1 = now * mean[node] + before * mean_before[node] - row[2]
    for k in range(unknowns):
        r1 += row[4 + k] * z[k]
    r_now = now * cov[node, node]
    r_before = 0.0
    if t > 0:
        r_now += before * cross[node, node]
        r_before = now * cross[node, node] + before * cov_before[node, node]
    square = now * r_now + before * r_before
    r_air = 0.0  # expected r x error of the air, this bin and the one before
    r_air_before = 0.0
    for k in range(unknowns):
        rz = 0.0
        for m in range(unknowns):
            q = now * columns[node, 1 + m] + row[4 + m]
            if t > 0:
                q += before * columns_before[node, 1 + m]
            rz += q * v[m, k]
        here = now * columns[node, 1 + k] + row[4 + k]
        if t > 0:
            here += before * columns_before[node, 1 + k]
            r_before += rz * columns_before[node, 1 + k]
        square += rz * here
        r_now += rz * columns[node, 1 + k]
        for s in range(air_feeds.shape[0]):
            if air_feeds[s, 0] == k + 1:
                r_air += (rz + r1 * z[k]) * inputs[air_feeds[s, 1], t]
                if t > 0:
                    r_air_before += (rz + r1 * z[k]) * inputs[air_feeds[s, 1], t - 1]
    square += r1 * r1
    g = 1.0 / sigmas[p] ** 2
    by_sigmas[p] += g * square - 1.0
    r_now += r1 * (mean[node] + base[t])  # expected r x temperature
    late = lags[p] if t > 0 else 0.0
    d = 0.0
    e = 0.0
    over = r1 * air[t] + r_air - r_now
    if flow >= 0:
        d = values[cooled, t] / values[flow, t]
        by_d = g * (1.0 - late) * over
        by_values[cooled, t] -= by_d / values[flow, t]
        by_values[flow, t] += by_d * d / values[flow, t]
    if t > 0:
        r_before += r1 * (mean_before[node] + base[t - 1])
        over_before = r1 * air[t - 1] + r_air_before - r_before
        if flow >= 0:
            e = values[cooled, t - 1] / values[flow, t - 1]
            by_e = g * late * over_before
            by_values[cooled, t - 1] -= by_e / values[flow, t - 1]
            by_values[flow, t - 1] += by_e * e / values[flow, t - 1]
            by_r = g * (r_now - r_before) / (values[flow, t] * net[0])
            by_values[stored, t] += by_r
            by_values[flow, t] -= by_r * values[stored, t] / values[flow, t]
        by_lags[p] -= g * (r_before + e * over_before - r_now - d * over)
