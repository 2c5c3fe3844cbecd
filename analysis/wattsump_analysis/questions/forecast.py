"""Forecast: where a work rate settles, the air it allows, how soon, and without the fan."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.physics import forecast
from wattsump_analysis.physics.harm import OIL_STANDS_C
from wattsump_analysis.physics.lumps import OneNode
from wattsump_analysis.questions.answer import Answer, Figure, Row, Section, temperature
from wattsump_analysis.questions.asked import ForecastAsked, RatingAsked
from wattsump_analysis.questions.givens import (
    Givens,
    draws,
    from_samples,
    needed,
    oil_limits_c,
)
from wattsump_analysis.questions.limits import remarks_on
from wattsump_analysis.questions.rating_case import drive_loss, label_conductance
from wattsump_analysis.questions.typed import value_of
from wattsump_logger.machine.profile import Limits
from wattsump_logger.remark import Remark

__all__ = ("foresee",)

_BEYOND = Remark(code="beyond-oil", text="beyond what the oil withstands")
# Colder than any woodlot: common practice, no source.
_COLDEST_AIR_C = -60.0
_USUAL_AIR_C = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """Everything filled in; draws of shape (n,), W and W/K.

    Temperatures are of the oil into the cooler, `gap_k` above the tank. The shell's loss depends on
    the tank's temperature, so with the inlet's temperature shell x gap is added to the heat.
    """

    ambient_c: float
    gap_k: float
    limits_c: Mapping[str, float]
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
    def settled_c(self) -> FloatArray:
        """Where the oil settles at half of the load."""
        return forecast.steady_temp_c(self.ambient_c, self.heat_w, self.loss_w_k)

    @property
    def strictest(self) -> tuple[str, float]:
        """The limit met first, with its name."""
        return min(self.limits_c.items(), key=lambda item: item[1])


def foresee(asked: ForecastAsked, givens: Givens) -> Answer:
    """Answer how hot the oil gets at an ambient and a work rate, how soon, and what air is too hot.

    Raises
    ------
    UsageError
        Heat, cooler conductance or the ambient is unknown.
    RangeError
        A value out of its formula's range.
    """
    own_air = False
    if asked.ambient is None and asked.hottest is not None:
        asked = replace(asked, ambient=asked.hottest)
    elif asked.ambient is None and givens.ambients_c is not None:
        own_air = True
        asked = replace(asked, ambient=temperature(sum(givens.ambients_c) / 2))
    k, heat, ambient = needed(
        "forecast",
        measured=asked.measured or givens.k_w_k or label_conductance(givens),
        heat=asked.heat or givens.heat_w or drive_loss(RatingAsked(), givens),
        ambient=asked.ambient,
    )
    case = _case_of(asked, givens, k, heat, ambient.value)
    return Answer(
        question="forecast",
        headline=tuple(_headline(case, asked, givens)),
        sections=(
            _settled(case),
            _limiting(case, asked, givens),
            *_other_channels(asked, givens),
            *_minutes(case, asked),
            *_without_fan(case, asked),
            *_altitude(case, asked, k, givens),
            *_meaning(case),
        ),
        assumed=(
            *_unmeasured(asked, givens, k, heat),
            *_own_air(case, own_air),
            *_assumed(case, asked, givens),
        ),
    )


def _unmeasured(asked: ForecastAsked, givens: Givens, k: Figure, heat: Figure) -> Iterator[Remark]:
    """State what is from the label or from rules of thumb, before anything is measured."""
    if asked.measured is None and givens.k_w_k is None:
        yield Remark(
            code="label-taken-as-true",
            text=("NOT MEASURED: the label is taken as true, ", k, "; or --measured."),
        )
    if asked.heat is None and givens.heat_w is None:
        yield Remark(
            code="heat-from-drive",
            text=("ESTIMATE: heat of pump and motor at full power, ", heat, "; or --heat."),
        )


def _own_air(case: _Case, taken: bool) -> Iterator[Remark]:
    if taken:
        yield Remark(
            code="air-of-the-outing",
            text=(
                "Air as it was during the outing, ",
                temperature(case.ambient_c),
                "; or --ambient.",
            ),
        )


def _settles(case: _Case, heat_w: FloatArray) -> Figure:
    return _oil_figure(forecast.steady_temp_c(case.ambient_c, heat_w, case.loss_w_k))


def _headline(case: _Case, asked: ForecastAsked, givens: Givens) -> Iterator[Remark]:
    settled = case.settled_c
    figure = _oil_figure(settled)
    beyond = f", {_BEYOND}" if figure.beyond else ""
    yield Remark(code="oil-settles", text=(
        "In air of ", temperature(case.ambient_c), " the oil settles at ", figure, f"{beyond}.",
    ))  # fmt: skip
    name, limit_c = case.strictest
    over = float(np.mean(settled > limit_c))
    yield Remark(
        code="chance-over-limit",
        text=(
            f"Chance of passing {name} ",
            temperature(limit_c),
            ": ",
            Figure(over, "probability"),
            ".",
        ),
    )
    trust = _trust_of(case.ambient_c, asked, givens)
    if trust is None:
        yield Remark(
            code="forecast-not-checked",
            text="NOT CHECKED: the air during the measurement is unknown; type --measured-ambient.",
        )
    elif trust.standing != "trusted":
        gap = Figure(trust.gap_k, "temperature_difference")
        yield Remark(
            code="forecast-beyond-measured",
            text=(f"{trust.standing.upper()}: ", gap, " beyond the air that was measured."),
        )


def _settled(case: _Case) -> Section:
    settled = case.settled_c
    temps = [("settles_p50_c", "half the work stays below (P50)", _oil_figure(settled))]
    if case.heavy_w is not None:
        heavy = _settles(case, case.heavy_w)
        temps.append(("settles_p90_c", "nine tenths of it (P90)", heavy))
    if case.gap_k > 0.0:
        tank = _oil_figure(settled - case.gap_k)
        temps.append(("settles_tank_p50_c", "in the tank (P50)", tank))
    rows = (
        Row(key, label, figure, flag=_BEYOND if figure.beyond else None)
        for key, label, figure in temps
    )
    return Section(title="Settles at", rows=tuple(rows))


def _limiting(case: _Case, asked: ForecastAsked, givens: Givens) -> Section:
    """Air at which each limit is reached, flagged beyond the measured air, and the margin."""
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
                Row(f"limiting_{key}_c", label, figure, flag=_air_flag(figure.value, asked, givens))
            )
            if asked.hottest is not None:
                margin = from_samples(air - asked.hottest.value, "temperature_difference")
                rows.append(Row(f"margin_{key}_k", "  margin, hottest day", margin))
    return Section(title="Air at which a limit is reached", rows=tuple(rows))


def _air_flag(air_c: float, asked: ForecastAsked, givens: Givens) -> Remark | None:
    if air_c < _COLDEST_AIR_C:
        return Remark(code="no-air-so-cold", text="no air is so cold")
    return _standing(air_c, asked, givens)


def _other_channels(asked: ForecastAsked, givens: Givens) -> Iterator[Section]:
    """Limits of other channels, degree for degree from their hottest reading."""
    rows, limits = [], list[Remark]()
    for name, limit_c in givens.limits_c.items():
        peak_c, air_c = givens.peaks_c.get(name), givens.peak_ambients_c.get(name)
        if peak_c is None or air_c is None or name == "tank":
            continue
        limiting_c = forecast.limiting_ambient_from_reading_c(limit_c, peak_c, air_c)
        rows.append(
            Row(
                f"limiting_{_slug(name)}_c",
                name.replace("_", " "),
                temperature(limiting_c),
                flag=_standing(limiting_c, asked, givens),
            )
        )
        text = (f"Limit of {name.replace('_', ' ')}: ", temperature(limit_c), ".")
        limits.append(Remark(code="limit-of-channel", text=text))
    if rows:
        remark = Remark(
            code="right-if-settled",
            text="Right if the work had settled by then; too favourable if it had not.",
        )
        yield Section(
            title="Air at which another channel meets its limit, from its peak",
            rows=tuple(rows),
            remarks=(*limits, remark),
        )


def _slug(name: str) -> str:
    return "_".join(name.replace(",", " ").split())


def _altitude(case: _Case, asked: ForecastAsked, k: Figure, givens: Givens) -> Iterator[Section]:
    if asked.altitude is None:
        return
    low, likely, high = (k.value * factor for factor in case.air_factor)
    figure = Figure(likely, "conductance", low=low, high=high)
    row = Row(
        "altitude_w_k",
        "cooler in that air",
        figure,
        note=Remark(code="altitude-usual", text="common practice; used above"),
    )
    yield Section(title="Altitude", rows=(row,))


def _meaning(case: _Case) -> Iterator[Section]:
    heavier = case.heat_w if case.heavy_w is None else case.heavy_w
    remarks = tuple(remarks_on(_settles(case, heavier).value))
    if remarks:
        yield Section(title="What that temperature means", remarks=remarks)


def _assumed(case: _Case, asked: ForecastAsked, givens: Givens) -> Iterator[Remark]:
    if not case.shell_w_k.any():
        yield Remark(
            code="shell-loss-zero", text="Shell loss unknown, taken as zero, which is conservative."
        )
    if case.capacity_j_k is None:
        yield Remark(
            code="capacity-unknown",
            text="Heat capacity unknown: no times. Type --capacity or give --machine.",
        )
    span = _measured_span(asked, givens)
    if span is not None:
        low, high = span[0] - forecast.TRUSTED_GAP_K, span[1] + forecast.TRUSTED_GAP_K
        yield Remark(
            code="trusted-air",
            text=("Trusted in air of ", temperature(low), " to ", temperature(high), "."),
        )
    if asked.work is not None:
        yield Remark(
            code="heat-scaled",
            text=f"Heat scaled by {asked.work.value * 100:.0f} % work rate, as a straight line.",
        )
    if asked.measured is None and asked.heat is None and givens.k_w_k is not None:
        yield Remark(
            code="one-scale",
            text="Cooler, heat and shell share one scale of watts, whose error cancels here.",
        )
    refers = givens.k_refers_to if asked.measured is None else ""
    if case.gap_k > 0.0:
        gap = Figure(case.gap_k, "temperature_difference")
        yield Remark(
            code="oil-is-into-cooler-above-tank",
            text=("Oil means oil into the cooler; the tank was cooler by ", gap, " at warm work."),
        )
    else:
        yield Remark(code="oil-is-where", text=f"Oil means {refers or 'oil into the cooler'}.")
    yield Remark(
        code="one-lump", text="One lump of oil and metal; fan always on; same oil and same core."
    )
    if asked.altitude is None:
        yield Remark(
            code="thin-air-and-oil",
            text="Hotter air is thinner and hotter oil too: a few per cent against each other.",
        )
    yield from givens.notes


def _case_of(
    asked: ForecastAsked, givens: Givens, k: Figure, heat: Figure, ambient_c: float
) -> _Case:
    """Fill a case: typed values first, then measured ones, then the usual ones."""
    nothing = Figure(0.0, "conductance")
    shell = asked.shell or givens.shell_w_k or nothing
    capacity = asked.capacity or givens.capacity_j_k
    heavy = asked.heavy_heat or (givens.heat_p90_w if asked.heat is None else None)
    work = value_of(asked.work, 1.0)
    # Values of an outing share an error of scale in watts; typed values do not.
    measured = asked.measured is None and asked.heat is None and givens.k_w_k is not None
    drawn = draws(k, heat, shell, capacity or nothing, one_scale=measured)
    # Heat is flow times gap, so the gap grows with the work rate.
    gap_k = givens.inlet_above_tank_k * work if asked.measured is None else 0.0
    heat_w = drawn[1] * work
    factors = _factors(asked, givens, ambient_c)
    return _Case(
        ambient_c=ambient_c,
        limits_c=_limits(asked, givens),
        gap_k=gap_k,
        heat_w=heat_w + drawn[2] * gap_k,
        # A quantile of the same load, so its draws are scaled draws of the load.
        heavy_w=None if heavy is None else (heat_w + drawn[2] * gap_k) * heavy.value / heat.value,
        cooler_w_k=drawn[0] * factors[1],
        shell_w_k=drawn[2],
        capacity_j_k=drawn[3] if capacity else None,
        air_factor=factors,
    )


def _limits(asked: ForecastAsked, givens: Givens) -> dict[str, float]:
    if asked.limit is not None:
        return {"typed limit": asked.limit.value}
    limits_c = {name: value for name, value in givens.limits_c.items() if name.startswith("oil")}
    return limits_c or oil_limits_c(Limits())


def _factors(asked: ForecastAsked, givens: Givens, ambient_c: float) -> tuple[float, float, float]:
    """Factor on the cooler from the altitude measured at to that asked for: low, likely, high."""
    if asked.altitude is None:
        return 1.0, 1.0, 1.0
    span = _measured_span(asked, givens)
    return forecast.conductance_at_altitude_w_k(
        1.0,
        measured_altitude_m=value_of(asked.measured_altitude, 0.0),
        altitude_m=asked.altitude.value,
        measured_temp_c=_USUAL_AIR_C if span is None else 0.5 * (span[0] + span[1]),
        temp_c=_USUAL_AIR_C if span is None else ambient_c,
    )


def _oil_figure(samples_c: FloatArray) -> Figure:
    """Oil temperatures as a figure [°C]; above what oil withstands, only "over" is shown."""
    return replace(from_samples(samples_c, "temperature"), most=OIL_STANDS_C)


def _trust_of(ambient_c: float, asked: ForecastAsked, givens: Givens) -> forecast.Trust | None:
    """Whether a forecast at an ambient can be trusted; None where no ambient was measured."""
    span = _measured_span(asked, givens)
    return None if span is None else forecast.ambient_trust(ambient_c, np.array(span))


def _measured_span(asked: ForecastAsked, givens: Givens) -> tuple[float, float] | None:
    """Coolest and warmest air of the measurement [°C]."""
    return asked.measured_ambient.ends if asked.measured_ambient else givens.ambients_c


def _standing(ambient_c: float, asked: ForecastAsked, givens: Givens) -> Remark | None:
    """Flag of a figure at an ambient; None where it is trusted."""
    trust = _trust_of(ambient_c, asked, givens)
    if trust is None or trust.standing == "trusted":
        return None
    return Remark(code="air-beyond-measured", text=trust.standing)


# Countdowns are scalar formulas, so they use fewer draws than the vectors: with 800 the ends of a
# 95 % interval scatter by about 5 % of its half width.
_COUNTDOWNS = 800
# Seals and oil film fail here, well below the oil's own limit: `harm.OIL_LEVELS`, rounded up.
_STOP_C = 120.0


def _minutes(case: _Case, asked: ForecastAsked) -> Iterator[Section]:
    """Time at work until the strictest limit, from cold and from now."""
    if case.capacity_j_k is None:
        return
    start = value_of(asked.start, case.ambient_c)
    name, limit_c = case.strictest
    # Once oil flows, it enters the cooler hotter than a cold tank by the gap.
    cold = _time_to_limit(case, case.capacity_j_k, start + case.gap_k)
    rows = [Row("minutes_from_cold_s", "from cold", cold)]
    if asked.now is not None:
        now = _time_to_limit(case, case.capacity_j_k, asked.now.value)
        rows.append(Row("minutes_from_now_s", "from now", now))
    remark = Remark(code="cold-and-limit", text=(
        "Cold is ", temperature(start), f"; the limit is {name}, ", temperature(limit_c), ".",
    ))  # fmt: skip
    yield Section(title="Time to the limit at work", rows=tuple(rows), remarks=(remark,))


def _time_to_limit(case: _Case, capacity_j_k: FloatArray, start_c: float) -> Figure:
    seconds = [
        forecast.time_to_limit(
            OneNode(capacity_j_k=float(capacity_j_k[at]), loss_w_k=float(case.loss_w_k[at])),
            start_c=start_c,
            ambient_c=case.ambient_c,
            heat_w=float(case.heat_w[at]),
            limit_c=case.strictest[1],
        ).seconds
        for at in range(_COUNTDOWNS)
    ]
    return from_samples(np.array(seconds), "duration")


def _without_fan(case: _Case, asked: ForecastAsked) -> Iterator[Section]:
    """Temperature and time after the fan stops, in settled work or now."""
    settled = case.settled_c
    start = settled if asked.now is None else np.full_like(settled, asked.now.value)
    name, limit_c = _next_limit(case, float(np.median(start)))
    # Without a capacity the final temperature is still valid; the time is not shown.
    capacity = np.ones_like(settled) if case.capacity_j_k is None else case.capacity_j_k
    failures = [
        forecast.fan_failure(
            capacity_j_k=float(capacity[at]),
            shell_w_k=float(case.shell_w_k[at]),
            still_cooler_w_k=value_of(asked.still, 0.0),
            start_c=float(start[at]),
            ambient_c=case.ambient_c,
            heat_w=float(case.heat_w[at]),
            limit_c=limit_c,
        )
        for at in range(_COUNTDOWNS)
    ]
    end = _oil_figure(np.array([failure.final_c for failure in failures]))
    rows = [Row("fan_off_settles_c", "would settle at", end, flag=_too_hot(end.value))]
    if case.capacity_j_k is not None:
        seconds = from_samples(np.array([failure.seconds for failure in failures]), "duration")
        rows.append(Row("fan_off_minutes_s", "time to the limit", seconds))
    since = "settled work" if asked.now is None else "now"
    guess = "" if asked.still else " Still cooler taken as zero, which is conservative."
    text = (f"From {since}; the limit is {name}, ", temperature(limit_c), f".{guess}")
    remark = Remark(code="fan-stops", text=text)
    yield Section(title="If the fan stops and work goes on", rows=tuple(rows), remarks=(remark,))


def _next_limit(case: _Case, start_c: float) -> tuple[str, float]:
    """The next limit above an oil temperature, else the strictest."""
    ahead = [item for item in case.limits_c.items() if item[1] > start_c]
    return min(ahead, key=lambda item: item[1]) if ahead else case.strictest


def _too_hot(end_c: float) -> Remark | None:
    if end_c < _STOP_C:
        return None
    beyond = f"{_BEYOND}: " if end_c > OIL_STANDS_C else ""
    return Remark(code="stop-long-before", text=f"{beyond}stop long before")
