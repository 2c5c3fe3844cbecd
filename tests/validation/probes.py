"""How slow probes are found on drawn machines, and what is said of their coolers.

    python tests/validation/probes.py [machines] [seed]

Two rows of guided runs: quick probes, whose lags are the usual 2 to 15 s, and slow ones of 30 to
90 s, as in an empty well.
"""

import sys

from families import FAMILIES, Family
from outings import PROTOCOLS, outing, profile_of, session_of
from score import settled_w_k

from wattsump_analysis.proof.prove import prove

__all__ = ("refused_and_wrong",)


def refused_and_wrong(family: Family, machines: int, seed: int, slow: float) -> tuple[int, int]:
    """Of guided runs: those refused for a slow probe, and coolers at 125 % said to fall short."""
    ran = outing(family, PROTOCOLS["guided"], machines, seed)
    refused = wrong = 0
    for one in range(machines):
        label_w_k = settled_w_k(ran, one, 65.0) / 1.25
        session = session_of(ran, one, slow=slow)
        proof = prove(session, profile_of(ran, one, label_w_k), seed=one)
        refused += any(reason.code == "slow-probe" for reason in proof.reasons)
        wrong += proof.verdict == "falls short"
    return refused, wrong


def main(words: list[str]) -> None:
    machines, seed = (int(word) for word in (*words, *("1", "77")[len(words) :]))
    for title, slow in (("quick", 1.0), ("slow", 6.0)):
        counts = [refused_and_wrong(family, machines, seed, slow) for family in FAMILIES.values()]
        refused, wrong = (sum(part) for part in zip(*counts, strict=True))
        total = machines * len(FAMILIES)
        print(f"{title}: refused {refused}, wrongly short {wrong}, of {total}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
