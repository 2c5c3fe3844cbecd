"""Reads a Markdown page as blocks with what is said of them, and compares what was printed."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

__all__ = ("ROOT", "Block", "blocks_of", "differences", "links_of", "pages")

ROOT = Path(__file__).parents[2]
# Pages with tests of their own; the second is written by what it reports on.
ELSEWHERE = {"docs/owner-questions.md"}
_BLOCK = re.compile(
    r"(?P<notes>(?:^[ ]*<!-- [^>]+ -->\n+)*)"
    r"^(?P<indent> *)```(?P<kind>[a-z]*)\n(?P<text>.*?)^(?P=indent)```$",
    re.MULTILINE | re.DOTALL,
)
_NOTE = re.compile(r"<!-- (.+?)(?:: (.+?))? -->")
_NUMBER = re.compile(r"(?<![\w.])[-+]?\d+(?:[.\d]*\d)?")
_BAR = re.compile(r"=+o=+")
_LINK = re.compile(r"(?<!!)\[[^\]]*\]\(([^)\s]+)\)|!\[[^\]]*\]\(([^)\s]+)\)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One code block: `notes` are the comments above it, `line` where it stands."""

    page: str
    line: int
    kind: str
    text: str
    notes: dict[str, str]

    @property
    def place(self) -> str:
        """Return page and line, for messages."""
        return f"{self.page}:{self.line}"


def pages() -> list[Path]:
    """Return every page a reader is sent to, in a steady order."""
    named = [ROOT / name for name in ("README.md", "DEVELOPERS.md", "sample-data/README.md")]
    found = [*named, *sorted((ROOT / "docs").glob("*.md"))]
    return [path for path in found if path.relative_to(ROOT).as_posix() not in ELSEWHERE]


def blocks_of(path: Path) -> list[Block]:
    """Return the blocks of a page in its order, their indent taken away."""
    text = path.read_text(encoding="utf-8")
    return [
        Block(
            page=path.relative_to(ROOT).as_posix() if path.is_relative_to(ROOT) else path.name,
            line=text.count("\n", 0, found.start("indent")) + 1,
            kind=found["kind"],
            text=re.sub(rf"^{found['indent']}", "", found["text"], flags=re.MULTILINE),
            notes={key: value or "" for key, value in _NOTE.findall(found["notes"])},
        )
        for found in _BLOCK.finditer(text)
    ]


def links_of(path: Path) -> Iterator[str]:
    """Yield the places of this project that a page sends its reader to."""
    text = re.sub(r"^ *```.*?^ *```$", "", path.read_text(encoding="utf-8"), flags=re.M | re.S)
    for found in _LINK.finditer(text):
        target = found[1] or found[2]
        if not re.match(r"[a-z]+:|#", target):
            yield target.split("#")[0]


def differences(shown: str, printed: str, within: float = 0.0) -> list[str]:
    """Return the lines a page shows that were not printed, in that order.

    Spaces do not count; "..." stands for lines left out. Numbers may differ by the share
    `within`, and by one in their last digit then.
    """
    there = [" ".join(line.split()) for line in printed.splitlines()]
    missing, at = [], 0
    for line in filter(None, (" ".join(line.split()) for line in shown.splitlines())):
        if line == "...":
            continue
        found = next((i for i in range(at, len(there)) if _same(line, there[i], within)), None)
        if found is None:
            missing.append(line)
        else:
            at = found + 1
    return missing


def _same(shown: str, printed: str, within: float) -> bool:
    if within:  # a bar is a figure too
        shown, printed = (_BAR.sub("=o=", line) for line in (shown, printed))
    if shown == printed:
        return True
    if not within or _NUMBER.sub("#", shown) != _NUMBER.sub("#", printed):
        return False
    return all(
        abs(float(a) - float(b)) <= max(within * abs(float(a)), _last_digit(a))
        for a, b in zip(_NUMBER.findall(shown), _NUMBER.findall(printed), strict=True)
    )


def _last_digit(text: str) -> float:
    return float(10.0 ** -len(text.partition(".")[2]))
