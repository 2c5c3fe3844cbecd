"""Fittings, hoses and velocities against the standards' tables and the trade's bands."""

import math
from fractions import Fraction

import pytest

from refusal import refused
from wattsump_analysis.physics import hoses
from wattsump_logger.errors import RangeError, UsageError


@pytest.mark.parametrize(
    ("dash", "tube_in", "thread", "hexagon"),
    [
        # published: SAE J514 / ISO 8434-2 sizes as printed in two machine manuals.
        (3, "3/16", "3/8-24", "7/16"), (4, "1/4", "7/16-20", "9/16"),
        # published: as above.
        (5, "5/16", "1/2-20", "5/8"), (6, "3/8", "9/16-18", "11/16"),
        # published: as above.
        (8, "1/2", "3/4-16", "7/8"), (10, "5/8", "7/8-14", "1"),
        # published: as above.
        (12, "3/4", "1 1/16-12", "1 1/4"), (14, "7/8", "1 3/16-12", "1 3/8"),
        # published: as above.
        (16, "1", "1 5/16-12", "1 1/2"),
    ],
)  # fmt: skip
def test_flare_sizes_are_those_of_the_standard(
    dash: int, tube_in: str, thread: str, hexagon: str
) -> None:
    size = hoses.flare_size(-dash)
    assert size is not None
    assert math.isclose(size.tube_od_m, float(Fraction(tube_in)) * 0.0254)
    assert (size.thread, size.nut_hex_in) == (thread, hexagon)


@pytest.mark.parametrize(
    ("dash", "tube_in", "thread"),
    [
        # published: SAE J514 / ISO 8434-2 as printed in a machine manual.
        (20, 1.25, "1 5/8-12"), (24, 1.5, "1 7/8-12"), (32, 2.0, "2 1/2-12"),
    ],
)  # fmt: skip
def test_large_flare_sizes_are_those_of_the_standard(
    dash: int, tube_in: float, thread: str
) -> None:
    size = hoses.flare_size(dash)
    assert size is not None
    assert math.isclose(size.tube_od_m, tube_in * 0.0254)
    assert size.thread == thread


@pytest.mark.parametrize(
    ("bore_mm", "expected"),
    [
        # independent: v = 21.2207 Q/d² at 20 L/min, three decimals.
        (17, 1.469), (29, 0.505), (10, 4.244), (15, 1.886), (7, 8.661), (12, 2.947),
    ],
)  # fmt: skip
def test_velocity_at_twenty_litres_a_minute_matches_the_worked_row(
    bore_mm: float, expected: float
) -> None:
    # independent: the row above.
    assert hoses.velocity_m_s(20e-3 / 60.0, bore_mm / 1e3) == pytest.approx(expected, abs=6e-4)


@pytest.mark.parametrize(
    ("line", "velocity", "words"),
    [
        ("suction", 0.505, "within"), ("suction", 1.6, "above"), ("return", 1.886, "below"),
        ("return", 3.0, "within"), ("pressure", 8.661, "within"), ("pressure", 2.947, "below"),
    ],
)  # fmt: skip
def test_velocities_are_placed_beside_common_practice(
    line: hoses.Line, velocity: float, words: str
) -> None:
    # Bands 0.5 to 1.5, 2 to 4 and 3 to 10 m/s: common practice, no one source.
    assert hoses.velocity_judgement(line, velocity).startswith(words)


def test_the_metric_bands_lie_near_the_rule_in_feet() -> None:
    # Common practice from memory: suction 2 to 4, return 10 to 15, pressure 15 to 25 ft/s.
    for line, upper in (("suction", 4.0), ("return", 15.0), ("pressure", 25.0)):
        metric = hoses.COMMON_VELOCITY_M_S[line][1]  # type: ignore[index] # literal of the loop
        assert 0.7 < metric / (upper * 0.3048) < 1.4


def test_a_cooler_and_its_hoses_add_what_their_cylinders_hold() -> None:
    pair = [hoses.Hose(bore_m=0.019, length_m=2.0)] * 2
    added = hoses.added_fill_m3(pair, 1.2e-3)
    # By hand: 2 x pi/4 x 0.019² x 2 m = 1.134 L, and the core's 1.2 L.
    assert math.isclose(added, 1.2e-3 + math.pi * 0.019**2, rel_tol=1e-12)
    assert math.isclose(hoses.hose_volume_m3(0.019, 2.0) * 2, added - 1.2e-3)


def test_oil_counted_in_containers_leaves_out_what_is_left() -> None:
    assert math.isclose(hoses.poured_m3(4, 5e-3, 1.5e-3), 18.5e-3)


def test_a_hose_dash_is_a_sixteenth_of_an_inch_of_bore() -> None:
    assert math.isclose(hoses.hose_bore_m(-12), 0.01905)


@pytest.mark.parametrize(
    ("hose", "dash", "bar"),
    [
        # published: SAE J517 working pressures from memory, 300, 400, 750 and 1250 psi.
        ("SAE 100R4", 12, 20.7), ("100r6", -8, 27.6), ("100R3", 12, 51.7), ("100R1", 12, 86.2),
    ],
)  # fmt: skip
def test_hose_classes_bear_their_tabulated_pressure(hose: str, dash: int, bar: float) -> None:
    # published: the row above; three digits.
    assert hoses.hose_working_pressure_pa(hose, dash) / 1e5 == pytest.approx(bar, abs=0.06)


def test_larger_hoses_of_a_class_never_bear_more() -> None:
    for sizes in hoses.HOSE_WORKING_PRESSURE_PA.values():
        pressures = [sizes[dash] for dash in sorted(sizes)]
        assert pressures == sorted(pressures, reverse=True)


def test_a_return_line_is_held_against_its_hose() -> None:
    bears = hoses.hose_working_pressure_pa("100R4", 12)
    assert hoses.pressure_use(5e5, bears) < 0.25
    assert hoses.pressure_use(25e5, bears) > 1.0


def test_sizes_that_are_not_tabulated_are_refused_with_the_way_out() -> None:
    assert hoses.flare_size(7) is None
    with refused(UsageError, "hose pressure class"):
        hoses.hose_working_pressure_pa("100R4", 4)
    with refused(UsageError, "hose pressure class"):
        hoses.hose_working_pressure_pa("garden", 8)
    with refused(RangeError, "hose dash size"):
        hoses.hose_bore_m(1)


def test_impossible_lines_are_refused_by_name() -> None:
    with refused(RangeError, "line bore"):
        hoses.velocity_m_s(1e-3, 19.0)
    with refused(RangeError, "line flow"):
        hoses.velocity_m_s(-1e-3, 0.019)
    with refused(RangeError, "hose length"):
        hoses.hose_volume_m3(0.019, -1.0)
    with refused(RangeError, "cooler core volume"):
        hoses.added_fill_m3([], -1e-3)
    with refused(RangeError, "left in the last container"):
        hoses.poured_m3(1, 5e-3, 6e-3)
    with refused(RangeError, "working pressure"):
        hoses.pressure_use(1e5, 0.0)
