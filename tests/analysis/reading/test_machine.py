"""Heat capacities and probe errors from a profile."""

import math
from dataclasses import replace

import pytest

from analysis.outing_maker import bracken
from wattsump_analysis.reading.machine import (
    METAL_J_KGK,
    bare_pipes,
    contact_of,
    knowledge,
    metal_capacity_j_k,
    oil_capacity_j_k,
    stated_flow,
)
from wattsump_logger.machine.parts import Drive, Role


def test_oil_capacity_is_mass_times_specific_heat() -> None:
    value, relative = oil_capacity_j_k(bracken(), 60.0)
    # independent: 17 L at 867 kg/m3 (870 at 15 °C, 0.0007 /K) and 2025 J/(kg K), the
    # correlation (1685 + 3.4 t) / sqrt(0.871) at 60 °C, by hand.
    assert value == pytest.approx(0.017 * 867.0 * 2025.0, rel=2e-3)
    # independent: 2.5 % volume, 1 % density, 3 % specific heat in squares.
    assert relative == pytest.approx(math.sqrt(0.025**2 + 0.01**2 + 0.03**2))


def test_warmer_oil_holds_more() -> None:
    cold, warm = (oil_capacity_j_k(bracken(), t)[0] for t in (20.0, 70.0))
    assert cold is not None
    assert warm is not None
    # independent: the correlation's (1685 + 3.4 x 70) / (1685 + 3.4 x 20).
    assert warm / cold == pytest.approx(1923.0 / 1753.0, rel=1e-6)


def test_metal_parts_add_and_their_errors_add_in_squares() -> None:
    value, relative = metal_capacity_j_k(bracken())
    steel, core = 46 * METAL_J_KGK["steel"], 10 * METAL_J_KGK["aluminium"]
    assert value == pytest.approx(steel + core)
    parts = math.hypot(0.075 * steel, 0.075 * core) / (steel + core)
    # independent: 4 % of the specific heats, common to all parts, in squares.
    assert relative == pytest.approx(math.hypot(parts, 0.04))


@pytest.mark.parametrize(
    ("material", "low", "high"),
    # common practice, no source: the trade's 0.47, 0.46 to 0.54 and 0.90 kJ/(kg K).
    [("steel", 430, 490), ("cast iron", 460, 540), ("aluminium", 870, 940), ("copper", 380, 395)],
)
def test_metals_hold_what_the_trade_and_the_tables_say(
    material: str, low: float, high: float
) -> None:
    assert low <= METAL_J_KGK[material] <= high


def test_a_volume_stated_as_unknown_leaves_capacity_open() -> None:
    oil = {"grade": "VG 46", "volume": "50 L", "volume_uncertainty": "100 %"}
    know = knowledge(bracken(oil=oil), 50.0, matched=True)
    assert know.oil_j_k is None
    assert know.metal_j_k is None


def test_metal_that_is_not_listed_is_unknown_not_nothing() -> None:
    assert metal_capacity_j_k(bracken(metal=None))[0] is None
    assert knowledge(bracken(metal=None), 50.0, matched=True).oil_j_k is not None


def test_matching_replaces_the_sensors_class() -> None:
    channels = {name: {"sensor": "K class 2"} for name in ("tank", "ambient")}
    profile = bracken(channels=channels)
    matched = knowledge(profile, 60.0, matched=True)
    plain = knowledge(profile, 60.0, matched=False)
    assert matched.u_match_k == 0.08
    assert matched.u_ambient_k == 0.4
    assert matched.sun_k == 0.0
    # independent: IEC 60584-1 class 2, 2.5 K; 2 K board (common practice), both rectangular.
    one = math.hypot(2.5, 2.0) / math.sqrt(3.0)
    assert plain.u_match_k == pytest.approx(math.sqrt(2.0) * one)
    assert plain.u_ambient_k == pytest.approx(math.sqrt(2.0 * one**2 + 0.7**2))
    assert plain.sun_k > 0.0


def test_without_a_profile_nothing_is_known() -> None:
    know = knowledge(None, 50.0, matched=False)
    assert know.oil_j_k is None
    assert know.metal_j_k is None


