"""Work out a tree of sessions on a Dask cluster: over_dask.py FOLDER [SCHEDULER]."""

import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from dask.distributed import Client, as_completed

from wattsump_analysis.season.fleet import gather_tree
from wattsump_analysis.season.folder import Gathered, Job, Summary, gather


def over(client: Client) -> Callable[..., Iterator[Summary]]:
    """Return a runner that maps over the cluster, results as they are ready."""

    def run(function: Callable[[Job], Summary], jobs: Sequence[Job]) -> Iterator[Summary]:
        for future in as_completed(client.map(function, jobs, pure=False)):
            yield future.result()

    return run


if __name__ == "__main__":
    where = sys.argv[2] if len(sys.argv) > 2 else None
    with Client(where, threads_per_worker=1) if where is None else Client(where) as client:
        run = over(client)

        def gatherer(folder: Path, sessions: frozenset[Path]) -> Gathered:
            return gather(
                folder,
                only=sessions,
                run=run,
                on_progress=lambda done, of, name: print(f"{done} of {of}: {folder.name}, {name}"),
            )

        gathered = gather_tree(Path(sys.argv[1]), gatherer)
    print(f"{len(gathered.outings)} outings, {len(gathered.left_out)} files left out")
