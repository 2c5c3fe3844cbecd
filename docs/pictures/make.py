"""Makes the pictures of the README from the demonstration's outing.

python docs/pictures/make.py
"""

import sys
import tempfile
from pathlib import Path

from wattsump_analysis.commands.demo import USUAL_SPEED, record
from wattsump_analysis.commands.prove import prove_file
from wattsump_analysis.show.plots.files import save
from wattsump_analysis.show.plots.outing import plot_label, plot_outing

HERE = Path(__file__).parent


def main() -> None:
    """Record, prove, draw; say which files changed."""
    with tempfile.TemporaryDirectory() as folder:
        session, profile = record(Path(folder), USUAL_SPEED)
        proved = prove_file(session, profile)
    proof, samples = proved.proof, proved.samples()
    for name, axes in (
        ("outing", plot_outing(proof, samples=samples)),
        ("label", plot_label(proof)),
    ):
        path = HERE / f"{name}.svg"
        before = path.read_bytes() if path.exists() else b""
        save(axes, path)
        changed = "new" if path.read_bytes() != before else "same"
        sys.stdout.write(f"{path.name}: {changed}\n")


if __name__ == "__main__":
    main()
