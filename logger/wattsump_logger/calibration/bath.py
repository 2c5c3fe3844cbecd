"""Corrections of probes from a session: in one bath, in ice, in boiling water.

They are found from the converters' own readings: corrections that the session's profile had
added are taken off first.
"""

import csv
import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from wattsump_logger.arrays import BoolArray, FloatArray
from wattsump_logger.calibration import suspicion
from wattsump_logger.calibration.corrections import (
    BathMatch,
    Calibration,
    LineCorrection,
    fit_line,
    fixed_point,
    match_in_bath,
    stray_readings,
)
from wattsump_logger.errors import ProfileError, RangeError, UsageError, reason_of
from wattsump_logger.machine.profile import Profile
from wattsump_logger.remark import Remark
from wattsump_logger.session.reader import Session

__all__ = (
    "BOIL",
    "ICE",
    "Fixed",
    "at_fixed_point",
    "drop_worth",
    "joined",
    "line_from_pairs",
    "match",
    "raw_readings",
    "strange",
    "temperatures",
)

ICE, BOIL = "ice point", "boiling water"
_STEP_K = 0.25  # of the coarsest converter; overstates the uncertainty of a finer one
_DRIFT_K = 0.5
# Probes of any class in one bath differ and drift by less. Common practice, no source.
_MOST_DRIFT_K = 3.0
_MOST_APART_K = 10.0
_ICE_REACH_C = (-40.0, 60.0)
_BOIL_REACH_C = (40.0, 160.0)
_WARM_K = 5.0  # above ambient: the machine is at work, so warm channels must be warmer
_MOST_PAIRS = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Fixed:
    """A known temperature: its name, value and standard uncertainty."""

    method: str
    true_c: float
    u_true_k: float


def temperatures(session: Session, channels: Sequence[str] = ()) -> dict[str, FloatArray]:
    """Return the temperature columns by channel name: those of `channels`, or all.

    Raises
    ------
    UsageError
        A channel the session does not have, or no temperature at all.
    """
    temps = {
        column.removesuffix("_c"): values
        for column, values in session.columns.items()
        if column.endswith("_c")
    }
    missing = [name for name in channels if name not in temps]
    if missing or not temps:
        raise UsageError(
            expected="one of " + (", ".join(temps) or "no temperature: there is none"),
            found=", ".join(missing) or "none",
            where=str(session.path),
            do="name temperature channels of this session",
        )
    return {name: temps[name] for name in channels} if channels else temps


def raw_readings(session: Session, channels: Sequence[str] = ()) -> dict[str, FloatArray]:
    """Return temperatures as the converters gave them, by channel name [°C, shape (n,)]."""
    profile = None
    with suppress(ProfileError):  # an old session may have a profile with keys that are gone
        profile = session.profile()
    given = profile.channels if profile else {}
    return {
        name: _uncorrected(values, given[name].offset_k, given[name].slope, given[name].slope_at_c)
        if name in given
        else values
        for name, values in temperatures(session, channels).items()
    }


def _uncorrected(values: FloatArray, offset_k: float, slope: float, at_c: float) -> FloatArray:
    return np.asarray((values - offset_k + slope * at_c) / (1.0 + slope), dtype=np.float64)


def _window(session: Session, from_s: float, to_s: float) -> slice:
    start, end = np.searchsorted(session.elapsed_s, [from_s, to_s])
    return slice(int(start), int(end))


def match(
    session: Session,
    channels: Sequence[str] = (),
    *,
    reference: str | None = None,
    from_s: float = 0.0,
    to_s: float = math.inf,
) -> tuple[BathMatch, tuple[Remark, ...]]:
    """Match probes that were in one bath; return the match and its cautions.

    Raises
    ------
    RangeError, UsageError
        Too few probes or readings, or a channel that does not exist.
    """
    part = _window(session, from_s, to_s)
    raw = raw_readings(session, channels)
    table = np.column_stack([values[part] for values in raw.values()])
    matched = match_in_bath(table, tuple(raw), reference=reference, step_k=_STEP_K)
    return matched, tuple(_bath_remarks(matched))


