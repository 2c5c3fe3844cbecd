"""One pass over the bins of a thermal network: likelihood, slope and states.

With E dT/dt = M T + inputs, a row for each node's heat balance in W and, last, a wander of unit
variance that follows itself with the factor `keep` from bin to bin, the trapezoidal rule makes
A x' + B x - f of two neighbouring bins independent errors, A = E - h M / 2, B = -(E + h M / 2).
States x are counted from `base`, so that their squares stay small. These rows, and the readings,
are linear in x, x', the unknowns and 1; a symmetric matrix over these holds the sum of their
weighted squares, and eliminating x from it leaves that of the next bin [1]_.

Operations here are recorded (`trace`), not executed: the code runs once for each `Shape`.

References
----------
.. [1] H. Rue, L. Held, Gaussian Markov Random Fields, 2005, ch. 2.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np

from wattsump_analysis.model.description import NODE_ERROR, NODES, QUANTITIES, Probe
from wattsump_analysis.model.trace import LANES, Number, Trace, function, positive, root

__all__ = ("ARRAYS", "Scales", "Shape", "backward", "draw", "forward")

Matrix = list[list[Number]]
ARRAYS = {"forward": 8, "backward": 9, "draw": 9}  # how many each function takes

PER_PROBE = 3  # numbers of a bin
# Share of a standing machine's whole loss that may be another node's than the network says. K of
# drawn machines is the same within 1 % with a tenth and with all of it.
STANDING = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """The properties of a network that decide the operations of its likelihood."""

    size: int  # states of a bin, the wander last
    unknowns: int
    parameters: tuple[str, ...]
    series: tuple[str, ...]
    switches: tuple[tuple[str, bool | None], ...]  # scalars of the record that quantities use
    elements: tuple[tuple[str, ...], ...]
    inputs: int
    stamps: tuple[tuple[int, ...], ...]
    factors: tuple[float, ...]
    feeds: tuple[tuple[int, ...], ...]
    feed_factors: tuple[float, ...]
    probes: tuple[Probe, ...]
    readings: tuple[tuple[int, ...], ...]
    air_column: int

    @property
    def carried(self) -> int:
        """Rows of the matrix that a bin passes to the next: its states, the unknowns and 1."""
        return self.size + self.unknowns + 1

    @property
    def entries(self) -> int:
        """Numbers in the lower half of that matrix."""
        return self.carried * (self.carried + 1) // 2

    @property
    def columns(self) -> int:
        """Numbers in the columns that are eliminated at a bin."""
        return sum(self.carried + self.size - k for k in range(self.size))

    @property
    def common(self) -> int:
        """Numbers of a bin that all trials share.

        Base and air [°C], inputs times the step to the next bin, each probe's reading, whether it
        counts and how far it is from the air [K], and the series that quantities use.
        """
        return 2 + self.inputs + PER_PROBE * len(self.probes) + len(self.series)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scales:
    """Numbers of a trial that all bins share: of probes, and weights of a step's rows.

    A probe keeps the share `kept` of its reading from bin to bin. The rest it takes from the oil,
    `late` of that from the bin before, so that it follows a steady rise by its lag. The reading
    kept has its noise too, so `variances`, K², are those of both noises. `keep` is the factor on
    the wander from bin to bin; its weight is the last. `standing` is the variance of the heat that
    a hidden node loses or keeps in a stand, W²/K².
    """

    kept: Sequence[Any]
    late: Sequence[Any]
    variances: Sequence[Any]
    weights: Sequence[Any]
    keep: Any
    standing: Any

    @classmethod
    def of(cls, p: Any, bin_s: Any, probes: Sequence[Probe]) -> "Scales":
        """Scales of parameters, which may be numbers of any kind."""
        keep = np.exp(-(bin_s / p.memory_s))
        minute = 1.0 / (60.0 * bin_s * p.model_error_w * p.model_error_w)
        lags = [getattr(p, probe.lag) / bin_s for probe in probes]
        kept = [np.exp(-(1.0 / lag)) for lag in lags]
        return cls(
            kept=kept,
            late=[lag - stays / (1.0 - stays) for lag, stays in zip(lags, kept, strict=True)],
            variances=[
                (1.0 + stays * stays) * getattr(p, probe.noise) * getattr(p, probe.noise)
                for probe, stays in zip(probes, kept, strict=True)
            ],
            weights=[
                *(minute / NODE_ERROR[node] ** 2 for node in NODES),
                1.0 / (1.0 - keep * keep),
            ],
            keep=keep,
            standing=(STANDING * p.shell_w_k) ** 2,
        )

    def weights_after(self, stood_ks: Any) -> list[Any]:
        """Weights of a step's rows that ends a stand; 0 K s are any other step's."""
        apart = self.standing * stood_ks * stood_ks
        hidden = [weight * (1.0 / (1.0 + weight * apart)) for weight in self.weights[1:-1]]
        return [self.weights[0], *hidden, self.weights[-1]]


class Bin:
    """Inputs of a bin, the same in all trials, and the elements' values there."""

    def __init__(self, shape: Shape, trace: Trace, which: str = "") -> None:
        self.shape = shape
        self.base, self.air, *rest = trace.shared(f"common{which}", shape.common)
        self.inputs, rest = rest[: shape.inputs], rest[shape.inputs :]
        read = PER_PROBE * len(shape.probes)
        self.readings, series = rest[:read], rest[read:]
        self.series = dict(zip(shape.series, series, strict=True))
        self.kept = trace.loads(f"values{which}", len(shape.elements))
        self.values: Sequence[Number] = self.kept

    def compute(self, p: Any, h: Number) -> None:
        """Compute the values from the parameters instead of loading stored ones."""
        r = SimpleNamespace(**{"bin_s": h, "ones": 1.0} | dict(self.shape.switches) | self.series)
        of = {name: QUANTITIES[name](p, r) for row in self.shape.elements for name in row}
        self.values = [_product([of[name] for name in row]) for row in self.shape.elements]


