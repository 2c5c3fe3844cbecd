"""The thermal network of a record: likelihood, slopes and states from `description` and readings.

The trapezoidal rule carries the balances from bin to bin, for load and temperatures alike. It is
A-stable [1]_. Readings are means of bins, so the mean of two neighbours is the best estimate of the
time between them; a rule that is exact for a load held over each bin makes K at work 3 to 4 % too
high. The load's wander, the levels of heat and the probes' offsets are integrated out exactly with
the states; everything else is a parameter.

References
----------
.. [1] E. Hairer, G. Wanner, Solving Ordinary Differential Equations II, 2nd ed., 1996,
   sec. IV.3: the trapezoidal rule is A-stable.
"""

from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass, fields
from functools import cached_property, partial
from typing import Any

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.model.activity import (
    engine_over_k,
    idle_of,
    kinds_of,
    speed_of,
    standing_of,
    stood_ks,
)
from wattsump_analysis.model.case import Gaussian
from wattsump_analysis.model.core import steps_of
from wattsump_analysis.model.description import (
    AIR,
    ENGINE,
    GAINS,
    HEATER,
    LEVEL,
    LINEAR,
    LINKS,
    LOAD,
    NODES,
    PARAMETERS,
    PROBES,
    QUANTITIES,
    SOURCES,
    STORES,
    Probe,
)
from wattsump_analysis.model.kernel import Scales, Shape
from wattsump_analysis.model.tables import Stamps, Tables, ends_of
from wattsump_analysis.reading.record import Record
from wattsump_logger.arrays import BoolArray

__all__ = ("Network", "Series", "Smooth", "Spread", "natural")

STILL_FILM = 0.3  # oil-to-metal link without circulation over that with circulation
AFTER_SWITCH_S = 60.0
STEADY_SPEED = 0.05  # change of engine speed from bin to bin, of the working speed
START_TANK_K = 2.0
KELVIN = 273.15
LOG_2PI = float(np.log(2.0 * np.pi))

TRANSFORM = {parameter.name: parameter.transform for parameter in PARAMETERS}
SIZE = len(NODES) + 1  # and the wander


def natural(name: str, transformed: Any) -> Any:
    """Values of a parameter in its own unit from those of its transform."""
    match TRANSFORM.get(name, LINEAR):
        case "log":
            return np.exp(transformed)
        case "share":
            return 1.0 / (1.0 + np.exp(-transformed))
    return transformed


