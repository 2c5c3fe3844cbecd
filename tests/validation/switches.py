"""How often a wrong switch channel is noticed, and how often a right one is accused.

    python tests/validation/switches.py [machines] [seed] [protocol ...]

Machines of every family are drawn as for the other figures; each of their sessions is read with
its switches as they were, and with one channel stuck, inverted or loose.
"""

import sys
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
from families import FAMILIES
from outings import PROTOCOLS, Happened, outing, session_of

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.reading.contradictions import contradictions
from wattsump_analysis.reading.cuts import record_of
from wattsump_analysis.reading.phases import find_soak, switches_of
from wattsump_analysis.reading.samples import gather
from wattsump_logger.remark import Remark
from wattsump_logger.session.reader import Session

SEED = 2907
_USUAL = ("guided", "guided, tank and ambient", "guided, circulated heater", "ordinary work")
_RPM = 2000.0
_HEATER_W = 500.0
_LOOSE = 0.5  # share of the seconds in which a loose wire reads on

Change = Callable[[FloatArray, np.random.Generator], FloatArray]


def _stuck(value: float) -> Change:
    return lambda states, rng: np.full_like(states, value)


def _inverted(states: FloatArray, rng: np.random.Generator) -> FloatArray:
    return np.asarray(np.max(states) - states)


def _loose(states: FloatArray, rng: np.random.Generator) -> FloatArray:
    return np.where(rng.random(states.size) < _LOOSE, np.max(states), 0.0)


FAULTS: Mapping[str, tuple[str, Change]] = {
    "none": ("fan_on", lambda states, rng: states),
    "fan inverted": ("fan_on", _inverted),
    "fan stuck on": ("fan_on", _stuck(1.0)),
    "fan stuck off": ("fan_on", _stuck(0.0)),
    "fan loose": ("fan_on", _loose),
    "engine inverted": ("engine_rpm", _inverted),
    "engine stuck on": ("engine_rpm", _stuck(_RPM)),
    "engine stuck off": ("engine_rpm", _stuck(0.0)),
    "engine loose": ("engine_rpm", _loose),
    "drive inverted": ("drive_on", _inverted),
    "drive stuck on": ("drive_on", _stuck(1.0)),
    "drive stuck off": ("drive_on", _stuck(0.0)),
    "heater inverted": ("heater_w", _inverted),
    "heater stuck on": ("heater_w", _stuck(_HEATER_W)),
    "heater stuck off": ("heater_w", _stuck(0.0)),
}


def said_of(session: Session) -> tuple[Remark, ...]:
    """What is said of a session's switches, as `prove` asks for it."""
    samples = gather(session, None)
    switches, _ = switches_of(samples)
    soak = find_soak(samples, switches.engine)
    offsets_k = {} if soak is None or soak.offsets_k is None else soak.offsets_k
    record = record_of(samples, switches, offsets_k, None)
    return contradictions(record, samples, matched=bool(offsets_k))


def with_fault(session: Session, fault: str, seed: int = SEED) -> Session | None:
    """The session with a fault, None where it has no such channel."""
    column, change = FAULTS[fault]
    if column not in session.columns:
        return None
    faulty = change(session.columns[column], np.random.default_rng(seed))
    return replace(session, columns={**session.columns, column: faulty})


def said_with(happened: Happened, fault: str, machines: int) -> list[tuple[Remark, ...]]:
    """What is said of each machine's outing with a fault."""
    sessions = (with_fault(session_of(happened, one), fault) for one in range(machines))
    return [said_of(session) for session in sessions if session is not None]


def main() -> None:
    """Print how many of the machines' outings are contradicted, by protocol and fault."""
    machines, seed = (*map(int, sys.argv[1:3]), *(4, SEED)[len(sys.argv[1:3]) :])
    for protocol in sys.argv[3:] or _USUAL:
        drawn = [
            outing(family, PROTOCOLS[protocol], machines, seed) for family in FAMILIES.values()
        ]
        for fault in FAULTS:
            said = [each for one in drawn for each in said_with(one, fault, machines)]
            if said:
                noticed = sum(bool(each) for each in said)
                print(f"{protocol:<30} {fault:<18} {noticed} of {len(said)}", flush=True)


if __name__ == "__main__":
    main()
