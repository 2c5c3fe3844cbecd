"""How many effective draws proofs of drawn machines reach.

    python tests/validation/effective.py [machines]

Machines are of every family and protocol of this folder in turn. Printed are the number of those
that were fitted, quantiles of their effective draws, and how many have at least 200.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from itertools import count, islice

import numpy as np
from families import FAMILIES
from outings import PROTOCOLS, profile_of, session_of
from score import Case, happened, settled_w_k

from wattsump_analysis.proof.prove import prove

__all__ = ("effective_draws", "main")

ENOUGH = 200.0
FAMILY_STEP = 3  # with no divisor in common with the families, so that all cells come in turn


def effective_draws(machine: int) -> float | None:
    """Effective draws of the fit of one drawn machine; None if there was nothing to fit."""
    families, protocols = list(FAMILIES), list(PROTOCOLS)
    turn = machine // len(protocols)
    case = Case(
        family=families[(FAMILY_STEP * machine + turn) % len(families)],
        protocol=protocols[machine % len(protocols)],
        machines=1,
        seed=machine,
        one=0,
    )
    ran = happened(case)
    proof = prove(session_of(ran, 0), profile_of(ran, 0, settled_w_k(ran, 0, 65.0)), seed=machine)
    return None if proof.diagnostics is None else proof.diagnostics.effective_draws


def main() -> None:
    machines = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    found = filter(None, map(effective_draws, count()))
    draws = np.fromiter(islice(found, machines), dtype=float)
    low, middle = np.quantile(draws, [0.05, 0.5])
    print(
        f"{draws.size} fits: {np.mean(draws >= ENOUGH):.0%} with at least {ENOUGH:.0f} effective "
        f"draws; least {draws.min():.0f}, 5 % quantile {low:.0f}, median {middle:.0f}"
    )


if __name__ == "__main__":
    main()