class Block:
    """The recorded operations for a bin.

    "first" starts; "middle" adds the step to the next bin and the readings
    there, and eliminates its bin; "last" eliminates the last bin and the unknowns.
    """

    def __init__(self, shape: Shape, kind: str) -> None:
        self.shape, self.kind = shape, kind
        trace = self.trace = Trace()
        *self.given, self.h = trace.loads("given", len(shape.parameters) + 1)
        p = SimpleNamespace(**dict(zip(shape.parameters, self.given, strict=True)))
        self.scales = Scales.of(p, self.h, shape.probes)
        self.width = shape.carried + (shape.size if kind == "middle" else 0)
        self.here = Bin(shape, trace)
        load = trace.shared if kind == "first" else trace.loads
        self.carry = load("start" if kind == "first" else "carry", shape.entries)
        ahead = self.width - shape.carried
        before = zeros(self.width, self.width)
        self.rows: list[tuple[Sequence[Number], Number]] = []
        entries = iter(self.carry)
        place = [i if i < shape.size else i + ahead for i in range(shape.carried)]
        for i, row in enumerate(place):
            for column in place[: i + 1]:
                before[row][column] = next(entries)
        self.nodes: list[Number] = []
        self.weights: list[Number] = []
        self.logs: list[tuple[Number, Number]] = []
        if kind == "first":
            self.here.compute(p, self.h)
        elif kind == "middle":
            self.then = Bin(shape, trace, ".then")
            self.then.compute(p, self.h)
            self._step()
            for probe in range(len(shape.probes)):
                self._read(probe)
        gone = {"first": 0, "middle": shape.size, "last": shape.size + shape.unknowns}[kind]
        self.m = eliminated(before, self.rows, gone)
        self.pivots = [self.m[k][k] for k in range(gone)]
        self.logs += [(pivot, 1.0 / pivot) for pivot in self.pivots]
        self.logs += [(node, -2.0 / node) for node in self.nodes]
        self.logs += [(weight, -1.0 / weight) for weight in self.weights]

    @property
    def passed_on(self) -> list[Number]:
        """The lower half over the latest bin's states, the unknowns and 1."""
        first = len(self.m) - self.shape.carried
        return [self.m[i][j] for i in range(first, len(self.m)) for j in range(first, i + 1)]

    @property
    def columns(self) -> list[Number]:
        """The eliminated columns of the lower half."""
        return [row[k] for k in range(self.shape.size) for row in self.m[k:]]

    @property
    def ratio(self) -> Number:
        """Determinant of the eliminated block over those of the added rows."""
        inverse = 1.0 / _product([*self.nodes, *self.nodes, *self.weights])
        return inverse * _product(self.pivots)

    def _read(self, p: int) -> None:
        """Add a reading: the node's oil, cooled part of the way to the air, late by the lag."""
        before, then = self.here, self.then
        node, offset, contact, cooled, stored, flow = self.shape.readings[p]
        value, counts, to_air_k = then.readings[PER_PROBE * p : PER_PROBE * (p + 1)]
        kept, late = self.scales.kept[p], self.scales.late[p]
        gone: Number = 0.0  # share of the way to the air
        was_gone: Number = 0.0
        rise: Number = 0.0  # share of the rise between bins that the core stored
        if flow >= 0:
            through = 1.0 / then.values[flow]
            gone = then.values[cooled] * through
            was_gone = before.values[cooled] * (1.0 / before.values[flow])
            rise = then.values[stored] * through * (1.0 / self.h)
        now = (1.0 - late) * (1.0 - gone) - rise
        was = late * (1.0 - was_gone) + rise
        to_air, was_to_air = (1.0 - late) * gone, late * was_gone
        row: list[Number] = [0.0] * self.width
        first = len(row) - self.shape.carried
        row[node], row[first + node] = was, now
        column = first + self.shape.size - 1
        if self.shape.air_column:
            row[column + self.shape.air_column] = -(to_air + was_to_air)
        if offset:
            row[column + offset] += 1.0
        if contact:
            row[column + contact] += to_air_k
        oil = now * then.base + was * before.base + to_air * then.air + was_to_air * before.air
        row[-1] = oil - value
        row = [(1.0 - kept) * x for x in row]
        row[-1] += kept * (before.readings[PER_PROBE * p] - value)
        variance = self.scales.variances[p]
        weight = counts * (1.0 / variance)
        self.rows.append((row, weight))
        self.logs.append((variance, weight))

    def _step(self) -> None:
        """Add the rows of the step to the next bin."""
        shape, here, then = self.shape, self.here, self.then
        nodes = shape.size - 1
        keep = self.scales.keep
        self.weights = self.scales.weights_after(then.series["stood_ks"])
        middle = [0.5 * (x + y) for x, y in zip(here.values, then.values, strict=True)]
        a, b = zeros(shape.size, shape.size), zeros(shape.size, shape.size)
        f = zeros(shape.size, 1 + shape.unknowns)
        for (kind, i, j, of), factor in zip(shape.stamps, shape.factors, strict=True):
            value = factor * middle[of]
            if kind == 1:
                value = value * (0.5 * self.h)
                a[i][j] -= value
            else:
                a[i][j] += value
            b[i][j] -= value
        for (i, column, of, source), factor in zip(shape.feeds, shape.feed_factors, strict=True):
            f[i][column] += factor * (middle[of] * here.inputs[source])
        for i in range(nodes):
            for j in range(nodes):
                f[i][0] -= a[i][j] * then.base + b[i][j] * here.base
        a[nodes][nodes] = 1.0
        b[nodes][nodes] = -keep
        for before, after, (constant, *unknowns), weight in zip(b, a, f, self.weights, strict=True):
            row = [*before, *after, *(-x for x in unknowns), -constant]
            self.rows.append((row, weight))
        self.nodes = pivots_of(a, nodes)


