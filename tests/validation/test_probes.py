"""Probes that follow their oil slowly are told, and the range of K allows for them."""

import numpy as np
import pytest
from families import FAMILIES
from outings import PROTOCOLS, _Pipe, _pipes, outing, profile_of, session_of
from probes import Found, found_in
from score import settled_w_k

from wattsump_analysis.proof.prove import prove
from wattsump_analysis.results import Verdict


def test_slow_probes_are_told_hold_k_and_say_no_cooler_short() -> None:
    families = [FAMILIES["bursts and pauses"]]
    found = found_in(families, 1, 77, slow=6.0)
    assert found == Found(given=1, held=1, late=1, wrong=0)
    assert found_in(families, 1, 77, slow=1.0) == Found(given=1, held=1, late=0, wrong=0)


def test_walls_of_pipes_follow_their_oil_by_the_lag_that_their_film_gives() -> None:
    for one in range(40):
        for pipe in _pipes(one).values():
            assert 18.0 < pipe.lag_s < 140.0
            assert 0.005 < pipe.missed < 0.07
    pipe = _Pipe(missed=0.0, lag_s=60.0)
    wall_c = pipe.wall_c(20.0 + np.arange(1200.0) / 60.0, np.full(1200, 20.0))
    # independent: behind a steady rise of 1 K/min a first order stays by its lag, here 1 K.
    assert 20.0 + 1199.0 / 60.0 - wall_c[-1] == pytest.approx(1.0, abs=0.02)


def test_two_walls_that_are_late_alike_leave_the_watts() -> None:
    # Both steel walls of this machine follow their oil by a minute and more.
    one = next(one for one in range(40) if min(p.lag_s for p in _pipes(one).values()) > 75.0)
    protocol = PROTOCOLS["guided, probes on the pipes"]
    ran = outing(FAMILIES["heat in the metal"], protocol, one + 1, 78)
    k_w_k = settled_w_k(ran, one, 65.0)
    proof = prove(session_of(ran, one), profile_of(ran, one, k_w_k))
    said = {remark.code for remark in (*proof.reasons, *proof.cautions)}
    assert not said & {"probe-late", "slow-probe"}
    assert proof.k_w_k is not None
    assert proof.k_w_k.low <= k_w_k <= proof.k_w_k.high


def test_a_verdict_that_a_late_probe_leaves_open_asks_for_a_quicker_one() -> None:
    ran = outing(FAMILIES["heat in the lines"], PROTOCOLS["guided"], 1, 77)
    profile = profile_of(ran, 0, settled_w_k(ran, 0, 65.0) / 1.1)
    proof = prove(session_of(ran, 0, slow=6.0), profile)
    assert proof.verdict is Verdict.CANNOT_TELL
    assert proof.next_step.code == "quicken-probe"
