"""Bucket, ice, boiling water and the straight line against the Guide and real thermometers."""

import dataclasses
import json
import math
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refusal import refused
from wattsump_logger.calibration import corrections as cal
from wattsump_logger.calibration.fixed_points import ICE_POINT_C, boiling_point_c
from wattsump_logger.errors import RangeError, SessionError

# JCGM 100:2008, table H.6: readings of a thermometer and its corrections, in °C.
_H3_T = (
    21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511,
)  # fmt: skip
_H3_B = (
    -0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160,
)  # fmt: skip

# Forbes 1857, 17 boiling points in °F and barometer readings in inHg, as tabulated in
# Weisberg, Applied Linear Regression.
_FORBES_F = (
    194.5, 194.3, 197.9, 198.4, 199.4, 199.9, 200.9, 201.1, 201.4, 201.3, 203.6, 204.6,
    209.5, 208.6, 210.7, 211.9, 212.2,
)  # fmt: skip
_FORBES_INHG = (
    20.79, 20.79, 22.40, 22.67, 23.15, 23.35, 23.89, 23.99, 24.02, 24.01, 25.14, 26.57,
    28.49, 27.76, 29.04, 29.88, 30.06,
)  # fmt: skip


def test_the_guides_thermometer_has_its_printed_line() -> None:
    line = cal.fit_line(_H3_T, _H3_B, reference_c=20.0)
    # published: JCGM 100:2008, H.3.3, as many digits as printed.
    assert line.intercept_k == pytest.approx(-0.1712, abs=5e-5)
    # published: as above.
    assert line.u_intercept_k == pytest.approx(0.0029, abs=5e-5)
    # published: as above.
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    # published: as above.
    assert line.u_slope == pytest.approx(0.00067, abs=5e-6)
    # published: as above.
    assert line.correlation == pytest.approx(-0.930, abs=5e-4)
    # published: as above.
    assert line.residual_k == pytest.approx(0.0035, abs=5e-5)
    assert line.dof == 9


def test_the_guides_thermometer_has_the_line_of_a_second_program() -> None:
    line = cal.fit_line(_H3_T, _H3_B, reference_c=20.0)
    found = dataclasses.astuple(line)[1:7]
    # independent: GTC 1.5.1 line fit of the same data, 5 digits or more.
    expected = (-0.17120379, 0.00218270, 0.0028776, 0.00066794, -0.930430, 0.00349756)
    # independent: as above.
    assert found == pytest.approx(expected, rel=3e-6)


def test_the_uncertainty_at_30_degrees_counts_the_correlation() -> None:
    line = cal.fit_line(_H3_T, _H3_B, reference_c=20.0)
    correction, u = line.at(30.0)
    # published: JCGM 100:2008, H.3.4: -0.1494 °C and 0.0041 °C.
    assert correction == pytest.approx(-0.1494, abs=5e-5)
    # published: as above. Without the covariance term it would be 0.0073 °C.
    assert u == pytest.approx(0.0041, abs=5e-5)
    without = math.hypot(line.u_intercept_k, 10.0 * line.u_slope)
    # independent: root sum of squares of the two printed uncertainties, the trap.
    assert without == pytest.approx(0.0073, abs=5e-5)


def test_at_the_mean_temperature_slope_and_intercept_are_not_correlated() -> None:
    line = cal.fit_line(_H3_T, _H3_B)
    # published: JCGM 100:2008, H.3.5, 24.0085 °C.
    assert line.reference_c == pytest.approx(24.0085, abs=5e-5)
    assert line.correlation == pytest.approx(0.0, abs=1e-12)
    # independent: s/sqrt(n) from GTC's residual, eight decimals.
    assert line.u_intercept_k == pytest.approx(0.00105456, abs=5e-9)


@given(st.floats(min_value=-50, max_value=150), st.floats(min_value=-50, max_value=150))
def test_where_the_intercept_is_taken_changes_nothing(reference_c: float, at_c: float) -> None:
    plain = cal.fit_line(_H3_T, _H3_B).at(at_c)
    assert cal.fit_line(_H3_T, _H3_B, reference_c=reference_c).at(at_c) == pytest.approx(
        plain, rel=1e-6, abs=1e-9
    )


def test_graybill_and_iyers_thermometer_has_its_line() -> None:
    true_c = [96, 98, 100, 102, 104, 106, 108, 110]
    reading = [95.71, 98.16, 99.52, 102.09, 103.79, 106.18, 108.14, 110.21]
    line = cal.fit_line(true_c, reading, reference_c=0.0)
    # independent: statsmodels OLS on the NIST Dataplot file THERMOM, six digits.
    assert (line.intercept_k, line.slope) == pytest.approx((-3.13952, 1.030238), rel=2e-6)
    # independent: as above.
    assert (line.u_intercept_k, line.u_slope) == pytest.approx((1.86490, 0.018088), rel=3e-5)
    # independent: as above.
    assert (line.residual_k, line.correlation) == pytest.approx((0.234446, -0.99901), rel=5e-6)


