"""Outings under like conditions: slopes of the trade, and what rests on something else."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.few_outings import outing, row_of_outings
from wattsump_analysis.physics.oil import viscosity_mm2_s, walther_from_grade
from wattsump_analysis.season.conditions import given_of
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.trend import divide, trend_of


def test_k_of_thin_warm_air_is_raised_to_that_of_the_reference() -> None:
    cold, warm = outing(0, 95.0, 3400.0, ambient_c=0.0), outing(1, 95.0, 3400.0, ambient_c=30.0)
    given = given_of([cold, warm])
    # independent: 0.55 ln of the ratio of absolute temperatures, by hand
    air = 0.55 * np.log(303.15 / 273.15)
    # independent: ln of the viscosity of VG 46 at the two oil temperatures; the same rise
    nu = [viscosity_mm2_s(air_c + 3400.0 / 95.0, walther_from_grade("VG 46")) for air_c in (0, 30)]
    oil = 0.04 * np.log(nu[0] / nu[1])
    assert given.offsets[0, 0] - given.offsets[1, 0] == pytest.approx(air - oil, rel=1e-6)
    assert given.offsets[0, 1] == given.offsets[1, 1]


def test_a_faster_engine_is_no_change_of_cooler_or_drive() -> None:
    season = row_of_outings([(10, 1.25**0.15, 1.25)], n=20, seed=4, scatter=(0.03, 0.03))
    same = [replace(o, engine_rpm=2000.0 if i < 10 else 2500.0) for i, o in enumerate(season)]
    assert divide(season).starts == (0, 10)
    assert divide(same).starts == (0,)


def test_a_corrected_profile_is_no_change_and_a_loss_beside_it_still_is() -> None:
    def stated(rows: list[tuple[int, float, float]]) -> list[Outing]:
        season = row_of_outings(rows, n=20, seed=6, scatter=(0.03, 0.03))
        return [replace(o, rests_on="18 L" if i < 10 else "20 L") for i, o in enumerate(season)]

    scaled = [(10, 1.15, 1.15)]
    assert divide(row_of_outings(scaled, n=20, seed=6, scatter=(0.03, 0.03))).starts == (0, 10)
    assert divide(stated(scaled)).starts == (0,)
    assert divide(stated([*scaled, (10, 0.7, 1.0)])).starts == (0, 10)


def test_referring_leaves_most_doubt_where_conditions_are_furthest_from_usual() -> None:
    season = [
        replace(o, ambient_c=15.0 if i else 35.0) for i, o in enumerate(row_of_outings([], n=12))
    ]
    u = trend_of(season).stretches.levels.u_referred
    assert u.shape == (12, 2)
    assert int(np.argmax(u[:, 0])) == 0
    assert u[0, 0] > 0.005


def test_outings_that_say_nothing_of_air_or_oil_are_taken_as_they_are() -> None:
    bare = [
        replace(o, ambient_c=None, rise_k=None, reference_oil_c=None, start_utc=None)
        for o in row_of_outings([(8, 0.6, 1.0)], n=16)
    ]
    given = given_of(bare)
    assert given.columns.shape == (16, 2, 0)
    assert np.ptp(given.offsets, axis=0) == pytest.approx(0.0)
    assert divide(bare).starts == (0, 8)


def test_an_outing_without_a_rise_ran_as_warm_as_its_heat_and_k_make_it() -> None:
    pairs = [(100.0, 3000.0), (100.0, 3000.0), (100.0, 4000.0), (50.0, 3000.0), (20.0, 3000.0)]
    told = [outing(i, *pair, ambient_c=15.0) for i, pair in enumerate(pairs)]
    lacking = [replace(o, rise_k=None) if i in (2, 4) else o for i, o in enumerate(told)]
    # independent: heat over K by hand, beside the middle one of 30, 30, 40, 60 and the last, which
    # stays within the 60 K that others told and not at 150
    assert given_of(lacking).oil_k == pytest.approx([-10.0, -10.0, 0.0, 20.0, 20.0])