def forward(shape: Shape) -> str:
    """Text of the forward pass.

    It writes the elements' values to `values`, the matrix passed to the last bin to `carry`, the
    columns eliminated in each bin to `columns`, factors of the determinant to `ratio`, and the
    remaining square to `total`.
    """
    first, middle, last = (Block(shape, kind) for kind in ("first", "middle", "last"))
    first.trace.stores("values", first.here.values)
    first.trace.stores("carry", first.passed_on)
    middle.trace.stores("values.then", middle.then.values)
    middle.trace.stores("carry.then", middle.passed_on)
    middle.trace.stores("columns", middle.columns)
    middle.trace.stores("ratio", [middle.ratio])
    last.trace.stores("ratio", [last.ratio])
    last.trace.stores("total", [last.m[-1][-1]])
    arrays = _arrays(shape) | {"ratio": LANES, "total": 0}
    return function("forward", arrays, [first.trace, middle.trace, last.trace])


def backward(shape: Shape) -> str:
    """Text of the backward pass over the arrays of `forward`, for the slopes."""
    first, middle, last = (Block(shape, kind) for kind in ("first", "middle", "last"))
    seeds = [(last.m[-1][-1], 1.0), *last.logs]
    last.trace.stores("by_carry", last.trace.slopes(seeds, last.carry))
    middle.trace.recall("columns", middle.columns)
    middle.trace.recall("values.then", middle.then.values)
    for block in (middle, first):
        trace = block.trace
        computed = block.then.values if block is middle else block.here.values
        seeds = [
            *zip(block.passed_on, trace.loads("by_carry", shape.entries), strict=True),
            *zip(computed, trace.loads("by_values", len(shape.elements)), strict=True),
            *block.logs,
        ]
        wanted = [block.given, block.carry, block.here.kept]
        slopes = iter(trace.slopes(seeds, [value for part in wanted for value in part]))
        by_given, by_carry, by_values = ([next(slopes) for _ in part] for part in wanted)
        trace.stores("by_given", by_given, add=True)
        trace.stores("by_carry", by_carry)
        trace.stores("by_values", by_values)
    arrays = _arrays(shape) | {"by_given": 0, "by_carry": 0, "by_values": 0}
    traces = [last.trace, middle.trace, first.trace]
    return function("backward", arrays, traces, down=True)


