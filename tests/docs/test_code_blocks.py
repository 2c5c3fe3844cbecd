"""Every code block of every page does what the page says.

What a comment above a block may say: `not run: why` (hardware, root, a minute of packages:
the block must still be sound, and its `wattsump` lines ones the program takes), `output of:
the demonstration`, `numbers within: N %` for figures that come out of a fit, `ends with: N`
for another exit code than 0, `whole season: why` for what is run only where
WATTSUMP_WHOLE_SEASON is set, as before a release (DEVELOPERS.md).
"""

import json
import os
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from docs import givens
from docs.pages import ROOT, Block, blocks_of, differences, links_of, pages
from wattsump_analysis.commands import program
from wattsump_logger.machine.profile import profile_from_dict

KINDS = {"sh", "python", "text", "toml", "json", "ini"}
NOTES = {"not run", "output of", "numbers within", "ends with", "whole season"}
PAGES = pages()
BLOCKS = [block for page in PAGES for block in blocks_of(page)]
WITH_BLOCKS = [page for page in PAGES if blocks_of(page)]


def named(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def is_soundly_written(block: Block) -> None:
    """Shell by its own parser, Python by the compiler, `wattsump` lines by the program."""
    if block.kind == "python":
        compile(block.text, block.place, "exec")
    if block.kind != "sh":
        return
    said = subprocess.run(
        ["bash", "-n"], input=block.text, capture_output=True, text=True, check=False, timeout=30
    )
    assert said.returncode == 0, said.stderr
    for line in block.text.replace("\\\n", " ").splitlines():
        # A redirection or a remark ends the command; "#2" of a session's part does not.
        words = shlex.split(re.split(r"\s(?:#\s|>|\|)", line)[0])
        if words[:1] == ["wattsump"]:
            takes(words[1:])


def takes(words: list[str]) -> None:
    """Have the program read these words without doing what they say."""
    command = program.command_tree()
    while hasattr(command, "commands") and words and words[0] in command.commands:
        command, words = command.commands[words[0]], words[1:]
    assert not hasattr(command, "commands"), words
    command.make_context("wattsump", list(words))


def runs(block: Block, folder: Path, environment: dict[str, str]) -> str:
    """Run a block as its reader would; return what it printed on stdout."""
    way = (
        ["bash", "-euo", "pipefail", "-c", block.text]
        if block.kind == "sh"
        else [sys.executable, "-W", "error::UserWarning", "-c", block.text]
    )
    said = subprocess.run(
        way,
        cwd=folder,
        env=environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=500,
    )
    code = int(block.notes.get("ends with", "0"))
    assert said.returncode == code, f"{block.place}:\n{said.stdout}\n{said.stderr}"
    return said.stdout


def is_a_page_s_own(block: Block) -> None:
    """A table of keys must be one the program takes."""
    if block.kind == "toml":
        table = tomllib.loads(block.text)
        profile_from_dict(givens.completed(table), block.place)
    if block.kind == "json":
        json.loads(block.text)


def within(block: Block) -> float:
    return float(block.notes.get("numbers within", "0 %").removesuffix(" %")) / 100.0


def is_left_out(block: Block) -> bool:
    return "not run" in block.notes or (
        "whole season" in block.notes and not os.environ.get("WATTSUMP_WHOLE_SEASON")
    )


@pytest.mark.skipif(os.name != "posix", reason="shell blocks")
@pytest.mark.timeout(600)
@pytest.mark.parametrize("page", WITH_BLOCKS, ids=named)
def test_the_blocks_of_a_page_run_in_its_order_and_print_what_it_shows(
    page: Path,
    reader: Path,
    demonstration: "givens.Demonstration",
    environment: dict[str, str],
) -> None:
    givens.prepare(named(page), reader, demonstration.folder)
    printed: str | None = None
    for block in blocks_of(page):
        if block.notes.get("output of") == "the demonstration":
            printed = demonstration.out
        if is_left_out(block):
            is_soundly_written(block)
            printed = None
        elif block.kind in ("sh", "python"):
            printed = runs(block, reader, environment)
        elif block.kind == "text":
            assert printed is not None, f"{block.place}: of what is this the output?"
            missing = differences(block.text, printed, within(block))
            assert missing == [], f"{block.place}, printed was:\n{printed}"
        else:
            is_a_page_s_own(block)


@pytest.mark.parametrize("block", BLOCKS, ids=lambda block: block.place)
def test_a_block_says_what_it_is_and_why_it_is_not_run(block: Block) -> None:
    assert block.kind in KINDS, "write its language behind the ticks"
    assert set(block.notes) <= NOTES
    if "not run" in block.notes:
        assert len(block.notes["not run"].split()) >= 3
    is_soundly_written(block)


def test_no_block_is_overlooked_and_most_are_run() -> None:
    assert len(BLOCKS) == sum(
        len(re.findall(r"^ *```", page.read_text(encoding="utf-8"), re.MULTILINE)) // 2
        for page in PAGES
    )
    left_out = [block for block in BLOCKS if "not run" in block.notes]
    assert len(left_out) < len(BLOCKS) / 2


@pytest.mark.parametrize("page", PAGES, ids=named)
def test_each_place_a_page_links_to_is_there(page: Path) -> None:
    gone = [target for target in links_of(page) if not (page.parent / target).exists()]
    assert gone == []


def test_the_index_of_the_documents_names_every_page() -> None:
    listed = {Path(target).as_posix() for target in links_of(ROOT / "docs" / "README.md")}
    there = {path.name for path in (ROOT / "docs").glob("*.md")} - {"README.md"}
    assert there - listed == set()


PLANTED: tuple[tuple[str, str], ...] = (
    ("```sh\nwattsump prove --no-such-option a.csv\n```\n", "no-such-option"),
    ("<!-- not run: needs a port -->\n```sh\nif true\n```\n", "syntax error"),
    ("```python\nx = (\n```\n", "never closed"),
)


@pytest.mark.parametrize(("text", "told"), PLANTED)
def test_a_block_that_is_not_sound_is_noticed(text: str, told: str, tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text(text, encoding="utf-8")
    with pytest.raises(BaseException, match=told):  # the program ends a wrong line by itself
        is_soundly_written(blocks_of(page)[0])


def test_a_line_that_was_not_printed_is_noticed_and_a_figure_only_so_far() -> None:
    printed = "Rejects   3.99 kW   3.18 to 5.13 kW (95 %)\nNext  wash it\n"
    assert differences("Rejects 3.99 kW 3.18 to 5.13 kW (95 %)\n...\nNext wash it", printed) == []
    assert differences("Next wash it\nRejects 3.99 kW 3.18 to 5.13 kW (95 %)", printed) != []
    assert differences("Rejects 4.10 kW 3.18 to 5.13 kW (95 %)", printed) != []
    assert differences("Rejects 4.10 kW 3.18 to 5.13 kW (95 %)", printed, 0.05) == []
    assert differences("Rejects 4.60 kW 3.18 to 5.13 kW (95 %)", printed, 0.05) != []
    assert differences("Accepts 3.99 kW 3.18 to 5.13 kW (95 %)", printed, 0.05) != []


def test_a_link_that_leads_nowhere_is_noticed(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text("[a](gone.md) ![b](gone.svg) [c](https://example.org)\n", encoding="utf-8")
    assert list(links_of(page)) == ["gone.md", "gone.svg"]
