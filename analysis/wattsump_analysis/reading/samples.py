"""A session's columns by role: temperatures, flags and flow of one outing."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.physics.oil import USUAL_DENSITY_15_KG_M3, volumetric_heat_j_m3k
from wattsump_analysis.reading.guided import drive_by_steps
from wattsump_analysis.reading.machine import bare_pipes, oil_heat_factor, stated_flow
from wattsump_analysis.reading.record import despike
from wattsump_logger.errors import SessionError
from wattsump_logger.machine.profile import SEVERAL, Profile, Role, column_of
from wattsump_logger.remark import Remark
from wattsump_logger.session.reader import Session

__all__ = ("FIRED_RPM", "Samples", "gather", "metered_heat_j_m3k", "without_bare")

FIRED_RPM = 300.0  # above cranking, below any idling
WORKING_RPM_SHARE = 0.6  # of the highest speed: between idling and working
LITRES_PER_MIN = 1.0 / 60000.0  # m3/s
LEAST_READINGS = 20
SILENT_SHARE = 0.05  # of a running engine's usual oil flow; common practice, no source
TOLD_SILENCE_S = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Samples:
    """Readings by role, each of shape (n,); None where the session has no such channel.

    `temps_c` holds every temperature channel by role or name, NaN for no reading. Flags
    are 0..1 without gaps, `heater_w` in W, `flow_m3_s` in m3/s, `engine_rpm` in revolutions
    per minute. `notes` lists what was left out. Without `has_tank`, `temps_c` has the oil into
    the cooler in place of the tank. It shows the phases; it must not be used for heat capacity.
    """

    elapsed_s: FloatArray
    temps_c: Mapping[str, FloatArray]
    fan: FloatArray | None
    engine: FloatArray | None
    moving: FloatArray | None
    heater_w: FloatArray | None
    flow_m3_s: FloatArray | None
    notes: tuple[Remark, ...]
    engine_rpm: FloatArray | None = None
    has_tank: bool = True

    @property
    def seen_c(self) -> Mapping[str, FloatArray]:
        """The temperatures that have a probe of their own."""
        return {name: c for name, c in self.temps_c.items() if self.has_tank or name != "tank"}


def gather(session: Session, profile: Profile | None) -> Samples:
    """Pick the columns of a session by role.

    Raises
    ------
    SessionError
        Fewer than two rows, no tank channel, or a tank channel without readings.
    """
    rows = int(session.elapsed_s.size)
    if rows < 2:
        raise _bad(session, "an outing with readings", f"{rows} rows", "log an outing first")
    temps, notes = _temperatures(session, profile)
    has_tank = "tank" in temps
    if not has_tank and {"cooler_in", "cooler_out"} <= set(temps):
        temps["tank"] = temps["cooler_in"]
    if "tank" not in temps:
        raise _bad(
            session,
            "readings of the oil in the tank",
            _tank_found(session, profile),
            "connect a probe to the channel with the role tank, or to cooler_in and cooler_out",
        )
    engine = _flag(session, profile, Role.ENGINE)
    moving = _moving(session, profile)
    metered = _flow(session, profile)
    flow, silent = _metered(metered, engine, session.elapsed_s)
    if engine is None and moving is None and metered is not None and np.any(metered > 0.0):
        engine = (metered > SILENT_SHARE * np.median(metered[metered > 0.0])).astype(float)
        text = "no engine channel: it was taken to run whenever the flow meter saw oil move"
        silent = [Remark(code="engine-by-flow", text=text)]
    if not has_tank:
        text = "no probe in the tank: only the oil's flow and the cooler's probes can give watts"
        notes.append(Remark(code="tank-by-inlet", text=text))
        if flow is None and engine is not None:
            flow = _stated(profile, engine, _speed(session, profile))
    if moving is None and engine is not None:
        moving = drive_by_steps(session.marks, session.elapsed_s, engine)
        if moving is not None:
            text = "no drive was logged: it was taken to turn in the guide's steps that ask for it"
            notes.append(Remark(code="drive-by-guide", text=text))
    fan = _flag(session, profile, Role.FAN)
    if fan is None and profile is not None and profile.cooler.fan_with_engine:
        fan = engine
    return Samples(
        elapsed_s=session.elapsed_s,
        temps_c=temps,
        fan=fan,
        engine=engine,
        moving=moving,
        heater_w=_heater(session, profile),
        flow_m3_s=flow,
        notes=(*notes, *silent),
        engine_rpm=_speed(session, profile),
        has_tank=has_tank,
    )


def without_bare(samples: Samples, profile: Profile | None) -> Samples:
    """Samples without the cooler's probes, and the flow between them, where those sit bare.

    A difference of two readings that are each wrong by an unknown tenth tells nothing. Without a
    tank probe there is nothing else to read, so they stay.
    """
    bare = bare_pipes(profile)
    if not bare or not samples.has_tank:
        return samples
    temps = {name: c for name, c in samples.temps_c.items() if name not in bare}
    return replace(samples, temps_c=temps, flow_m3_s=None)


def _bad(session: Session, expected: str, found: str, do: str) -> SessionError:
    return SessionError(expected=expected, found=found, where=str(session.path), do=do)


def _tank_found(session: Session, profile: Profile | None) -> str:
    column = column_of(Role.TANK, session.columns, profile)
    if column is None:
        return "no such channel among " + ", ".join(
            name for name in session.columns if name.endswith("_c")
        )
    codes = sorted({f.code for f in session.faults if f"{f.channel}_c" == column})
    return f"none in {column}" + (f", its faults: {', '.join(codes)}" if codes else "")


def _temperatures(
    session: Session, profile: Profile | None
) -> tuple[dict[str, FloatArray], list[Remark]]:
    temps: dict[str, FloatArray] = {}
    notes: list[Remark] = []
    taken = {}
    for role in Role:
        column = column_of(role, session.columns, profile)
        if role not in SEVERAL and column is not None and column.endswith("_c"):
            taken[column] = role.value
    for column, values in session.columns.items():
        if not column.endswith("_c"):
            continue
        name = taken.get(column, column.removesuffix("_c"))
        seen = int(np.count_nonzero(np.isfinite(values)))
        if seen < min(LEAST_READINGS, values.size):
            text = f"{column} has {seen} readings in {values.size} rows and was left out"
            notes.append(Remark(code="channel-left-out", text=text))
        else:
            temps[name] = values
    return temps, notes


def _filled(values: FloatArray) -> FloatArray:
    """Carry the last known state over missing readings."""
    seen = np.isfinite(values)
    if not seen.any():
        return np.zeros_like(values)
    index = np.maximum.accumulate(np.where(seen, np.arange(values.size), -1))
    return np.asarray(values[np.where(index < 0, np.argmax(seen), index)])


def _flag(session: Session, profile: Profile | None, role: Role) -> FloatArray | None:
    column = column_of(role, session.columns, profile)
    if column is None or not np.isfinite(session.columns[column]).any():
        return None
    values = _filled(session.columns[column])
    on = values >= (FIRED_RPM if column.endswith("_rpm") else 0.5)
    return np.asarray(on, dtype=float)


def _moving(session: Session, profile: Profile | None) -> FloatArray | None:
    """Work done, from the drive's flag, else from an engine speed that varies."""
    drive = _flag(session, profile, Role.DRIVE)
    column = column_of(Role.ENGINE, session.columns, profile)
    has_speed = column is not None and column.endswith("_rpm")
    # An input that nothing is wired to reads off for ever, and all work would pass for idling.
    if drive is not None and (drive.any() or has_speed or column is None):
        return drive
    if column is None or not has_speed:
        return None
    speed = _filled(session.columns[column])
    return np.asarray(speed > WORKING_RPM_SHARE * speed.max(), dtype=float)


