"""Exponential fits against certified data, a real cooling mug and textbook lumps."""

import csv
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refusal import refused
from wattsump_analysis.statistics.exponentials import (
    Curve,
    fit_curve,
    fit_exponential,
    fit_two_exponentials,
)
from wattsump_analysis.statistics.residuals import durbin_watson
from wattsump_logger.arrays import FloatArray
from wattsump_logger.errors import RangeError

ROOT = Path(__file__).parents[3]
STRD: dict[str, Any] = json.loads(
    (ROOT / "tests" / "data" / "nist" / "strd.json").read_text(encoding="utf-8")
)

# The certified sets' rise from zero, y = b1 (1 - exp(-b2 t)).
RISE = Curve(
    names=("b1", "b2"),
    model=lambda t, p: -p[0] * np.expm1(-p[1] * t),
    slope=lambda t, p: np.column_stack([-np.expm1(-p[1] * t), p[0] * t * np.exp(-p[1] * t)]),
    slowest_s=lambda p: 1.0 / float(p[1]),
)


def table(name: str) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    rows = STRD[name]["parameters"]
    return (
        np.array(STRD[name]["x"]),
        np.array(STRD[name]["y"]),
        np.array([row["value"] for row in rows]),
        np.array([row["sd"] for row in rows]),
    )


def start(name: str, which: str) -> tuple[float, ...]:
    return tuple(row[which] for row in STRD[name]["parameters"])


