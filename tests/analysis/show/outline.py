"""What a page is made of, for tests: headings, ids, addresses; and whether every tag closes."""

import re
from html.parser import HTMLParser

__all__ = ("Outline", "outline")

EMPTY = {"meta", "br", "path", "use", "input", "link", "img", "hr"}


class Outline(HTMLParser):
    """Collects headings, ids, references and table heads, and checks that tags close."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.headings: list[int] = []
        self.ids: list[str] = []
        self.addresses: list[str] = []
        self.tags: list[str] = []
        self.heads: list[dict[str, str | None]] = []
        self.drawings: list[dict[str, str | None]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        got = dict(attrs)
        self.tags.append(tag)
        if re.fullmatch(r"h\d", tag):
            self.headings.append(int(tag[1]))
        if tag == "th":
            self.heads.append(got)
        if tag == "svg":
            self.drawings.append(got)
        self.ids += [value for name, value in attrs if name == "id" and value]
        self.addresses += [
            value or "" for name, value in attrs if name in ("src", "href", "xlink:href", "data")
        ]
        if tag not in EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in EMPTY:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if tag not in EMPTY:
            assert self.open.pop() == tag


def outline(page: str) -> Outline:
    found = Outline()
    found.feed(page)
    assert found.open == []
    return found
