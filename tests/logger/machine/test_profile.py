"""The machine profile: what it reads, what it refuses and in which words."""

import dataclasses
import json
import math
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checkout import BRACKEN_FILE, ROOT
from refusal import refused
from wattsump_logger.errors import ProfileError
from wattsump_logger.machine import keys
from wattsump_logger.machine.profile import (
    Channel,
    Cooler,
    Heater,
    Limits,
    Metal,
    Profile,
    Role,
    SensorClass,
    column_of,
    load_profile,
    profile_from_dict,
)


def _least(**sections: object) -> dict[str, Any]:
    return {"name": "x", "oil": {"grade": "VG 46", "volume": "18 L"}} | sections


def test_the_sample_machine_is_read_into_inside_units() -> None:
    profile = load_profile(BRACKEN_FILE)
    assert profile.oil.volume_m3 == 0.018
    assert profile.cooler.label_heat_w == 6000.0
    assert profile.cooler.label_etd_k == 55.0
    assert profile.cooler.oil_flow_m3_s == 0.0002
    assert profile.drive.power_w == 15000.0
    assert profile.heater == Heater(
        power_w=500.0, u_power_rel=0.025, watt_density_w_m2=10000.0, metered=True
    )
    assert [part.material for part in profile.metal] == ["steel", "cast iron", "aluminium"]
    assert set(profile.channels) == {
        "tank", "cooler_in", "cooler_out", "case_drain", "ambient", "fan", "engine", "drive",
    }  # fmt: skip


def test_a_typed_uncertainty_is_a_95_per_cent_half_width_and_is_halved() -> None:
    profile = profile_from_dict(
        _least(
            oil={"grade": "VG 46", "volume": "18 L", "volume_uncertainty": "5 %"},
            channels={"tank": {"offset": "-0.5 degF", "offset_uncertainty": "0.3 K"}},
        )
    )
    assert profile.oil.u_volume_rel == 0.025
    channel = profile.channels["tank"]
    assert channel.u_offset_k == 0.15
    # published: 5/9 K a degree Fahrenheit, NIST SP 811 B.8.
    assert channel.offset_k == pytest.approx(-0.5 * 5 / 9, rel=1e-12)


def test_the_viscosity_at_100_degrees_follows_from_grade_and_index() -> None:
    plain = profile_from_dict(_least()).oil
    assert plain.viscosity_40_mm2_s == 46.0
    # independent: the table of ASTM D2270 in the library chemicals 1.5.2 gives index
    # 100 for 46 and 6.76 mm²/s; the two tables agree to 0.1 %.
    assert plain.viscosity_100_mm2_s == pytest.approx(6.76, abs=0.01)
    rich = _least(oil={"grade": "ISO VG 46", "viscosity_index": 150, "volume": "18 L"})
    assert profile_from_dict(rich).oil.viscosity_100_mm2_s > plain.viscosity_100_mm2_s


def test_a_role_is_played_by_the_profiles_column_else_by_one_of_its_name() -> None:
    named = profile_from_dict(_least(channels={"t1": {"role": "tank"}, "fan": {"role": "engine"}}))
    assert column_of("tank", ["t1_c", "tank_c"], named) == "t1_c"
    assert column_of("tank", ["tank_c"], named) == "tank_c"
    assert column_of("tank", ["tank_c"]) == "tank_c"
    assert column_of("engine", ["engine_rpm"], None) == "engine_rpm"
    assert column_of("fan", ["fan_on", "fan_rpm"], named) is None  # its name is the engine's
    assert column_of("tank", ["ambient_c"], named) is None


def test_the_label_of_a_multigrade_brings_its_index_unless_one_is_typed() -> None:
    labelled, plain, typed = (
        profile_from_dict(_least(oil={"grade": grade, "volume": "18 L"} | more)).oil
        for grade, more in (
            ("HVLP 46", {}),
            ("AW 46", {}),
            ("HVLP 46", {"viscosity_index": 100}),
        )
    )
    assert labelled.viscosity_100_mm2_s > plain.viscosity_100_mm2_s
    assert typed.viscosity_100_mm2_s == plain.viscosity_100_mm2_s


