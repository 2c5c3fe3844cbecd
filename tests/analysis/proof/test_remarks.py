"""What is told beside the verdict: limits go by the same names as the channels they are for."""

from types import SimpleNamespace
from typing import Any

import pytest

from analysis.codes import codes
from analysis.reading.test_contradictions import outing
from wattsump_analysis.proof.remarks import cautions_of, limits_of
from wattsump_analysis.reading.samples import gather
from wattsump_logger.machine.profile import profile_from_dict


def test_a_channels_own_limit_goes_by_its_role_as_its_readings_do() -> None:
    profile = profile_from_dict(
        {
            "name": "x",
            "oil": {"grade": "VG 46", "volume": "18 L"},
            "channels": {
                "t1": {"role": "case_drain", "limit": "90 degC"},
                "near": {"role": "metal", "limit": "70 degC"},
                "far": {"role": "metal", "limit": "75 degC"},
                "box": {"role": "other", "limit": "60 degC"},
            },
        }
    )
    limits = limits_of(profile)
    assert {name: limits[name] for name in limits if not name.startswith("oil")} == {
        "case_drain": profile.channels["t1"].limit_c,
        "near": profile.channels["near"].limit_c,
        "far": profile.channels["far"].limit_c,
        "box": profile.channels["box"].limit_c,
    }


@pytest.mark.parametrize("is_pump_varied", [True, False])
def test_an_unlogged_speed_is_blamed_only_if_the_flow_varied(is_pump_varied: bool) -> None:
    session = outing()
    stretch: Any = SimpleNamespace(
        record=SimpleNamespace(oils_c={"tank": None}),  # its probes at the cooler are lost
        is_pump_varied=is_pump_varied,
        phases=(),
        fitted=None,
        side=SimpleNamespace(why=None),
        alone=None,
        is_own_circuit=False,
    )
    said = codes(cautions_of(session, gather(session, None), stretch, (), None, None))
    assert ("speed-varied-unlogged" in said) is is_pump_varied
