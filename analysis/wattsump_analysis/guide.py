"""How well the cooler is known by now: a fit of the rows so far, while the outing goes on.

`know_so_far` fits what there is as `prove` would and gives K with its range. `words` says
it for a driver, with what some more minutes are likely to bring.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wattsump_analysis._gather import gather
from wattsump_analysis._stretch import record_of
from wattsump_analysis.capacity import knowledge
from wattsump_analysis.fit import fit_record, reference_oil_c
from wattsump_analysis.oil import USUAL_DENSITY_15_KG_M3, volumetric_heat_j_m3k
from wattsump_analysis.phases import find_soak, switches_of
from wattsump_analysis.record import despike
from wattsump_logger.profile import Profile
from wattsump_logger.session import Session

__all__ = ("Known", "adds_little", "know_so_far", "words")

# Wider than this is no knowledge of a cooler; and from here on minutes are worth telling.
# Common practice, no source.
NOT_YET_REL = 0.5
LEAST_COOLED_S = 120.0
LITTLE_REL, LITTLE_S = 0.01, 600.0
_MOST_MINUTES = 20
_FITS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What is known at a moment: half width of the 95 % range of K, relative to K.

    `k_w_k` is None where no heat capacity or flow is known: K is then known up to it.
    """

    elapsed_s: float
    k_w_k: float | None
    half_width_rel: float


def know_so_far(session: Session, profile: Profile | None, seed: int = 0) -> Known | None:
    """Fit the rows so far.

    Returns
    -------
    Known or None
        None before the fan and the oil ran together for two minutes, or without an air
        temperature: nothing tells of the cooler then.

    Raises
    ------
    SessionError
        No readings of the tank.

    References
    ----------
    `fit.fit_record`; the range is that of JCGM 101:2008, the probabilistically symmetric one.
    """
    samples = gather(session, profile)
    if "ambient" not in samples.temps_c:
        return None
    switches, _ = switches_of(samples)
    cooled = (switches.fan > 0.5) & (switches.engine > 0.5)
    gaps = np.diff(samples.elapsed_s, prepend=samples.elapsed_s[0])
    if float(gaps[cooled].sum()) < LEAST_COOLED_S:
        return None
    soak = find_soak(samples, switches.engine)
    offsets = {} if soak is None or soak.offsets_k is None else soak.offsets_k
    heat = None
    if samples.flow_m3_s is not None:
        clean = despike(samples.temps_c.get("cooler_in", samples.temps_c["tank"]))
        seen = np.isfinite(clean)
        density = USUAL_DENSITY_15_KG_M3 if profile is None else profile.oil.density_15_kg_m3
        t = samples.elapsed_s
        heat = volumetric_heat_j_m3k(np.interp(t, t[seen], clean[seen]), density)
    record = record_of(samples, switches, offsets, heat)
    know = knowledge(profile, reference_oil_c(record), matched=bool(offsets))
    fitted = fit_record(record, know, np.random.default_rng(seed))
    found = fitted.k_w_k if fitted.scale_known else fitted.k_over_c_per_s
    return Known(
        elapsed_s=float(session.elapsed_s[-1]),
        k_w_k=found.value if fitted.scale_known else None,
        half_width_rel=0.5 * (found.high - found.low) / found.value,
    )


def _narrows_rel_s(known: Sequence[Known]) -> float | None:
    """Return by how much the range narrows a second, over the last fits; None for too few.

    Two fits in a row differ by a hundredth of K by their draws alone.
    """
    if len(known) < _FITS:
        return None
    recent = known[-_FITS:]
    widths = [one.half_width_rel for one in recent]
    slope = np.polynomial.Polynomial.fit([k.elapsed_s for k in recent], widths, 1).deriv()
    return max(0.0, -float(slope(recent[-1].elapsed_s)))


def adds_little(known: Sequence[Known]) -> bool:
    """Tell whether ten more minutes would narrow the range by less than a hundredth of K."""
    narrows = _narrows_rel_s(known)
    if narrows is None or known[-1].half_width_rel > NOT_YET_REL:
        return False
    return narrows * LITTLE_S < LITTLE_REL


def words(known: Sequence[Known]) -> str:
    """Say what is known, and what more minutes bring if it goes on narrowing as it did.

    >>> fits = [Known(elapsed_s=60.0 * n, k_w_k=95.0, half_width_rel=0.14 - 0.01 * n)
    ...         for n in range(6)]
    >>> words(fits)
    'K 95 W/K to +/- 9 %, about 2 more minutes for +/- 7 %'
    >>> words(fits[-1:])
    'K 95 W/K to +/- 9 %'
    """
    now = known[-1]
    percent = round(100 * now.half_width_rel)
    if now.half_width_rel > NOT_YET_REL:
        return f"K not yet: +/- {percent} %"
    value = "K" if now.k_w_k is None else f"K {now.k_w_k:.0f} W/K"
    said = f"{value} to +/- {percent} %"
    if now.k_w_k is None:
        said += " of the machine's unknown heat capacity"
    narrows = _narrows_rel_s(known)
    goal = percent - 2
    if not narrows or goal < 1:
        return said
    minutes = max(1, round((now.half_width_rel - goal / 100) / (60 * narrows)))
    if minutes > _MOST_MINUTES:
        return said
    return f"{said}, about {minutes} more minute{'s' * (minutes > 1)} for +/- {goal} %"