def test_an_oil_of_no_iso_grade_needs_both_viscosities() -> None:
    oil = {"grade": "10W-30", "volume": "18 L", "viscosity_40": "70 cSt"}
    with refused(ProfileError, "profile, oil.grade"):
        profile_from_dict(_least(oil={"grade": "10W-30", "volume": "18 L"}))
    oil["viscosity_100"] = "11 cSt"
    assert profile_from_dict(_least(oil=oil)).oil.viscosity_100_mm2_s == 11.0


@pytest.mark.parametrize("text", ["not printed", None])
def test_an_etd_that_is_not_printed_is_none(text: str | None) -> None:
    cooler = {"label_heat": "20000 BTU/h"} | ({} if text is None else {"label_etd": text})
    found = profile_from_dict(_least(cooler=cooler)).cooler
    assert found.label_etd_k is None
    assert found.fitted


def test_what_is_left_out_has_the_stated_defaults() -> None:
    profile = profile_from_dict(_least())
    assert profile.metal == ()
    assert profile.heater is None
    assert profile.cooler == Cooler(fitted=False)
    assert profile.limits == Limits()
    assert profile.oil.u_volume_rel == 0.05
    assert profile.oil.density_15_kg_m3 == 870.0
    assert profile.typed == _least()


_WRONG: list[tuple[dict[str, Any], str, str]] = [
    (_least(oli={}), "unknown key 'oli'", "did you mean 'oil'"),
    (_least(oil={"grade": "VG 46", "volum": "18 L"}), "unknown key 'volum'", "mean 'volume'"),
    (_least(oil={"grade": "VG 46"}), "oil.volume", "found none"),
    (_least(oil={"grade": "VG 46", "volume": "18 kg"}), "'18 kg'", "such as '18 L'"),
    (_least(oil={"grade": "VG 46", "volume": 18}), "a bare number", "add a unit"),
    (_least(oil={"grade": "VG 46", "volume": True}), "oil.volume", "number and unit"),
    (_least(oil={"grade": "VG 46", "volume": "18 m3"}), "'18 m3'", "0.0001 to 10 m3"),
    (_least(oil={"grade": "VG 47", "volume": "18 L"}), "'VG 47'", "viscosity_100"),
    (_least(oil={"grade": "", "volume": "18 L"}), "oil.grade", "not empty"),
    (_least(oil={"grade": 46, "volume": "18 L"}), "oil.grade", "a text in quotes"),
    (_least(oil=7), "7", "[section]"),
    (
        _least(oil={"grade": "VG 46", "volume": "18 L", "viscosity_index": "100"}),
        "viscosity_index",
        "without quotes",
    ),
    (
        _least(oil={"grade": "VG 46", "volume": "18 L", "viscosity_index": 900}),
        "viscosity_index",
        "0 to 400",
    ),
    (
        _least(oil={"grade": "VG 2", "volume": "18 L", "viscosity_index": 0}),
        "viscosity_index",
        "data sheet",
    ),
    (
        _least(
            oil={
                "grade": "VG 46",
                "volume": "18 L",
                "viscosity_index": 99,
                "viscosity_100": "7 cSt",
            }
        ),
        "viscosity_index",
        "remove one",
    ),
    (
        _least(oil={"grade": "VG 46", "volume": "18 L", "viscosity_100": "60 cSt"}),
        "viscosity_100",
        "less than",
    ),
    (_least(metal={"name": "tank"}), "metal", "[[metal]]"),
    (_least(metal=[{"name": "t", "material": "lead", "mass": "1 kg"}]), "'lead'", "cast iron"),
    (_least(metal=[{"name": "t", "material": "steel"}]), "metal[1].mass", "add it"),
    (_least(drive={"pump_efficiency": "850 %"}), "pump_efficiency", "0.05 to 1"),
    (_least(cooler={"fitted": "yes"}), "cooler.fitted", "true or false"),
    (_least(cooler={"label_etd": "none"}), "label_etd", "such as '55 K'"),
    (_least(cooler={"label_etd": "500 K"}), "label_etd", "1 to 200 K"),
    (_least(heater={}), "heater.power", "add it"),
    (_least(limits={"oil_warn": "90 degC"}), "oil_warn", "below oil_max"),
    (_least(limits={"viscosity_min": "20 cSt"}), "limits", "rising"),
    (_least(channels={"Tank": {}}), "'Tank'", "a letter first"),
    (_least(channels={"tank": "K class 2"}), "channels.tank", "[section]"),
    (_least(channels={"t1": {}}), "channels.t1.role", "say what the channel tells"),
    (_least(channels={"t1": {"role": "tnak"}}), "'tnak'", "one of tank"),
    (_least(channels={"tank": {"sensor": "K class 9"}}), "'K class 9'", "K class 2"),
    (_least(channels={"tank": {"unit": "furlong"}}), "'furlong'", "rpm"),
    (_least(channels={"fan": {"sensor": "K class 2"}}), "fan.sensor", "remove it"),
    (_least(channels={"tank": {}, "t2": {"role": "tank"}}), "t2.role", "one channel"),
    ({"name": "", "oil": {}}, "name", "quotes"),
    ({"oil": {}}, "name", "add it"),
    ({"name": "x"}, "oil", "[oil] section"),
]


