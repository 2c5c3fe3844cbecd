"""Code is kept between runs, never believed when torn, and done without where nothing is kept."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from llvmlite import binding

from wattsump_analysis.model import kernel, native
from wattsump_analysis.model.kernel import Shape
from wattsump_analysis.model.passes import Pass

# One store that cools to the air, read by one probe; the wander beside it.
SHAPE = Shape(
    size=2,
    unknowns=0,
    elements=2,
    inputs=1,
    stamps=((0, 0, 0, 0), (1, 0, 0, 1)),
    factors=(1.0, -1.0),
    feeds=((0, 0, 1, 0),),
    feed_factors=(1.0,),
    probes=((0, 0, -1, -1, -1),),
    air_column=0,
)


@pytest.fixture
def compiles(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[Path], int]]:
    """How often the compiler is asked for the functions of a shape, with a folder to keep in."""
    asked: list[str] = []
    parse = binding.parse_assembly

    def watched(text: str) -> Any:
        asked.append(text)
        return parse(text)

    def count(home: Path) -> int:
        native.functions.cache_clear()
        asked.clear()
        monkeypatch.setenv("XDG_CACHE_HOME", str(home))
        native.functions(SHAPE)
        return sum(text != "" for text in asked)

    monkeypatch.setattr(binding, "parse_assembly", watched)
    yield count
    native.functions.cache_clear()


def test_code_is_compiled_once_and_then_read(
    compiles: Callable[[Path], int], tmp_path: Path
) -> None:
    assert compiles(tmp_path) == 3
    assert compiles(tmp_path) == 0


def test_a_torn_file_is_compiled_anew(compiles: Callable[[Path], int], tmp_path: Path) -> None:
    compiles(tmp_path)
    kept = sorted((tmp_path / "wattsump").iterdir())
    kept[0].write_bytes(kept[0].read_bytes()[:-100])
    kept[1].write_bytes(b"")
    assert compiles(tmp_path) == 2
    assert compiles(tmp_path) == 0


def test_where_nothing_can_be_written_it_is_compiled_each_time(
    compiles: Callable[[Path], int], tmp_path: Path
) -> None:
    (tmp_path / "home").write_text("a file where a folder should be")
    assert compiles(tmp_path / "home") == 3
    assert compiles(tmp_path / "home") == 3
    assert [path.name for path in tmp_path.iterdir()] == ["home"]


def test_a_pass_is_the_density_of_a_chain_worked_out_with_dense_matrices() -> None:
    rng = np.random.default_rng(4)
    bins, h, keep, weight, precision = 6, 10.0, 0.8, 0.01, 4.0
    stored, lost = 900.0 + rng.random(bins), 5.0 + rng.random(bins)
    air, read = rng.random(bins), rng.random(bins)
    entered = np.append(0.5 * h * (air[1:] + air[:-1]), 0.0)
    common = np.column_stack([np.zeros(bins), air, entered, read, np.ones(bins)])
    start = np.array([0.25, 0.0, 1.0, 0.0, 0.0, 0.0])
    scales = np.array([[h, keep, weight, 1.0 / (1.0 - keep**2), 0.0, precision]])
    values = np.array([[stored, lost]])
    found = Pass(shape=SHAPE, common=common, start=start).minus_twice(values, scales)
    # independent: rows of (temperatures, 1) by hand, the trapezoidal rule of C dT/dt = G (air - T).
    rows = [np.append(0.5 * np.eye(bins)[0], 0.0)]
    determinant = 0.0
    for t in range(bins - 1):
        c, g = (0.5 * (x[t] + x[t + 1]) for x in (stored, lost))
        row = np.zeros(bins + 1)
        row[t : t + 2] = 0.5 * h * g - c, 0.5 * h * g + c
        row[-1] = -g * entered[t]
        rows.append(np.sqrt(weight) * row)
        determinant -= 2.0 * np.log(c + 0.5 * h * g)
    rows += list(np.sqrt(precision) * np.column_stack([np.eye(bins), -read]))
    whole = np.array(rows).T @ np.array(rows)
    square = whole[-1, -1] - whole[-1, :-1] @ np.linalg.solve(whole[:-1, :-1], whole[:-1, -1])
    determinant += np.linalg.slogdet(whole[:-1, :-1])[1]
    # The wander is read by nothing: its own chain has the determinant of its start and its steps.
    determinant += (bins - 1) * np.log(1.0 / (1.0 - keep**2))
    assert found == pytest.approx([square + determinant], rel=1e-12)


def test_texts_hang_on_the_shape_alone() -> None:
    for write in (kernel.forward, kernel.backward, kernel.draw):
        assert write(SHAPE) == write(SHAPE)