def draw(shape: Shape) -> str:
    """Text of the states from the last bin back, given unknowns and unit noises."""
    last, middle = Block(shape, "last"), Block(shape, "middle")
    middle.trace.recall("columns", middle.columns)
    for block in (last, middle):
        trace = block.trace
        later: list[Number] = [*trace.loads("unknown", shape.unknowns), 1.0]
        if block is middle:
            later = [*trace.loads("states.then", shape.size), *later]
        noise = trace.loads("noise", shape.size)
        for k in range(shape.size - 1, -1, -1):
            variance = 1.0 / block.m[k][k]
            mean: Number = 0.0
            for x, row in zip(later, block.m[k + 1 :], strict=True):
                mean -= row[k] * x
            later = [mean * variance + noise[k] * root(variance), *later]
        trace.stores("states", later[: shape.size])
    step = shape.size * LANES
    arrays = _arrays(shape) | {"unknown": 0, "noise": step, "states": step}
    return function("draw", arrays, [last.trace, middle.trace, Trace()], down=True)


def _arrays(shape: Shape) -> dict[str, int]:
    return {
        "common": shape.common,
        "start": 0,
        "given": 0,
        "values": len(shape.elements) * LANES,
        "carry": 0,
        "columns": shape.columns * LANES,
    }


def _product(numbers: Sequence[Number]) -> Number:
    whole: Number = 1.0
    for number in numbers:
        whole = whole * number
    return whole


def zeros(rows: int, columns: int) -> Matrix:
    return [[0.0] * columns for _ in range(rows)]


def pivots_of(a: Matrix, count: int) -> list[Number]:
    """Pivots of an elimination without row exchange; A's diagonal is dominant enough for it."""
    for k in range(count):
        inverse = 1.0 / a[k][k]
        for i in range(k + 1, count):
            ratio = a[i][k] * inverse
            for j in range(k + 1, count):
                a[i][j] -= ratio * a[k][j]
    return [a[k][k] for k in range(count)]


def eliminated(
    before: Matrix, rows: Sequence[tuple[Sequence[Number], Number]], count: int
) -> Matrix:
    """Add weighted squares of rows to a symmetric matrix, and eliminate its first `count` rows.

    Lower half. An eliminated column keeps its values from before its elimination. Each number is
    summed in one go, so that it is kept in a register meanwhile.
    """
    size = len(before)
    m, ratios = zeros(size, size), zeros(size, size)
    weighted = [[weight * x for x in row] for row, weight in rows]
    for j in range(size):
        for i in range(j, size):
            whole = before[i][j]
            for (row, _), own in zip(rows, weighted, strict=True):
                whole = whole + own[i] * row[j]
            for k in range(min(j, count)):
                whole = whole - ratios[i][k] * m[j][k]
            m[i][j] = whole
        if j < count:
            m[j][j] = positive(m[j][j])
            inverse = 1.0 / m[j][j]
            for i in range(j + 1, size):
                ratios[i][j] = m[i][j] * inverse
    return m
