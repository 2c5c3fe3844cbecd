"""What late probes do to K of drawn machines, and whether they are found.

    python tests/validation/probes.py [machines] [seed]

Two rows of guided runs: quick probes, whose lags are the usual 2 to 15 s, and slow ones of 12 to
90 s, as in an empty well.
"""

import sys
from collections.abc import Iterable
from dataclasses import dataclass

from families import FAMILIES, Family
from outings import PROTOCOLS, outing, profile_of, session_of
from score import settled_w_k

from wattsump_analysis.proof.prove import prove

__all__ = ("Found", "found_in")


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Of guided runs: how many have a K, hold it, are told that a probe is late, and are wrong.

    Wrong is a cooler at 125 % of its label that is said to fall short.
    """

    given: int
    held: int
    late: int
    wrong: int


def found_in(families: Iterable[Family], machines: int, seed: int, slow: float) -> Found:
    """Prove so many machines of each family with probes `slow` times as late as usual."""
    given = held = late = wrong = 0
    for family in families:
        ran = outing(family, PROTOCOLS["guided"], machines, seed)
        for one in range(machines):
            k_w_k = settled_w_k(ran, one, 65.0)
            session = session_of(ran, one, slow=slow)
            proof = prove(session, profile_of(ran, one, k_w_k / 1.25), seed=one)
            said = {remark.code for remark in (*proof.reasons, *proof.cautions)}
            late += bool(said & {"probe-late", "slow-probe"})
            wrong += proof.verdict == "falls short"
            if proof.k_w_k is not None:
                given += 1
                held += proof.k_w_k.low <= k_w_k <= proof.k_w_k.high
    return Found(given=given, held=held, late=late, wrong=wrong)


def main(words: list[str]) -> None:
    machines, seed = (int(word) for word in (*words, *("1", "77")[len(words) :]))
    for title, slow in (("quick", 1.0), ("slow", 6.0)):
        found = found_in(FAMILIES.values(), machines, seed, slow)
        print(
            f"{title}: K given {found.given} of {machines * len(FAMILIES)}, held {found.held}, "
            f"told late {found.late}, wrongly short {found.wrong}",
            flush=True,
        )


if __name__ == "__main__":
    main(sys.argv[1:])
