"""Trends and comparisons as plain data for other programs; docs/trend-method.md describes them.

A name ends in its unit. A field may be added without a new format number; one that goes or
changes its meaning raises it.
"""

import math
from collections.abc import Sequence

import numpy as np

from wattsump_analysis.results import Interval
from wattsump_analysis.season.causes import Likely
from wattsump_analysis.season.compare import Comparison, Line
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.trend import Step, Trend
from wattsump_analysis.show.season_screen import compare_sentence, next_steps, trend_sentence
from wattsump_logger.remark import Remark

__all__ = ("COMPARE_FORMAT", "TREND_FORMAT", "compare_data", "trend_data")

TREND_FORMAT = "wattsump-trend-2"
COMPARE_FORMAT = "wattsump-compare-2"


def trend_data(trend: Trend) -> dict[str, object]:
    """Return a trend as data that `json` can write."""
    drifting = trend.drifting
    return {
        "format": TREND_FORMAT,
        "machine": trend.machine,
        "sentence": _remark(trend_sentence(trend)),
        "changed": trend.changed,
        "steps": [_step(step) for step in trend.steps],
        "drifting": {"k": drifting[0], "heat": drifting[1]},
        "would_have_seen": {
            "k_rel": trend.would_have_seen[0],
            "heat_rel": trend.would_have_seen[1],
        },
        "repeats_to": {
            "k_rel": float(trend.scatter.sd[0]),
            "heat_rel": float(trend.scatter.sd[1]),
            "correlation": trend.scatter.correlation,
        },
        "slope_per_outing": {
            name: None
            if slope is None
            else {"low": slope.low, "value": slope.value, "high": slope.high}
            for name, slope in (("k_rel", trend.slope_k), ("heat_rel", trend.slope_heat))
        },
        "outings": [
            _outing(outing, i in trend.odd)
            | {
                "k_referred_w_k": float(k),
                "u_k_referred_rel": float(u_k),
                "heat_referred_w": float(heat),
                "u_heat_referred_rel": float(u_heat),
            }
            for i, (outing, (k, heat), (u_k, u_heat)) in enumerate(
                zip(
                    trend.outings,
                    np.exp(trend.referred),
                    trend.stretches.levels.u_referred,
                    strict=True,
                )
            )
        ],
        "left_out": [{"name": left.name, "why": _remark(left.why)} for left in trend.left_out],
        "next_steps": [_remark(step) for step in next_steps(trend)],
    }


def compare_data(comparison: Comparison) -> dict[str, object]:
    """Return a comparison as data that `json` can write."""
    lines = (comparison.like_rise, *comparison.lines)
    return {
        "format": COMPARE_FORMAT,
        "machine": comparison.machine,
        "sentence": _remark(compare_sentence(comparison)),
        "before": [outing.name for outing in comparison.before],
        "after": [outing.name for outing in comparison.after],
        "k_rel": _interval(comparison.k),
        "heat_rel": _interval(comparison.heat),
        "causes": _causes(comparison.causes),
        "lines": [_line(line) for line in lines if line is not None],
        "also": [_remark(remark) for remark in comparison.also],
        "cannot_split": _remark(comparison.cannot_split),
        "test": _remark(comparison.test),
    }


def _remark(remark: Remark | None) -> dict[str, str] | None:
    return None if remark is None else remark.as_json()


def _step(step: Step) -> dict[str, object]:
    return {
        "outing": step.name,
        "start_utc": step.start_utc,
        "k_rel": _interval(step.k),
        "heat_rel": _interval(step.heat),
        "chance": step.chance,
        "causes": _causes(step.causes),
        "events": [{"kind": str(event.kind), "text": event.text} for event in step.events],
        "shape": str(step.shape),
        "outings_before": step.before,
        "outings_after": step.after,
        "further_outings": step.further,
        "cannot_split": _remark(step.cannot_split),
        "test": _remark(step.test),
    }


def _causes(causes: Sequence[Likely]) -> list[dict[str, object]]:
    return [{"cause": str(c.cause), "probability": c.probability} for c in causes]


def _outing(outing: Outing, odd: bool) -> dict[str, object]:
    return {
        "name": outing.name,
        "start_utc": outing.start_utc,
        "k_w_k": outing.k_w_k,
        "heat_w": outing.heat_w,
        "rise_k": outing.rise_k,
        "ambient_c": outing.ambient_c,
        "peak_oil_c": outing.peak_oil_c,
        "minutes_above_warn": outing.minutes_above_warn,
        "minutes_above_max": outing.minutes_above_max,
        "preheat_min": outing.preheat_min,
        "hours": outing.hours,
        "completeness": outing.completeness,
        "marks": list(outing.marks),
        "odd": odd,
    }


def _line(line: Line) -> dict[str, object]:
    return {
        "name": line.name,
        "kind": line.kind,
        "before": line.before,
        "after": line.after,
        "change": _interval(line.change),
    }


def _interval(interval: Interval | None) -> dict[str, float | None] | None:
    """An interval as data; an unknown end is null, because JSON has no NaN."""
    if interval is None:
        return None
    ends = {"low": interval.low, "value": interval.value, "high": interval.high}
    return {name: None if math.isnan(value) else value for name, value in ends.items()}
