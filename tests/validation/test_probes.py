"""Probes that follow their oil slowly are told, and the range of K allows for them."""

from families import FAMILIES
from probes import Found, found_in


def test_slow_probes_are_told_hold_k_and_say_no_cooler_short() -> None:
    families = [FAMILIES["bursts and pauses"]]
    found = found_in(families, 1, 77, slow=6.0)
    assert found == Found(given=1, held=1, late=1, wrong=0)
    assert found_in(families, 1, 77, slow=1.0) == Found(given=1, held=1, late=0, wrong=0)
