"""The answer of `prove` on a terminal, to be read in ten seconds at 80 columns.

The text is in rich's console markup and reads the same without colour: no fact is shown by
colour alone.
"""

import math
import re
import textwrap

from wattsump_analysis.results import LabelCheck, Proof, Tone, Verdict
from wattsump_analysis.show.words import Fact, facts, figure, sentence
from wattsump_logger.remark import Remark, shown_in
from wattsump_logger.width import USUAL, columns

__all__ = ("WIDTH", "proof_screen")

WIDTH = USUAL
_NAME_WIDTH = 19
_VALUE_WIDTH, _WIDEST_VALUE = 23, 30
_BAR_WIDTH = 48
_TAG = re.compile(r"(\\*)(\[[a-z#/@][^\[]*?\])")
_COLOURS: dict[Tone, str] = {"good": "green", "bad": "red", "plain": "cyan", "open": "yellow"}


def proof_screen(proof: Proof, units: str = "si", more: tuple[Fact, ...] = ()) -> str:
    """Return the answer as console markup, lines of at most `WIDTH` columns.

    Parameters
    ----------
    proof : Proof
        The result of `prove`.
    units : {"si", "us"}
        Units of display; US units have the SI value beside them.
    more : tuple of Fact
        Lines below the proof's own.
    """
    colour = _COLOURS[proof.verdict.tone]
    word = proof.verdict.heading.upper()
    lines = (*facts(proof, units), *more)
    sizes = (len(fact.value) + 2 for fact in lines if fact.beside)
    wide = max(_VALUE_WIDTH, *(size for size in sizes if size <= _WIDEST_VALUE), 0)
    blocks = [
        [f"[bold {colour}]{_safe(word)}[/]", *_wrapped(shown_in(proof.headline, units))],
        [*_bar(proof.label, units), *(line for fact in lines for line in _row(fact, wide))],
        [line for reason in _more_reasons(proof) for line in _item("Why", reason, units)],
        _item("Next", proof.next_step, units, "bold"),
        [line for caution in proof.cautions for line in _item("Caution", caution, units, "yellow")],
    ]
    name = " · ".join(
        _safe(proof.provenance[k]) for k in ("machine", "session") if proof.provenance.get(k)
    )
    head = [[f"[dim]{name}[/]"]] if name else []
    return "\n\n".join("\n".join(block) for block in (*head, *blocks) if block)


def _safe(text: str) -> str:
    # Only text that looks like a tag is escaped; other brackets stay as they are.
    return _TAG.sub(lambda found: found[1] * 2 + "\\" + found[2], text)


def _more_reasons(proof: Proof) -> tuple[Remark, ...]:
    """The reasons, without the first if the headline of "cannot tell" gives it."""
    return proof.reasons[1:] if proof.verdict is Verdict.CANNOT_TELL else proof.reasons


def _wrapped(text: str, indent: int = 0, first: int | None = None) -> list[str]:
    """Return escaped lines; `first` columns of the first line are taken already."""
    lines = textwrap.wrap(
        text,
        columns() - 1,
        initial_indent=" " * (indent if first is None else first),
        subsequent_indent=" " * indent,
        break_on_hyphens=False,
    )
    return [_safe(line) for line in lines]


def _item(name: str, remark: Remark, units: str, style: str = "") -> list[str]:
    lines = _wrapped(sentence(remark, units), indent=9)
    if not lines:
        return []
    label = f"[{style}]{name:<9}[/]" if style else f"{name:<9}"
    return [label + lines[0][9:], *lines[1:]]


def _row(fact: Fact, wide: int) -> list[str]:
    """Return one fact as columns, its value's `wide`; what does not fit goes on below."""
    name = f"[dim]{fact.name:<{_NAME_WIDTH}}[/]"
    if not fact.beside:
        lines = _wrapped(fact.value, indent=_NAME_WIDTH)
        return [name + lines[0][_NAME_WIDTH:], *lines[1:]]
    value = f"[bold]{_safe(fact.value)}[/]" + " " * max(wide - len(fact.value), 2)
    taken = _NAME_WIDTH + max(wide, len(fact.value) + 2)
    if taken + len(fact.beside) < columns():
        return [name + value + _safe(fact.beside)]
    beside = _wrapped(fact.beside, indent=_NAME_WIDTH)
    if _NAME_WIDTH + len(fact.value) < columns():
        return [name + value.rstrip(), *beside]
    return [name.rstrip(), *_wrapped(fact.value, indent=2), *beside]


def _bar(label: LabelCheck | None, units: str) -> list[str]:
    """Return the range beside the label on a scale from nothing, as two lines."""
    if label is None or label.heat_at_etd_w is None or not label.label_heat_w > 0:
        return []
    heat = label.heat_at_etd_w
    ends = (heat.low, heat.value, heat.high, label.label_heat_w)
    if not all(math.isfinite(end) and end >= 0 for end in ends):
        return []
    full_w = 1.05 * max(ends)
    indent = _NAME_WIDTH if columns() > _NAME_WIDTH + _BAR_WIDTH else 0
    width = min(_BAR_WIDTH, columns() - indent - 2)
    low, value, high, at = (min(round(end / full_w * width), width) for end in ends)
    cells = [" "] * (width + 1)
    cells[0] = "|"
    for column in range(low, high + 1):
        cells[column] = "="
    cells[value] = "o"
    pad = " " * indent
    return [pad + "".join(cells).rstrip(), pad + _pointer(at, label.label_heat_w, units), ""]


def _pointer(column: int, label_heat_w: float, units: str) -> str:
    """Return a pointer at the label's place, its words on the side that has room."""
    words = "label " + figure(label_heat_w, "power", units, both=False)
    if column > len(words):
        return f"{words:>{column - 1}} ^"
    return " " * column + "^ " + words