@pytest.mark.parametrize(
    ("temps", "corrections"),
    [
        ([1.0, 2.0], [0.1, 0.2]),
        ([1, 1, 1], [0, 1, 2]),
        ([1, 2, 3], [0, 1]),
        ([1, 2, math.nan], [1, 2, 3]),
    ],
)
def test_points_that_make_no_line_are_refused(temps: list[float], corrections: list[float]) -> None:
    with refused(RangeError, "straight-line correction"):
        cal.fit_line(temps, corrections)


def test_forbes_planted_outlier_is_found_and_it_alone() -> None:
    apart_k = [
        (boil_f - 32.0) / 1.8 - boiling_point_c(inhg * 3386.389)
        for boil_f, inhg in zip(_FORBES_F, _FORBES_INHG, strict=True)
    ]
    # published: Weisberg's case 12 is the known outlier; the eleventh counted from 0.
    assert np.flatnonzero(cal.stray_readings(apart_k)).tolist() == [11]
    # independent: CoolProp 8.0 (IAPWS-95), 1.42 °F below, two decimals.
    assert apart_k[11] * 1.8 == pytest.approx(-1.42, abs=0.006)
    rest = [k * 1.8 for n, k in enumerate(apart_k) if n != 11]
    # independent: as above, 0.01 to 0.40 °F above.
    assert (min(rest), max(rest)) == pytest.approx((0.01, 0.40), abs=0.006)


def test_stray_readings_need_company_and_leave_a_quiet_set_alone() -> None:
    with refused(RangeError, "stray readings"):
        cal.stray_readings([0.0, 0.1, 0.2, 5.0])
    assert not cal.stray_readings([0.0, 0.1, 0.2, 0.3, 0.1, 0.15]).any()
    assert cal.stray_readings([0.1] * 6 + [0.4]).tolist() == [False] * 6 + [True]
    assert not cal.stray_readings([0.1] * 6).any()


