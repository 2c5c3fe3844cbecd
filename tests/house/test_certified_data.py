"""The certified numbers other tests lean on are the ones NIST printed."""

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

FOLDER = Path(__file__).parents[1] / "data" / "nist"
STRD: dict[str, Any] = json.loads((FOLDER / "strd.json").read_text(encoding="utf-8"))
FITTED = ("Misra1a", "Misra1b", "BoxBOD", "MGH17", "Lanczos3")
FloatArray = NDArray[np.float64]


def predicted(name: str, x: FloatArray, b: FloatArray) -> FloatArray:
    """NIST's model formulas, written from the header of each file."""
    if name == "Misra1b":
        return np.asarray(b[0] * (1 - (1 + b[1] * x / 2) ** -2))
    if name == "MGH17":
        return np.asarray(b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4]))
    if name == "Lanczos3":
        return np.asarray(sum(b[i] * np.exp(-b[i + 1] * x) for i in (0, 2, 4)))
    return np.asarray(b[0] * (1 - np.exp(-b[1] * x)))


def numbers(line: str) -> list[float]:
    return [float(word) for word in line.split()]


@pytest.mark.parametrize("name", FITTED)
def test_the_loadable_table_says_what_the_original_file_says(name: str) -> None:
    text = (FOLDER / f"{name}.dat").read_text(encoding="ascii")
    table = STRD[name]
    parameters = [
        numbers(row) for row in re.findall(r"^ +b\d = +(\S+ +\S+ +\S+ +\S+) *$", text, re.M)
    ]
    assert [
        [p["start_1"], p["start_2"], p["value"], p["sd"]] for p in table["parameters"]
    ] == parameters
    rows = [numbers(line) for line in text[text.rindex("Data:") :].splitlines()[1:] if line.strip()]
    assert list(zip(table["y"], table["x"], strict=True)) == [(row[0], row[1]) for row in rows]
    for words, key in (
        ("Residual Sum of Squares", "rss"),
        ("Residual Standard Deviation", "residual_sd"),
        ("Degrees of Freedom", "dof"),
    ):
        found = re.search(rf"{words}: +(\S+)", text)
        assert found is not None
        assert float(found[1]) == table[key]


@pytest.mark.parametrize("name", FITTED)
def test_the_certified_parameters_give_the_certified_sum_of_squares(name: str) -> None:
    table = STRD[name]
    b = np.array([p["value"] for p in table["parameters"]])
    residual = np.array(table["y"]) - predicted(name, np.array(table["x"]), b)
    # certified: the parameters carry 11 digits and the sum is stationary there, so only the
    # sum's own 11 digits limit it; Lanczos3's residuals of 1e-5 cost it five of them.
    rel = 1e-5 if name == "Lanczos3" else 1e-9
    assert residual @ residual == pytest.approx(table["rss"], rel=rel)


def test_the_beam_deflections_have_the_certified_mean_spread_and_autocorrelation() -> None:
    y = np.array(STRD["Lew"]["y"], dtype=np.float64)
    d = y - y.mean()
    assert len(y) == 200
    # certified: NIST StRD univariate summary statistics, data set Lew, 15 digits
    assert y.mean() == pytest.approx(-177.435, rel=1e-14)
    assert y.std(ddof=1) == pytest.approx(277.332168044316, rel=1e-14)
    assert d[1:] @ d[:-1] / (d @ d) == pytest.approx(-0.307304800605679, rel=1e-13)
    assert STRD["Lew"]["mean"] == pytest.approx(-177.435, rel=1e-14)
    assert STRD["Lew"]["sd"] == pytest.approx(277.332168044316, rel=1e-14)
    assert STRD["Lew"]["lag_1_autocorrelation"] == pytest.approx(-0.307304800605679, rel=1e-14)
