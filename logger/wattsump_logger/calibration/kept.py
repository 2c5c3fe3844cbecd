"""The probe corrections of a machine: a file beside its profile, applied when that is loaded.

`bracken.toml` has `bracken.probes.json`. Corrections go into the profile's channels, so the
session's sidecar says which were applied. The wire file has none, so an import of it can
apply others.
"""

import math
import re
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

__all__ = ("applied", "beside", "from_match", "keep", "load_machine", "moved_along")

MATCH = "bucket match"

# How far from its bath a plain offset is trusted: the classes widen about as much
# from a bucket to hot oil. Common practice, no source.
_REACH_K = 80.0
_RECORDING = re.compile(r".+?\.csv(?=, |$)", re.I)


def beside(machine: Path) -> Path:
    """Return where a machine's probe corrections are kept.

    >>> beside(Path("bracken.toml")).name
    'bracken.probes.json'
    """
    return machine.with_name(machine.stem + ".probes.json")


def load_machine(
    machine: Path | None, probes: Path | None = None
) -> tuple[Profile | None, tuple[str, ...]]:
    """Return the profile with its probes' corrections, and a line about each.

    Raises
    ------
    UsageError
        Corrections were given without a machine.
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
    return applied(profile, calibrations), _lines_of(path, calibrations.values())


def _lines_of(path: Path, calibrations: Iterable[Calibration]) -> tuple[str, ...]:
    return tuple(
        f"{path.name}: {item.probe} {item.correction.intercept_k:+.2f} K "
        f"(u {item.correction.u_intercept_k:.2f} K, {item.method}, {item.made})"
        for item in calibrations
    )


def applied(profile: Profile, calibrations: Mapping[str, Calibration]) -> Profile:
    """Return the profile with each calibration in place of its channel's correction.

    A calibration goes before an offset typed in the profile. Its uncertainty is taken in the
    middle of the temperatures it covers.
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
        channel = profile.role(probe)
    except ValueError:
        channel = None
    if channel is not None and channel.name == probe:
        return channel
    return Channel(name=probe, role=Role.OTHER, sensor=SensorClass(text="not stated"))


def from_match(match: BathMatch, made: date, note: str = "") -> tuple[Calibration, ...]:
    """Return each probe's correction from one bath."""
    return tuple(
        Calibration(
            probe=name,
            made=made,
            method=MATCH,
            correction=LineCorrection(
                reference_c=match.bath_c,
                intercept_k=offset_k,
                u_intercept_k=u_k,
                dof=float(match.readings - 1),
            ),
            low_c=match.bath_c - _REACH_K,
            high_c=match.bath_c + _REACH_K,
            note=note,
        )
        for name, offset_k, u_k in zip(match.names, match.offset_k, match.u_offset_k, strict=True)
    )


def moved_along(
    earlier: Mapping[str, Calibration], new: Sequence[Calibration]
) -> tuple[Calibration, ...]:
    """Return new corrections with those of the probes that one bath had matched to theirs.

    Tying one probe of a bath to ice must not part it from the others: they move with it, so
    that differences between them stay those of the bath. A note keeps the bath's name first.
    """
    named = [_of_bath(earlier.get(item.probe), item) for item in new]
    leaders: dict[str, Calibration] = {}  # by bath, the first of the new
    for item in named:
        if item.probe in earlier:
            leaders.setdefault(_bath(earlier[item.probe]), item)
    probes = {item.probe for item in named}
    moved = [
        _moved(old, earlier[leader.probe], leader)
        for old in earlier.values()
        if old.probe not in probes and old.method.startswith(MATCH)
        if (leader := leaders.get(_bath(old))) is not None
    ]
    return (*named, *moved)


def _bath(item: Calibration) -> str:
    """Return the name of the first recording in a note; a comma may be in it."""
    named = _RECORDING.match(item.note)
    return named[0] if named else item.note.partition(", ")[0]


def _of_bath(before: Calibration | None, item: Calibration) -> Calibration:
    if before is None or not (before.method.startswith(MATCH) or ", " in before.note):
        return item
    bath = _bath(before)
    return item if _bath(item) == bath else replace(item, note=f"{bath}, {item.note}")


def _moved(old: Calibration, before: Calibration, leader: Calibration) -> Calibration:
    at_c = leader.correction.reference_c
    own, theirs = (item.correction.at(at_c)[0] for item in (old, before))
    apart_k = (own - theirs) / (1.0 + before.correction.slope)  # between the raw readings
    line = replace(
        leader.correction,
        intercept_k=leader.correction.intercept_k + apart_k * (1.0 + leader.correction.slope),
        u_intercept_k=math.hypot(leader.correction.u_intercept_k, old.correction.u_intercept_k),
    )
    method = f"{MATCH}, moved with {leader.probe} to {leader.method}"
    return replace(
        old, made=leader.made, method=method, correction=line,
        low_c=leader.low_c, high_c=leader.high_c,
    )  # fmt: skip


def keep(path: Path, calibrations: Sequence[Calibration]) -> None:
    """Add corrections to a file, in place of older ones of the same probes."""
    earlier = load_calibrations(path) if path.exists() else {}
    save_calibrations(path, [*(earlier | {item.probe: item for item in calibrations}).values()])
