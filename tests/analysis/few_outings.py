"""Outings made by hand for the tests of what is said over several of them."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from wattsump_analysis.season.events import Event, EventKind
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.trend import LeftOut, Trend, trend_of
from wattsump_logger.remark import Remark

__all__ = ("full_season", "outing", "row_of_outings")

FIRST = datetime(2026, 4, 1, 7, tzinfo=UTC)


def outing(number: int, k_w_k: float | None, heat_w: float | None, **more: object) -> Outing:
    """One plain outing; `more` replaces any of its fields."""
    usual = Outing(
        name=f"day-{number:03d}",
        key=f"{number:032x}",
        machine="Bracken",
        start_utc=(FIRST + timedelta(days=number)).isoformat(),
        hours=2.0,
        completeness=1.0,
        k_w_k=k_w_k,
        u_k=0.08,
        own_u_k=None,
        heat_w=heat_w,
        u_heat=0.08,
        own_u_heat=None,
        reference_oil_c=60.0,
        fan_step_w_k=None,
        rise_k=None if k_w_k is None or heat_w is None else heat_w / k_w_k,
        ambient_c=15.0,
        peak_oil_c=60.0,
    )
    return replace(usual, **more)  # type: ignore[arg-type]  # the names are Outing's own


def row_of_outings(
    shifts: Sequence[tuple[int, float, float]],
    *,
    n: int = 20,
    seed: int = 0,
    scatter: tuple[float, float] = (0.05, 0.06),
    noted: dict[int, EventKind] | None = None,
) -> list[Outing]:
    """Return `n` outings; from each (at, factor of K, factor of heat) on both are so changed."""
    rng = np.random.default_rng(seed)
    levels: NDArray[np.float64] = np.tile(np.log([95.0, 3400.0]), (n, 1))
    for at, k, heat in shifts:
        levels[at:] += np.log([k, heat])
    r = 0.5
    covariance = np.outer(scatter, scatter) * np.array([[1.0, r], [r, 1.0]])
    k_w_k, heat_w = np.exp(levels + rng.multivariate_normal([0.0, 0.0], covariance, size=n)).T
    events = {} if noted is None else noted
    return [
        outing(
            i,
            float(k_w_k[i]),
            float(heat_w[i]),
            events=(Event(kind=events[i], text=f"{events[i]} here"),) if i in events else (),
        )
        for i in range(n)
    ]


def full_season() -> Trend:
    """Return a season with a loss of K, a cleaning, more heat, and a session left out."""
    return trend_of(
        row_of_outings(
            [(8, 0.65, 1.0), (14, 1 / 0.65, 1.0), (20, 1.0, 1.35)],
            n=26,
            noted={14: EventKind.CLEAN},
        ),
        [LeftOut(name="shopping", why=Remark(code="any", text="no session"))],
    )
