"""Make the sample season again: `python sample-data/make_season.py [FOLDER] [--control]`.

The sessions in sample-data/season came from this script with its usual seed. With --control
nothing happens to the machine all season.
"""

import argparse
from pathlib import Path

from wattsump_analysis.emulation.season import CHANGES, write_season
from wattsump_logger.machine.profile import load_profile

if __name__ == "__main__":
    here = Path(__file__).parent
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, nargs="?", default=here / "season")
    parser.add_argument("--control", action="store_true", help="a season without any change")
    parser.add_argument("--seed", type=int, default=7)
    chosen = parser.parse_args()
    made = write_season(
        chosen.folder,
        load_profile(here / "bracken.toml"),
        changes=() if chosen.control else CHANGES,
        seed=chosen.seed,
    )
    print(f"{len(made)} sessions in {chosen.folder}")  # noqa: T201
