"""Several machines in one folder tree: each machine's outings and state, worst first."""

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from wattsump_analysis.season.folder import Gathered
from wattsump_analysis.season.outing import Outing
from wattsump_analysis.season.state import Standing, State, state_of
from wattsump_analysis.season.store import sessions_in
from wattsump_analysis.season.trend import FEWEST_OUTINGS, Trend, in_order, trend_of
from wattsump_logger.errors import UsageError
from wattsump_logger.remark import Remark

__all__ = ("Member", "fleet_of", "gather_tree")

Gatherer = Callable[[Path, frozenset[Path]], Gathered]
# A machine's name, and the folder right below the fleet's that it was met in; None where folders
# do not tell machines apart.
_Known = tuple[str, Path | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One machine of a fleet; `trend` and `state` are None with too few outings for them.

    `folder` holds all its sessions; None where another machine's lie in it too. `remark` says
    that another folder has outings under the same name.
    """

    machine: str
    folder: Path | None
    outings: tuple[Outing, ...]
    trend: Trend | None
    state: State | None
    standing: Standing
    remark: Remark | None = None

    @property
    def urgency(self) -> tuple[int, float, str]:
        """Sort key: the machine to look at first comes first."""
        harm = 0.0 if self.state is None else self.state.harm
        return list(Standing).index(self.standing), -harm, self.machine


def gather_tree(top: Path, gatherer: Gatherer) -> Gathered:
    """Collect the outings of a tree, each folder right below `top` by itself.

    So `trend` on a machine's own folder can use the same results.

    Parameters
    ----------
    top : Path
        A folder of machines' folders; sessions right in it count too.
    gatherer : callable
        Takes a folder and its sessions, and gathers them; see `folder.gather`.

    Raises
    ------
    UsageError
        No such folder, or no session in it.
    """
    if not top.is_dir():
        raise _nothing("none", top)
    sessions: dict[Path, list[Path]] = {}
    for path in sessions_in(top):
        inside = path.relative_to(top)
        sessions.setdefault(top / inside.parts[0] if len(inside.parts) > 1 else top, []).append(
            path
        )
    if not sessions:
        raise _nothing("no session in it", top)
    parts = [gatherer(folder, frozenset(paths)) for folder, paths in sessions.items()]
    return Gathered(
        outings=tuple(outing for part in parts for outing in part.outings),
        left_out=tuple(left for part in parts for left in part.left_out),
        notes=tuple(note for part in parts for note in part.notes),
        paths={key: path for part in reversed(parts) for key, path in part.paths.items()},
    )


def _nothing(found: str, top: Path) -> UsageError:
    return UsageError(
        expected="a folder of machines' folders with sessions",
        found=found,
        where=str(top),
        do="name the folder above those that `log --out` writes to",
    )


def fleet_of(gathered: Gathered, top: Path | None = None) -> tuple[Member, ...]:
    """Return the machines of what was gathered, the one to look at first in front.

    Parameters
    ----------
    gathered : Gathered
        Outings of all machines.
    top : Path, optional
        The folder of the machines' folders. Outings of one name in two folders right below it are
        two machines, as when a profile was copied; without it, one machine.
    """
    outings: dict[_Known, list[Outing]] = {}
    for outing in gathered.outings:
        part = None if top is None else _below(top, gathered.paths[outing.key])
        outings.setdefault((outing.machine, part), []).append(outing)
    folders = {known: _folder(gathered, machine) for known, machine in outings.items()}
    members = [
        _member(known[0], machine, _alone(known, folders), _same_name(known, folders))
        for known, machine in outings.items()
    ]
    return tuple(sorted(members, key=lambda member: member.urgency))


def _below(top: Path, session: Path) -> Path:
    """Return the folder right below `top` in which a session lies, or `top`."""
    inside = session.relative_to(top).parts
    return top / inside[0] if len(inside) > 1 else top


def _same_name(known: _Known, folders: Mapping[_Known, Path]) -> Remark | None:
    machine, own = known
    others = [part for name, part in folders if name == machine and part != own]
    if not others:
        return None
    named = " and ".join(str(part) for part in (own, *others))
    return Remark(
        code="same-name-two-folders",
        text=f"the profiles in {named} carry the same machine name; counted apart: give each "
        "machine a name of its own, or put one machine's outings into one folder",
    )


def _member(
    machine: str, outings: list[Outing], folder: Path | None, remark: Remark | None
) -> Member:
    usable, _ = in_order(outings)
    trend = trend_of(outings) if len(usable) >= FEWEST_OUTINGS else None
    state = None if trend is None else state_of(trend)
    standing = Standing.FEW
    if state is not None:
        standing = state.standing
    elif any(outing.minutes_above_max > 0.0 for outing in outings):
        standing = Standing.TOO_HOT
    ordered = sorted(outings, key=lambda outing: (outing.start_utc or "", outing.name))
    return Member(
        machine=machine,
        folder=folder,
        outings=tuple(ordered),
        trend=trend,
        state=state,
        standing=standing,
        remark=remark,
    )


def _folder(gathered: Gathered, outings: list[Outing]) -> Path:
    places = [gathered.paths[outing.key].parent for outing in outings]
    return Path(os.path.commonpath(places))


def _alone(machine: _Known, folders: Mapping[_Known, Path]) -> Path | None:
    """Return a machine's folder, None where another machine's lies in it or is the same."""
    own = folders[machine]
    others = (folder for name, folder in folders.items() if name != machine)
    return None if any(folder.is_relative_to(own) for folder in others) else own
