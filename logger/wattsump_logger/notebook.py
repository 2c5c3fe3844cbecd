"""A card of HTML for a notebook: a title, lines, and a table. Everything in it is escaped."""

from collections.abc import Iterable, Sequence
from html import escape
from itertools import chain, repeat

__all__ = ("card",)


def card(title: str, lines: Iterable[str] = (), rows: Iterable[Sequence[str]] = ()) -> str:
    """Return HTML; the first of `rows` is the table's head.

    >>> card("a < b", ["c"])
    '<div><b>a &lt; b</b><br>c</div>'
    """
    parts = ["<br>".join([f"<b>{escape(title)}</b>", *map(escape, lines)])]
    table = [
        "".join(f"<{tag}>{escape(cell)}</{tag}>" for cell in row)
        for tag, row in zip(chain(("th",), repeat("td")), rows, strict=False)
    ]
    if table:
        parts.append("<table>" + "".join(f"<tr>{cells}</tr>" for cells in table) + "</table>")
    return f"<div>{''.join(parts)}</div>"
