"""What a page's reader has before its first block: sessions that need probes in hot water."""

import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from wattsump_analysis.emulation.bracken import demo_profile
from wattsump_logger.session.reader import load_session, write_session

__all__ = ("Demonstration", "completed", "prepare")

PROBES = ("tank", "cooler_in", "cooler_out", "case_drain", "ambient")
OFFSETS_K = (0.9, -0.7, 0.4, 1.1, -0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Demonstration:
    """What `wattsump demo` printed, and the folder it left."""

    folder: Path
    out: str
    err: str


def prepare(page: str, folder: Path, outings: Path) -> None:
    """Put into a page's folder what it takes for granted."""
    if page in _GIVEN:
        _GIVEN[page](folder, outings)


def completed(table: Mapping[str, object]) -> dict[str, object]:
    """Return a profile of which a page shows a part, with the least that it needs besides."""
    return {"name": "x", "oil": {"grade": "VG 46", "volume": "18 L"}, **table}


def _bath(folder: Path, name: str, temp_c: float) -> None:
    """Ten minutes of all probes in one bath, each off by its own offset."""
    rng = np.random.default_rng(3)
    columns = {
        f"{probe}_c": temp_c + offset_k + rng.normal(0.0, 0.05, 600)
        for probe, offset_k in zip(PROBES, OFFSETS_K, strict=True)
    }
    metadata = {"profile": demo_profile().to_dict()}
    write_session(folder / f"{name}.csv", np.arange(600.0), columns, metadata=metadata)


def _baths(folder: Path, outings: Path) -> None:
    for name, temp_c in (("bucket", 40.0), ("ice", 0.0), ("boil", 98.8), ("morning", 12.0)):
        _bath(folder, name, temp_c)
    pairs = "reading_c,true_c\n20.9,20.0\n40.9,40.0\n61.0,60.0\n"
    (folder / "pairs.csv").write_text(pairs, encoding="utf-8")


def _outing_named(name: str, folder: Path, outings: Path) -> None:
    """An outing recorded under the name the page gives it."""
    for path in outings.glob("bracken.*"):
        shutil.copy(path, folder / path.name.replace("bracken", name, 1))
    sidecar = folder / f"{name}.csv-metadata.json"
    text = sidecar.read_text(encoding="utf-8").replace("bracken.csv", f"{name}.csv")
    sidecar.write_text(text, encoding="utf-8")


def _first_outing(folder: Path, outings: Path) -> None:
    _outing_named("first", folder, outings)


def _proving_run(folder: Path, outings: Path) -> None:
    _outing_named("proving", folder, outings)


def _notebook(folder: Path, outings: Path) -> None:
    """The first outing, and the first outings of the sample season."""
    _first_outing(folder, outings)
    (folder / "season").mkdir()
    for day in ("2026-03-07", "2026-03-14", "2026-03-21", "2026-03-28"):
        for path in (folder / "sample-data" / "season").glob(f"bracken-{day}.*"):
            shutil.copy(path, folder / "season")


def _other_logger(folder: Path, outings: Path) -> None:
    """The first outing as a spreadsheet abroad saves it: another logger's names, °F, commas."""
    shutil.copy(folder / "bracken.toml", folder / "mine.toml")
    outing = load_session(outings / "bracken.csv")
    start = outing.start_utc or datetime(2026, 5, 4, tzinfo=UTC)
    probes = {"Oil tank": "tank_c", "Cooler in": "cooler_in_c", "Cooler out": "cooler_out_c"}
    probes |= {"Case drain": "case_drain_c", "Ambient": "ambient_c"}
    lines = ["Date;Time;" + ";".join(f"{name} (°F)" for name in probes) + ";Fan;Engine (rpm)"]
    for row, second in enumerate(outing.elapsed_s.tolist()):
        at = start + timedelta(seconds=second)
        temps = [outing.columns[column][row] * 9 / 5 + 32 for column in probes.values()]
        others = [outing.columns[column][row] for column in ("fan_on", "engine_rpm")]
        cells = [f"{temp:.1f}".replace(".", ",") for temp in temps]
        cells += [f"{value:.0f}" for value in others]
        cells = ["" if cell == "nan" else cell for cell in cells]
        lines.append(";".join((f"{at:%d.%m.%Y}", f"{at:%H:%M:%S}", *cells)))
    text = "\r\n".join(lines) + "\r\n"
    (folder / "other.csv").write_text(text, encoding="utf-8-sig", newline="")


_GIVEN: dict[str, Callable[[Path, Path], None]] = {
    "docs/first-evening.md": _baths,
    "docs/first-outing.md": _first_outing,
    "docs/proving-a-cooler.md": _proving_run,
    "docs/exit-codes.md": _first_outing,
    "docs/from-python.md": _notebook,
    "docs/other-loggers.md": _other_logger,
    "docs/proof-json.md": _first_outing,
    "README.md": _first_outing,
}
