"""How often a fan that speeds up with the oil is noticed, and how often another is doubted.

    python tests/validation/fans.py [machines] [seed]

Its channel says only that it turns. Guided runs match the probes in a rest; ordinary work does not.
"""

import sys
from dataclasses import replace

from families import FAMILIES, Family
from outings import PROTOCOLS, outing, profile_of, session_of

from wattsump_analysis.reading.cooler_share import fan_followed
from wattsump_analysis.reading.cuts import record_of
from wattsump_analysis.reading.machine import knowledge
from wattsump_analysis.reading.phases import find_soak, switches_of
from wattsump_analysis.reading.samples import gather

__all__ = ("doubted",)

_PROTOCOLS = ("guided", "ordinary work, one fan-off")
_FOLLOWING = ("heat in the lines", "bursts and pauses", "heat in the tank")


def doubted(family: Family, protocol: str, machines: int, seed: int) -> int:
    """Of how many drawn machines the fan is taken to speed up with the oil."""
    ran = outing(family, PROTOCOLS[protocol], machines, seed)
    found = 0
    for one in range(machines):
        profile = profile_of(ran, one, 100.0)
        samples = gather(session_of(ran, one), profile)
        switches, _ = switches_of(samples)
        soak = find_soak(samples, switches.engine)
        offsets = {} if soak is None or soak.offsets_k is None else soak.offsets_k
        know = knowledge(profile, 60.0, matched=bool(offsets))
        found += fan_followed(record_of(samples, switches, offsets, None), know.u_match_k)
    return found


def main(words: list[str]) -> None:
    machines, seed = (int(word) for word in (*words, *("4", "77")[len(words) :]))
    for protocol in _PROTOCOLS:
        following = [replace(FAMILIES[name], follows_oil=True) for name in _FOLLOWING]
        for title, families in (("follows", following), ("does not", [*FAMILIES.values()])):
            total = sum(doubted(family, protocol, machines, seed) for family in families)
            print(f"{protocol}: {title}: {total} of {machines * len(families)}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
