"""Forecast: where a work rate settles, the air it allows, how soon, and without the fan."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from wattsump_analysis import forecast
from wattsump_analysis._shapes import FloatArray
from wattsump_analysis.answers import Answer, Figure, Pieces, Row, Section, temperature
from wattsump_analysis.answers_heat import said_of
from wattsump_analysis.answers_known import Known, draws, from_samples, needed
from wattsump_analysis.answers_typed import (
    Altitude,
    Conductance,
    Fraction,
    HeatCapacity,
    Power,
    Temperature,
)
from wattsump_analysis.nodes import OneNode, one_node_countdown

__all__ = ("ForecastAsked", "foresee")

# Countdowns are scalar formulas, so they take fewer draws than the vectors do: at 800 the ends
# of a 95 % interval scatter by about 5 % of its half width.
_COUNTDOWNS = 800
_USUAL_LIMITS_C = {"oil, advised": 66.0, "oil, highest": 82.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastAsked:
    """What may be typed. `work` scales the heat; `still` is the cooler without its fan."""

    ambient: Temperature = None
    measured_ambient: Temperature = None
    hottest: Temperature = None
    measured: Conductance = None
    shell: Conductance = None
    capacity: HeatCapacity = None
    heat: Power = None
    heavy_heat: Power = None
    work: Fraction = None
    limit: Temperature = None
    now: Temperature = None
    start: Temperature = None
    still: Conductance = None
    altitude: Altitude = None
    measured_altitude: Altitude = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """Everything filled in; draws of shape (n,), W and W/K.

    Temperatures are those of oil into the cooler, `gap_k` above the tank. The shell loses from
    the tank, so by that much less: counted from the inlet, shell x gap adds to the heat.
    """

    ambient_c: float
    gap_k: float
    limits_c: dict[str, float]
    heat_w: FloatArray
    heavy_w: FloatArray | None
    cooler_w_k: FloatArray
    shell_w_k: FloatArray
    capacity_j_k: FloatArray | None
    air_factor: tuple[float, float, float]

    @property
    def loss_w_k(self) -> FloatArray:
        """Cooler and shell together [W/K]."""
        return self.cooler_w_k + self.shell_w_k

    @property
    def strictest(self) -> tuple[str, float]:
        """The limit met first, with its name."""
        return min(self.limits_c.items(), key=lambda item: item[1])


def foresee(asked: ForecastAsked, known: Known) -> Answer:
    """Answer how hot at an ambient and a work rate, what air is too hot, and how soon.

    Raises
    ------
    UsageError
        Heat, cooler conductance or the ambient are not known.
    RangeError
        A value out of its formula's range.
    """
    k, heat = asked.measured or known.k_w_k, asked.heat or known.heat_w
    needed((k, "--measured"), (heat, "--heat"), (asked.ambient, "--ambient"), what="forecast")
    if k is None or heat is None or asked.ambient is None:  # for the type checker
        raise AssertionError
    case = _case(asked, known, k, heat)
    return Answer(
        question="forecast",
        headline=tuple(_headline(case, asked, known)),
        sections=(
            _settled(case),
            _limiting(case, asked, known),
            *_other_channels(asked, known),
            *_minutes(case, asked),
            *_without_fan(case, asked),
            *_altitude(case, asked, k, known),
            *_meaning(case),
        ),
        assumed=tuple(_assumed(case, asked, known)),
    )


def _case(asked: ForecastAsked, known: Known, k: Figure, heat: Figure) -> _Case:
    if asked.ambient is None:  # for the type checker
        raise AssertionError
    nothing = Figure(value=0.0, kind="conductance")
    shell = asked.shell or known.shell_w_k or nothing
    capacity = asked.capacity or known.capacity_j_k
    heavy = asked.heavy_heat or (known.heat_p90_w if asked.heat is None else None)
    work = 1.0 if asked.work is None else asked.work.value
    # Values of one outing rest on one scale of watts; values typed by hand do not.
    measured = asked.measured is None and asked.heat is None and known.k_w_k is not None
    drawn = draws(k, heat, shell, capacity or nothing, one_scale=measured)
    # Heat goes with flow and gap alike, so the gap grows with the work rate.
    gap_k = known.inlet_above_tank_k * work if asked.measured is None else 0.0
    heat_w = drawn[1] * work
    return _Case(
        ambient_c=asked.ambient.value,
        limits_c=_limits(asked, known),
        gap_k=gap_k,
        heat_w=heat_w + drawn[2] * gap_k,
        # A quantile of the same load, so it moves with the draws of the load itself.
        heavy_w=None if heavy is None else (heat_w + drawn[2] * gap_k) * heavy.value / heat.value,
        cooler_w_k=drawn[0] * _factor(asked, 1),
        shell_w_k=drawn[2],
        capacity_j_k=drawn[3] if capacity else None,
        air_factor=(_factor(asked, 0), _factor(asked, 1), _factor(asked, 2)),
    )


def _limits(asked: ForecastAsked, known: Known) -> dict[str, float]:
    found = {name: value for name, value in known.limits_c.items() if name.startswith("oil")}
    found = found or dict(_USUAL_LIMITS_C)
    return found | ({} if asked.limit is None else {"typed limit": asked.limit.value})


def _factor(asked: ForecastAsked, which: int) -> float:
    """Cooler at the asked-for altitude over the measured one: low, likely or high [-]."""
    if asked.altitude is None:
        return 1.0
    low_to_high = forecast.conductance_at_altitude_w_k(
        1.0,
        measured_altitude_m=0.0
        if asked.measured_altitude is None
        else asked.measured_altitude.value,
        altitude_m=asked.altitude.value,
    )
    return low_to_high[which]


def _settles(case: _Case, heat_w: FloatArray) -> Figure:
    samples = forecast.steady_temp_c(case.ambient_c, heat_w, case.loss_w_k)
    return from_samples(samples, "temperature")


def _headline(case: _Case, asked: ForecastAsked, known: Known) -> Iterator[Pieces]:
    settled = forecast.steady_temp_c(case.ambient_c, case.heat_w, case.loss_w_k)
    yield (
        "In air of ", temperature(case.ambient_c), " the oil settles at ",
        from_samples(settled, "temperature"), ".",
    )  # fmt: skip
    name, limit_c = case.strictest
    over = float(np.mean(settled > limit_c))
    yield (
        f"Chance of passing {name} ",
        temperature(limit_c),
        ": ",
        Figure(value=over, kind="probability"),
        ".",
    )
    trust = _trust(case.ambient_c, asked, known)
    if trust is None:
        yield ("NOT CHECKED: the air during the measurement is unknown; type --measured-ambient.",)
    elif trust.standing != "trusted":
        gap = Figure(value=trust.gap_k, kind="temperature_difference")
        yield (f"{trust.standing.upper()}: ", gap, " beyond the air that was measured.")


def _trust(ambient_c: float, asked: ForecastAsked, known: Known) -> forecast.Trust | None:
    span = _measured_span(asked, known)
    return None if span is None else forecast.ambient_trust(ambient_c, np.array(span))


def _measured_span(asked: ForecastAsked, known: Known) -> tuple[float, float] | None:
    typed = asked.measured_ambient
    if typed is None:
        return known.ambients_c
    low, high = typed.low, typed.high
    return typed.value if low is None else low, typed.value if high is None else high


def _settled(case: _Case) -> Section:
    rows = [
        Row(
            key="settles_p50_c",
            label="half the work stays below (P50)",
            figure=_settles(case, case.heat_w),
        )
    ]
    if case.heavy_w is not None:
        figure = _settles(case, case.heavy_w)
        rows.append(Row(key="settles_p90_c", label="nine tenths of it (P90)", figure=figure))
    if case.gap_k > 0.0:
        tank = forecast.steady_temp_c(case.ambient_c, case.heat_w, case.loss_w_k) - case.gap_k
        figure = from_samples(tank, "temperature")
        rows.append(Row(key="settles_tank_p50_c", label="in the tank (P50)", figure=figure))
    return Section(title="Settles at", rows=tuple(rows))


def _limiting(case: _Case, asked: ForecastAsked, known: Known) -> Section:
    """Air at which each limit is reached, flagged where unmeasured, and the margin."""
    rows = []
    for name, limit_c in sorted(case.limits_c.items(), key=lambda item: item[1]):
        for load, heat_w in (("p50", case.heat_w), ("p90", case.heavy_w)):
            if heat_w is None:
                continue
            air = forecast.limiting_ambient_c(limit_c, heat_w, case.loss_w_k)
            figure = from_samples(air, "temperature")
            key = f"{_slug(name)}_{load}"
            label = f"{name}, {load.upper()} load"
            rows.append(
                Row(
                    key=f"limiting_{key}_c",
                    label=label,
                    figure=figure,
                    flag=_flag(figure.value, asked, known),
                )
            )
            if asked.hottest is not None:
                margin = from_samples(air - asked.hottest.value, "temperature_difference")
                rows.append(
                    Row(key=f"margin_{key}_k", label="  margin, hottest day", figure=margin)
                )
    return Section(title="Air at which a limit is reached", rows=tuple(rows))


def _other_channels(asked: ForecastAsked, known: Known) -> Iterator[Section]:
    """Limits of other channels, degree for degree from their hottest reading."""
    rows = []
    for name, limit_c in known.limits_c.items():
        peak_c, air_c = known.peaks_c.get(name), known.peak_ambients_c.get(name)
        if peak_c is None or air_c is None or name == "tank":
            continue
        found = forecast.limiting_ambient_from_reading_c(limit_c, peak_c, air_c)
        rows.append(
            Row(
                key=f"limiting_{_slug(name)}_c",
                label=f"{name}, limit {limit_c:g} °C",
                figure=temperature(found),
                flag=_flag(found, asked, known),
            )
        )
    if rows:
        remark = "Right if the work had settled by then; too kind if it had not."
        yield Section(
            title="Other channels, from their peak", rows=tuple(rows), remarks=((remark,),)
        )


def _slug(name: str) -> str:
    return "_".join(name.replace(",", " ").split())


def _flag(ambient_c: float, asked: ForecastAsked, known: Known) -> str:
    trust = _trust(ambient_c, asked, known)
    return "" if trust is None or trust.standing == "trusted" else trust.standing


def _countdowns(
    case: _Case, capacity_j_k: FloatArray, start_c: float | FloatArray, loss_w_k: FloatArray
) -> Figure:
    """Time to the strictest limit over the draws."""
    starts = np.broadcast_to(start_c, case.heat_w.shape)
    limit_c = case.strictest[1]

    def seconds(at: int) -> float:
        node = OneNode(capacity_j_k=float(capacity_j_k[at]), loss_w_k=float(loss_w_k[at]))
        if starts[at] >= limit_c:
            return 0.0
        return one_node_countdown(
            node,
            start_c=float(starts[at]),
            ambient_c=case.ambient_c,
            power_w=float(case.heat_w[at]),
            target_c=limit_c,
        ).seconds

    return from_samples(_each(seconds), "duration")


def _each(function: Callable[[int], float]) -> FloatArray:
    return np.array([function(at) for at in range(_COUNTDOWNS)])


def _minutes(case: _Case, asked: ForecastAsked) -> Iterator[Section]:
    if case.capacity_j_k is None:
        return
    start = case.ambient_c if asked.start is None else asked.start.value
    name, limit_c = case.strictest
    rows = [
        Row(
            key="minutes_from_cold_s",
            label="from cold",
            # Once it flows, oil into the cooler is hotter than a cold tank by the gap.
            figure=_countdowns(case, case.capacity_j_k, start + case.gap_k, case.loss_w_k),
        )
    ]
    if asked.now is not None:
        figure = _countdowns(case, case.capacity_j_k, asked.now.value, case.loss_w_k)
        rows.append(Row(key="minutes_from_now_s", label="from now", figure=figure))
    remark: Pieces = (
        "Cold is ",
        temperature(start),
        f"; the limit is {name}, ",
        temperature(limit_c),
        ".",
    )
    yield Section(title="Time to the limit at work", rows=tuple(rows), remarks=(remark,))


def _without_fan(case: _Case, asked: ForecastAsked) -> Iterator[Section]:
    """The fan stops in settled work, or now: what is left is the shell and the still cooler."""
    still = 0.0 if asked.still is None else asked.still.value
    left = case.shell_w_k + still
    if not np.all(left > 0.0):
        end = Figure(value=math.inf, kind="temperature")
    else:
        ends = forecast.steady_temp_c(case.ambient_c, case.heat_w, left)
        end = from_samples(ends, "temperature")
    rows = [
        Row(
            key="fan_off_settles_c",
            label="heads for",
            figure=end,
            flag="" if end.value < 120.0 else "stop long before",
        )
    ]
    if case.capacity_j_k is not None:
        settled = forecast.steady_temp_c(case.ambient_c, case.heat_w, case.loss_w_k)
        start = settled if asked.now is None else np.full_like(settled, asked.now.value)
        figure = _countdowns(case, case.capacity_j_k, start, left)
        rows.append(Row(key="fan_off_minutes_s", label="time to the limit", figure=figure))
    guess = "" if asked.still else " Still cooler counted as nothing, the careful guess."
    yield Section(
        title="If the fan stops and work goes on",
        rows=tuple(rows),
        remarks=((f"From {'settled work' if asked.now is None else 'now'}.{guess}",),),
    )


def _altitude(case: _Case, asked: ForecastAsked, k: Figure, known: Known) -> Iterator[Section]:
    if asked.altitude is None:
        return
    low, likely, high = (k.value * factor for factor in case.air_factor)
    figure = Figure(value=likely, kind="conductance", low=low, high=high)
    row = Row(
        key="altitude_w_k",
        label="cooler in that air",
        figure=figure,
        note="common practice; used above",
    )
    yield Section(title="Altitude", rows=(row,))


def _meaning(case: _Case) -> Iterator[Section]:
    heavier = case.heat_w if case.heavy_w is None else case.heavy_w
    remarks = tuple(said_of(_settles(case, heavier).value))
    if remarks:
        yield Section(title="What that temperature is called", remarks=remarks)


def _assumed(case: _Case, asked: ForecastAsked, known: Known) -> Iterator[Pieces]:
    if not case.shell_w_k.any():
        yield ("Shell loss unknown, counted as nothing: the careful guess.",)
    if case.capacity_j_k is None:
        yield ("Heat capacity unknown: no times. Type --capacity or give --machine.",)
    span = _measured_span(asked, known)
    if span is not None:
        low, high = (
            span[0] - forecast.TRUSTED_GAP_K,
            span[1] + forecast.TRUSTED_GAP_K,
        )
        yield ("Trusted in air of ", temperature(low), " to ", temperature(high), ".")
    if asked.work is not None:
        yield (f"Heat scaled by {asked.work.value:.0%} work rate, as a straight line.",)
    if asked.measured is None and asked.heat is None:
        yield ("Cooler, heat and shell share one scale of watts, whose error cancels here.",)
    refers = known.k_refers_to if asked.measured is None else ""
    if case.gap_k > 0.0:
        gap = Figure(value=case.gap_k, kind="temperature_difference")
        yield ("Oil means oil into the cooler; the tank was cooler by ", gap, " at warm work.")
    else:
        yield (f"Oil means {refers or 'oil into the cooler'}.",)
    yield ("One lump of oil and metal; fan always on; same oil and same core.",)
    for note in known.notes:
        yield (note,)