def _bath(n: int, offsets: tuple[float, ...], seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    bath = 40.0 + 0.3 * np.linspace(0.0, 1.0, n)
    raw = bath[:, None] - np.array(offsets) + rng.normal(0.0, 0.15, (n, len(offsets)))
    return np.asarray(np.round(raw / 0.25) * 0.25)


def test_probes_in_one_bath_are_brought_to_their_mean() -> None:
    true = (0.9, -0.4, -0.5)
    match = cal.match_in_bath(_bath(300, true, 3), ["tank", "cooler_in", "cooler_out"])
    for offset, u, truth in zip(match.offset_k, match.u_offset_k, true, strict=True):
        assert abs(offset - truth) < 2.0 * u
        assert 0.1 < u < 0.12
    assert sum(match.offset_k) == pytest.approx(0.0, abs=1e-9)
    assert abs(match.spread_k - 1.4) < 0.1
    assert abs(match.drift_k - 0.27) < 0.1
    assert match.readings == 300


def test_probes_in_one_bath_are_brought_to_a_chosen_one() -> None:
    readings = _bath(50, (0.0, 1.0), 4)
    readings[7, 1] = np.nan
    match = cal.match_in_bath(readings, ["good", "bad"], reference="good", u_bath_k=0.3)
    assert match.offset_k[0] == 0.0
    assert match.u_offset_k[0] == 0.0
    assert abs(match.offset_k[1] - 1.0) < 0.1
    assert match.u_offset_k[1] > 0.3
    assert match.readings == 49


@given(st.integers(min_value=0, max_value=50), st.floats(min_value=-5.0, max_value=5.0))
def test_matched_offsets_do_not_depend_on_the_baths_temperature(seed: int, shift: float) -> None:
    readings = _bath(20, (0.2, -0.2), seed)
    cold = cal.match_in_bath(readings, ["a", "b"])
    warm = cal.match_in_bath(readings + shift, ["a", "b"])
    assert warm.offset_k == pytest.approx(cold.offset_k, abs=1e-9)
    assert warm.spread_k == pytest.approx(cold.spread_k, abs=1e-9)


def test_matched_offsets_cover_the_truth_as_often_as_they_say() -> None:
    rng = np.random.default_rng(11)
    hits = 0
    for trial in range(400):
        true = tuple(rng.uniform(-2.0, 2.0, 2))
        match = cal.match_in_bath(_bath(40, true, trial), ["a", "b"], reference="a")
        error = match.offset_k[1] - (true[1] - true[0])
        hits += abs(error) <= 2.0 * match.u_offset_k[1]
    # Two standard uncertainties, at least 95 % of 400; never fewer than 370 by chance.
    assert hits >= 370


@pytest.mark.parametrize(
    ("readings", "names", "reference", "told"),
    [
        (np.zeros((20, 1)), ["a"], None, "two probes or more"),
        (np.zeros((20, 2)), ["a"], None, "shape"),
        (np.zeros(20), ["a", "b"], None, "shape"),
        (np.zeros((9, 2)), ["a", "b"], None, "complete rows"),
        (np.full((20, 2), np.nan), ["a", "b"], None, "complete rows"),
        (np.zeros((20, 2)), ["a", "b"], "c", "'c'"),
    ],
    ids=["one probe", "names", "flat", "few", "missing", "reference"],
)
def test_a_bath_that_cannot_be_used_is_refused(
    readings: np.ndarray, names: list[str], reference: str | None, told: str
) -> None:
    with pytest.raises(RangeError, match=told):
        cal.match_in_bath(readings, names, reference=reference)


def test_the_ice_point_gives_an_offset_with_its_uncertainty() -> None:
    readings = [0.75] * 10 + [1.0] * 10 + [math.nan]
    found = cal.fixed_point(readings, ICE_POINT_C, 0.05)
    correction, u = found.at(71.0)
    # independent: by hand, mean 0.875 and s = 0.128 of 20, step 0.25/sqrt 12, bath 0.05.
    assert correction == pytest.approx(-0.875, abs=1e-12)
    # independent: as above.
    assert u == pytest.approx(math.sqrt(0.12825**2 / 20 + 0.25**2 / 12 + 0.05**2), rel=1e-4)
    assert found.dof == 19


def test_a_boiling_kettle_at_altitude_corrects_a_probe() -> None:
    true_c = boiling_point_c(95460.8)
    found = cal.fixed_point([99.5] * 12, true_c, 0.4)
    # independent: CoolProp 8.0 (IAPWS-95) gives 98.313 °C at 500 m.
    assert found.intercept_k == pytest.approx(98.313 - 99.5, abs=1e-3)
    assert found.u_intercept_k > 0.4


def test_too_few_readings_fix_no_point() -> None:
    with pytest.raises(RangeError, match="10 readings"):
        cal.fixed_point([0.0] * 9, ICE_POINT_C, 0.05)


def _stored(probe: str = "tank", made: date = date(2024, 3, 1)) -> cal.Calibration:
    return cal.Calibration(
        probe=probe,
        made=made,
        method="bucket at three temperatures",
        correction=cal.fit_line(_H3_T, _H3_B),
        low_c=20.0,
        high_c=30.0,
        note="new probe",
    )


def test_a_stored_calibration_comes_back_as_it_went(tmp_path: Path) -> None:
    path = tmp_path / "probes.json"
    cal.save_calibrations(path, [_stored(), _stored("ambient")])
    assert cal.load_calibrations(path) == {"tank": _stored(), "ambient": _stored("ambient")}
    assert [file.name for file in tmp_path.iterdir()] == ["probes.json"]


def test_of_two_calibrations_of_one_probe_the_later_counts(tmp_path: Path) -> None:
    path = tmp_path / "probes.json"
    later = _stored(made=date(2024, 9, 1))
    cal.save_calibrations(path, [later, _stored()])
    assert cal.load_calibrations(path) == {"tank": later}


def test_a_calibration_corrects_as_its_line_says() -> None:
    # published: JCGM 100:2008, H.3.4, -0.1494 °C with 0.0041 °C.
    assert _stored().correction.at(30.0) == pytest.approx((-0.1494, 0.0041), abs=5e-5)


@pytest.mark.parametrize(
    "content",
    [
        "{",
        "[]",
        "{}",
        '{"format": "other", "probes": []}',
        '{"format": "wattsump-calibration-1"}',
        '{"format": "wattsump-calibration-1", "probes": [{}]}',
        '{"format": "wattsump-calibration-1", "probes": [7]}',
        '{"format": "wattsump-calibration-1", "probes": 7}',
    ],
)
def test_a_file_that_is_no_calibration_is_refused(tmp_path: Path, content: str) -> None:
    path = tmp_path / "probes.json"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(SessionError, match=cal.CALIBRATION_FORMAT):
        cal.load_calibrations(path)


@pytest.mark.parametrize(
    ("key", "value"), [("made", "yesterday"), ("made", 7), ("correction", 7), ("extra", "x")]
)
def test_a_calibration_with_a_wrong_field_is_refused(
    tmp_path: Path, key: str, value: object
) -> None:
    path = tmp_path / "probes.json"
    cal.save_calibrations(path, [_stored()])
    content = json.loads(path.read_text(encoding="utf-8"))
    content["probes"][0][key] = value
    path.write_text(json.dumps(content), encoding="utf-8")
    with refused(SessionError, "probes.json"):
        cal.load_calibrations(path)


def test_a_missing_calibration_file_is_refused(tmp_path: Path) -> None:
    with refused(SessionError, "none.json"):
        cal.load_calibrations(tmp_path / "none.json")
