"""The season around an outing, from the results in its folder.

Only results that `trend` has stored are read: proving the other sessions would take as long as a
season.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from wattsump_analysis.season.folder import Job, Summary, gather
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.store import FILE_NAME, sessions_in
from wattsump_analysis.season.trend import FEWEST_OUTINGS, Trend, in_order, trend_of
from wattsump_analysis.show.report.links import SEASON_PAGE, href_of
from wattsump_analysis.show.season_screen import trend_sentence

__all__ = ("Season", "season_beside")


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """The outings of one machine, oldest first, and their trend if there are enough.

    `this` is the name of the outing the page is about; `unread` counts sessions of the folder
    that nobody has worked out yet; `page` is the address of the season's page, "" without one.
    """

    this: str
    folder: str
    outings: tuple[Outing, ...]
    trend: Trend | None
    sentence: str
    unread: int
    page: str = ""


def season_beside(session: Path, machine: str, report: Path | None = None) -> Season | None:
    """Return the season of the sessions beside `session`; None if there are no others.

    `report` is where the page that links the season's will lie.
    """
    folder = session.parent
    paths = sessions_in(folder)
    if not any(path.resolve() != session.resolve() for path in paths):
        return None
    kept: Sequence[Outing] = ()
    worked_out = 0
    if (folder / FILE_NAME).exists():
        gathered = gather(folder, run=_nothing_new)
        kept, worked_out = gathered.outings, len(gathered.outings) + len(gathered.left_out)
    outings, _ = in_order([outing for outing in kept if outing.machine == machine])
    trend, sentence = _trend(outings)
    return Season(
        this=session.stem,
        folder=folder.as_posix(),
        outings=outings,
        trend=trend,
        sentence=sentence,
        unread=len(paths) - worked_out,
        page="" if report is None else href_of(folder / SEASON_PAGE, report),
    )


def _nothing_new(function: Callable[[Job], Summary], jobs: Sequence[Job]) -> Iterable[Summary]:
    return ()


def _trend(outings: Sequence[Outing]) -> tuple[Trend | None, str]:
    if len(outings) < FEWEST_OUTINGS:
        return None, f"A trend needs {FEWEST_OUTINGS} outings that tell watts and heat."
    trend = trend_of(outings)
    return trend, trend_sentence(trend).text
