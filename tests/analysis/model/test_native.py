"""Code is kept between runs, never believed when torn, and done without where nothing is kept."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from llvmlite import binding

from wattsump_analysis.model import kernel, native
from wattsump_analysis.model.description import NODES, PARAMETERS, PROBES
from wattsump_analysis.model.kernel import Shape

# Every node a store that cools to the air, read by the tank's probe.
SHAPE = Shape(
    size=len(NODES) + 1,
    unknowns=0,
    parameters=tuple(parameter.name for parameter in PARAMETERS),
    series=("capacity_ratio", "shell_ratio", "moving", "stood_ks"),
    switches=(),
    elements=(("tank_oil",), ("half_shell",)),
    inputs=1,
    stamps=tuple((kind, node, node, kind) for node in range(len(NODES)) for kind in (0, 1)),
    factors=(1.0, -1.0) * len(NODES),
    feeds=tuple((node, 0, 1, 0) for node in range(len(NODES))),
    feed_factors=(1.0,) * len(NODES),
    probes=PROBES[:1],
    readings=((0, 0, 0, -1, -1, -1),),
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


def test_texts_hang_on_the_shape_alone() -> None:
    for write in (kernel.forward, kernel.backward, kernel.draw):
        assert write(SHAPE) == write(SHAPE)


def test_a_rename_that_fails_leaves_no_draft_behind(
    compiles: Callable[[Path], int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(path: Path, target: Path) -> Path:
        raise PermissionError

    monkeypatch.setattr(Path, "replace", refused)
    assert compiles(tmp_path) == 3
    assert list((tmp_path / "wattsump").iterdir()) == []
