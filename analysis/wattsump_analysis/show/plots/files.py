"""Writes figures as files and as SVG in a page: the same bytes for the same proof."""

import io
import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from wattsump_analysis.show.plots.pens import INKS
from wattsump_logger.errors import UsageError
from wattsump_logger.session.wholefile import write_whole

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ("FORMATS", "across", "inline_svg", "save")

FORMATS = ("svg", "png", "pdf")

# Names of elements come from a salt and no date is written: nothing changes from run to
# run. Text stays text, so it can be read aloud, searched and restyled.
_NO_DATES: Mapping[str, Mapping[str, None]] = {
    "svg": {"Date": None},
    "pdf": {"CreationDate": None},
    "png": {},
}


def save(axes: "Axes", path: Path) -> None:
    """Write the figure of `axes`; the ending of `path` says in which of `FORMATS`.

    Raises
    ------
    UsageError
        Another ending, or a file that cannot be written.
    """
    ending = path.suffix.lower().removeprefix(".")
    if ending not in FORMATS:
        raise UsageError(
            expected="a name ending in ." + ", .".join(FORMATS),
            found=repr(path.name),
            where="picture",
            do="change the ending",
        )
    write_whole(path, _bytes(axes, ending, opaque=True))


def _bytes(axes: "Axes", ending: str, *, opaque: bool) -> bytes:
    from matplotlib import rc_context

    held = io.BytesIO()
    drawing = axes.figure
    with rc_context({"svg.hashsalt": "wattsump", "svg.fonttype": "none"}):
        drawing.savefig(  # type: ignore[union-attr] # axes of a figure always have one
            held,
            format=ending,
            dpi=160,
            facecolor="white" if opaque else "none",
            metadata=dict(_NO_DATES[ending]),
        )
    return held.getvalue()


def across(axes: "Axes", first: float, last: float) -> tuple[float, float]:
    """Return the positions of two x values in a drawn picture, in per cent of its width."""
    box, (low, high) = axes.get_position(), axes.get_xlim()
    left, right = (box.x0 + box.width * (x - low) / (high - low) for x in (first, last))
    return round(100.0 * left, 2), round(100.0 * right, 2)


def inline_svg(axes: "Axes", name: str, alt: str) -> str:
    """Return an `<svg>` element for a page: colours by name, `name` before every id.

    Each ink becomes `var(--ink-<name>)`, so the page decides about dark and print; `alt`
    is what a screen reader says.
    """
    from html import escape

    text = _bytes(axes, "svg", opaque=False).decode("utf-8")
    text = text[text.index("<svg") :]
    # The style element would reach over the whole page.
    text = re.sub(r"<(metadata|style)\b.*?</\1>", "", text, flags=re.DOTALL)
    text = re.sub(r'\bid="', f'id="{name}-', text)
    text = re.sub(r'(href="#|url\(#)', rf"\g<1>{name}-", text)
    for ink, colour in INKS.items():
        text = text.replace(colour, f"var(--ink-{ink})")
    text = re.sub(r"'DejaVu Sans'[^;\"]*", "var(--font)", text)
    size = re.search(r'width="([\d.]+)pt" height="([\d.]+)pt"', text)
    assert size is not None, "matplotlib states the size of its SVG"
    head = f'role="img" aria-label="{escape(alt, quote=True)}" class="drawn"'
    return text.replace(size[0], head, 1).strip()
