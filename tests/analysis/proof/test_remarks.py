"""What is told beside the verdict: limits go by the same names as the channels they are for."""

from wattsump_analysis.proof.remarks import limits_of
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