def stretch(name: str, value: FloatArray) -> FloatArray | float:
    """Slope of a parameter in its own unit by its transform."""
    match TRANSFORM[name]:
        case "log":
            return value
        case "share":
            return value * (1.0 - value)
    return 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """The inputs of the quantities besides parameters: a number per bin, shape (n,)."""

    bin_s: float
    ones: FloatArray
    engine: FloatArray
    fan: FloatArray
    fan_on: FloatArray
    fan_off: FloatArray
    fan_on_before: FloatArray
    fan_off_before: FloatArray
    moving: FloatArray
    wet: FloatArray
    shell_ratio: FloatArray
    log_viscosity_ratio: FloatArray
    excess_mm2_s: FloatArray
    capacity_ratio: FloatArray
    pumped_ratio: FloatArray
    flow_w_k: FloatArray | None
    flow_of_pump: bool
    heater_bonded: bool
    speed: FloatArray
    standing: FloatArray
    idle: FloatArray
    stood_ks: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Smooth:
    """The states given all the data, and the heat flows they imply, shape (n,).

    `heater_w` is a metered heater's power corrected by the fitted error of its meter; `stored_j`
    is the heat stored since the first bin.
    """

    nodes_c: Mapping[str, FloatArray]
    air_c: FloatArray
    heat_w: FloatArray
    heater_w: FloatArray
    cooler_w: FloatArray
    shell_w: FloatArray
    stored_j: FloatArray

    @property
    def tank_c(self) -> FloatArray:
        return self.nodes_c["tank"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Mean of the unknowns and lower root of their precision, (trials, m) and (trials, m, m)."""

    means: FloatArray
    roots: FloatArray

    def drawn(self, rng: np.random.Generator) -> FloatArray:
        """One draw of the unknowns for each trial, shape (trials, m)."""
        noise = rng.standard_normal(self.means.shape)
        upper = self.roots.transpose(0, 2, 1)
        deviations = np.linalg.solve(upper, noise[:, :, np.newaxis])
        return np.asarray(self.means + deviations[:, :, 0])


class Network:
    """The fitted model of one record: likelihood, slope and smoother for given parameters.

    Parameters
    ----------
    record : Record
        Binned outing, n bins.
    viscosity_mm2_s, capacity_ratio, pumped_ratio : ndarray, shape (n,)
        Viscosity of the oil in each bin, and its heat capacities by mass and by pumped volume over
        those at the reference temperature.
    reference_mm2_s : float
        Viscosity at the reference temperature.
    unknowns : mapping of str to Gaussian
        Priors of the linear unknowns; those with deviation 0 and mean 0 are omitted.
    start_spread_k : float
        Prior standard deviation of the other nodes against the tank at the start [K].
    flow_of_pump : bool
        Whether the oil flow is all that is pumped, including oil that bypasses the cooler.
    heater_bonded : bool
        Whether the heater warms the tank's wall, not its oil.
    size : float
        The machine's heat capacity over the usual one (`Case.size`).
    """

    def __init__(
        self,
        record: Record,
        viscosity_mm2_s: FloatArray,
        reference_mm2_s: float,
        capacity_ratio: FloatArray,
        pumped_ratio: FloatArray,
        unknowns: Mapping[str, Gaussian],
        *,
        start_spread_k: float = 1.0,
        flow_of_pump: bool = False,
        heater_bonded: bool = False,
        size: float = 1.0,
    ) -> None:
        self.record = record
        self.viscosity_mm2_s = viscosity_mm2_s
        self.start_spread_k = start_spread_k
        tank = record.oils_c["tank"]
        read = np.isfinite(tank)
        # States are relative to the tank's readings, so that sums of squares stay small.
        self.base_c = np.interp(record.elapsed_s, record.elapsed_s[read], tank[read])
        self.series = Series(
            bin_s=record.bin_s,
            ones=np.ones(record.bins),
            engine=record.engine,
            fan=record.fan,
            **steps_of(record.fan),
            moving=record.moving,
            wet=STILL_FILM + (1.0 - STILL_FILM) * record.engine,
            shell_ratio=shell_ratio(self.base_c, record.ambient_c),
            log_viscosity_ratio=np.log(viscosity_mm2_s / reference_mm2_s),
            excess_mm2_s=viscosity_mm2_s - reference_mm2_s,
            capacity_ratio=capacity_ratio,
            pumped_ratio=pumped_ratio,
            flow_w_k=record.flow_w_k,
            flow_of_pump=flow_of_pump,
            heater_bonded=heater_bonded,
            speed=speed_of(record),
            standing=standing_of(record),
            idle=idle_of(record),
            stood_ks=stood_ks(record, self.base_c),
        )
        self.engine_over_k = engine_over_k(record, self.base_c)
        self.level_of, circulating = kinds_of(record)
        priors = {name: prior for name, prior in unknowns.items() if prior.sd > 0}
        for kind, only_circulates in enumerate(circulating):
            mean_w, sd_w = LEVEL[bool(only_circulates)]
            priors[f"level {kind}"] = Gaussian(mean=size * mean_w, sd=size * sd_w)
        self.unknown_priors = priors
        self.unknowns = tuple(priors)
        self.probes = tuple(probe for probe in PROBES if probe.name in record.oils_c)
        self.seen = np.array([np.isfinite(record.oils_c[p.name]) for p in self.probes])
        # Without flow, and just after it starts, a pipe probe does not read the loop's oil.
        running = record.engine > 0.99
        settled = running & np.roll(running, 1) & np.roll(running, 2) & np.roll(running, 3)
        # For a minute after the fan is switched, heat from the core passes the outlet probe.
        switched = np.abs(np.diff(record.fan, prepend=record.fan[0])) > 0.05
        width = 2 * int(np.ceil(AFTER_SWITCH_S / record.bin_s)) + 1
        calm = np.convolve(switched, np.ones(width), "same") == 0
        # Between two speeds the mean of flow times difference is not the product of their means.
        changed = np.abs(np.diff(self.series.speed, prepend=self.series.speed[0])) > STEADY_SPEED
        steady = ~(changed | np.roll(changed, -1) | np.roll(changed, 1))
        for row, probe in enumerate(self.probes):
            if probe.node != "tank":
                self.seen[row] &= settled & steady
            if probe.flow:
                self.seen[row] &= calm
        self.seen &= _follows_a_reading(record, self.probes)
        self.tables = self._tables()
        tie = np.eye(SIZE)
        tie[1:-1, 0] = -1.0
        sd = np.array([START_TANK_K, *[start_spread_k] * (SIZE - 2), 1.0])
        self.start_precision = np.asarray(tie.T @ (sd[:, np.newaxis] ** -2.0 * tie))
        self.log_det_start = -2.0 * float(np.sum(np.log(sd)))

    def without(self, left_out: BoolArray) -> "Network":
        """The same network with the oil probes of these bins not read."""
        less = copy(self)
        less.forget()
        less.seen = self.seen & ~left_out
        return less

    def forget(self) -> None:
        """Read the record's probes again at the next call."""
        self.__dict__.pop("_pass", None)

    @cached_property
    def _inputs(self) -> tuple[FloatArray, Mapping[str, int]]:
        """Input series by row: 1, -1, air, heater, then an indicator of each level."""
        record, ones = self.record, np.ones(self.record.bins)
        sources = {
            "one": ones,
            "minus": -ones,
            AIR: record.ambient_c,
            HEATER: record.heater_w,
            ENGINE: self.engine_over_k,
        }
        places = {name: at for at, name in enumerate((*sources, LOAD))}
        return np.array([*sources.values(), *self.level_of.T]), places

    def _column(self, name: str) -> int:
        """Column of an unknown after that of the readings; 0 if it is not an unknown."""
        return self.unknowns.index(name) + 1 if name in self.unknowns else 0

    def _tables(self) -> Tables:
        made = Stamps()
        place = {node: at for at, node in enumerate(NODES)}
        _, source_of = self._inputs
        air_column = self._column("offset_ambient_k")
        for store in STORES:
            made.stamp(0, place[store.at], place[store.of], made.element(store.quantity), 1.0)
        for link in LINKS:
            of = made.element(link.quantity)
            for node, end, factor in ends_of(link):
                if end != AIR:
                    made.stamp(1, place[node], place[end], of, factor)
                    continue
                made.feed(place[node], 0, of, source_of[AIR], factor)
                if air_column:
                    made.feed(place[node], air_column, of, source_of["minus"], factor)
        for source in SOURCES:
            row, of = place[source.enters], made.element(source.quantity)
            if source.heat != LOAD:
                name, usual = GAINS[source.heat]
                column = self._column(name)
                made.feed(row, column, of, source_of[source.heat], 1.0 if column else usual)
                continue
            wander = made.element(source.quantity, "wander")
            made.stamp(1, row, SIZE - 1, wander, 1.0)
            for level in range(self.level_of.shape[1]):
                made.feed(row, self._column(f"level {level}"), of, source_of[LOAD] + level, 1.0)
        probes = [
            (
                place[probe.node],
                self._column(probe.offset),
                self._column(probe.contact),
                *(made.element(q) if q else -1 for q in (probe.cooled, probe.stored, probe.flow)),
            )
            for probe in self.probes
        ]
        return Tables(
            elements=tuple(made.elements),
            stamps=tuple(made.stamps),
            factors=tuple(made.factors),
            feeds=tuple(made.feeds),
            feed_factors=tuple(made.feed_factors),
            readings=tuple(probes),
        )

    @cached_property
    def _pass(self) -> Any:
        """The compiled pass with all its inputs except the parameters."""
        from wattsump_analysis.model.passes import Pass

        tables, record = self.tables, self.record
        inputs, _ = self._inputs
        series = {k: v for k, v in self._series.items() if isinstance(v, np.ndarray)}
        switches = tuple((k, v) for k, v in self._series.items() if k not in series)
        shape = Shape(
            size=SIZE,
            unknowns=len(self.unknowns),
            parameters=tuple(TRANSFORM),
            series=tuple(series),
            switches=switches,
            elements=tables.elements,
            inputs=len(inputs),
            stamps=tables.stamps,
            factors=tables.factors,
            feeds=tables.feeds,
            feed_factors=tables.feed_factors,
            probes=self.probes,
            readings=tables.readings,
            air_column=self._column("offset_ambient_k"),
        )
        entered = np.pad(record.bin_s * midpoints_of(inputs), ((0, 0), (0, 1)))
        readings = [
            row
            for probe, seen in zip(self.probes, self.seen, strict=True)
            for row in (np.nan_to_num(record.oils_c[probe.name]), seen, self._to_air_k(probe))
        ]
        priors = self.unknown_priors.values()
        rows = np.eye(shape.carried)[SIZE:-1]
        rows[:, -1] = [-prior.mean for prior in priors]
        rows /= np.array([[prior.sd] for prior in priors])
        start = rows.T @ rows
        start[:SIZE, :SIZE] = self.start_precision
        return Pass(
            shape=shape,
            common=np.array(
                [self.base_c, record.ambient_c, *entered, *readings, *series.values()]
            ).T.copy(),
            start=start[np.tril_indices(shape.carried)],
        )

    @property
    def _series(self) -> Mapping[str, Any]:
        """The series and scalars of the record that quantities use, by name."""
        every = {field.name: getattr(self.series, field.name) for field in fields(Series)}
        return {name: value for name, value in every.items() if name not in ("bin_s", "ones")}

    def values(self, given: Any) -> FloatArray:
        """Coefficient series of every element, shape (elements, n)."""
        values = np.ones((len(self.tables.elements), self.record.bins))
        for row, names in zip(values, self.tables.elements, strict=True):
            for name in names:
                row *= self._named(name, given)
        return values

    def _bound(self, given: Any) -> FloatArray:
        """Parameters of trials as `Pass` takes them."""
        columns = [np.asarray(getattr(given, name), dtype=float).reshape(-1) for name in TRANSFORM]
        return np.stack(np.broadcast_arrays(*columns, self.record.bin_s), axis=-1)

    def _log_densities(self, whole: FloatArray, given: Any) -> FloatArray:
        """Log densities from the pass's squares and determinants; -inf where there is none."""
        scales = Scales.of(given, self.record.bin_s, self.probes)
        for variance, count in zip(scales.variances, self.seen.sum(axis=1), strict=True):
            whole = whole + count * (np.log(np.ravel(variance)) + LOG_2PI)
        whole += 2.0 * sum(np.log(prior.sd) for prior in self.unknown_priors.values())
        whole -= self.log_det_start
        return np.where(np.isfinite(whole), -0.5 * whole, -np.inf)

    def log_likelihoods(self, given: Any) -> FloatArray:
        """Log density of all readings for trials whose parameters are columns (trials, 1)."""
        return self._log_densities(self._pass.minus_twice(self._bound(given)), given)

    def log_likelihood(self, given: Any) -> float:
        """Log density of all readings, states and unknowns integrated out."""
        return float(self.log_likelihoods(given)[0])

    def spread(self, given: Any) -> Spread:
        """Distribution of the unknowns given the readings, for each trial."""
        whole = self._pass.precisions(self._bound(given))
        precision, right = whole[:, :-1, :-1], -whole[:, :-1, -1:]
        means = np.linalg.solve(precision, right)[:, SIZE:, 0]
        # States come before unknowns, so the corner is the root of the unknowns' own precision.
        return Spread(means=means, roots=np.linalg.cholesky(precision)[:, SIZE:, SIZE:])

    def slopes(self, names: Sequence[str], given: Any) -> tuple[FloatArray, FloatArray]:
        """Log likelihoods and their slopes in the transforms of the parameters `names`.

        Shapes (trials,) and (trials, names). A trial without a likelihood has no slope.
        """
        bound = self._bound(given)
        whole, by_given = self._pass.slopes(bound)
        densities = self._log_densities(whole, given)
        columns = [list(TRANSFORM).index(name) for name in names]
        slopes = -0.5 * by_given[:, columns]
        for slope, name, value in zip(slopes.T, names, bound[:, columns].T, strict=True):
            slope *= stretch(name, value)
        slopes[~np.isfinite(densities)] = 0.0
        return densities, slopes

    def steps(self, given: Any) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Rows a x' + b x = f (1, unknowns) of every step, by plain sums (`kernel` is quicker).

        Shapes (n - 1, m, m) twice and (n - 1, m, 1 + unknowns); the errors of the nodes' rows are
        in J, that of the wander, the last row, is in its own unit.
        """
        h, tables, (inputs, _) = self.record.bin_s, self.tables, self._inputs
        values = midpoints_of(self.values(given))
        middle = midpoints_of(inputs)
        a = np.zeros((self.record.bins - 1, SIZE, SIZE))
        b = np.zeros_like(a)
        f = np.zeros((self.record.bins - 1, SIZE, 1 + len(self.unknowns)))
        for (kind, row, column, of), factor in zip(tables.stamps, tables.factors, strict=True):
            own = factor * values[of] * (1.0 if kind == 0 else -0.5 * h)
            a[:, row, column] += own
            b[:, row, column] += own if kind else -own
        for (row, column, of, source), factor in zip(
            tables.feeds, tables.feed_factors, strict=True
        ):
            f[:, row, column] += h * factor * values[of] * middle[source]
        nodes = slice(SIZE - 1)
        f[:, nodes, 0] -= a[:, nodes, nodes].sum(axis=2) * self.base_c[1:, np.newaxis]
        f[:, nodes, 0] -= b[:, nodes, nodes].sum(axis=2) * self.base_c[:-1, np.newaxis]
        a[:, -1, -1] = 1.0
        b[:, -1, -1] = -np.exp(-h / given.memory_s)
        return a, b, f

    def step_sds(self, given: Any) -> FloatArray:
        """Standard deviations of the errors of `steps`, shape (n - 1, m)."""
        scales = Scales.of(given, self.record.bin_s, self.probes)
        weights = scales.weights_after(self.series.stood_ks[1:])
        return np.stack(np.broadcast_arrays(*weights), axis=-1) ** -0.5

    def reading(
        self, row: int, given: Any, unknown: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, float]:
        """Probe `row` as now x node + before x node a bin ago = value, given the unknowns.

        The value is the reading less what it kept of that before. No first reading counts. The
        last number is its variance, K².
        """
        probe, record = self.probes[row], self.record
        scales = Scales.of(given, record.bin_s, self.probes)
        kept, late = scales.kept[row], scales.late[row]
        none = np.zeros(record.bins)
        drop, rise = none, none
        if probe.flow:
            flow = self._named(probe.flow, given)
            drop = self._named(probe.cooled, given) / flow
            rise = self._named(probe.stored, given) / (flow * record.bin_s)
        now = (1.0 - late) * (1.0 - drop) - rise
        before = late * np.roll(1.0 - drop, 1) + rise
        values = dict(zip(self.unknowns, unknown, strict=True))
        air = drop * (record.ambient_c - values.get("offset_ambient_k", 0.0))
        constant = now * self.base_c + before * np.roll(self.base_c, 1)
        constant += (1.0 - late) * air + late * np.roll(air, 1)
        constant += values.get(probe.offset, 0.0)
        constant += values.get(probe.contact, 0.0) * self._to_air_k(probe)
        read = np.nan_to_num(record.oils_c[probe.name])
        took = 1.0 - kept
        value = read - kept * np.roll(read, 1) - took * constant
        return took * now, took * before, value, scales.variances[row]

    def _named(self, quantity: str, given: Any) -> FloatArray:
        return np.asarray(QUANTITIES[quantity](given, self.series))

    def _to_air_k(self, probe: Probe) -> FloatArray:
        """How far the air is above a probe's reading [K], shape (n,); 0 without a reading."""
        return np.nan_to_num(self.record.ambient_c - self.record.oils_c[probe.name])

    def smooth(self, given: Any, rng: np.random.Generator | None = None) -> Smooth:
        """States given all readings: their mean, or one joint draw if `rng` is given."""
        return self.smooths(given, rng)[0]

    def smooths(self, given: Any, rng: np.random.Generator | None = None) -> list[Smooth]:
        """`smooth` of every trial."""
        bound, spread = self._bound(given), self.spread(given)
        noise = np.zeros((len(bound), self.record.bins, SIZE))
        unknowns = spread.means
        if rng is not None:
            noise, unknowns = rng.standard_normal(noise.shape), spread.drawn(rng)
        states = self._pass.states(bound, unknowns, noise)
        return self._booked(given, states, unknowns)

    def _booked(self, given: Any, states: FloatArray, unknowns: FloatArray) -> list[Smooth]:
        """Heat flows of the links, sources and stores along paths of states."""
        nodes = {node: self.base_c + states[:, :, row] for row, node in enumerate(NODES)}
        unknown = {name: unknowns[:, k, np.newaxis] for k, name in enumerate(self.unknowns)}
        temps = nodes | {AIR: self.record.ambient_c - unknown.get("offset_ambient_k", 0.0)}
        of = partial(self._named, given=given)
        booked: dict[str, Any] = {}
        for link in LINKS:
            if link.booked:
                flow = of(link.quantity) * (temps[link.hot] - temps[link.cold])
                booked[link.booked] = booked.get(link.booked, 0.0) + flow
        levels = unknowns[:, [name.startswith("level ") for name in self.unknowns]]
        load = levels @ self.level_of.T + of("wander") * states[:, :, -1]
        # Sum the heat taken up instead of capacity times temperature: a change of capacity, as of
        # a core without flow or of warmer oil, must not count as heat.
        taken = sum(midpoints_of(of(store.quantity)) * np.diff(nodes[store.of]) for store in STORES)
        shares = sum(of(source.quantity) for source in SOURCES if source.heat == LOAD)
        heater, engine = (
            unknown.get(name, usual) * given
            for (name, usual), given in zip(
                GAINS.values(), (self.record.heater_w, self.engine_over_k), strict=True
            )
        )
        series = {
            "air_c": temps[AIR],
            "heat_w": load * shares,
            "heater_w": heater,
            "cooler_w": booked["cooler"],
            # What a warm engine gives to the tank is so much less lost.
            "shell_w": booked["shell"] - engine,
            "stored_j": np.pad(np.cumsum(taken, axis=-1), ((0, 0), (1, 0))),
        }
        series = {name: np.broadcast_to(rows, load.shape) for name, rows in series.items()}
        return [
            Smooth(
                nodes_c={node: rows[trial] for node, rows in nodes.items()},
                **{name: rows[trial] for name, rows in series.items()},
            )
            for trial in range(len(states))
        ]


def _follows_a_reading(record: Record, probes: Sequence[Probe]) -> BoolArray:
    """Where a probe was read in the bin before, (probes, n): a late one tells nothing without."""
    read = np.array([np.isfinite(record.oils_c[probe.name]) for probe in probes])
    return np.pad(read[:, :-1], ((0, 0), (1, 0)))


def shell_ratio(surface_c: FloatArray, ambient_c: FloatArray) -> FloatArray:
    """Loss of a surface at rest per kelvin, over that at 60 °C in 20 °C air.

    Half by radiation, growing with the mean cube of the absolute temperatures, half by free
    convection, growing with the fourth root of the excess (laminar; Bergman and Lavine,
    Fundamentals of Heat and Mass Transfer, eq. 1.9 and table 9.2). The halves are common
    practice, no source. An excess below 1 K counts as 1 K.
    """
    hot, cold = surface_c + KELVIN, ambient_c + KELVIN
    usual = (KELVIN + 60.0, KELVIN + 20.0)
    radiation = (hot**2 + cold**2) * (hot + cold) / ((usual[0] ** 2 + usual[1] ** 2) * sum(usual))
    convection = (np.maximum(np.abs(surface_c - ambient_c), 1.0) / 40.0) ** 0.25
    return np.asarray(0.5 * (radiation + convection))


def midpoints_of(rows: FloatArray) -> FloatArray:
    """Means of neighbours along the last axis."""
    return 0.5 * (rows[..., :-1] + rows[..., 1:])
