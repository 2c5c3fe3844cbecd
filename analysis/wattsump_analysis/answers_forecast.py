"""Forecast: where a work rate settles, the air it allows, how soon, and without the fan."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from wattsump_analysis import forecast
from wattsump_analysis._shapes import FloatArray
from wattsump_analysis.answers import Answer, Figure, Pieces, Row, Section, temperature
from wattsump_analysis.answers_forecast_case import (
    Case,
    ForecastAsked,
    case_of,
    measured_span,
    oil_figure,
    standing,
    trust_of,
)
from wattsump_analysis.answers_forecast_times import minutes, without_fan
from wattsump_analysis.answers_heat import said_of
from wattsump_analysis.answers_known import Known, from_samples, needed

__all__ = ("ForecastAsked", "foresee")

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
    k, heat = asked.measured or known.k_w_k, asked.heat or known.heat_w
    needed((k, "--measured"), (heat, "--heat"), (asked.ambient, "--ambient"), what="forecast")
    if k is None or heat is None or asked.ambient is None:  # for the type checker
        raise AssertionError
    case = case_of(asked, known, k, heat)
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
    found = [("settles_p50_c", "half the work stays below (P50)", oil_figure(settled))]
    if case.heavy_w is not None:
        heavy = _settles(case, case.heavy_w)
        found.append(("settles_p90_c", "nine tenths of it (P90)", heavy))
    if case.gap_k > 0.0:
        tank = oil_figure(settled - case.gap_k)
        found.append(("settles_tank_p50_c", "in the tank (P50)", tank))
    rows = (
        Row(key=key, label=label, figure=figure, flag=_BEYOND if figure.beyond else "")
        for key, label, figure in found
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
        found = forecast.limiting_ambient_from_reading_c(limit_c, peak_c, air_c)
        rows.append(
            Row(
                key=f"limiting_{_slug(name)}_c",
                label=name.replace("_", " "),
                figure=temperature(found),
                flag=standing(found, asked, known),
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