def mug() -> tuple[FloatArray, FloatArray]:
    with (ROOT / "sample-data" / "mug" / "mug-cooling.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    minutes = np.array([float(row["minute"]) for row in rows])
    return minutes * 60.0, np.array([float(row["water_c"]) for row in rows])


@pytest.mark.parametrize("which", ["start_1", "start_2"])
def test_a_rise_reaches_the_certified_values_from_both_published_starts(which: str) -> None:
    x, y, values, errors = table("Misra1a")
    result = fit_curve(RISE, x, y, np.array(start("Misra1a", which)))
    # certified: NIST StRD Misra1a, 11 digits.
    assert result.values == pytest.approx(values, rel=1e-6)
    # certified: NIST StRD Misra1a, 11 digits.
    assert result.errors == pytest.approx(errors, rel=1e-4)
    residual_sd = result.rms * np.sqrt(y.size / (y.size - 2))
    assert residual_sd == pytest.approx(STRD["Misra1a"]["residual_sd"], rel=1e-6)
    assert not result.identified
    assert result.reason is not None
    assert result.reason.code == "curve-short"


def test_a_coarse_rise_reaches_the_certified_values_from_the_nearer_start() -> None:
    x, y, values, errors = table("BoxBOD")
    # The farther published start may end flat, as in the test below.
    result = fit_curve(RISE, x, y, np.array(start("BoxBOD", "start_2")))
    # certified: NIST StRD BoxBOD, 11 digits.
    assert result.values == pytest.approx(values, rel=1e-6)
    # certified: NIST StRD BoxBOD, 11 digits.
    assert result.errors == pytest.approx(errors, rel=1e-4)
    assert result.identified


def test_a_settled_solver_on_a_flat_false_answer_is_called_singular() -> None:
    x, y, _, _ = table("BoxBOD")
    # The rate so high that only the mean is left to fit.
    false = np.array([np.mean(y), 50.0])
    result = fit_curve(RISE, x, y, false)
    assert result.status > 0
    assert not result.identified
    assert result.reason is not None
    assert result.reason.code == "curve-singular"


def test_two_exponentials_reach_the_certified_values() -> None:
    x, y, b, sd = table("MGH17")
    result = fit_two_exponentials(x, y)
    names = ("final", "a1", "tau1_s", "a2", "tau2_s")
    # certified: NIST StRD MGH17, 11 digits; rates turned into time constants.
    expected = (b[0], b[2], 1.0 / b[4], b[1], 1.0 / b[3])
    assert [result.value(name) for name in names] == pytest.approx(expected, rel=1e-6)
    # certified: as above; to first order a reciprocal keeps its relative error.
    errors = (sd[0], sd[2], sd[4] / b[4] ** 2, sd[1], sd[3] / b[3] ** 2)
    assert [result.error(name) for name in names] == pytest.approx(errors, rel=1e-4)


def test_one_time_constant_for_a_cooling_mug_is_called_wrong() -> None:
    t, y = mug()
    result = fit_exponential(t, y)
    # independent: nls on the published series, values 27.0045, 62.1355, 47.6997 min and their
    # errors 0.2103, 0.4246, 0.7444, printed to 4 decimals.
    assert result.values / [1, 1, 60] == pytest.approx([27.0045, 62.1355, 47.6997], abs=2e-3)
    # independent: as above.
    assert result.errors / [1, 1, 60] == pytest.approx([0.2103, 0.4246, 0.7444], abs=2e-4)
    # independent: Durbin-Watson 0.032 of the same fit.
    assert result.durbin_watson == pytest.approx(0.032, abs=5e-4)
    assert result.identified
    assert not result.shape_right
    assert result.reason is not None
    assert result.reason.code == "two-exponentials"
    # independent: nls of two exponentials through the same series, 12.247 and 74.033 min.
    assert "12.2 and 74.0 min" in result.reason.text


def test_the_time_constant_of_a_mug_depends_on_the_window() -> None:
    t, y = mug()
    late = fit_exponential(t[60:], y[60:])
    # independent: nls from minute 60 on, 77.3246 min with error 0.4581.
    assert late.value("tau_s") / 60.0 == pytest.approx(77.3246, abs=1e-3)


def test_two_time_constants_fit_the_mug() -> None:
    t, y = mug()
    result = fit_two_exponentials(t, y)
    # independent: 23.5874, 25.2093 at 12.247 min, 48.0610 at 74.033 min, s 0.1680.
    assert result.values / [1, 1, 60, 1, 60] == pytest.approx(
        [23.5874, 25.2093, 12.247, 48.0610, 74.033], rel=1e-4
    )
    # independent: as above, printed to 4 decimals.
    assert result.rms * np.sqrt(t.size / (t.size - 5)) == pytest.approx(0.1680, abs=5e-5)
    assert result.shape_right


def test_a_textbook_lump_is_found_again() -> None:
    # published: Lienhard Example 1.4, tau 1.116 s, from 20 in 200 °C gas.
    t = np.linspace(0.0, 5.0, 60)
    result = fit_exponential(t, 200.0 - 180.0 * np.exp(-t / 1.116))
    assert result.values == pytest.approx([200.0, -180.0, 1.116], rel=1e-9)


def test_the_body_of_a_textbook_is_found_again_from_its_time_to_cool() -> None:
    # published: Cengel Example 4-2, 1/tau = 2.79e-5 1/s and 37 to 25 °C in 20 °C in 12.2 h.
    t = np.linspace(0.0, 12.2 * 3600.0, 100)
    result = fit_exponential(t, 20.0 + 17.0 * np.exp(-t * 2.79e-5))
    back = result.value("tau_s") * math.log((37.0 - result.value("final")) / (25.0 - 20.0))
    # published: as above; 12.2 h is rounded to a twentieth of an hour.
    assert back / 3600.0 == pytest.approx(12.2, abs=0.06)


def test_half_a_time_constant_is_the_least() -> None:
    t = np.linspace(0.0, 400.0, 100)
    noise = 0.02 * np.random.default_rng(1).standard_normal(t.size)
    short = fit_exponential(t, 60.0 - 20.0 * np.exp(-t / 1000.0) + noise)
    long = fit_exponential(3 * t, 60.0 - 20.0 * np.exp(-3 * t / 1000.0) + noise)
    assert not short.identified
    assert long.identified
    assert long.window_tau == pytest.approx(1200.0 / long.value("tau_s"))


def test_a_straight_line_has_no_time_constant() -> None:
    t = np.linspace(0.0, 100.0, 30)
    noise = 0.05 * np.random.default_rng(2).standard_normal(t.size)
    assert not fit_exponential(t, 20.0 + 0.01 * t + noise).identified


def test_too_few_readings_are_refused() -> None:
    y = np.array([1.0, np.nan, 2.0, 3.0])
    with refused(RangeError, "fit of a transient"):
        fit_exponential(np.arange(4.0), y)


def test_durbin_watson_is_four_for_readings_that_alternate() -> None:
    alternating = np.tile([1.0, -1.0], 500)
    # independent: sum of (2)^2 over n-1 pairs, over n.
    assert durbin_watson(alternating) == pytest.approx(4.0 * 999 / 1000)


@settings(max_examples=25, deadline=None)
@given(
    tau=st.floats(50.0, 3000.0),
    final=st.floats(-20.0, 90.0),
    amplitude=st.floats(2.0, 60.0),
    warming=st.booleans(),
)
def test_any_clean_decay_is_found_again_whatever_the_zero_of_the_scale(
    tau: float, final: float, amplitude: float, warming: bool
) -> None:
    sign = -1.0 if warming else 1.0
    t = np.linspace(0.0, 3.0 * tau, 80)
    y = final + sign * amplitude * np.exp(-t / tau)
    celsius, kelvin = fit_exponential(t, y), fit_exponential(t, y + 273.15)
    assert celsius.value("tau_s") == pytest.approx(tau, rel=1e-6)
    assert kelvin.value("tau_s") == pytest.approx(tau, rel=1e-6)
    # published: zero of the Celsius scale, exact by definition (NIST SP 811).
    assert kelvin.value("final") - celsius.value("final") == pytest.approx(273.15, abs=1e-5)