def _speed(session: Session, profile: Profile | None) -> FloatArray | None:
    """Engine speed [rpm]; None where only on and off were logged."""
    column = column_of(Role.ENGINE, session.columns, profile)
    if column is None or not column.endswith("_rpm"):
        return None
    return _filled(session.columns[column]) if np.isfinite(session.columns[column]).any() else None


def _heater(session: Session, profile: Profile | None) -> FloatArray | None:
    column = column_of(Role.HEATER, session.columns, profile)
    if column is None:
        return None
    values = _filled(session.columns[column])
    if not column.endswith("_on"):
        return values
    return None if profile is None or profile.heater is None else values * profile.heater.power_w


def _flow(session: Session, profile: Profile | None) -> FloatArray | None:
    column = column_of(Role.FLOW, session.columns, profile)
    if column is None or not np.isfinite(session.columns[column]).any():
        return None
    return _filled(session.columns[column]) * LITRES_PER_MIN


def metered_heat_j_m3k(samples: Samples, profile: Profile | None) -> FloatArray:
    """Heat capacity of the oil in the flow meter per volume, shape (n,)."""
    oil = samples.temps_c.get("cooler_in", samples.temps_c["tank"])
    clean = despike(oil, samples.elapsed_s)
    seen = np.isfinite(clean)
    oil_c = np.interp(samples.elapsed_s, samples.elapsed_s[seen], clean[seen])
    density = USUAL_DENSITY_15_KG_M3 if profile is None else profile.oil.density_15_kg_m3
    return oil_heat_factor(profile)[0] * volumetric_heat_j_m3k(oil_c, density)


def _stated(
    profile: Profile | None, engine: FloatArray, engine_rpm: FloatArray | None
) -> FloatArray | None:
    """The profile's flow while the engine turns, in proportion to its speed [m3/s]."""
    stated = None if profile is None else stated_flow(profile)
    if stated is None:
        return None
    flow = stated.flow_m3_s * engine
    return flow if stated.rpm is None or engine_rpm is None else flow * engine_rpm / stated.rpm


def _metered(
    flow_m3_s: FloatArray | None, engine: FloatArray | None, elapsed_s: FloatArray
) -> tuple[FloatArray | None, list[Remark]]:
    """The flow with its meter's failures filled in, and a note on them.

    A drive's pump moves oil whenever the engine turns, so a meter that reads nothing then has
    failed. Taken as a standstill it would give the cooler heat without flow.
    """
    if flow_m3_s is None or engine is None or not np.any(engine > 0.5):
        return flow_m3_s, []
    running = engine > 0.5
    flowing = flow_m3_s[running & (flow_m3_s > 0.0)]
    if flowing.size < min(LEAST_READINGS, flow_m3_s.size):
        text = "the flow meter read nothing while the engine ran and was left out"
        return None, [Remark(code="flow-left-out", text=text)]
    silent = running & (flow_m3_s < SILENT_SHARE * np.median(flowing))
    missed_s = float(np.sum(np.diff(elapsed_s, append=elapsed_s[-1])[silent]))
    if missed_s < TOLD_SILENCE_S:
        return flow_m3_s, []
    return _filled(np.where(silent, np.nan, flow_m3_s)), [
        Remark(
            code="flow-kept",
            text=f"the flow meter read nothing for {missed_s / 60:.0f} min of the engine's "
            "running: its last flow was kept. If the oil did stand still, stop and look for the "
            "reason first",
        )
    ]
