"""The page of costs: what counts as worse, and that the page is the committed figures."""

import importlib
import json
from pathlib import Path

import pytest

from benchmarks import run

BEFORE = {"a, in b": 2.0, "c, in d": 10.0}


def test_a_ratio_within_a_fifth_is_not_worse_and_better_never_is() -> None:
    assert run.compared({"a, in b": 2.39, "c, in d": 1.0}, BEFORE) == []


def test_a_ratio_more_than_a_fifth_worse_is_named_with_both_figures() -> None:
    assert run.compared({"a, in b": 2.5, "c, in d": 10.0}, BEFORE) == [
        "a, in b: 2.50, was 2.00 (+25%)"
    ]


def test_a_figure_that_is_gone_or_new_is_named() -> None:
    told = run.compared({"a, in b": 2.0, "e, in f": 1.0}, BEFORE)
    assert told == [
        "c, in d: not measured any more, was 10.00",
        "e, in f: 1.00, not known yet",
    ]


@pytest.mark.parametrize(("factor", "code"), [(1.0, 0), (1.3, 1)])
def test_the_command_ends_with_1_only_when_something_is_worse(
    factor: float, code: int, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    kept = tmp_path / "costs.json"
    kept.write_text(json.dumps(BEFORE), encoding="utf-8")
    monkeypatch.setattr(run, "BASELINE", kept)
    found = {what: ratio * factor for what, ratio in BEFORE.items()}
    monkeypatch.setattr(run, "gathered", lambda names, repeats: found)
    assert run.main([]) == code


def test_the_median_of_the_repeats_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    told = iter([3.0, 50.0, 2.0])

    class Benchmark:
        @staticmethod
        def ratios() -> dict[str, float]:
            return {"a, in b": next(told)}

    monkeypatch.setattr(importlib, "import_module", lambda name: Benchmark)
    assert run.gathered(["any"], 3) == {"a, in b": 3.0}


def test_the_page_shows_the_committed_figures() -> None:
    page = run.PAGE.read_text(encoding="utf-8")
    for what, ratio in json.loads(run.BASELINE.read_text(encoding="utf-8")).items():
        assert f"| {what} | {ratio:.3g} |" in page


def test_every_benchmark_is_among_those_that_are_run() -> None:
    there = {path.stem for path in Path(run.__file__).parent.glob("*.py")}
    # A fleet and long seasons take an idle computer minutes: they are run by themselves.
    alone = {"fleet", "season", "trend_search"}
    assert there - {"run", "test_run", *alone} == set(run.BENCHMARKS)
