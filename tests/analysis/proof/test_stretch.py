"""What a stretch tells beside K: the heat into the oil wherever K comes from the same fit."""

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from analysis.proof_fixture import near
from wattsump_analysis.proof.stretch import Scale, Stretch, segment_of
from wattsump_analysis.results import Interval

HEAT_W = near(2700.0, 0.1)


def own_circuit_stretch(side_k_w_k: Interval | None) -> Stretch:
    """A stretch whose cooler has a circuit of its own, with or without an oil flow."""
    fitted = SimpleNamespace(
        capacity_j_k=near(62e3, 0.1),
        heat_in_w=HEAT_W,
        shell_w_k=near(13.0, 0.3),
        k_over_c_per_s=near(0.0011, 0.1),
        nodes=5,
    )
    return cast(
        "Stretch",
        SimpleNamespace(
            record=SimpleNamespace(elapsed_s=np.arange(0.0, 600.0, 60.0), bin_s=60.0),
            fitted=fitted,
            known_heat=None,
            scale=Scale.CAPACITY if side_k_w_k is None else Scale.OIL_SIDE,
            is_own_circuit=True,
            side=SimpleNamespace(k_w_k=side_k_w_k),
            k_w_k=side_k_w_k or near(69.5, 0.15),
        ),
    )


@pytest.mark.parametrize(("side_k_w_k", "heat_w"), [(None, HEAT_W), (near(69.5, 0.05), None)])
def test_a_cooler_in_its_own_circuit_tells_the_heat_unless_its_flow_gives_the_watts(
    side_k_w_k: Interval | None, heat_w: Interval | None
) -> None:
    segment = segment_of(own_circuit_stretch(side_k_w_k), np.random.default_rng(1))
    assert segment is not None
    assert segment.heat_in_w == heat_w
