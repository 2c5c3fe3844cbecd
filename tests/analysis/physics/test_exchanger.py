"""Effectiveness and NTU against a second library, textbook examples and a real bench."""

import math

import ht
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refusal import refused
from wattsump_analysis.physics import exchanger
from wattsump_analysis.physics.exchanger import Arrangement
from wattsump_logger.errors import RangeError

HT_NAME = {
    Arrangement.COUNTERFLOW: "counterflow",
    Arrangement.PARALLEL: "parallel",
    Arrangement.CROSS_UNMIXED: "crossflow",
    Arrangement.CROSS_UNMIXED_CLOSED_FORM: "crossflow approximate",
    Arrangement.CROSS_CMIN_MIXED: "crossflow, mixed Cmin",
    Arrangement.CROSS_CMAX_MIXED: "crossflow, mixed Cmax",
}
COLUMNS = (
    Arrangement.COUNTERFLOW,
    Arrangement.CROSS_UNMIXED,
    Arrangement.CROSS_UNMIXED_CLOSED_FORM,
    Arrangement.CROSS_CMIN_MIXED,
    Arrangement.CROSS_CMAX_MIXED,
    Arrangement.PARALLEL,
)


@pytest.mark.parametrize("arrangement", Arrangement)
@pytest.mark.parametrize("cr", [0.05, 0.3, 0.7, 1.0])
@pytest.mark.parametrize("n", [0.1, 1.0, 4.0])
def test_effectiveness_agrees_with_a_second_library(
    arrangement: Arrangement, cr: float, n: float
) -> None:
    # ht raises no warning of its own, but its integral does at C_r = 0, which is tested apart.
    expected = float(
        ht.effectiveness_from_NTU(n, cr, subtype=HT_NAME[arrangement])  # type: ignore[no-untyped-call] # no types
    )
    # independent: ht (exact integral for cross-flow unmixed); its quadrature holds 1e-8.
    assert exchanger.effectiveness(n, cr, arrangement) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(
    ("cr", "n", "row"),
    [
        # independent: ht 1.2.0, four decimals: counterflow, both unmixed exact, closed form,
        # smaller mixed, larger mixed, parallel.
        (0.0, 1.0, (0.6321, 0.6321, 0.6321, 0.6321, 0.6321, 0.6321)),
        (0.25, 0.5, (0.3776, 0.3751, 0.3721, 0.3750, 0.3747, 0.3718)),
        (0.25, 1.0, (0.5983, 0.5880, 0.5872, 0.5872, 0.5847, 0.5708)),
        (0.25, 2.0, (0.8228, 0.7974, 0.8033, 0.7928, 0.7776, 0.7343)),
        (0.5, 0.5, (0.3623, 0.3578, 0.3519, 0.3575, 0.3572, 0.3518)),
        (0.5, 1.0, (0.5647, 0.5475, 0.5448, 0.5448, 0.5420, 0.5179)),
        (0.5, 2.0, (0.7746, 0.7324, 0.7388, 0.7175, 0.7020, 0.6335)),
        (0.5, 3.0, (0.8744, 0.8197, 0.8284, 0.7885, 0.7564, 0.6593)),
        (0.75, 1.0, (0.5319, 0.5103, 0.5052, 0.5052, 0.5034, 0.4721)),
        (0.75, 2.0, (0.7218, 0.6711, 0.6752, 0.6451, 0.6362, 0.5542)),
        (1.0, 1.0, (0.5000, 0.4762, 0.4685, 0.4685, 0.4685, 0.4323)),
        (1.0, 2.0, (0.6667, 0.6142, 0.6154, 0.5788, 0.5788, 0.4908)),
        (1.0, 5.0, (0.8333, 0.7509, 0.7490, 0.6296, 0.6296, 0.5000)),
    ],
)
def test_effectiveness_matches_the_tabulated_rows(
    cr: float, n: float, row: tuple[float, ...]
) -> None:
    got = [exchanger.effectiveness(n, cr, arrangement) for arrangement in COLUMNS]
    # independent: the row above, half a unit of its last digit.
    assert got == pytest.approx(row, abs=5.1e-5)


