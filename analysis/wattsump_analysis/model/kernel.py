"""One pass over the bins of a thermal network: likelihood, slope and states.

With E dT/dt = M T + inputs, a row for each node's heat balance in W and, last, a wander of unit
variance that follows itself with the factor `keep` from bin to bin, the trapezoidal rule makes
A x' + B x - f of two neighbouring bins independent errors, A = E - h M / 2, B = -(E + h M / 2).
States x are counted from `base`, so that their squares stay small. These rows, and the readings,
are linear in x, x', the unknowns and 1; a symmetric matrix over these holds the sum of their
weighted squares, and eliminating x from it leaves that of the next bin [1]_.

What is done here is recorded (`trace`), not reckoned: it runs once for each `Shape`.

References
----------
.. [1] H. Rue, L. Held, Gaussian Markov Random Fields, 2005, ch. 2.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from wattsump_analysis.model.trace import LANES, Number, Trace, function, positive, root

__all__ = ("Shape", "backward", "draw", "forward")

Matrix = list[list[Number]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """What of a network decides which operations its likelihood takes."""

    size: int  # states of a bin, the wander last
    unknowns: int
    elements: int
    inputs: int
    stamps: tuple[tuple[int, ...], ...]
    factors: tuple[float, ...]
    feeds: tuple[tuple[int, ...], ...]
    feed_factors: tuple[float, ...]
    probes: tuple[tuple[int, ...], ...]
    air_column: int

    @property
    def carried(self) -> int:
        """Rows of what one bin leaves to the next: its states, the unknowns and 1."""
        return self.size + self.unknowns + 1

    @property
    def entries(self) -> int:
        """Numbers of the lower half of that."""
        return self.carried * (self.carried + 1) // 2

    @property
    def common(self) -> int:
        """Numbers of a bin that all trials share.

        Base and air [°C], inputs times the step to the next bin, and of each probe its reading and
        whether it counts.
        """
        return 2 + self.inputs + 2 * len(self.probes)

    @property
    def scales(self) -> int:
        """Numbers of a trial that all bins share.

        Bin [s], `keep`, weights of the balances and of the wander's step, of each probe the lag in
        bins, and of each the precision.
        """
        return 2 + self.size + 2 * len(self.probes)


class Bin:
    """What is read of one bin: of each trial, and of all."""

    def __init__(self, shape: Shape, trace: Trace, which: str = "") -> None:
        self.values = trace.loads(f"values{which}", shape.elements)
        self.base, self.air, *rest = trace.shared(f"common{which}", shape.common)
        self.inputs, self.readings = rest[: shape.inputs], rest[shape.inputs :]


class Block:
    """One bin's part of the pass, recorded.

    The "first" takes the first bin's readings; a "middle" one the step to the next bin and the
    readings there, and eliminates its own bin; the "last" eliminates the last bin and the unknowns.
    """

    def __init__(self, shape: Shape, kind: str) -> None:
        self.shape, self.kind = shape, kind
        trace = self.trace = Trace()
        self.scales = trace.loads("scale", shape.scales)
        self.here = Bin(shape, trace)
        load = trace.shared if kind == "first" else trace.loads
        self.carry = load("start" if kind == "first" else "carry", shape.entries)
        ahead = shape.size if kind == "middle" else 0
        m = self.m = zeros(shape.carried + ahead, shape.carried + ahead)
        entries = iter(self.carry)
        place = [i if i < shape.size else i + ahead for i in range(shape.carried)]
        for i, row in enumerate(place):
            for column in place[: i + 1]:
                m[row][column] = next(entries)
        self.nodes: list[Number] = []
        self.pivots: list[Number] = []
        if kind == "first":
            for probe in range(len(shape.probes)):
                self._read(probe, self.here)
        elif kind == "middle":
            self.then = Bin(shape, trace, ".then")
            self._step()
            for probe in range(len(shape.probes)):
                self._read(probe, self.then, self.here)
            self.pivots = eliminate(m, shape.size)
        else:
            self.pivots = eliminate(m, shape.size + shape.unknowns)

    @property
    def left(self) -> list[Number]:
        """The lower half over the latest bin's states, the unknowns and 1."""
        first = len(self.m) - self.shape.carried
        return [self.m[i][j] for i in range(first, len(self.m)) for j in range(first, i + 1)]

    @property
    def ratio(self) -> Number:
        """Determinant of what was eliminated, over the square of that of the nodes' A."""
        product = 1.0 / _product(self.nodes)
        return product * product * _product(self.pivots)

    @property
    def logs(self) -> list[tuple[Number, Number]]:
        """Seeds of the slope of the logarithm of `ratio`."""
        whole = [(pivot, 1.0 / pivot) for pivot in self.pivots]
        return whole + [(node, -2.0 * (1.0 / node)) for node in self.nodes]

    def _read(self, p: int, bin_: Bin, before: Bin | None = None) -> None:
        """Add a reading: the node's oil on its way to the air, late by a share of a bin."""
        node, offset, cooled, stored, flow = self.shape.probes[p]
        value, counts = bin_.readings[2 * p : 2 * p + 2]
        of_probes = self.scales[2 + self.shape.size :]
        late: Number = of_probes[p] if before else 0.0
        gone: Number = 0.0  # share of the way to the air
        was_gone: Number = 0.0
        rise: Number = 0.0  # what of the bins' rise is missing
        if flow >= 0:
            through = 1.0 / bin_.values[flow]
            gone = bin_.values[cooled] * through
            if before:
                was_gone = before.values[cooled] * (1.0 / before.values[flow])
                rise = bin_.values[stored] * through * (1.0 / self.scales[0])
        now = (1.0 - late) * (1.0 - gone) - rise
        to_air = (1.0 - late) * gone
        known = now * bin_.base + to_air * bin_.air
        row: list[Number] = [0.0] * len(self.m)
        if before:
            row[node] = late * (1.0 - was_gone) + rise
            known = known + row[node] * before.base + late * was_gone * before.air
            to_air = to_air + late * was_gone
        first = len(row) - self.shape.carried
        row[first + node] = now
        column = first + self.shape.size - 1
        if self.shape.air_column:
            row[column + self.shape.air_column] = -to_air
        if offset:
            row[column + offset] += 1.0
        row[-1] = known - value
        add(self.m, row, of_probes[len(self.shape.probes) + p] * counts)

    def _step(self) -> None:
        """Add the rows of the step to the next bin."""
        shape, here, then = self.shape, self.here, self.then
        nodes = shape.size - 1
        h, keep, *weights = self.scales[: 2 + shape.size]
        middle = [0.5 * (x + y) for x, y in zip(here.values, then.values, strict=True)]
        a, b = zeros(shape.size, shape.size), zeros(shape.size, shape.size)
        f = zeros(shape.size, 1 + shape.unknowns)
        for (kind, i, j, of), factor in zip(shape.stamps, shape.factors, strict=True):
            value = factor * middle[of]
            if kind == 1:
                value = value * (0.5 * h)
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
        for before, after, (known, *unknowns), weight in zip(b, a, f, weights, strict=True):
            add(self.m, [*before, *after, *(-x for x in unknowns), -known], weight)
        self.nodes = pivots_of(a, nodes)