def test_a_displacement_is_a_flow_at_the_working_speed() -> None:
    profile = replace(
        bracken(),
        cooler=replace(bracken().cooler, oil_flow_m3_s=None),
        drive=Drive(pump_displacement_m3=10e-6, pump_kind="gear", pump_ratio=1.2, working_rpm=2500),
    )
    flow = stated_flow(profile)
    assert flow is not None
    # independent: 10 mL x 1.2 x 2500 / 60 s x 0.88, by hand.
    assert flow.flow_m3_s == pytest.approx(4.4e-4)
    assert flow.rpm == 2500


def test_a_flow_measured_once_goes_before_a_displacement() -> None:
    cooler = replace(bracken().cooler, oil_flow_m3_s=3e-4, oil_flow_rpm=1100.0)
    flow = stated_flow(replace(bracken(), cooler=cooler, drive=Drive(pump_displacement_m3=10e-6)))
    assert flow is not None
    # independent: 5 % less at work than what was caught without load.
    assert flow.flow_m3_s == pytest.approx(2.85e-4)
    assert flow.rpm == pytest.approx(1100.0)  # independent: as stated


def test_a_soak_that_still_drifts_leaves_air_and_probes_less_well_matched() -> None:
    still, moving = (knowledge(bracken(), 60.0, matched=True, drift_k_min=d) for d in (0.0, 0.036))
    # independent: 0.036 K/min for a time constant of 5000 s is 3 K, beside 0.4 K in squares.
    assert moving.u_ambient_k == pytest.approx(math.hypot(0.4, 3.0))
    assert moving.u_match_k > 10.0 * still.u_match_k


def test_probes_matched_in_a_bath_keep_their_bath_whatever_the_soak() -> None:
    roles = (Role.TANK, Role.COOLER_IN, Role.COOLER_OUT)
    found = {role.value: bracken().role(role) for role in roles}
    channels = {
        name: replace(channel, u_offset_k=0.05)
        for name, channel in found.items()
        if channel is not None
    }
    know = knowledge(replace(bracken(), channels=channels), 60.0, matched=True, drift_k_min=0.04)
    # independent: two readings of 0.05 K in squares.
    assert know.u_match_k == pytest.approx(0.05 * math.sqrt(2.0))


def test_a_data_sheets_specific_heat_counts_in_what_is_there_and_in_what_flows() -> None:
    oil = {"grade": "VG 46", "volume": "18 L", "density_15": "870 kg/m3"}
    cooler = {"oil_flow": "12 L/min"}
    usual = knowledge(bracken(oil=oil, cooler=cooler), 40.0, matched=True)
    typed = knowledge(
        bracken(oil=oil | {"specific_heat_40": "2.1 kJ/(kg K)"}, cooler=cooler), 40.0, matched=True
    )
    assert usual.oil_j_k is not None
    assert usual.oil_flow_w_k is not None
    # published: Cragoe, NBS Misc. Publ. 97 (1929): (0.388 + 0.00045 t/°F)/sqrt(s) Btu/(lb °F),
    # s that at 60 degF: 870 kg/m3 over water's 999 there (from memory)
    cragoe = 4186.8 * (0.388 + 0.00045 * 104.0) / math.sqrt(0.870 / 0.999)
    assert typed.oil_j_k == pytest.approx(usual.oil_j_k * 2100.0 / cragoe, rel=2e-3)
    assert typed.oil_flow_w_k == pytest.approx(usual.oil_flow_w_k * 2100.0 / cragoe, rel=2e-3)
    assert typed.u_oil_heat_rel < 0.6 * usual.u_oil_heat_rel
    assert typed.u_oil_rel < usual.u_oil_rel


def test_cooler_probes_are_on_their_pipes_unless_stated_and_the_tanks_is_in_oil() -> None:
    contact = contact_of(bracken(channels={"cooler_out": {"mount": "in oil"}}))
    assert contact["cooler_out"] == contact["tank"] == (0.0, 0.0)
    mean, u = contact["cooler_in"]
    # independent: 3 W/(m2 K) of 20 mm of foam (0.04 W/(m K) about a tube of 22 mm, and 10 W/(m2 K)
    # to the air) against 80 and 320 of laminar oil, worked out by hand.
    for film in (80.0, 320.0):
        assert abs(3.0 / (3.0 + film) - mean) < 2.0 * u


def test_one_bare_probe_costs_both_at_the_cooler() -> None:
    assert bare_pipes(bracken()) == frozenset()
    bare = bracken(channels={"cooler_in": {"mount": "bare"}})
    assert bare_pipes(bare) == {"cooler_in", "cooler_out"}
