"""Thermocouple functions against the printed tables and a second copy of them."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refusal import refused
from wattsump_logger.errors import RangeError, UsageError
from wattsump_logger.thermocouples import emf as tc

# independent: thermocouples_reference 0.20 (public-domain copy of NIST Monograph
# 175), six decimals; printed tables have three.
_DATA = Path(__file__).parents[2] / "data"
_TABLE = _DATA / "thermocouple-emf.csv"
# published: NIST Monograph 175, approximate inverse functions with their printed error bands.
INVERSE = json.loads((_DATA / "thermocouple-inverse.json").read_text("utf-8"))["segments"]


def _emf_rows() -> list[tuple[float, str, float]]:
    with _TABLE.open(newline="") as file:
        return [
            (float(row["temp_c"]), letter, float(row[letter]))
            for row in csv.DictReader(file)
            for letter in "KJTNE"
            if row[letter]
        ]


@pytest.mark.parametrize(("temp_c", "letter", "emf"), _emf_rows())
def test_emf_is_that_of_the_reference_tables(temp_c: float, letter: str, emf: float) -> None:
    # independent: the file above; half its last digit and what a flat spot may add.
    assert float(tc.emf_mv(temp_c, letter)) == pytest.approx(emf, abs=6e-7)


@pytest.mark.parametrize(
    ("temp_c", "letter", "emf"),
    [
        (-200, "K", -5.891),
        (-190, "K", -5.730),
        (-100, "K", -3.554),
        (-200, "T", -5.603),
        (-100, "T", -3.379),
        (-40, "T", -1.475),
    ],
)
def test_emf_rounds_to_the_printed_tables(temp_c: float, letter: str, emf: float) -> None:
    # published: ASTM E230 table 9 (K) and NIST's type T table, three decimals printed.
    assert float(tc.emf_mv(temp_c, letter)) == pytest.approx(emf, abs=5.1e-4)


@pytest.mark.parametrize(
    ("letter", "emf"),
    [("K", 1.892531), ("J", 2.425818), ("T", 1.961442), ("N", 1.271842), ("E", 2.900232)],
)
def test_cold_junction_is_applied_in_emf_and_not_in_temperature(letter: str, emf: float) -> None:
    right = float(tc.temperature_c(emf + tc.emf_mv(25.0, letter), letter))
    # independent: thermocouples_reference 0.20, E(71 against 25 °C); 0.5 nV over 26 nV/mK.
    assert right == pytest.approx(71.0, abs=3e-5)
    wrong = float(tc.temperature_c(emf, letter)) + 25.0
    assert abs(wrong - right) > 0.3


@pytest.mark.parametrize("letter", tc.LETTERS)
def test_inverse_undoes_the_forward_function_to_a_microkelvin(letter: str) -> None:
    low_mv, high_mv = tc.emf_range_mv(letter)
    low_c = 50.0 if letter == "B" else tc.temperature_range_c(letter)[0]
    temps = np.linspace(low_c, tc.temperature_range_c(letter)[1], 40001)
    emfs = np.clip(tc.emf_mv(temps, letter), low_mv, high_mv)
    assert np.max(np.abs(tc.temperature_c(emfs, letter) - temps)) < 1e-6


@pytest.mark.parametrize(
    ("letter", "part"), [(k, part) for k in tc.LETTERS for part in range(len(INVERSE[k]))]
)
def test_published_inverse_stays_in_its_printed_error_band(letter: str, part: int) -> None:
    segment = INVERSE[letter][part]
    # An overlapping next segment takes over where it begins.
    later = [s["low_mv"] for s in INVERSE[letter][part + 1 :]]
    temps = np.linspace(segment["low_c"], segment["high_c"], 20001)
    emfs = tc.emf_mv(temps, letter)
    here = (emfs >= segment["low_mv"]) & (emfs <= min([segment["high_mv"], *later]))
    assert here.sum() > 9000
    error = np.polyval(segment["coefficients"][::-1], emfs[here]) - temps[here]
    # published: NIST Monograph 175, error beside each inverse, rounded to its last digit.
    digit = 0.006 if segment["error_high_k"] >= 0.01 else 6e-5
    assert segment["error_low_k"] - digit < error.min()
    assert error.max() < segment["error_high_k"] + digit


@pytest.mark.parametrize(
    ("letter", "low_c", "high_c", "low", "high"),
    [
        ("K", -200, 0, -0.0185, 0.0408), ("K", 0, 500, -0.0467, 0.0339),
        ("K", 500, 1372, -0.0459, 0.0535), ("J", -210, 0, -0.0488, 0.0332),
        ("J", 0, 760, -0.0354, 0.0375), ("J", 760, 1200, -0.0366, 0.0246),
        ("T", -200, 0, -0.0173, 0.0384), ("T", 0, 400, -0.0254, 0.0251),
        ("N", -200, 0, -0.0128, 0.0265), ("N", 0, 600, -0.0158, 0.0274),
        ("N", 600, 1300, -0.0387, 0.0211), ("E", -200, 0, -0.0099, 0.0217),
        ("E", 0, 1000, -0.0122, 0.0155),
    ],
)  # fmt: skip
def test_published_inverse_has_the_extremes_another_copy_has(
    letter: str, low_c: float, high_c: float, low: float, high: float
) -> None:
    (segment,) = [s for s in INVERSE[letter] if (s["low_c"], s["high_c"]) == (low_c, high_c)]
    temps = np.linspace(low_c, high_c, 20001)
    # To the very ends, which lie up to 0.5 µV outside the segment's printed limits.
    error = (
        np.polynomial.polynomial.polyval(tc.emf_mv(temps, letter), segment["coefficients"]) - temps
    )
    # independent: the same sweep with coefficients typed from a second source, 4 decimals.
    assert error.min() == pytest.approx(low, abs=6e-5)
    # independent: as above.
    assert error.max() == pytest.approx(high, abs=6e-5)


@pytest.mark.parametrize("letter", tc.LETTERS)
def test_a_temperature_just_outside_raises_and_one_just_inside_does_not(letter: str) -> None:
    low_c, high_c = tc.temperature_range_c(letter)
    assert np.isfinite(tc.emf_mv([low_c, high_c], letter)).all()
    for outside in (low_c - 0.01, high_c + 0.01):
        with pytest.raises(RangeError, match=f"type {letter}: expected"):
            tc.emf_mv(outside, letter)
        assert np.isnan(tc.emf_mv([outside], letter, outside="nan")).all()


@pytest.mark.parametrize("letter", tc.LETTERS)
def test_an_emf_just_outside_raises_and_one_just_inside_does_not(letter: str) -> None:
    low_mv, high_mv = tc.emf_range_mv(letter)
    assert np.isfinite(tc.temperature_c([low_mv, high_mv], letter)).all()
    for outside in (low_mv - 1e-3, high_mv + 1e-3):
        with pytest.raises(RangeError, match="mV"):
            tc.temperature_c(outside, letter)
        assert np.isnan(tc.temperature_c([outside], letter, outside="nan")).all()


@pytest.mark.parametrize(
    ("letter", "low_c", "high_c"),
    [("K", -270, 1372), ("J", -210, 1200), ("T", -270, 400), ("N", -270, 1300), ("E", -270, 1000)],
)
def test_range_is_that_of_the_standard(letter: str, low_c: float, high_c: float) -> None:
    assert tc.temperature_range_c(letter) == (low_c, high_c)


def test_an_emf_of_type_b_that_two_temperatures_share_is_refused() -> None:
    assert float(tc.emf_mv(21.0, "B")) < 0.0
    with pytest.raises(RangeError):
        tc.temperature_c(0.0, "B")


def test_missing_values_stay_missing_and_shape_is_kept() -> None:
    temps = np.array([[20.0, np.nan], [71.0, -10.0]])
    back = tc.temperature_c(tc.emf_mv(temps, "K"), "K")
    assert back.shape == temps.shape
    np.testing.assert_allclose(back, temps, atol=1e-9)


def test_an_unknown_letter_or_policy_is_refused() -> None:
    with refused(UsageError, "thermocouple type"):
        tc.emf_mv(20.0, "X")
    with refused(UsageError, "outside"):
        tc.emf_mv(20.0, "K", outside="clip")


@given(
    st.sampled_from("KJTNE"),
    st.lists(st.floats(min_value=-3.0, max_value=19.0), min_size=1, max_size=70),
)
def test_one_value_alone_has_the_bits_it_has_in_an_array(letter: str, emfs: list[float]) -> None:
    together = tc.temperature_c(emfs, letter)
    alone = [float(tc.temperature_c(emf, letter)) for emf in emfs[:8]]
    assert alone == together[:8].tolist()
