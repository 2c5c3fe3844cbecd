"""Forecast: where a work rate settles, the air it allows, how soon, and without the fan."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.physics import forecast
from wattsump_analysis.physics.harm import OIL_STANDS_C
from wattsump_analysis.physics.lumps import OneNode
from wattsump_analysis.questions.answer import Answer, Figure, Pieces, Row, Section, temperature
from wattsump_analysis.questions.asked import ForecastAsked
from wattsump_analysis.questions.forecast_case import (
    Case,
    case_of,
    measured_span,
    oil_figure,
    standing,
    trust_of,
)
from wattsump_analysis.questions.known import Known, from_samples, needed
from wattsump_analysis.questions.limits import said_of

__all__ = (
    "foresee",
    "minutes",
    "without_fan",
)

_BEYOND = "beyond what the oil stands"
# Colder than any woodlot: common practice, no source.
_COLDEST_AIR_C = -60.0


def foresee(asked: ForecastAsked, known: Known) -> Answer:
    """Answer how hot at an ambient and a work rate, what air is too hot, and how soon.

    Raises
    ------
    UsageError
        Heat, cooler conductance or the ambient are not known.
    RangeError
        A value out of its formula's range.
    """
    own_air = False
    if asked.ambient is None and known.ambients_c is not None:
        own_air = True
        asked = replace(asked, ambient=temperature(sum(known.ambients_c) / 2))
    k, heat, ambient = needed(
        "forecast",
        measured=asked.measured or known.k_w_k,
        heat=asked.heat or known.heat_w,
        ambient=asked.ambient,
    )
    case = case_of(asked, known, k, heat, ambient.value)
    return Answer(
        question="forecast",
        headline=tuple(_headline(case, asked, known)),
        sections=(
            _settled(case),
            _limiting(case, asked, known),
            *_other_channels(asked, known),
            *minutes(case, asked),
            *without_fan(case, asked),
            *_altitude(case, asked, k, known),
            *_meaning(case),
        ),
        assumed=(*_own_air(case, own_air), *_assumed(case, asked, known)),
    )


def _own_air(case: Case, taken: bool) -> Iterator[Pieces]:
    if taken:
        yield ("Air as it was during the outing, ", temperature(case.ambient_c), "; or --ambient.")


def _settles(case: Case, heat_w: FloatArray) -> Figure:
    return oil_figure(forecast.steady_temp_c(case.ambient_c, heat_w, case.loss_w_k))


def _headline(case: Case, asked: ForecastAsked, known: Known) -> Iterator[Pieces]:
    settled = forecast.steady_temp_c(case.ambient_c, case.heat_w, case.loss_w_k)
    figure = oil_figure(settled)
    beyond = f", {_BEYOND}" if figure.beyond else ""
    yield (
        "In air of ", temperature(case.ambient_c), " the oil settles at ", figure, f"{beyond}.",
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
    trust = trust_of(case.ambient_c, asked, known)
    if trust is None:
        yield ("NOT CHECKED: the air during the measurement is unknown; type --measured-ambient.",)
    elif trust.standing != "trusted":
        gap = Figure(value=trust.gap_k, kind="temperature_difference")
        yield (f"{trust.standing.upper()}: ", gap, " beyond the air that was measured.")


def _settled(case: Case) -> Section:
    settled = forecast.steady_temp_c(case.ambient_c, case.heat_w, case.loss_w_k)
    temps = [("settles_p50_c", "half the work stays below (P50)", oil_figure(settled))]
    if case.heavy_w is not None:
        heavy = _settles(case, case.heavy_w)
        temps.append(("settles_p90_c", "nine tenths of it (P90)", heavy))
    if case.gap_k > 0.0:
        tank = oil_figure(settled - case.gap_k)
        temps.append(("settles_tank_p50_c", "in the tank (P50)", tank))
    rows = (
        Row(key=key, label=label, figure=figure, flag=_BEYOND if figure.beyond else "")
        for key, label, figure in temps
    )
    return Section(title="Settles at", rows=tuple(rows))


def _limiting(case: Case, asked: ForecastAsked, known: Known) -> Section:
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
                    flag=_air_flag(figure.value, asked, known),
                )
            )
            if asked.hottest is not None:
                margin = from_samples(air - asked.hottest.value, "temperature_difference")
                rows.append(
                    Row(key=f"margin_{key}_k", label="  margin, hottest day", figure=margin)
                )
    return Section(title="Air at which a limit is reached", rows=tuple(rows))


def _air_flag(air_c: float, asked: ForecastAsked, known: Known) -> str:
    return "no air is so cold" if air_c < _COLDEST_AIR_C else standing(air_c, asked, known)


def _other_channels(asked: ForecastAsked, known: Known) -> Iterator[Section]:
    """Limits of other channels, degree for degree from their hottest reading."""
    rows, limits = [], list[Pieces]()
    for name, limit_c in known.limits_c.items():
        peak_c, air_c = known.peaks_c.get(name), known.peak_ambients_c.get(name)
        if peak_c is None or air_c is None or name == "tank":
            continue
        limiting_c = forecast.limiting_ambient_from_reading_c(limit_c, peak_c, air_c)
        rows.append(
            Row(
                key=f"limiting_{_slug(name)}_c",
                label=name.replace("_", " "),
                figure=temperature(limiting_c),
                flag=standing(limiting_c, asked, known),
            )
        )
        limits.append((f"Limit of {name.replace('_', ' ')}: ", temperature(limit_c), "."))
    if rows:
        remark = ("Right if the work had settled by then; too kind if it had not.",)
        yield Section(
            title="Air at which another channel meets its limit, from its peak",
            rows=tuple(rows),
            remarks=(*limits, remark),
        )


def _slug(name: str) -> str:
    return "_".join(name.replace(",", " ").split())


def _altitude(case: Case, asked: ForecastAsked, k: Figure, known: Known) -> Iterator[Section]:
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


def _meaning(case: Case) -> Iterator[Section]:
    heavier = case.heat_w if case.heavy_w is None else case.heavy_w
    remarks = tuple(said_of(_settles(case, heavier).value))
    if remarks:
        yield Section(title="What that temperature is called", remarks=remarks)


def _assumed(case: Case, asked: ForecastAsked, known: Known) -> Iterator[Pieces]:
    if not case.shell_w_k.any():
        yield ("Shell loss unknown, counted as nothing: the careful guess.",)
    if case.capacity_j_k is None:
        yield ("Heat capacity unknown: no times. Type --capacity or give --machine.",)
    span = measured_span(asked, known)
    if span is not None:
        low, high = (
            span[0] - forecast.TRUSTED_GAP_K,
            span[1] + forecast.TRUSTED_GAP_K,
        )
        yield ("Trusted in air of ", temperature(low), " to ", temperature(high), ".")
    if asked.work is not None:
        yield (f"Heat scaled by {asked.work.value * 100:.0f} % work rate, as a straight line.",)
    if asked.measured is None and asked.heat is None:
        yield ("Cooler, heat and shell share one scale of watts, whose error cancels here.",)
    refers = known.k_refers_to if asked.measured is None else ""
    if case.gap_k > 0.0:
        gap = Figure(value=case.gap_k, kind="temperature_difference")
        yield ("Oil means oil into the cooler; the tank was cooler by ", gap, " at warm work.")
    else:
        yield (f"Oil means {refers or 'oil into the cooler'}.",)
    yield ("One lump of oil and metal; fan always on; same oil and same core.",)
    if asked.altitude is None:
        yield ("Hotter air is thinner and hotter oil too: a few per cent against each other.",)
    for note in known.notes:
        yield (note,)


# Countdowns are scalar formulas, so they take fewer draws than the vectors do: at 800 the ends
# of a 95 % interval scatter by about 5 % of its half width.
_COUNTDOWNS = 800
# Where seals and film go, long before the oil itself: `limits.OIL_LEVELS`, rounded up.
_STOP_C = 120.0


def minutes(case: Case, asked: ForecastAsked) -> Iterator[Section]:
    """Say how long work may go on until the strictest limit, from cold and from now."""
    if case.capacity_j_k is None:
        return
    start = case.ambient_c if asked.start is None else asked.start.value
    name, limit_c = case.strictest
    # Once it flows, oil into the cooler is hotter than a cold tank by the gap.
    cold = _time_to_limit(case, case.capacity_j_k, start + case.gap_k)
    rows = [Row(key="minutes_from_cold_s", label="from cold", figure=cold)]
    if asked.now is not None:
        now = _time_to_limit(case, case.capacity_j_k, asked.now.value)
        rows.append(Row(key="minutes_from_now_s", label="from now", figure=now))
    remark: Pieces = (
        "Cold is ", temperature(start), f"; the limit is {name}, ", temperature(limit_c), ".",
    )  # fmt: skip
    yield Section(title="Time to the limit at work", rows=tuple(rows), remarks=(remark,))


def _time_to_limit(case: Case, capacity_j_k: FloatArray, start_c: float) -> Figure:
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


def without_fan(case: Case, asked: ForecastAsked) -> Iterator[Section]:
    """Say what follows when the fan stops in settled work, or now: the still cooler is left."""
    settled = forecast.steady_temp_c(case.ambient_c, case.heat_w, case.loss_w_k)
    start = settled if asked.now is None else np.full_like(settled, asked.now.value)
    name, limit_c = _next_limit(case, float(np.median(start)))
    still = 0.0 if asked.still is None else asked.still.value
    # Without a capacity the end is still known; the time is then not shown.
    capacity = np.ones_like(settled) if case.capacity_j_k is None else case.capacity_j_k
    failures = [
        forecast.fan_failure(
            capacity_j_k=float(capacity[at]),
            shell_w_k=float(case.shell_w_k[at]),
            still_cooler_w_k=still,
            start_c=float(start[at]),
            ambient_c=case.ambient_c,
            heat_w=float(case.heat_w[at]),
            limit_c=limit_c,
        )
        for at in range(_COUNTDOWNS)
    ]
    end = oil_figure(np.array([failure.final_c for failure in failures]))
    rows = [Row(key="fan_off_settles_c", label="heads for", figure=end, flag=_too_hot(end.value))]
    if case.capacity_j_k is not None:
        seconds = from_samples(np.array([failure.seconds for failure in failures]), "duration")
        rows.append(Row(key="fan_off_minutes_s", label="time to the limit", figure=seconds))
    since = "settled work" if asked.now is None else "now"
    guess = "" if asked.still else " Still cooler counted as nothing, the careful guess."
    remark: Pieces = (f"From {since}; the limit is {name}, ", temperature(limit_c), f".{guess}")
    yield Section(title="If the fan stops and work goes on", rows=tuple(rows), remarks=(remark,))


def _next_limit(case: Case, start_c: float) -> tuple[str, float]:
    """The first limit that oil at a temperature has not passed yet, else the strictest."""
    ahead = [item for item in case.limits_c.items() if item[1] > start_c]
    return min(ahead, key=lambda item: item[1]) if ahead else case.strictest


def _too_hot(end_c: float) -> str:
    if end_c > OIL_STANDS_C:
        return "beyond what the oil stands: stop long before"
    return "stop long before" if end_c >= _STOP_C else ""