def test_the_exact_series_is_told_apart_from_the_closed_form() -> None:
    exact = exchanger.effectiveness(0.5, 0.5)
    closed = exchanger.effectiveness(0.5, 0.5, Arrangement.CROSS_UNMIXED_CLOSED_FORM)
    # independent: ht 1.2.0, 0.3578 and 0.3519, four decimals.
    assert exact - closed == pytest.approx(0.3578 - 0.3519, abs=1e-4)


@pytest.mark.parametrize(
    ("eff", "cr", "factors"),
    [
        # independent: F = heat/(UA x counterflow log mean difference) by ht 1.2.0, four
        # decimals; R, P = 1, 0.5 / 0.5, 0.5 / 2, 0.3 / 0.8, 0.6 as effectiveness and ratio.
        (0.5, 1.0, (0.8946, 0.8465, 0.8465)),
        (0.5, 0.5, (0.9587, 0.9529, 0.9468)),
        (0.6, 0.5, (0.9289, 0.9133, 0.8958)),
        (0.6, 0.8, (0.8663, 0.7947, 0.7714)),
    ],
)
def test_the_log_mean_correction_follows_from_the_inverse(
    eff: float, cr: float, factors: tuple[float, float, float]
) -> None:
    counter = exchanger.ntu(eff, cr, Arrangement.COUNTERFLOW)
    kinds = (Arrangement.CROSS_UNMIXED, Arrangement.CROSS_CMIN_MIXED, Arrangement.CROSS_CMAX_MIXED)
    got = [counter / exchanger.ntu(eff, cr, kind) for kind in kinds]
    # independent: the row above, half a unit of its last digit.
    assert got == pytest.approx(factors, abs=6e-5)


def test_the_textbook_counterflow_oil_cooler_is_reproduced() -> None:
    oil, water = 0.1 * 2131.0, 0.2 * 4178.0
    eff = 40.0 / 70.0
    # published: Incropera/Bergman Example 11.1, heat 8524 W, all digits.
    assert eff * oil * 70.0 == pytest.approx(8524.0, abs=0.5)
    # published: as above, UA 197.3 W/K from heat and log mean difference 43.2 K; the digits of
    # 43.2 allow 0.25 W/K.
    assert exchanger.ua_w_k(eff * oil, oil, water, Arrangement.COUNTERFLOW) == pytest.approx(
        197.3, abs=0.3
    )
    # independent: effectiveness at NTU 0.92646 and ratio 0.2550, five decimals.
    assert exchanger.effectiveness(0.92646, 0.2550, Arrangement.COUNTERFLOW) == pytest.approx(
        0.57163, abs=1e-5
    )


def test_a_textbook_oil_heater_in_us_units_gives_the_same_area() -> None:
    # Any consistent unit will do: Btu/(h °F). Oil 400 lb/min of 0.85 from 215 to 125 °F, water
    # 60 to 90 °F, U = 40 Btu/(h ft² °F).
    oil = 400.0 * 60.0 * 0.85
    heat = oil * 90.0
    # published: the problem's inputs from a textbook's companion code (problem 11.24).
    # independent: log mean difference route, 1.836e6 Btu/h and 500.25 ft², five digits.
    assert heat == pytest.approx(1.836e6)
    ua = exchanger.ua_w_k(heat / 155.0, oil, heat / 30.0, Arrangement.COUNTERFLOW)
    # independent: as above.
    assert ua / 40.0 == pytest.approx(500.25, abs=0.01)


def test_the_textbook_finned_cross_flow_gas_heater_is_reproduced() -> None:
    # published: Incropera/Bergman Example 11.3, effectiveness 0.755 at ratio 0.45; the two NTU
    # are ht 1.2.0, two decimals.
    assert exchanger.ntu(0.755, 0.45) == pytest.approx(2.08, abs=0.01)
    # published: as above.
    assert exchanger.ntu(0.755, 0.45, Arrangement.CROSS_UNMIXED_CLOSED_FORM) == pytest.approx(
        2.02, abs=0.01
    )


def test_the_reference_library_worked_example_with_the_larger_stream_mixed() -> None:
    hot, cold = 5.2 * 1860.0, 1.45 * 1900.0
    # published: ht documentation, effectiveness-NTU example, heat 192 850 W from 15 to 85 °C with
    # 130 °C entering; UA to eight digits.
    assert exchanger.ua_w_k(
        192850.0 / 115.0, hot, cold, Arrangement.CROSS_CMAX_MIXED
    ) == pytest.approx(3041.7512, abs=1e-3)


