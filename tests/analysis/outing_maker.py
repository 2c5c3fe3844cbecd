"""Outings of the emulated plant, or of a plain lump, as sessions for the tests of `prove`."""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from wattsump_analysis.emulation.plant import Machine, cooler_conductance_w_k
from wattsump_analysis.emulation.rehearsal import Load, Probes, Stage, Weather, run
from wattsump_analysis.physics.oil import walther_from_grade
from wattsump_analysis.reading.record import Record
from wattsump_logger.arrays import FloatArray
from wattsump_logger.machine.profile import Profile, profile_from_dict
from wattsump_logger.session.reader import Mark, Session

__all__ = (
    "FULL",
    "GUIDED",
    "OUTING",
    "bracken",
    "lump_session",
    "plant_session",
    "true_k_w_k",
    "with_columns",
)
LINE = walther_from_grade("VG 46")

GUIDED = (
    Stage(name="soak", longest_s=600, engine=False),
    Stage(name="rise", longest_s=2400, shortest_s=240, until_above_c=65.0),
    Stage(name="on 1", longest_s=300, fan=True),
    Stage(name="off 1", longest_s=240),
    Stage(name="on 2", longest_s=300, fan=True),
    Stage(name="work", longest_s=1200, fan=True, moving=True),
    Stage(name="stop", longest_s=900, engine=False),
)
OUTING = (
    Stage(name="work", longest_s=3000, fan=True, moving=True),
    Stage(name="idle", longest_s=420, fan=True, load_level=0.25),
)
FULL = ("tank", "cooler_in", "cooler_out", "ambient")


def machine() -> Machine:
    """Invented machine of the size of the example profile, one of it."""
    values = {
        "oil_tank_j_k": 20.5e3,
        "oil_loop_j_k": 9.0e3,
        "drive_metal_j_k": 16.0e3,
        "tank_wall_j_k": 11.0e3,
        "core_j_k": 3.5e3,
        "flow_w_k": 480.0,
        "core_oil_side_w_k": 220.0,
        "core_air_side_w_k": 180.0,
        "still_air_fraction": 0.08,
        "viscosity_exponent": 0.2,
        "bypass_mm2_s": 300.0,
        "drive_film_w_k": 220.0,
        "wall_film_w_k": 220.0,
        "rest_link_w_k": 8.0,
        "shell_drive_w_k": 7.0,
        "shell_wall_w_k": 7.0,
        "motion_gain": 0.4,
        "heat_to_oil_fraction": 0.7,
        "walther_a": LINE.a,
        "walther_b": LINE.b,
    }
    return Machine(**{name: np.array([value]) for name, value in values.items()})


def true_k_w_k(oil_c: float) -> float:
    """The plant's settled conductance with the fan on, W/K."""
    return float(cooler_conductance_w_k(machine(), np.array([oil_c]), 1.0)[0])


@cache
def plant_session(stages: tuple[Stage, ...], seed: int = 4) -> Session:
    """One outing of the plant with matched-out probe offsets, flags and oil flow.

    Made once for all who read it.
    """
    rng = np.random.default_rng(seed)
    one = np.array([1.0])
    truth = run(
        machine(),
        stages,
        Load(level_w=2800.0 * one, wander=0.1 * one, memory_s=40.0 * one),
        Weather(start_c=14.0 * one, swing_k=0.5 * one, period_s=9000.0 * one, sun_k=0.0 * one),
        rng,
    )
    probes = Probes(
        offset_k=np.array([0.3, -0.8, 0.9, 0.1, -0.5])[:, np.newaxis],
        lag_s=np.full((5, 1), 6.0),
    )
    keep = truth.running[:, 0]
    columns = {f"{n}_c": v[keep, 0] for n, v in probes.read(truth, rng).items()}
    columns |= {
        "fan_on": truth.fan[keep, 0],
        "engine_rpm": 2400.0 * truth.engine[keep, 0],
        "drive_on": truth.moving[keep, 0],
        "flow_lpm": 17.2 * truth.engine[keep, 0],
    }
    return session_of(truth.elapsed_s[keep], columns)


def session_of(
    elapsed_s: FloatArray, columns: Mapping[str, FloatArray], marks: tuple[Mark, ...] = ()
) -> Session:
    return Session(
        path=Path("outing.csv"),
        elapsed_s=elapsed_s,
        columns=dict(columns),
        marks=marks,
    )


def with_columns(session: Session, *names: str) -> Session:
    """The session with these columns only."""
    return replace(session, columns={name: session.columns[name] for name in names})


def lump_session(
    seconds: float, tau_s: float, final_c: float, *, start_c: float = 15.0, noise_k: float = 0.05
) -> Session:
    """Tank and air of a plain lump, one reading every 5 s."""
    t = np.arange(0.0, seconds, 5.0)
    noise = noise_k * np.random.default_rng(0).standard_normal((2, t.size))
    tank = final_c + (start_c - final_c) * np.exp(-t / tau_s)
    return session_of(t, {"tank_c": tank + noise[0], "ambient_c": 15.0 + noise[1]})


def bracken(**sections: object) -> Profile:
    """The example machine, with whole sections replaced or, by None, left out."""
    raw: dict[str, object] = {
        "name": "Bracken",
        "oil": {"grade": "VG 46", "volume": "17 L", "volume_uncertainty": "5 %"},
        "metal": [
            {"name": "iron", "material": "steel", "mass": "46 kg", "mass_uncertainty": "15 %"},
            {"name": "core", "material": "aluminium", "mass": "10 kg", "mass_uncertainty": "15 %"},
        ],
        "cooler": {"label_heat": "8 kW", "label_etd": "55 K", "oil_flow_uncertainty": "6 %"},
        # The emulated probes read the oil itself.
        "channels": {name: {"mount": "in oil"} for name in ("cooler_in", "cooler_out")},
    }
    raw |= sections
    return profile_from_dict({key: value for key, value in raw.items() if value is not None})


def pumped_record(
    elapsed_s: FloatArray, oils_c: dict[str, FloatArray], ambient_c: FloatArray, fan: FloatArray
) -> Record:
    """Even bins of a standing machine whose engine pumps oil throughout."""
    bins = elapsed_s.size
    return Record(
        bin_s=float(elapsed_s[1] - elapsed_s[0]),
        elapsed_s=elapsed_s,
        oils_c=oils_c,
        ambient_c=ambient_c,
        fan=fan,
        engine=np.ones(bins),
        moving=np.zeros(bins),
        heater_w=np.zeros(bins),
        work=np.zeros(bins, dtype=np.int64),
    )
