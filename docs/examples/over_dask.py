"""Work out a folder of sessions on a Dask cluster: over_dask.py FOLDER [SCHEDULER]."""

import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from dask.distributed import Client, as_completed

from wattsump_analysis.season.folder import Job, Summary, gather


def over(client: Client) -> Callable[..., Iterator[Summary]]:
    """Return a runner that maps over the cluster, results as they are ready."""

    def run(function: Callable[[Job], Summary], jobs: Sequence[Job]) -> Iterator[Summary]:
        for future in as_completed(client.map(function, jobs, pure=False)):
            yield future.result()

    return run


if __name__ == "__main__":
    where = sys.argv[2] if len(sys.argv) > 2 else None
    with Client(where, threads_per_worker=1) if where is None else Client(where) as client:
        gathered = gather(
            Path(sys.argv[1]),
            run=over(client),
            on_progress=lambda done, of, name: print(f"{done} of {of}: {name}"),
        )
    print(f"{len(gathered.outings)} outings, {len(gathered.left_out)} files left out")
