"""From a folder of sessions to a list of outings: each worked out once, on all cores.

`summarise` is all the work on one file and needs only that file. `gather` maps it over the files
that the store does not have yet. Results are stored as they come, so an interrupted run can go
on later. At most a few files a core are in work at once, so memory does not grow with the
folder. Another engine with a map can replace the processes of this computer: pass it as `run`.
"""

import os
import signal
import threading
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import islice
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

from wattsump_analysis import threads
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.store import Entry, Store, content_key, sessions_in
from wattsump_analysis.season.trend import LeftOut
from wattsump_logger.errors import UsageError, WattsumpError
from wattsump_logger.remark import Remark

if TYPE_CHECKING:
    from wattsump_logger.machine.profile import Profile
    from wattsump_logger.session.reader import Session

__all__ = (
    "Gathered",
    "Job",
    "Summary",
    "gather",
    "in_processes",
    "one_by_one",
    "stretches_of",
    "summarise",
)

# Files in work per core: no core waits, and memory stays small.
AHEAD = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One session to work out; `profile_path` replaces the profile in its sidecar."""

    path: Path
    key: str
    profile_path: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """The result of a job; `lasting` says whether the next run would have the same."""

    job: Job
    entry: Entry
    lasting: bool


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Gathered:
    """Outings of a folder, files left out with the reason, notes, and where each outing lies.

    `paths` are sessions by the key of their outing; of copies, the first by name.
    """

    outings: tuple[Outing, ...]
    left_out: tuple[LeftOut, ...]
    notes: tuple[Remark, ...]
    paths: Mapping[str, Path] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"<Gathered: {len(self.outings)} outings, {len(self.left_out)} left out>"


Runner = Callable[[Callable[[Job], Summary], Sequence[Job]], Iterable[Summary]]
Progress = Callable[[int, int, str], None]


def summarise(job: Job) -> Summary:
    """Read, prove and summarise one session. Never raises for the content of a file."""
    from wattsump_analysis.proof.prove import prove
    from wattsump_analysis.season.outing import outing_from

    try:
        session, profile = _loaded(job.path, job.profile_path)
        outing = outing_from(prove(session, profile), session, profile, job.key)
    except WattsumpError as error:
        refused = Remark(code="session-refused", text=str(error))
        return Summary(job=job, entry=Entry(outing=None, why=refused), lasting=True)
    except Exception as error:
        # A bug that one file triggers must not stop the work on the others.
        text = f"could not be worked out ({type(error).__name__}: {error}); prove it by itself"
        failed = Remark(code="outing-failed", text=text)
        return Summary(job=job, entry=Entry(outing=None, why=failed), lasting=False)
    return Summary(job=job, entry=Entry(outing=outing), lasting=True)


def stretches_of(path: Path, profile_path: Path | None = None) -> tuple[Outing, ...]:
    """Work out the stretches of a session in which something was swapped, an outing each.

    Raises
    ------
    SessionError, ProfileError
        The file is no session, or its profile cannot be read.
    """
    from wattsump_analysis.proof.prove import prove
    from wattsump_analysis.season.outing import outings_of_stretches

    session, profile = _loaded(path, profile_path)
    return outings_of_stretches(prove(session, profile), session, profile, content_key(path))


def _loaded(path: Path, profile_path: Path | None) -> "tuple[Session, Profile | None]":
    """A session, and the profile given by hand or else the one in its sidecar."""
    from wattsump_logger.machine.profile import load_profile
    from wattsump_logger.session.reader import load_session

    session = load_session(path)
    return session, session.profile() if profile_path is None else load_profile(profile_path)


def gather(
    folder: Path,
    *,
    only: Collection[Path] | None = None,
    profile_path: Path | None = None,
    run: Runner | None = None,
    on_progress: Progress = lambda done, of, name: None,
    method: str | None = None,
) -> Gathered:
    """Collect the outings of a folder, working out only those not in the store yet.

    Parameters
    ----------
    folder : Path
        Sessions, in it or below it.
    only : collection of Path, optional
        Look at these sessions of the folder alone.
    profile_path : Path, optional
        Profile to use in place of those in the sidecars.
    run : callable, optional
        Maps a function over jobs and yields results in any order; all cores of this computer
        if not given.
    on_progress : callable
        Told (done, of, name) after each file worked out, and (0, of, "") before the first.
    method : str, optional
        For tests: replaces the method's version.

    Returns
    -------
    Gathered

    Raises
    ------
    UsageError
        The folder does not exist.
    """
    if not folder.is_dir():
        raise UsageError(
            expected="a folder of sessions",
            found="none",
            where=str(folder),
            do="name the folder that `log --out` writes to",
        )
    text = "" if profile_path is None else profile_path.read_text(encoding="utf-8")
    with Store(folder, method=method, profile_text=text) as store:
        entries: dict[Path, Entry] = {}
        jobs: dict[str, Job] = {}
        twins: dict[str, list[Path]] = {}
        for path in sessions_in(folder) if only is None else sorted(only):
            kept = store.stored(path)
            if kept is not None:
                entries[path] = kept
                continue
            key = store.key(path)
            jobs.setdefault(key, Job(path=path, key=key, profile_path=profile_path))
            twins.setdefault(key, []).append(path)
        todo = list(jobs.values())
        if todo:
            on_progress(0, len(todo), "")
        for done, summary in enumerate((run or in_processes)(summarise, todo), 1):
            if summary.lasting:
                store.keep(summary.job.key, summary.entry)
            for path in twins[summary.job.key]:
                entries[path] = summary.entry
            on_progress(done, len(todo), summary.job.path.name)
        return _gathered(entries, tuple(store.notes))


def _gathered(entries: dict[Path, Entry], notes: tuple[Remark, ...]) -> Gathered:
    ordered = sorted(entries.items())
    return Gathered(
        outings=tuple(entry.outing for _, entry in ordered if entry.outing is not None),
        left_out=tuple(
            LeftOut(name=path.stem, why=entry.why)
            for path, entry in ordered
            if entry.why is not None
        ),
        notes=notes,
        paths={
            entry.outing.key: path for path, entry in reversed(ordered) if entry.outing is not None
        },
    )


def one_by_one(function: Callable[[Job], Summary], jobs: Sequence[Job]) -> Iterator[Summary]:
    """Run jobs in this process, in order."""
    yield from map(function, jobs)


def in_processes(function: Callable[[Job], Summary], jobs: Sequence[Job]) -> Iterator[Summary]:
    """Run jobs on all cores; results come as they are ready."""
    workers = min(os.cpu_count() or 1, len(jobs))
    if workers <= 1:
        yield from one_by_one(function, jobs)
        return
    waiting = iter(jobs)
    # New processes: a forked one would inherit the open database and its locks.
    with (
        _single_threaded(),
        ProcessPoolExecutor(workers, get_context("spawn"), _leave_interrupts_alone) as pool,
    ):
        under_way: set[Future[Summary]] = set()
        try:
            with _started_without_interrupts():
                for job in islice(waiting, AHEAD * workers):
                    under_way.add(pool.submit(function, job))
            while under_way:
                ready, under_way = wait(under_way, return_when=FIRST_COMPLETED)
                for job in islice(waiting, len(ready)):
                    under_way.add(pool.submit(function, job))
                for future in ready:
                    yield future.result()
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _started_without_interrupts() -> Iterator[None]:
    """Processes begun meanwhile take no Ctrl-C from their first moment on.

    One that was still loading would write a traceback.
    """
    if threading.current_thread() is not threading.main_thread():
        yield  # only the main thread may set signals
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _leave_interrupts_alone() -> None:
    # Ctrl-C reaches the whole group; only the parent decides what is still finished.
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def _single_threaded() -> Iterator[None]:
    """One thread per process, because there is a process for every core."""
    before = {name: os.environ.get(name) for name in threads.NAMES}
    os.environ.update(dict.fromkeys(threads.NAMES, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