def was_a_bath(matched: BathMatch, where: str) -> None:
    """Refuse a match of probes that were not in one bath.

    Raises
    ------
    RangeError
        The readings drift or differ by more than probes of any class in stirred water.
    """
    if abs(matched.drift_k) > _MOST_DRIFT_K or matched.spread_k > _MOST_APART_K:
        raise RangeError(
            expected=f"probes in one bath: within {_MOST_APART_K:g} K of one another and "
            f"drifting by less than {_MOST_DRIFT_K:g} K",
            found=f"{matched.spread_k:.1f} K apart and {matched.drift_k:+.1f} K of drift",
            where=where,
            do="name the probes that were in the bath and its time with --from and --to; "
            "nothing was kept",
        )


def _bath_remarks(matched: BathMatch) -> Iterator[Remark]:
    if abs(matched.drift_k) > _DRIFT_K:
        yield Remark(
            code="bath-drifted",
            text=f"the bath drifted by {matched.drift_k:+.1f} K: probes of different thickness "
            "lag; stir, wait, and use --from",
        )
    if matched.spread_k > 6.0:
        yield Remark(
            code="bath-probes-apart",
            text=f"the probes differ by {matched.spread_k:.1f} K: were all of them in the bath?",
        )
    if len(matched.names) >= 5:
        stray = stray_readings(matched.offset_k)
        for name, is_stray in zip(matched.names, stray, strict=True):
            if is_stray:
                text = f"{name} differs from the others: check its type, terminals and place"
                yield Remark(code="probe-stands-apart", text=text)


def drop_worth(matched: BathMatch, profile: Profile | None, drop_k: float = 10.0) -> str:
    """Return how the match improves heat from oil flow, "" without both probes of the cooler.

    That heat is flow x density x specific heat x drop, so the relative uncertainty of the
    drop is one of its terms [JCGM 100:2008, equation (12)].
    """
    u = dict(zip(matched.names, matched.u_offset_k, strict=True))
    ends = ("cooler_in", "cooler_out")
    if profile is None or not set(ends) <= u.keys():
        return ""
    classes = [known.sensor.u_c(matched.bath_c) for end in ends if (known := profile.role(end))]
    before, after = math.hypot(*classes), math.hypot(*(u[end] for end in ends))
    return (
        f"heat from oil flow at a drop of {drop_k:g} K: "
        f"±{200 * after / drop_k:.0f} % from the probes, ±{200 * before / drop_k:.0f} % unmatched"
    )


def at_fixed_point(
    session: Session,
    channels: Sequence[str],
    point: Fixed,
    made: date,
    *,
    from_s: float = 0.0,
    to_s: float = math.inf,
) -> tuple[Calibration, ...]:
    """Return the correction of each probe that was held at a known temperature.

    Raises
    ------
    RangeError
        A probe more than 15 K off: it was elsewhere, or is of another type.
    """
    part = _window(session, from_s, to_s)
    low_c, high_c = _ICE_REACH_C if point.method == ICE else _BOIL_REACH_C
    calibrations = []
    for name, values in raw_readings(session, channels).items():
        line = fixed_point(values[part], point.true_c, point.u_true_k, step_k=_STEP_K)
        if abs(line.intercept_k) > 15.0:
            raise RangeError(
                expected=f"about {point.true_c:.1f} degC",
                found=f"{point.true_c - line.intercept_k:.1f} degC",
                where=f"{point.method}, {name}",
                do="name the probes that were in it, and the time with --from and --to",
            )
        calibrations.append(
            Calibration(
                probe=name,
                made=made,
                method=point.method,
                correction=line,
                low_c=low_c,
                high_c=high_c,
                note=str(session.path.name),
            )
        )
    return tuple(calibrations)


def joined(earlier: Calibration | None, new: Calibration) -> Calibration:
    """Return the straight line through ice and boiling water, `new` if one is missing.

    Intercept and slope are taken at the middle of both points; their covariance follows from the
    two independent uncertainties [JCGM 100:2008, F.1.2.3].
    """
    if earlier is None or {earlier.method, new.method} != {ICE, BOIL}:
        return new
    colder, warmer = sorted((earlier.correction, new.correction), key=lambda line: line.reference_c)
    t_1, t_2 = (line.reference_c - line.intercept_k for line in (colder, warmer))
    u_1, u_2 = colder.u_intercept_k, warmer.u_intercept_k
    both = math.hypot(u_1, u_2)
    return Calibration(
        probe=new.probe,
        made=new.made,
        method=f"{ICE} and {BOIL}",
        correction=LineCorrection(
            reference_c=0.5 * (t_1 + t_2),
            intercept_k=0.5 * (colder.intercept_k + warmer.intercept_k),
            slope=(warmer.intercept_k - colder.intercept_k) / (t_2 - t_1),
            u_intercept_k=0.5 * both,
            u_slope=both / (t_2 - t_1),
            correlation=(u_2**2 - u_1**2) / both**2,
            dof=min(colder.dof, warmer.dof),
        ),
        low_c=_ICE_REACH_C[0],
        high_c=_BOIL_REACH_C[1],
        note=f"{earlier.note}, {new.note}",
    )


