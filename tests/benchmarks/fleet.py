"""Drawn seasons of several machines on a local Dask cluster, and some of them one by one.

`python tests/benchmarks/fleet.py [--machines 3] [--outings 200] [--beside 16]` prints seconds an
outing of each, and the ratio. It needs Dask, an extra, and an idle computer: a busy one gives the
two different shares of its processors.
"""

import argparse
import importlib.util
import os
import time
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from wattsump_analysis import threads
from wattsump_analysis.emulation.season import write_season
from wattsump_analysis.season.fleet import gather_tree
from wattsump_analysis.season.folder import Job, gather, one_by_one, summarise
from wattsump_logger.machine.profile import load_profile

ROOT = Path(__file__).parents[2]


def main() -> None:
    """Draw the machines, work them out both ways, print what it took."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=3)
    parser.add_argument("--outings", type=int, default=200)
    parser.add_argument("--beside", type=int, default=16, help="outings worked out one by one")
    asked = parser.parse_args()
    os.environ.update(dict.fromkeys(threads.NAMES, "1"))
    from dask.distributed import Client  # type: ignore[import-not-found, unused-ignore] # an extra

    script = ROOT / "docs" / "examples" / "over_dask.py"
    spec = importlib.util.spec_from_file_location("over_dask", script)
    assert spec is not None
    assert spec.loader is not None
    example = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(example)
    with (
        TemporaryDirectory() as folder,
        Client(threads_per_worker=1, dashboard_address=None) as client,
    ):
        top = Path(folder)
        sessions = _drawn(top, asked.machines, asked.outings)
        warm = Job(path=sessions[0], key="warm")
        client.run(summarise, warm)  # each worker loads and compiles once, outside the count
        summarise(warm)
        began_s = time.perf_counter()
        beside = frozenset(sessions[: asked.beside])
        gather(top, only=beside, run=one_by_one, method="one by one")
        plain_s = (time.perf_counter() - began_s) / len(beside)
        run = example.over(client)
        began_s = time.perf_counter()
        found = gather_tree(top, lambda below, only: gather(below, only=only, run=run))
        dask_s = (time.perf_counter() - began_s) / len(sessions)
        workers = len(client.scheduler_info()["workers"])
    print(
        f"{len(found.outings)} of {len(sessions)} outings over Dask, {workers} workers: "
        f"{dask_s:.2f} s each; one by one {plain_s:.2f} s each; ratio {plain_s / dask_s:.2f}"
    )


def _drawn(top: Path, machines: int, outings: int) -> list[Path]:
    profile = load_profile(ROOT / "sample-data" / "bracken.toml")
    return [
        path
        for number in range(machines)
        for path in write_season(
            top / f"machine-{number}",
            replace(profile, name=f"Machine {number}"),
            outings=outings,
            seed=number,
        )
    ]


if __name__ == "__main__":
    main()
