"""Makes one HTML file of a report, from its template, its script and numbers in words.

The templates escape everything by default; the drawings are our own SVG. Numbers come from
`words`, so page and screen agree. The script shows values of the pictures; the page's policy
allows it by its hash and no other, and the page is complete without it.
"""

import base64
import hashlib
from functools import cache
from importlib.resources import files

from wattsump_analysis.questions.answer import Figure, shown
from wattsump_analysis.results import Interval
from wattsump_analysis.show import words
from wattsump_analysis.show.plots.pens import INKS
from wattsump_logger.remark import shown_in

__all__ = ("sheet",)


def sheet(template: str, units: str, values: dict[str, object]) -> str:
    """Return a page as HTML; the same text for the same input.

    Parameters
    ----------
    template : str
        Name of a file in `templates` that extends `sheet.html.jinja`.
    units : {"si", "us"}
        Units of display.
    values : dict
        The template's variables; all templates need `pictures` and `provenance`.
    """
    from jinja2 import DictLoader, Environment, StrictUndefined

    parts = _parts()
    environment = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=DictLoader(parts),
    )
    environment.filters |= _filters(units)
    script = parts["report.js"]
    return environment.get_template(template).render(
        **values,
        script=script,
        script_hash=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
        inks=INKS,
    )


@cache
def _parts() -> dict[str, str]:
    folder = files("wattsump_analysis.show.report").joinpath("templates")
    return {part.name: part.read_text(encoding="utf-8") for part in folder.iterdir()}


def _filters(units: str) -> dict[str, object]:
    def number(value: float | None, kind: str) -> str:
        return "not known" if value is None else words.figure(value, kind, units)

    def between(interval: Interval | None, kind: str) -> str:
        return "" if interval is None else words.span(interval, kind, units)

    def cell(value: str | Figure) -> str:
        return value if isinstance(value, str) else shown(value, units)

    return {
        "figure": number,
        "span": between,
        "cell": cell,
        "said": lambda remark: "" if remark is None else shown_in(remark, units),
        "clock": words.clock_text,
        "sentence": lambda remark: words.sentence(remark, units),
        "marked": words.mark_words,
        "spaced": words.spaced,
    }
