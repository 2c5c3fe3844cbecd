"""Draws what flows from room to room, for docs/how-it-works.md.

python docs/pictures/rooms.py

Every room of the layers in pyproject.toml has its place below; one without is an error.
"""

import sys
import tomllib
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wattsump_analysis.show.plots.files import save

HERE = Path(__file__).parent

# Room: column and row of its box, by package.
LOGGER = {
    "bench": (0, 6),
    "wire": (1, 5),
    "thermocouples": (2, 6),
    "capture": (2, 5),
    "session": (3, 5),
    "calibration": (3, 6),
    "watch": (4, 5),
    "commands": (4, 6),
    "machine": (0, 4),
    "units": (1, 4),
    "errors": (2, 4),
}
ANALYSIS = {
    "reading": (3, 2.5),
    "model": (2, 2.5),
    "proof": (1, 2.5),
    "season": (1, 1.6),
    "questions": (1, 0.7),
    "show": (0, 1.6),
    "live": (2, 1.6),
    "emulation": (3, 1.6),
    "commands": (4, 1.6),
    "physics": (0, -0.3),
    "statistics": (1, -0.3),
    "results": (2, -0.3),
    "arrays": (3, -0.3),
    "threads": (4, -0.3),
}
# From, to, what flows.
FLOWS = (
    ((0, 6), (0, 5), ""),
    ((0, 5), (1, 5), "bytes"),
    ((1, 5), (2, 5), "readings"),
    ((2, 6), (2, 5), "°C"),
    ((2, 5), (3, 5), "rows"),
    ((3, 6), (3, 5), "corrections"),
    ((3, 5), (4, 5), "newest row"),
    ((3, 5), (3, 2.5), "Session: CSV and sidecar"),
    ((3, 2.5), (2, 2.5), "Record"),
    ((2, 2.5), (1, 2.5), "Fitted"),
    ((1, 2.5), (0, 1.6), "Proof"),
    ((1, 2.5), (1, 1.6), "Outing"),
    ((1, 1.6), (0, 1.6), "Trend"),
    ((1, 0.7), (0, 1.6), "Answer"),
)


def rooms_in_layers() -> dict[str, set[str]]:
    """Rooms of each package, as the import rules list them."""
    text = (HERE.parents[1] / "pyproject.toml").read_text(encoding="utf-8")
    rules = tomllib.loads(text)["tool"]["importlinter"]["contracts"]
    return {
        rule["containers"][0]: set("|".join(rule["layers"]).replace(":", "|").split("|"))
        for rule in rules
        if rule["type"] == "layers"
    }


def box(axes: Axes, place: tuple[float, float], name: str, colour: str) -> None:
    """One room."""
    axes.text(
        *place,
        name,
        ha="center",
        va="center",
        fontsize=10,
        bbox={"boxstyle": "round,pad=0.4", "fc": colour, "ec": "#44505a", "lw": 0.9},
    )


def flow(axes: Axes, start: tuple[float, float], end: tuple[float, float], what: str) -> None:
    """One arrow with what flows along it."""
    style = {"arrowstyle": "-|>", "shrinkA": 30, "shrinkB": 30, "color": "#2d5f73", "lw": 1.4}
    if start[0] == end[0]:
        style |= {"shrinkA": 15, "shrinkB": 15}
    axes.annotate("", xy=end, xytext=start, arrowprops=style)
    across, down = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
    aside = (0.06, 0.0) if start[0] == end[0] else (0.0, 0.2)
    side = "left" if start[0] == end[0] else "center"
    axes.text(across + aside[0], down + aside[1], what, fontsize=9, color="#2d5f73", ha=side)


def draw(axes: Axes) -> None:
    """The whole picture."""
    for package, rooms in (("wattsump_logger", LOGGER), ("wattsump_analysis", ANALYSIS)):
        listed = {name.strip() for name in rooms_in_layers()[package]}
        if listed != set(rooms):
            raise SystemExit(f"{package}: rooms {sorted(listed ^ set(rooms))} need a place here")
        for name, place in rooms.items():
            box(axes, place, name, "#e8f0ef" if rooms is LOGGER else "#f6ecdd")
    box(axes, (0, 5), "controller", "#ffffff")
    for arrow in FLOWS:
        flow(axes, *arrow)
    for height, words in (
        (6.7, "wattsump_logger: from the wire to a session on disk"),
        (3.3, "wattsump_analysis: from a session to watts"),
    ):
        axes.text(-0.3, height, words, ha="left", fontsize=11)
    axes.text(-0.3, 0.2, "used by all of them", ha="left", fontsize=9, color="#555555")
    axes.text(-0.3, 4.45, "used by all of them", ha="left", fontsize=9, color="#555555")
    axes.set(xlim=(-0.45, 4.5), ylim=(-0.7, 7.0))
    axes.axis("off")


def main() -> None:
    """Draw, and say whether the picture changed."""
    axes = Figure(figsize=(8.6, 6.4), layout="constrained").subplots()
    draw(axes)
    path = HERE / "rooms.svg"
    before = path.read_bytes() if path.exists() else b""
    save(axes, path)
    sys.stdout.write(f"{path.name}: {'same' if path.read_bytes() == before else 'new'}\n")


if __name__ == "__main__":
    main()
