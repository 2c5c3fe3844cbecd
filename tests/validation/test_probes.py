"""Probes that follow their oil slowly are told, and the range of K allows for them."""

from families import FAMILIES
from outings import PROTOCOLS, outing, profile_of, session_of
from probes import Found, found_in
from score import settled_w_k

from wattsump_analysis.proof.prove import prove
from wattsump_analysis.results import Verdict


def test_slow_probes_are_told_hold_k_and_say_no_cooler_short() -> None:
    families = [FAMILIES["bursts and pauses"]]
    found = found_in(families, 1, 77, slow=6.0)
    assert found == Found(given=1, held=1, late=1, wrong=0)
    assert found_in(families, 1, 77, slow=1.0) == Found(given=1, held=1, late=0, wrong=0)


def test_a_verdict_that_a_late_probe_leaves_open_asks_for_a_quicker_one() -> None:
    ran = outing(FAMILIES["heat in the lines"], PROTOCOLS["guided"], 1, 77)
    profile = profile_of(ran, 0, settled_w_k(ran, 0, 65.0) / 1.1)
    proof = prove(session_of(ran, 0, slow=6.0), profile)
    assert proof.verdict is Verdict.CANNOT_TELL
    assert proof.next_step.code == "quicken-probe"
