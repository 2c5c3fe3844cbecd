"""Cost of `prove` on a four-hour outing at 10 Hz with five channels.

    python tests/benchmarks/prove.py [hours ...]

Each size runs in a process of its own: seconds of CPU of loading and proving, beside one plain
`scipy.optimize.curve_fit` of an exponential on the same cool-down, what parts of the proof took,
and the peak memory over that of the imports.
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from wattsump_analysis import threads
from wattsump_logger.arrays import FloatArray

HERTZ = 10
_FITS = 7  # one takes so little that the shortest of several counts


def make_outing(folder: Path, hours: float) -> Path:
    """Write an emulated outing, sampled at 10 Hz by holding and noise, as a session."""
    from wattsump_analysis.emulation.bracken import demo_profile, rehearse
    from wattsump_analysis.emulation.rehearsal import Stage
    from wattsump_logger.session.reader import write_session

    seconds = hours * 3600.0
    stages = [
        Stage(name="soak", longest_s=600, engine=False),
        Stage(name="fan-off rise", longest_s=1500, until_above_c=65.0),
        Stage(name="fan on", longest_s=300, fan=True),
        Stage(name="fan off", longest_s=240),
        Stage(name="work", longest_s=seconds - 2640 - 1800, fan=True, moving=True),
        Stage(name="stopped cool-down", longest_s=1800, engine=False),
    ]
    profile = demo_profile()
    run = rehearse(profile, seed=5, stages=stages)
    truth, readings = run.truth, run.readings
    columns = {f"{name}_c": np.repeat(values[:, 0], HERTZ) for name, values in readings.items()}
    columns["fan_on"] = np.repeat(truth.fan[:, 0], HERTZ)
    columns["engine_rpm"] = np.repeat(2400.0 * truth.engine[:, 0], HERTZ)
    columns["drive_on"] = np.repeat(truth.moving[:, 0], HERTZ)
    path = folder / "long.csv"
    write_session(
        path,
        np.arange(len(columns["fan_on"])) / HERTZ,
        columns,
        metadata={"profile": profile.to_dict()},
    )
    return path


def _took_s(t: FloatArray, y: FloatArray) -> float:
    """Return the seconds of one plain fit of an exponential."""
    from scipy.optimize import curve_fit

    began = time.process_time()
    curve_fit(
        lambda x, final, amplitude, tau: final + amplitude * np.exp(-x / tau),
        t,
        y,
        p0=(20.0, 30.0, 3000.0),
    )
    return time.process_time() - began


def _parts() -> dict[str, float]:
    """Seconds of the parts of a proof, which are filled in as it runs."""
    from wattsump_analysis.model import fit
    from wattsump_analysis.proof import diagnostics, stretch

    took_s: dict[str, float] = {}

    def timed(module: Any, name: str, part: str) -> None:
        plain = getattr(module, name)

        def run(*given: Any, **named: Any) -> Any:
            began = time.process_time()
            try:
                return plain(*given, **named)
            finally:
                took_s[part] = took_s.get(part, 0.0) + time.process_time() - began

        setattr(module, name, run)

    timed(fit, "modes_of", "modes")
    timed(fit, "draw_from", "draws")
    timed(fit, "_reported", "paths and ledger")
    timed(diagnostics, "influence_of", "influence of phases")
    timed(diagnostics, "innovations", "innovations")
    timed(stretch, "fit_phases", "single exponentials")
    return took_s


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def measure(hours: float) -> dict[str, float]:
    """Print one row of the table; return seconds of proving and of one exponential."""
    from wattsump_analysis.proof.prove import prove
    from wattsump_logger.session.reader import load_session

    with tempfile.TemporaryDirectory() as name:
        subprocess.run([sys.executable, __file__, "make", name, str(hours)], check=True)
        parts, imported_mb = _parts(), _peak_mb()
        began = time.process_time()
        session = load_session(Path(name) / "long.csv")
        loaded = time.process_time()
        proof = prove(session)
        proved = time.process_time()
    cooling = slice(session.elapsed_s.size - 1700 * HERTZ, None)
    t, y = session.elapsed_s[cooling] - session.elapsed_s[cooling][0], session.columns["tank_c"]
    y = y[cooling]
    seen = np.isfinite(y)
    plain = min(_took_s(t[seen], y[seen]) for _ in range(_FITS))
    print(
        f"{hours:g} h, {session.elapsed_s.size} rows: load {loaded - began:.2f} s, prove "
        f"{proved - loaded:.2f} s, one exponential {plain:.3f} s "
        f"({(proved - loaded) / plain:.0f} x), peak {_peak_mb():.0f} MB, "
        f"{imported_mb:.0f} MB of it imports, verdict {proof.verdict}"
    )
    parts["the rest"] = proved - loaded - sum(parts.values())
    print("  " + ", ".join(f"{part} {took_s:.2f} s" for part, took_s in parts.items()))
    return {"prove": proved - loaded, "load": loaded - began, "exponential": plain}


def ratios() -> dict[str, float]:
    """Return what proving an hour at 10 Hz costs, in fits of one exponential to it."""
    took_s = measure(1.0)
    return {
        "prove, an hour at 10 Hz, in fits of one exponential": took_s["prove"]
        / took_s["exponential"]
    }


def main() -> None:
    match sys.argv[1:]:
        case ["make", folder, hours]:
            make_outing(Path(folder), float(hours))
        case ["one", hours]:
            measure(float(hours))
        case hours:
            for value in hours or ["1", "2", "4"]:
                subprocess.run([sys.executable, __file__, "one", value], check=True)


if __name__ == "__main__":
    threads.one_by_default()  # as the program does
    main()
