"""Folders to outings: each file once, in any order, interrupted or not."""

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from analysis.few_outings import outing
from refusal import refused
from wattsump_analysis.season.folder import (
    Job,
    Summary,
    gather,
    in_processes,
    one_by_one,
    summarise,
)
from wattsump_analysis.season.store import Entry
from wattsump_logger.errors import UsageError

Function = Callable[[Job], Summary]


def files(folder: Path, count: int) -> None:
    for number in range(count):
        (folder / f"day-{number:02d}.csv").write_text(f"outing {number}", encoding="utf-8")


class Runner:
    """Stands in for the fit: counts what it is asked for, and may be stopped half way."""

    def __init__(self, stop_after: int | None = None) -> None:
        self.asked: list[str] = []
        self.stop_after = stop_after

    def __call__(self, function: Function, jobs: Sequence[Job]) -> Iterator[Summary]:
        for job in jobs:
            if self.stop_after is not None and len(self.asked) == self.stop_after:
                raise KeyboardInterrupt
            self.asked.append(job.path.name)
            number = int(job.path.stem[-2:])
            found = outing(number, 90.0, 3000.0, key=job.key, name=job.path.stem)
            yield Summary(job=job, entry=Entry(outing=found), lasting=True)


def test_the_second_run_works_nothing_out(tmp_path: Path) -> None:
    files(tmp_path, 5)
    first, second = Runner(), Runner()
    one = gather(tmp_path, run=first, method="m")
    two = gather(tmp_path, run=second, method="m")
    assert len(first.asked) == 5
    assert second.asked == []
    assert one == two
    assert len(two.outings) == 5


def test_an_interrupted_run_goes_on_where_it_stopped(tmp_path: Path) -> None:
    files(tmp_path, 6)
    first, second = Runner(stop_after=4), Runner()
    with pytest.raises(KeyboardInterrupt):
        gather(tmp_path, run=first, method="m")
    gathered = gather(tmp_path, run=second, method="m")
    assert set(first.asked).isdisjoint(second.asked)
    assert len(first.asked) + len(second.asked) == len(gathered.outings) == 6


def test_a_file_there_twice_is_worked_out_once_and_listed_under_both_names(tmp_path: Path) -> None:
    files(tmp_path, 2)
    (tmp_path / "copy-00.csv").write_text("outing 0", encoding="utf-8")
    runner = Runner()
    gathered = gather(tmp_path, run=runner, method="m")
    assert len(runner.asked) == 2
    assert len(gathered.outings) == 3
    assert len({o.key for o in gathered.outings}) == 2


def test_progress_counts_what_is_worked_out(tmp_path: Path) -> None:
    files(tmp_path, 3)
    told: list[tuple[int, int]] = []
    gather(tmp_path, run=Runner(), method="m", on_progress=lambda d, n, _: told.append((d, n)))
    assert told == [(0, 3), (1, 3), (2, 3), (3, 3)]


def test_only_the_sessions_asked_for_are_looked_at(tmp_path: Path) -> None:
    files(tmp_path, 3)
    runner = Runner()
    gather(tmp_path, only={tmp_path / "day-01.csv"}, run=runner, method="m")
    assert runner.asked == ["day-01.csv"]


def test_a_foreign_file_is_left_out_with_the_reason_and_not_read_again(tmp_path: Path) -> None:
    (tmp_path / "shopping.csv").write_text("what,how many\nlogs,3\n", encoding="utf-8")
    gathered = gather(tmp_path, run=one_by_one, method="m")
    assert gathered.outings == ()
    assert [left.name for left in gathered.left_out] == ["shopping"]
    assert gathered.left_out[0].why.code == "session-refused"
    runner = Runner()
    assert gather(tmp_path, run=runner, method="m").left_out == gathered.left_out
    assert runner.asked == []


def test_a_fault_of_ours_in_one_file_costs_only_that_file_and_is_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files(tmp_path, 1)

    def broken(path: Path, profile_path: Path | None) -> None:
        raise ZeroDivisionError("by accident")

    monkeypatch.setattr("wattsump_analysis.season.folder._loaded", broken)
    gathered = gather(tmp_path, run=one_by_one, method="m")
    assert gathered.left_out[0].why.code == "outing-failed"
    assert "ZeroDivisionError" in gathered.left_out[0].why.text
    runner = Runner()
    assert len(gather(tmp_path, run=runner, method="m").outings) == 1


def test_processes_give_what_one_process_gives(tmp_path: Path) -> None:
    jobs = []
    for number in range(5):
        path = tmp_path / f"foreign-{number}.csv"
        path.write_text(f"not,a,session\n{number},2,3\n", encoding="utf-8")
        jobs.append(Job(path=path, key=str(number)))
    plain = {s.job.key: s for s in one_by_one(summarise, jobs)}
    spread = {s.job.key: s for s in in_processes(summarise, jobs)}
    assert spread == plain
    assert len(spread) == 5


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with refused(UsageError, "nowhere"):
        gather(tmp_path / "nowhere")


def test_the_fleet_page_shows_the_example_as_it_is() -> None:
    docs = Path(__file__).parents[3] / "docs"
    script = (docs / "examples" / "over_dask.py").read_text(encoding="utf-8").rstrip()
    assert f"```python\n{script}\n```" in (docs / "fleet.md").read_text(encoding="utf-8")