def line_from_pairs(path: Path, probe: str, made: date) -> Calibration:
    """Return the straight line through a table of `reading_c,true_c`.

    Raises
    ------
    UsageError, RangeError
        No such table, or fewer than three rows.
    """
    readings, truths = _pairs(path)
    line = fit_line(readings, [true - read for read, true in zip(readings, truths, strict=True)])
    return Calibration(
        probe=probe,
        made=made,
        method=f"straight line through {len(readings)} points",
        correction=line,
        low_c=min(readings),
        high_c=max(readings),
        note=path.name,
    )


def _pairs(path: Path) -> tuple[list[float], list[float]]:
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            rows = [row for _, row in zip(range(_MOST_PAIRS), csv.DictReader(file), strict=False)]
        return [float(row["reading_c"]) for row in rows], [float(row["true_c"]) for row in rows]
    except (OSError, ValueError, KeyError, TypeError, csv.Error) as error:
        raise UsageError(
            expected="a CSV file with the columns reading_c,true_c",
            found=f"no column {error}" if isinstance(error, KeyError) else reason_of(error),
            where=str(path),
            do="one row a point, numbers in degC",
        ) from error


def strange(session: Session) -> tuple[Remark, ...]:
    """Return a remark for each kind of reading that is hardly a temperature."""
    temps = temperatures(session)
    raw = raw_readings(session)
    remarks = [line for name, values in raw.items() for line in _strange(name, values, session)]
    ambient = temps.get("ambient")
    if ambient is not None:
        share = float(np.mean(suspicion.sunlit(ambient, session.elapsed_s)))
        if share > 0.05:
            text = (
                f"ambient swings too fast for shaded air in {100 * share:.0f} % of the outing: "
                "sun, or the cooler's own warm air"
            )
            remarks.append(Remark(code="ambient-swings", text=text))
    remarks += _swapped(temps)
    return tuple(remarks)


def _strange(name: str, values: FloatArray, session: Session) -> Iterator[Remark]:
    def where(mask: BoolArray) -> str:
        first_s = float(session.elapsed_s[int(np.argmax(mask))])
        return f"({int(mask.sum())} readings, first at {first_s:.0f} s)"

    if (zeros := suspicion.exact_zeros(values)).any():
        text = f"{name} reads exactly 0.00 again and again: dead wiring or a dead converter"
        yield Remark(code="reads-zero", text=f"{text} {where(zeros)}")
    if (ends := suspicion.full_scale(values)).any():
        text = f"{name} sits at the end of a scale: open or shorted wiring"
        yield Remark(code="reads-end-of-scale", text=f"{text} {where(ends)}")
    if (stuck := _stuck(values, session)).any():
        text = f"{name} did not change for more than ten minutes {where(stuck)}"
        yield Remark(code="reading-stuck", text=text)


def _stuck(values: FloatArray, session: Session) -> BoolArray:
    mask = suspicion.long_repeats(values, session.elapsed_s)
    moving = np.ptp(values[np.isfinite(values)]) > _WARM_K if np.isfinite(values).any() else False
    return mask if moving else np.zeros_like(mask)  # a soak may stand still, an outing may not


def _swapped(temps: Mapping[str, FloatArray]) -> Iterator[Remark]:
    for warmer, cooler in (("cooler_in", "cooler_out"), ("tank", "ambient")):
        if not {warmer, cooler} <= temps.keys():
            continue
        warm = np.fmax(temps[warmer], temps[cooler])
        at_work = warm - np.nanmin(warm) > _WARM_K if np.isfinite(warm).any() else warm > 0
        if suspicion.swapped(temps[warmer][at_work], temps[cooler][at_work]):
            text = f"{warmer} is colder than {cooler} nearly always: are the two swapped?"
            yield Remark(code="probes-look-swapped", text=text)
