"""How soon: from cold, from now, and once the fan has stopped."""

from collections.abc import Iterator

import numpy as np

from wattsump_analysis import forecast
from wattsump_analysis._shapes import FloatArray
from wattsump_analysis.answers import Figure, Pieces, Row, Section, temperature
from wattsump_analysis.answers_forecast_case import Case, ForecastAsked, oil_figure
from wattsump_analysis.answers_known import from_samples
from wattsump_analysis.limits import OIL_STANDS_C
from wattsump_analysis.nodes import OneNode

__all__ = ("minutes", "without_fan")

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
    found = [
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
    end = oil_figure(np.array([one.final_c for one in found]))
    rows = [Row(key="fan_off_settles_c", label="heads for", figure=end, flag=_too_hot(end.value))]
    if case.capacity_j_k is not None:
        seconds = from_samples(np.array([one.seconds for one in found]), "duration")
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