@pytest.mark.parametrize(
    ("heat_kw", "temps", "flows", "expected"),
    [
        # published: Calvin College exchanger bench (mosaicData HeatX), mean heat kW; cold in,
        # hot in °C; L/min; UA W/K by log mean difference in an independent computation.
        (2.9971, (14.3, 38.2), (10, 10), 152.91),
        (1.4289, (14.2, 35.8), (5, 5), 81.65),
    ],
)
def test_a_real_balanced_bench_gives_the_same_ua_as_the_log_mean_route(
    heat_kw: float, temps: tuple[float, float], flows: tuple[int, int], expected: float
) -> None:
    # Equal flows: with C_r = 1 the log mean route and effectiveness agree when the two sides'
    # heats do; the second trial's sides differ by 5 %, and UA moves by under 1 %.
    cold, hot = (litres / 60.0 * 4182.0 for litres in flows)
    ua = exchanger.ua_w_k(heat_kw * 1e3 / (temps[1] - temps[0]), cold, hot, Arrangement.COUNTERFLOW)
    # independent: the rows above; 1 % as explained.
    assert ua == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("arrangement", Arrangement)
def test_one_stream_at_constant_temperature_is_the_same_for_every_arrangement(
    arrangement: Arrangement,
) -> None:
    limit = 1.0 - math.exp(-1.3)
    assert math.isclose(exchanger.effectiveness(1.3, 0.0, arrangement), limit, rel_tol=1e-12)
    assert math.isclose(exchanger.effectiveness(1.3, 1e-7, arrangement), limit, rel_tol=1e-5)


@settings(deadline=None, max_examples=60)
@given(
    st.sampled_from(list(Arrangement)),
    st.floats(0.01, 4.0),
    st.floats(0.02, 1.0),
)
def test_ntu_inverts_effectiveness(arrangement: Arrangement, n: float, cr: float) -> None:
    eff = exchanger.effectiveness(n, cr, arrangement)
    back = exchanger.effectiveness(exchanger.ntu(eff, cr, arrangement), cr, arrangement)
    assert math.isclose(back, eff, rel_tol=1e-10)


@settings(deadline=None, max_examples=60)
@given(st.floats(1.0, 5000.0), st.floats(20.0, 2000.0), st.floats(20.0, 2000.0))
def test_a_cooler_never_beats_its_smaller_stream_nor_its_ua(
    ua: float, air: float, oil: float
) -> None:
    if ua / min(air, oil) > exchanger.HIGHEST_NTU:
        return
    for arrangement in (Arrangement.COUNTERFLOW, Arrangement.CROSS_UNMIXED):
        got = exchanger.conductance_w_k(ua, air, oil, arrangement)
        assert got <= min(ua, air, oil) * (1.0 + 1e-12)
    assert math.isclose(
        exchanger.conductance_w_k(ua, air, oil), exchanger.conductance_w_k(ua, oil, air)
    )


def test_effectiveness_keeps_the_shape_and_passes_missing_readings_through() -> None:
    got = exchanger.effectiveness(np.array([[0.0, 1.0], [np.nan, 2.0]]), 0.5)
    assert got.shape == (2, 2)
    assert got[0, 0] == 0.0
    assert np.isnan(got[1, 0])
    assert math.isclose(got[1, 1], exchanger.effectiveness(2.0, 0.5))


def test_an_effectiveness_no_size_reaches_is_refused() -> None:
    with refused(RangeError, "parallel flow, capacity-rate ratio 1.000"):
        exchanger.ntu(0.55, 1.0, Arrangement.PARALLEL)


@pytest.mark.parametrize(("n", "cr"), [(-0.1, 0.5), (51.0, 0.5), (1.0, -0.1), (1.0, 1.1)])
def test_values_outside_the_stated_ranges_are_refused(n: float, cr: float) -> None:
    with pytest.raises(RangeError, match=r"transfer units|capacity-rate ratio"):
        exchanger.effectiveness(n, cr)


def test_a_stream_that_does_not_flow_is_refused() -> None:
    with refused(RangeError, "capacity rate"):
        exchanger.conductance_w_k(100.0, 0.0, 500.0)
