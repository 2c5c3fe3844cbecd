"""Outings brought to like conditions, with what is not known of that step.

Like conditions are those of the machine's median outing. K goes with the density of the air, the
thickness of the oil and the engine's speed; the heat with the engine's speed and, either way,
with the oil's warmth. Each of these is taken off with its usual slope, and what is not known of
the slope stays as a column of the conditions: a change is reported only where they do not explain
it as well. So do columns for the time of year, and for outings whose watts rest on something else
than the others' (`Outing.rests_on`).
"""

from collections import Counter
from collections.abc import Sequence
from datetime import datetime

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.physics.oil import viscosity_mm2_s, walther_from_grade
from wattsump_analysis.season.evidence import Given
from wattsump_analysis.season.outing import Outing, start_of

__all__ = ("given_of", "log_rows", "plain_rows")

# All slopes here: common practice, no source. A core is three parts in four air side, whose
# conductance goes with the 0.75th power of the air's density, and one part oil side, which
# thinner oil and a faster pump serve better, in flow that is hardly turbulent.
AIR_DENSITY, U_AIR_DENSITY = 0.55, 0.2
OIL_VISCOSITY, U_OIL_VISCOSITY = -0.04, 0.04
ENGINE_SPEED_K, U_ENGINE_SPEED_K = 0.15, 0.1
# A pump's and a motor's losses go with their speed, at the same pressure.
ENGINE_SPEED_HEAT, U_ENGINE_SPEED_HEAT = 1.0, 0.5
# What a year does besides, by sine and cosine, in ln K and in ln heat; a choice.
U_YEAR_K, U_YEAR_HEAT = 0.04, 0.03
# How far a scale may be off where an outing does not say.
U_SCALE = 0.08
KELVIN, REFERENCE_AIR_C = 273.15, 20.0
USUAL_OIL, USUAL_OIL_C = "VG 46", 60.0
YEAR_S = 365.25 * 86400.0


def log_rows(outings: Sequence[Outing]) -> FloatArray:
    """Natural logarithms of K and heat of usable outings, (n, 2)."""
    rows = [[outing.k_w_k, outing.heat_w] for outing in outings]
    return np.log(np.array(rows, dtype=np.float64).reshape(-1, 2))


def plain_rows(rows: FloatArray) -> Given:
    """Rows (n, 2) of which no condition is known."""
    n = len(rows)
    return Given(
        rows=rows,
        offsets=np.zeros((n, 2)),
        columns=np.zeros((n, 2, 0)),
        oil_k=np.zeros(n),
        rise_k=0.0,
    )


def given_of(outings: Sequence[Outing]) -> Given:
    """K and heat of outings with what moves them besides the machine.

    What an outing does not say is taken as the others' median; without dates there is no year.
    """
    air_c = _filled([outing.ambient_c for outing in outings], REFERENCE_AIR_C)
    density = np.log((KELVIN + REFERENCE_AIR_C) / (KELVIN + air_c))
    rows = log_rows(outings)
    rise_k = _rises(outings, np.exp(rows[:, 1] - rows[:, 0]))
    oil_c = air_c + rise_k if np.any(rise_k) else np.full(len(outings), USUAL_OIL_C)
    thick = _thickness(outings, oil_c)
    speed = np.log(_filled([outing.engine_rpm for outing in outings], 1.0))
    speed -= np.median(speed)
    nothing = np.zeros(len(outings))
    year = [
        *((U_YEAR_K * wave, nothing) for wave in _year(outings)),
        *((nothing, U_YEAR_HEAT * wave) for wave in _year(outings)),
    ]
    pairs = [
        *year,
        (U_AIR_DENSITY * density, nothing),
        (U_OIL_VISCOSITY * thick, nothing),
        (U_ENGINE_SPEED_K * speed, nothing),
        (nothing, U_ENGINE_SPEED_HEAT * speed),
        *((scale, scale) for scale in _scales(outings)),
    ]
    offsets = np.column_stack(
        [
            AIR_DENSITY * density + OIL_VISCOSITY * thick + ENGINE_SPEED_K * speed,
            ENGINE_SPEED_HEAT * speed,
        ]
    )
    moving = [np.column_stack(pair) for pair in pairs if _moves(pair)]
    return Given(
        rows=rows,
        offsets=offsets - np.median(offsets, axis=0),
        columns=np.stack(moving, axis=2) if moving else np.zeros((len(outings), 2, 0)),
        oil_k=oil_c - np.median(oil_c),
        rise_k=float(np.median(rise_k)),
        yearly=sum(map(_moves, year)),
    )


def _moves(pair: tuple[FloatArray, FloatArray]) -> bool:
    return bool(np.any(np.ptp(pair, axis=1) > 0.0))


def _filled(values: Sequence[float | None], otherwise: float) -> FloatArray:
    row = np.array([np.nan if value is None else value for value in values], dtype=np.float64)
    seen = np.isfinite(row)
    return np.where(seen, row, np.median(row[seen]) if seen.any() else otherwise)


def _rises(outings: Sequence[Outing], by_k: FloatArray) -> FloatArray:
    """Rise of the oil over air (n,), K; 0 where no outing tells it.

    An outing without one ran as warm as its heat over K makes it, within what the others told.
    """
    told = np.array([o.rise_k if o.rise_k is not None else np.nan for o in outings], dtype=float)
    seen = np.isfinite(told)
    if not seen.any():
        return np.zeros(len(outings))
    usual = by_k * np.median(told[seen] / by_k[seen])
    return np.where(seen, told, np.clip(usual, told[seen].min(), told[seen].max()))


def _thickness(outings: Sequence[Outing], oil_c: FloatArray) -> FloatArray:
    """Logarithm of the oil's viscosity over that of usual oil, warm; shape (n,)."""
    usual = walther_from_grade(USUAL_OIL)
    otherwise = viscosity_mm2_s(oil_c, usual)
    stated = [outing.oil_mm2_s for outing in outings]
    nu = np.where([value is None for value in stated], otherwise, _filled(stated, 1.0))
    return np.asarray(np.log(nu / viscosity_mm2_s(USUAL_OIL_C, usual)))


def _year(outings: Sequence[Outing]) -> tuple[FloatArray, ...]:
    """Sine and cosine of the time of year; nothing where an outing has no clock."""
    starts: list[datetime | None] = [start_of(outing) for outing in outings]
    if any(start is None for start in starts):
        return ()
    angle = 2.0 * np.pi * np.array([s.timestamp() for s in starts if s is not None]) / YEAR_S
    return np.sin(angle), np.cos(angle)


def _scales(outings: Sequence[Outing]) -> tuple[FloatArray, ...]:
    """What moves K and heat alike: outings that rest on something else than most do."""
    counted = Counter(outing.rests_on for outing in outings).most_common()
    return tuple(
        np.array([_u_scale(outing) * (outing.rests_on == basis) for outing in outings])
        for basis, _ in counted[1:]
    )


def _u_scale(outing: Outing) -> float:
    """Relative standard uncertainty of what this outing shares with all of its basis."""
    if outing.u_k is None or outing.own_u_k is None:
        return U_SCALE
    return float(np.sqrt(2.0 * max(outing.u_k**2 - outing.own_u_k**2, 0.0)))
