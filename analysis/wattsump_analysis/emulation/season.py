"""A season of the invented log carrier Bracken: outings of the emulated machine as sessions.

One machine, one outing a week from March on. What is done to it and what befalls it is in
`CHANGES`; the air follows the year, the work differs from day to day, and the probes keep
their errors all season. `write_season` writes ordinary session files.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.emulation.bracken import demo_machine
from wattsump_analysis.emulation.plant import Machine
from wattsump_analysis.emulation.rehearsal import CHANNELS, Load, Probes, Stage, Truth, Weather, run
from wattsump_logger.machine.profile import Profile
from wattsump_logger.session.reader import write_session

__all__ = ("CHANGES", "NEW_COOLER_W_K", "OUTINGS", "Change", "bracken", "stages", "write_season")

OUTINGS = 24
FIRST = datetime(2026, 3, 7, 8, tzinfo=UTC)
EVERY_DAYS = 7
# Rows so far apart keep a whole season small; its time constants are many minutes.
EVERY_S = 20
WORK_HEAT_W = 3300.0
# The same job on another day: slopes, mud and driver (invented, as is the machine).
DAY_TO_DAY = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What is different from outing `at` on, as factors; `mark` is what the owner noted."""

    at: int
    air_side: float = 1.0
    heat: float = 1.0
    mark: str = ""


NEW_COOLER_W_K = 95.0  # before anything happens to it, oil at 70 degC
CHANGES = (
    Change(at=0, mark="new cooler"),
    Change(at=8, air_side=0.55),
    Change(at=14, air_side=1 / 0.55, mark="washed chaff out of the core"),
    Change(at=19, heat=1.35),
)


def bracken(profile: Profile, outings: int = 1) -> Machine:
    """Return the plant of the demonstration, once for each of so many outings."""
    one = demo_machine(profile, NEW_COOLER_W_K)
    return Machine(**{f.name: np.repeat(getattr(one, f.name), outings) for f in fields(Machine)})


def stages() -> Sequence[Stage]:
    """One outing: cold soak, warm-up without fan, work, the fan off for a while, cool-down."""
    return [
        Stage(name="soak", longest_s=480, engine=False),
        Stage(name="warm-up", longest_s=2400, shortest_s=240, until_above_c=50.0, moving=True),
        Stage(name="work", longest_s=2400, fan=True, moving=True),
        Stage(name="fan off", longest_s=300, shortest_s=150, until_above_c=80.0, moving=True),
        Stage(name="work again", longest_s=900, fan=True, moving=True),
        Stage(name="cool-down", longest_s=900, engine=False),
    ]


def write_season(
    folder: Path,
    profile: Profile,
    *,
    changes: Sequence[Change] = CHANGES,
    outings: int = OUTINGS,
    seed: int = 7,
    plan: Sequence[Stage] | None = None,
    every_s: int = EVERY_S,
) -> tuple[Path, ...]:
    """Run a season and write its sessions into `folder`.

    Parameters
    ----------
    folder : Path
        Made if missing; a session there of the same name is refused by the writer.
    profile : Profile
        What the owner states, kept in every sidecar.
    changes : sequence of Change
        What happens; none of it is a control season.
    outings, seed : int
        How many, and of every random draw.
    plan : sequence of Stage, optional
        What each outing does; that of `stages` if not given.
    every_s : int
        From row to row.

    Returns
    -------
    tuple of Path
        The session files, in order.
    """
    rng = np.random.default_rng(seed)
    machine = _changed(bracken(profile, outings), changes)
    load, weather = _load(changes, outings, rng), _weather(outings, rng)
    truth = run(machine, plan or stages(), load, weather, rng)
    readings = _probes(outings, rng).read(truth, rng)
    folder.mkdir(parents=True, exist_ok=True)
    marks = {change.at: change.mark for change in changes if change.mark}
    return tuple(
        _write(folder, number, truth, readings, profile, marks.get(number, ""), every_s)
        for number in range(outings)
    )


def _changed(machine: Machine, changes: Sequence[Change]) -> Machine:
    for change in changes:
        machine.core_air_side_w_k[change.at :] *= change.air_side
    return machine


def _load(changes: Sequence[Change], outings: int, rng: np.random.Generator) -> Load:
    level = WORK_HEAT_W * np.exp(rng.normal(0.0, DAY_TO_DAY, outings))
    for change in changes:
        level[change.at :] *= change.heat
    return Load(level_w=level, wander=np.full(outings, 0.15), memory_s=np.full(outings, 60.0))


def _weather(outings: int, rng: np.random.Generator) -> Weather:
    """Air of a woodlot: 4 degC in early March, 24 degC at the end of July, and daily luck."""
    day = FIRST.timetuple().tm_yday + EVERY_DAYS * np.arange(outings)
    usual_c = 13.0 - 11.0 * np.cos(2 * np.pi * (day - 25.0) / 365.0)
    return Weather(
        start_c=usual_c + rng.normal(0.0, 3.0, outings),
        swing_k=rng.uniform(0.5, 2.0, outings),
        period_s=rng.uniform(9000.0, 20000.0, outings),
        sun_k=np.abs(rng.normal(0.0, 0.4, outings)),
    )


def _probes(outings: int, rng: np.random.Generator) -> Probes:
    """The same five probes all season: their errors are drawn once."""
    shape = (len(CHANNELS), outings)
    return Probes(
        offset_k=np.broadcast_to(rng.uniform(-1.5, 1.5, (shape[0], 1)), shape),
        lag_s=np.broadcast_to(rng.uniform(4.0, 12.0, (shape[0], 1)), shape),
        noise_k=0.1,
    )


def _write(
    folder: Path,
    number: int,
    truth: Truth,
    readings: dict[str, FloatArray],
    profile: Profile,
    mark: str,
    every_s: int,
) -> Path:
    start = FIRST + timedelta(days=EVERY_DAYS * number)
    path = folder / f"bracken-{start:%Y-%m-%d}.csv"
    rows = np.flatnonzero(truth.running[:, number])[::every_s]
    columns = {f"{name}_c": readings[name][rows, number] for name in CHANNELS}
    columns |= {
        "fan_on": truth.fan[rows, number],
        "engine_rpm": 2600.0 * truth.engine[rows, number],
        "drive_on": truth.moving[rows, number],
    }
    write_session(
        path,
        truth.elapsed_s[rows],
        columns,
        start_utc=start,
        metadata={"profile": profile.to_dict(), "controller": "emulated"},
        marks={1: mark} if mark else {},
    )
    return path
