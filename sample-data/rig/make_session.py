"""Make `rig.csv`, a session, from the published cycle means of a hydraulic test rig.

Run from anywhere: python sample-data/rig/make_session.py [folder]
"""

import csv
import sys
from pathlib import Path

import numpy as np

from wattsump_logger.session.reader import write_session

HERE = Path(__file__).parent
CYCLE_S = 60.0
SWAP_CYCLE = 733  # first cycle at the 20 % setting

# What a session's sidecar says of a machine. The rig's oil and metal are not published:
# an uncertainty of 100 % says that the volume is not known. The sensor class is ours, and that its
# probes are in the oil, as a test rig's are: CP is their difference with no other correction.
PROFILE = {
    "name": "Hydraulic test rig with a degraded cooler",
    "oil": {"grade": "VG 46", "volume": "50 L", "volume_uncertainty": "100 %"},
    "cooler": {"fitted": True, "oil_flow_uncertainty": "3 %"},
    "channels": {
        "tank": {"sensor": "±0.3 K", "note": "TS1"},
        "ts2": {"role": "other", "sensor": "±0.3 K", "note": "TS2"},
        "cooler_in": {"sensor": "±0.3 K", "mount": "in oil", "note": "TS3"},
        "cooler_out": {"sensor": "±0.3 K", "mount": "in oil", "note": "TS4"},
        "ambient": {"sensor": "±0.3 K", "note": "implied by the cooling efficiency CE"},
        "flow": {"unit": "lpm", "note": "FS2"},
        "motor": {"role": "other", "unit": "w", "note": "EPS1"},
    },
}
# CP = rho cp FS2 (TS3 - TS4) holds in every row with this product, J/(m3 K).
OIL_HEAT_J_M3K = 1.6168e6


def columns_of(rows: list[dict[str, str]]) -> dict[str, np.ndarray]:
    """Session columns from the rows of `cycle-means.csv`."""
    table = {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}
    return {
        "tank_c": table["TS1"],
        "ts2_c": table["TS2"],
        "cooler_in_c": table["TS3"],
        "cooler_out_c": table["TS4"],
        # CE = (TS3 - TS4) / (TS3 - air), in per cent.
        "ambient_c": table["TS3"] - (table["TS3"] - table["TS4"]) / (table["CE"] / 100.0),
        "flow_lpm": table["FS2"],
        "motor_w": table["EPS1"],
    }


def main(folder: Path) -> Path:
    """Write `rig.csv` and its sidecar into `folder`; return the session's path."""
    with (HERE / "cycle-means.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    cycles = np.array([int(row["cycle"]) for row in rows])
    swap = int(np.flatnonzero(cycles == SWAP_CYCLE)[0])
    path = folder / "rig.csv"
    write_session(
        path,
        (cycles - cycles[0]) * CYCLE_S,
        columns_of(rows),
        metadata={"profile": PROFILE, "oil_heat_j_m3k": OIL_HEAT_J_M3K},
        marks={swap: "cooler changed from the 3 % to the 20 % setting"},
    )
    return path


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
    for old in (target / "rig.csv", target / "rig.csv-metadata.json"):
        old.unlink(missing_ok=True)
    sys.stdout.write(f"{main(target)}\n")