def forward(shape: Shape) -> tuple[str, int]:
    """Text of the pass up, and how many arrays it takes.

    It leaves in `carry` what each bin was left by the one before, in `ratio` factors of the
    determinant, and in `total` the square that remains.
    """
    first, middle, last = (Block(shape, kind) for kind in ("first", "middle", "last"))
    first.trace.stores("carry", first.left)
    middle.trace.stores("carry.then", middle.left)
    middle.trace.stores("ratio", [middle.ratio])
    last.trace.stores("ratio", [last.ratio])
    last.trace.stores("total", [last.m[-1][-1]])
    arrays = _arrays(shape) | {"ratio": LANES, "total": 0}
    return function("forward", arrays, [first.trace, middle.trace, last.trace]), len(arrays)


def backward(shape: Shape) -> tuple[str, int]:
    """Text of the way back through what `forward` kept, for the slopes, and its arrays."""
    first, middle, last = (Block(shape, kind) for kind in ("first", "middle", "last"))
    seeds = [(last.m[-1][-1], 1.0), *last.logs]
    last.trace.stores("by_carry", last.trace.slopes(seeds, last.carry))
    for block in (middle, first):
        trace = block.trace
        later = trace.loads("by_carry", shape.entries)
        seeds = [*zip(block.left, later, strict=True), *block.logs]
        wanted = {"by_scale": block.scales, "by_values": block.here.values}
        if block is middle:
            wanted |= {"by_values.then": block.then.values, "by_carry": block.carry}
        found = iter(trace.slopes(seeds, [value for part in wanted.values() for value in part]))
        slopes = {name: [next(found) for _ in part] for name, part in wanted.items()}
        for name, part in slopes.items():
            trace.stores(name, part, add=name != "by_carry")
    arrays = _arrays(shape) | {"by_carry": 0, "by_scale": 0, "by_values": shape.elements * LANES}
    traces = [last.trace, middle.trace, first.trace]
    return function("backward", arrays, traces, down=True), len(arrays)


def draw(shape: Shape) -> tuple[str, int]:
    """Text of the states from the last bin back, given unknowns and unit noises; its arrays."""
    last, middle = Block(shape, "last"), Block(shape, "middle")
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
    return function("draw", arrays, [last.trace, middle.trace, Trace()], down=True), len(arrays)


def _arrays(shape: Shape) -> dict[str, int | str]:
    return {
        "values": shape.elements * LANES,
        "common": shape.common,
        "scale": 0,
        "start": 0,
        "carry": "%kept",
    }


def _product(numbers: Sequence[Number]) -> Number:
    whole: Number = 1.0
    for number in numbers:
        whole = whole * number
    return whole


def zeros(rows: int, columns: int) -> Matrix:
    return [[0.0] * columns for _ in range(rows)]


def add(m: Matrix, row: Sequence[Number], weight: Number) -> None:
    """Add the weighted square of a row to the lower half of m."""
    for i, x in enumerate(row):
        weighted = weight * x
        for j in range(i + 1):
            m[i][j] += weighted * row[j]


def pivots_of(a: Matrix, count: int) -> list[Number]:
    """Pivots of an elimination without exchange, for which A's diagonal is heavy enough."""
    for k in range(count):
        inverse = 1.0 / a[k][k]
        for i in range(k + 1, count):
            ratio = a[i][k] * inverse
            for j in range(k + 1, count):
                a[i][j] -= ratio * a[k][j]
    return [a[k][k] for k in range(count)]


def eliminate(m: Matrix, count: int) -> list[Number]:
    """Eliminate the first rows of a symmetric matrix, lower half; returns their pivots.

    Their columns stay as they were at their turn.
    """
    for k in range(count):
        m[k][k] = positive(m[k][k])
        inverse = 1.0 / m[k][k]
        for i in range(k + 1, len(m)):
            ratio = m[i][k] * inverse
            for j in range(k + 1, i + 1):
                m[i][j] -= ratio * m[j][k]
    return [m[k][k] for k in range(count)]
