"""The probe corrections that belong to a machine: kept beside its profile, put into it.

`bracken.toml` has `bracken.probes.json`. A correction goes into the profile's channels,
so the session's sidecar says which was applied and an import of the wire file, where the
words of the converters are kept as they came, applies the same or another one.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

from wattsump_logger.calibration.corrections import (
    BathMatch,
    Calibration,
    LineCorrection,
    load_calibrations,
    save_calibrations,
)
from wattsump_logger.errors import UsageError
from wattsump_logger.machine.parts import Role
from wattsump_logger.machine.profile import Channel, Profile, load_profile
from wattsump_logger.machine.sensor_class import SensorClass

__all__ = ("applied", "beside", "from_match", "keep", "load_machine")

# How far from where it was found a plain offset is trusted: the classes widen about as much
# from a bucket to hot oil. Common practice, no source.
_REACH_K = 80.0


def beside(machine: Path) -> Path:
    """Return where a machine's probe corrections are kept.

    >>> beside(Path("bracken.toml")).name
    'bracken.probes.json'
    """
    return machine.with_name(machine.stem + ".probes.json")


def load_machine(
    machine: Path | None, probes: Path | None = None
) -> tuple[Profile | None, tuple[str, ...]]:
    """Return the profile with its probes' corrections, and what to say about them.

    Raises
    ------
    UsageError
        Corrections were given, but no machine whose channels they could go to.
    """
    if machine is None:
        if probes is None:
            return None, ()
        raise UsageError(
            expected="a machine whose channels the corrections belong to",
            found="none",
            where="--probes",
            do="give the machine's profile with --machine too",
        )
    profile = load_profile(machine)
    path = probes or beside(machine)
    if probes is None and not path.exists():
        return profile, ()
    calibrations = load_calibrations(path)
    return applied(profile, calibrations), _told(path, calibrations.values())


def _told(path: Path, calibrations: Iterable[Calibration]) -> tuple[str, ...]:
    return tuple(
        f"{path.name}: {item.probe} {item.correction.intercept_k:+.2f} K "
        f"(u {item.correction.u_intercept_k:.2f} K, {item.method}, {item.made})"
        for item in calibrations
    )


def applied(profile: Profile, calibrations: Mapping[str, Calibration]) -> Profile:
    """Return the profile with each channel's correction as its probe's calibration says.

    It replaces an offset typed in the profile: both are the same thing, and the one that
    was measured later counts. The uncertainty is that in the middle of what is covered.
    """
    channels = dict(profile.channels)
    for probe, calibration in calibrations.items():
        line = calibration.correction
        _, u_k = line.at(0.5 * (calibration.low_c + calibration.high_c))
        channels[probe] = replace(
            channels.get(probe) or _channel_of_its_name(profile, probe),
            offset_k=line.intercept_k,
            slope=line.slope,
            slope_at_c=line.reference_c if line.slope else 0.0,
            u_offset_k=u_k,
        )
    return replace(profile, channels=channels)


def _channel_of_its_name(profile: Profile, probe: str) -> Channel:
    try:
        known = profile.role(probe)
    except ValueError:
        known = None
    if known is not None and known.name == probe:
        return known
    return Channel(name=probe, role=Role.OTHER, sensor=SensorClass(text="not stated"))


def from_match(match: BathMatch, made: date, note: str = "") -> tuple[Calibration, ...]:
    """Return each probe's correction as found in one bath."""
    return tuple(
        Calibration(
            probe=name,
            made=made,
            method="bucket match",
            correction=_offset(match.bath_c, offset_k, u_k, match.readings),
            low_c=match.bath_c - _REACH_K,
            high_c=match.bath_c + _REACH_K,
            note=note,
        )
        for name, offset_k, u_k in zip(match.names, match.offset_k, match.u_offset_k, strict=True)
    )


def _offset(at_c: float, offset_k: float, u_k: float, readings: int) -> LineCorrection:
    return LineCorrection(
        reference_c=at_c,
        intercept_k=offset_k,
        slope=0.0,
        u_intercept_k=u_k,
        u_slope=0.0,
        correlation=0.0,
        residual_k=0.0,
        dof=float(readings - 1),
    )


def keep(path: Path, calibrations: Sequence[Calibration]) -> None:
    """Add corrections to a file, those of the same probe instead of the ones it had."""
    known = load_calibrations(path) if path.exists() else {}
    save_calibrations(path, [*(known | {item.probe: item for item in calibrations}).values()])