@pytest.mark.parametrize(
    ("raw", "names", "told"), _WRONG, ids=[f"{n}-{w[1]}" for n, w in enumerate(_WRONG)]
)
def test_a_wrong_profile_is_refused_in_one_line_naming_the_key(
    raw: dict[str, Any], names: str, told: str
) -> None:
    with pytest.raises(ProfileError) as caught:
        profile_from_dict(raw, "bracken.toml")
    message = str(caught.value)
    assert message.startswith("bracken.toml")
    assert names in message
    assert told in message
    assert "\n" not in message


def test_a_file_that_is_no_profile_is_refused(tmp_path: Path) -> None:
    with refused(ProfileError, "none.toml"):
        load_profile(tmp_path / "none.toml")
    path = tmp_path / "p.toml"
    path.write_text('name = "x"\n[oil\n', encoding="utf-8")
    with pytest.raises(ProfileError, match=r"p\.toml.*line 2"):
        load_profile(path)
    path.write_bytes(b"name = '\xff'")
    with pytest.raises(ProfileError, match="UTF-8"):
        load_profile(path)


def test_a_profile_survives_the_sidecar_and_keeps_what_was_typed() -> None:
    profile = load_profile(BRACKEN_FILE)
    sent = json.loads(json.dumps(profile.to_dict()))
    assert sent["oil"]["volume"] == "18 L"
    assert sent["cooler"]["label_heat"] == "6 kW"
    assert profile_from_dict(sent) == profile


def test_a_changed_section_is_written_anew_and_the_others_as_typed() -> None:
    profile = load_profile(BRACKEN_FILE)
    changed = dataclasses.replace(
        profile,
        oil=dataclasses.replace(profile.oil, volume_m3=0.02),
        heater=None,
        cooler=dataclasses.replace(profile.cooler, label_etd_k=None),
        channels={
            name: dataclasses.replace(channel, offset_k=0.3, u_offset_k=0.1)
            for name, channel in profile.channels.items()
        },
    )
    written = changed.to_dict()
    assert profile_from_dict(written) == changed
    assert "heater" not in written
    drive = written["drive"]
    assert isinstance(drive, dict)
    assert drive["power"] == "15 kW"


def test_to_dict_hands_out_no_part_of_the_profile() -> None:
    profile = load_profile(BRACKEN_FILE)
    oil = profile.to_dict()["oil"]
    assert isinstance(oil, dict)
    oil["volume"] = "99 L"
    assert profile_from_dict(profile.to_dict()) == profile


