"""Probes that follow their oil slowly are refused, and quick ones are not."""

from families import FAMILIES
from probes import refused_and_wrong


def test_a_slow_probe_is_refused_and_says_no_cooler_short() -> None:
    family = FAMILIES["bursts and pauses"]
    assert refused_and_wrong(family, 1, 77, slow=6.0) == (1, 0)
    assert refused_and_wrong(family, 1, 77, slow=1.0) == (0, 0)
