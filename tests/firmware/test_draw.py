"""The pictures of the firmware notes: drawn by their script, and complete."""

import re
from pathlib import Path
from types import ModuleType
from xml.etree import ElementTree

import pytest

from checkout import script
from wattsump_logger.bench.chip import notes_folder, read_wiring

NOTES = notes_folder()
SIZES = {"small": 12, "title": 16}  # pixels, as in the pictures' style; 14 otherwise


@pytest.fixture(scope="module")
def draw() -> ModuleType:
    return script(NOTES / "draw.py")


def words_of(svg: str) -> list[str]:
    return re.findall(r"<text[^>]*>([^<]+)</text>", svg)


def test_the_pictures_that_are_kept_are_those_the_script_draws(draw: ModuleType) -> None:
    drawn = draw.pictures()
    assert {path.name for path in (NOTES / "pictures").iterdir()} == set(drawn)
    for name, text in drawn.items():
        assert (NOTES / "pictures" / name).read_text(encoding="utf-8") == text


@pytest.mark.parametrize("name", ["wiring.svg", "machine.svg"])
def test_a_picture_is_sound_says_what_it_shows_and_keeps_its_words_inside(
    draw: ModuleType, name: str
) -> None:
    text = draw.pictures()[name]
    root = ElementTree.fromstring(text)
    width, height = map(float, root.attrib["viewBox"].split()[2:])
    space = "{http://www.w3.org/2000/svg}"
    assert all(root.findtext(f"{space}{part}") for part in ("title", "desc"))
    for word in root.iter(f"{space}text"):
        x, y = float(word.attrib["x"]), float(word.attrib["y"])
        # a letter is about half as wide as the type is high
        wide = 0.54 * SIZES.get(word.attrib["class"], 14) * len(word.text or "")
        left = {"start": x, "middle": x - wide / 2, "end": x - wide}[word.attrib["text-anchor"]]
        assert left >= 0
        assert left + wide <= width
        assert 10 <= y <= height
    assert "prefers-color-scheme: dark" in text
    assert "@media print" in text


def test_the_machine_shows_every_probe_of_the_shipped_table(draw: ModuleType) -> None:
    wiring, _ = read_wiring(NOTES / "reference" / "channels.txt")
    probes = {channel.name for channel in wiring if channel.where.startswith("cs")}
    assert probes <= set(words_of(draw.pictures()["machine.svg"]))


def test_every_value_of_the_wiring_picture_stands_on_its_page(draw: ModuleType) -> None:
    page = Path(NOTES / "wiring.md").read_text(encoding="utf-8")
    words = " ".join(words_of(draw.pictures()["wiring.svg"]))
    values = re.findall(r"[0-9.]+ (?:kΩ|Ω|nF|µF|kW|W)", words)
    assert len(values) >= 10
    assert [value for value in values if value not in page] == []
