"""What each phase of an outing does to K."""

import numpy as np
import pytest

from analysis.outing_maker import FULL, GUIDED, bracken, plant_session, with_columns
from wattsump_analysis.proof.prove import prove
from wattsump_analysis.results import Influence, Proof

FLAGS = ("fan_on", "engine_rpm", "drive_on")


@pytest.fixture(scope="module")
def proof() -> Proof:
    return prove(with_columns(plant_session(GUIDED), *(f"{n}_c" for n in FULL), *FLAGS), bracken())


def influences(proof: Proof) -> tuple[Influence, ...]:
    assert proof.diagnostics is not None
    return proof.diagnostics.influence


def test_every_phase_of_a_guided_run_is_weighed(proof: Proof) -> None:
    assert [i.phase for i in influences(proof)] == list(proof.phases)


def test_no_phase_carries_the_answer_of_a_guided_run_alone(proof: Proof) -> None:
    assert proof.k_w_k is not None
    changes = np.array([i.k_change_rel for i in influences(proof)])
    assert np.any(changes != 0.0)
    assert np.max(np.abs(changes)) < proof.k_w_k.half_width_rel


def test_what_a_phase_does_stays_what_it_was(proof: Proof) -> None:
    # pinned: of the short search itself, which stops a tenth of a standard deviation (0.8 %) away.
    expected = np.array([1.2, 2.6, -0.9, 0.8, 0.2, -0.9])
    result = 100 * np.array([i.k_change_rel for i in influences(proof)])
    assert result == pytest.approx(expected, abs=0.8)