@given(
    volume=st.floats(1e-3, 5.0),
    u=st.floats(0.0, 0.5),
    mass=st.floats(0.1, 1e4),
    warn=st.floats(-10, 81.9),
    heat=st.one_of(st.none(), st.floats(10.0, 1e6)),
    offset=st.floats(-20, 20),
)
def test_any_profile_made_in_code_survives_the_sidecar(
    volume: float, u: float, mass: float, warn: float, heat: float | None, offset: float
) -> None:
    base = profile_from_dict(_least())
    made = Profile(
        name="made",
        oil=dataclasses.replace(base.oil, volume_m3=volume, u_volume_rel=u),
        metal=(Metal(name="tank", material="steel", mass_kg=mass, u_mass_rel=u),),
        cooler=Cooler(label_heat_w=heat, fitted=heat is not None),
        limits=Limits(oil_warn_c=warn),
        channels={
            "tank": Channel(
                name="tank",
                role=Role.TANK,
                sensor=SensorClass(text="T class 1"),
                offset_k=offset,
                u_offset_k=u,
            )
        },
    )
    assert profile_from_dict(json.loads(json.dumps(made.to_dict()))) == made


def test_roles_find_their_columns() -> None:
    profile = profile_from_dict(
        _least(
            channels={
                "sump": {"role": "tank", "sensor": "K class 2"},
                "ambient": {"role": "other"},
                "burner": {"role": "heater", "unit": "on"},
                "shell": {"role": "metal"},
                "frame": {"role": "metal"},
            }
        )
    )
    assert profile.column("tank") == "sump_c"
    assert profile.column(Role.FAN) == "fan_on"
    assert profile.column("engine") == "engine_rpm"
    assert profile.column("flow") == "flow_lpm"
    assert profile.column("heater") == "burner_on"
    assert profile.column("metal") == "shell_c"
    assert profile.column("ambient") is None
    cooler_in = profile.role("cooler_in")
    assert cooler_in is not None
    assert cooler_in.sensor.text == "not stated"
    # The name "ambient" is declared to be something else, and "other" is nobody's default.
    found = profile.role("other")
    assert found is not None
    assert found.name == "ambient"
    assert profile_from_dict(_least()).role("other") is None


def test_a_matched_channel_carries_the_uncertainty_of_its_offset_instead_of_its_class() -> None:
    channel = load_profile(BRACKEN_FILE).channels["tank"]
    # independent: rectangular ±2.5 and ±2 K, root sum of squares over sqrt 3, by hand.
    assert channel.u_c(70.0) == pytest.approx(math.sqrt((2.5**2 + 2.0**2) / 3), rel=1e-12)
    assert dataclasses.replace(channel, u_offset_k=0.1).u_c(70.0) == 0.1


_DOC = ROOT / "docs" / "machine-profile.md"


def test_the_least_profile_of_the_documentation_is_read() -> None:
    (block,) = re.findall(r"```toml\n(.*?)```", _DOC.read_text(encoding="utf-8"), re.DOTALL)
    profile = profile_from_dict(tomllib.loads(block))
    assert profile.oil.volume_m3 == 0.018
    assert profile.to_dict() == tomllib.loads(block)


@pytest.mark.parametrize(
    ("heading", "table"),
    [
        ("`[oil]`", keys.OIL),
        ("`[[metal]]`", keys.METAL),
        ("`[drive]`", keys.DRIVE),
        ("`[cooler]`", keys.COOLER),
        ("`[heater]`", keys.HEATER),
        ("`[limits]`", keys.LIMITS),
        ("`[channels.<name>]`", keys.CHANNEL),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_the_documentation_lists_each_key_and_no_other(
    heading: str, table: tuple[keys.Key, ...]
) -> None:
    text = _DOC.read_text(encoding="utf-8")
    section = text.split(f"### {heading}", 1)[1].split("\n#", 1)[0]
    listed = re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE)
    assert listed == [key.name for key in table]


def test_the_documentation_lists_each_role() -> None:
    roles = _DOC.read_text(encoding="utf-8").split("Roles:", 1)[1].split("Sensor classes", 1)[0]
    assert {role.value for role in Role} <= set(re.findall(r"`(\w+)`", roles))
