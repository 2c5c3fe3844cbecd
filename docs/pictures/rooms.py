"""Draws what flows from room to room, for docs/how-it-works.md.

python docs/pictures/rooms.py

Every folder of a package has its place below, with the modules that many rooms use.
"""

import sys
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
    "phone": (5, 5),
    "foreign": (4, 4.3),
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
    ((4, 5), (5, 5), "Screen"),
    ((4, 4.3), (3, 5), ""),
    ((3, 5), (3, 2.5), "Session: CSV and sidecar"),
    ((3, 2.5), (2, 2.5), "Record"),
    ((2, 2.5), (1, 2.5), "Fitted"),
    ((1, 2.5), (0, 1.6), "Proof"),
    ((1, 2.5), (1, 1.6), "Outing"),
    ((1, 1.6), (0, 1.6), "Trend"),
    ((1, 0.7), (0, 1.6), "Answer"),
)


def rooms_of(package: str) -> set[str]:
    """Folders of a package."""
    top = HERE.parents[1] / package.removeprefix("wattsump_") / package
    return {path.parent.name for path in top.glob("*/__init__.py")}


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
        if missing := rooms_of(package) - set(rooms):
            raise SystemExit(f"{package}: rooms {sorted(missing)} need a place here")
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
    axes.text(-0.3, 0.2, "used by most rooms", ha="left", fontsize=9, color="#555555")
    axes.text(-0.3, 4.45, "used by most rooms", ha="left", fontsize=9, color="#555555")
    axes.set(xlim=(-0.45, 5.45), ylim=(-0.7, 7.0))
    axes.axis("off")


def main() -> None:
    """Draw, and say whether the picture changed."""
    axes = Figure(figsize=(9.6, 6.4), layout="constrained").subplots()
    draw(axes)
    path = HERE / "rooms.svg"
    before = path.read_bytes() if path.exists() else b""
    save(axes, path)
    sys.stdout.write(f"{path.name}: {'same' if path.read_bytes() == before else 'new'}\n")


if __name__ == "__main__":
    main()
