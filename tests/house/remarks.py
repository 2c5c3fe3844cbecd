"""Reads every remark out of the program, and writes the table of docs/remarks.md from them.

`python tests/house/remarks.py --write` renews the page after a remark was added or reworded.
"""

import ast
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

__all__ = ("PAGE", "Made", "made_in", "page", "remarks")

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "remarks.md"
PACKAGES = (ROOT / "logger" / "wattsump_logger", ROOT / "analysis" / "wattsump_analysis")
VARIES = "…"
HEAD = """# Remarks and their codes

Reasons, cautions, notes and next steps are sentences for a person, and each has a code for
programs: `--json` gives `{"code": ..., "text": ...}`, Python a `Remark` with the same two
attributes. A code keeps its meaning; the wording may change at any time. `…` stands for what
differs from outing to outing. Some sentences are part of a longer one that keeps their code.

Written by `python tests/house/remarks.py --write`; do not edit by hand.

| code | sentence | made in |
| --- | --- | --- |
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """One place that makes a remark; `code` is "" where it is no literal text."""

    code: str
    text: str
    module: str
    line: int


def made_in(source: str, module: str = "") -> Iterator[Made]:
    """Every `Remark(...)` of a source; one that takes over another's code is left out."""
    tree = ast.parse(source)
    assigned = sorted(
        (node.lineno, node.targets[0].id, node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name)
    )
    for node in ast.walk(tree):
        if not (isinstance(node, ast.Call) and ast.unparse(node.func) == "Remark"):
            continue
        given = {word.arg: word.value for word in node.keywords}
        if None in given:  # read back from where it was kept
            continue
        code, text = given["code"], given["text"]
        if isinstance(code, ast.Attribute) and code.attr == "code":
            continue
        if isinstance(text, ast.Name):
            before = [v for line, name, v in assigned if name == text.id and line < node.lineno]
            text = before[-1] if before else text
        literal = isinstance(code, ast.Constant) and isinstance(code.value, str)
        yield Made(
            code=str(code.value) if literal else "",  # type: ignore[attr-defined]  # a Constant
            text=_template(text),
            module=module,
            line=node.lineno,
        )


def _template(node: ast.expr) -> str:
    """The text with what differs left out."""
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(_template(part) for part in node.values)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        return _template(node.left) + _template(node.right)
    if isinstance(node, ast.Tuple):
        return "".join(_template(part) for part in node.elts)
    return VARIES


@cache
def remarks() -> list[Made]:
    """Every remark of both packages, in order of their codes."""
    found = [
        made
        for package in PACKAGES
        for path in sorted(package.rglob("*.py"))
        for made in made_in(
            path.read_text(encoding="utf-8"),
            path.relative_to(package.parent).with_suffix("").as_posix(),
        )
    ]
    return sorted(found, key=lambda made: (made.code, made.module, made.line))


def page() -> str:
    """The page as it should be."""
    rows = (f"| `{made.code}` | {made.text} | {made.module} |" for made in remarks())
    return HEAD + "\n".join(dict.fromkeys(rows)) + "\n"


if __name__ == "__main__":
    if sys.argv[1:] == ["--write"]:
        PAGE.write_text(page(), encoding="utf-8")
    else:
        sys.stdout.write(page())
