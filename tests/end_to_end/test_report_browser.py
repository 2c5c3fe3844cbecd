"""The report in a real browser: on a phone and a screen, light, dark and printed."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from analysis import proof_fixture
from analysis.few_outings import row_of_outings
from analysis.season.test_fleet import gathered
from end_to_end import browser
from wattsump_analysis.emulation import bracken
from wattsump_analysis.questions.givens import givens_of
from wattsump_analysis.results import Proof
from wattsump_analysis.season.compare import Comparison, compare
from wattsump_analysis.season.events import EventKind
from wattsump_analysis.season.fleet import fleet_of
from wattsump_analysis.season.folder import Gathered
from wattsump_analysis.season.trend import Trend, trend_of
from wattsump_analysis.show.plots.outing import INKS
from wattsump_analysis.show.report.fleet_page import render_fleet
from wattsump_analysis.show.report.page import render
from wattsump_analysis.show.report.season import Season
from wattsump_analysis.show.report.season_page import render_comparison, render_season
from wattsump_analysis.show.season_screen import trend_sentence

pytestmark = pytest.mark.browser

WIDTHS = (390, 1280)
SCHEMES = ("light", "dark")
TOO_WIDE = """[...document.body.querySelectorAll("*:not(svg *)")]
  .filter(part => part.getClientRects().length
    && !part.closest(".unseen")
    && getComputedStyle(part.closest("thead") ?? part).clipPath === "none"
    && part.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
  .map(part => part.outerHTML.slice(0, 80))"""
PAGES: dict[str, Callable[[], str]] = {
    "everything": lambda: page_of(proof_fixture.falls_short(), whole=True),
    "no difference": lambda: page_of(proof_fixture.without_etd(), whole=False),
    "next to nothing": lambda: page_of(proof_fixture.cannot_tell(), whole=False),
    "season": lambda: render_season(season_of_changes(), "us"),
    "comparison": lambda: render_comparison(two_sides()),
    "fleet": lambda: render_fleet(fleet_of(machines()), units="us"),
}


def page_of(proof: Proof, *, whole: bool) -> str:
    """Return the page, `whole` with a profile and a season, so that every part is on it."""
    if not whole:
        return render(proof)
    outings = row_of_outings([(12, 0.6, 1.0)])
    trend = trend_of(outings)
    season = Season(
        this=outings[-1].name,
        folder="outings",
        outings=tuple(outings),
        trend=trend,
        sentence=trend_sentence(trend).text,
        unread=2,
    )
    return render(proof, givens=givens_of(proof, profile=bracken.demo_profile()), season=season)


def season_of_changes() -> Trend:
    """Return a season with something of everything."""
    changes = [(8, 0.65, 1.0), (14, 1 / 0.65, 1.0), (20, 1.0, 1.35)]
    return trend_of(row_of_outings(changes, n=26, noted={14: EventKind.CLEAN}))


def machines() -> Gathered:
    return gathered(
        {
            "Alder, a machine with a long name": row_of_outings([(8, 0.6, 1.0)], n=16),
            "Birch": row_of_outings([], n=12, seed=2),
            "Rowan": row_of_outings([], n=2),
        }
    )


def two_sides() -> Comparison:
    row = row_of_outings([(6, 1.5, 1.0)], n=12, noted={6: EventKind.CLEAN, 7: EventKind.OIL})
    return compare(row[:6], row[6:])


@pytest.fixture(scope="module")
def tab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[browser.Browser]:
    with browser.running(tmp_path_factory.mktemp("browser")) as found:
        yield found


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    found = {}
    for name, make in PAGES.items():
        found[name] = folder / f"{name.replace(' ', '-')}.html"
        found[name].write_text(make(), encoding="utf-8")
    return found


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_the_page_fits_asks_for_nothing_complains_of_nothing_and_is_accessible(
    tab: browser.Browser, pages: dict[str, Path], name: str, width: int, scheme: str
) -> None:
    seen = tab.open(pages[name], width=width, scheme=scheme)
    assert tab.violations() == []
    tab.value("document.querySelector('.every').click()")
    assert seen.complaints == ()
    assert seen.addresses == (pages[name].as_uri(),)
    assert tab.value("document.documentElement.scrollWidth") <= width
    assert tab.value(TOO_WIDE) == []
    drawn = 'document.querySelectorAll(".drawn").length'
    shown = '[...document.querySelectorAll(".drawn")].filter(d => d.clientHeight > 50).length'
    assert tab.value(shown) == tab.value(drawn) / 2  # one of the two sizes
    assert tab.violations() == []


def test_a_phone_shows_the_answer_on_its_first_screen_and_a_desk_the_plain_part_on_few(
    tab: browser.Browser, pages: dict[str, Path]
) -> None:
    outing = ("h1", ".beam", ".next", ".hottest", ".caution")
    others = ("h1", "figure .narrow", ".next")
    for name, parts in (("everything", outing), ("season", others), ("comparison", others)):
        tab.open(pages[name], width=390, scheme="light")
        for part in parts:
            bottom = tab.value(f"document.querySelector('{part}').getBoundingClientRect().bottom")
            assert bottom <= 844, (name, part)
    tab.open(pages["everything"], width=1280, scheme="light")
    season = tab.value("document.querySelector('[aria-labelledby=season]').offsetHeight")
    # Three screens of 844, and the season, which most machines have not got.
    assert tab.value("document.documentElement.scrollHeight") - season <= 3 * 844 + 40


@pytest.mark.parametrize("name", ["everything", "season", "comparison"])
def test_no_word_on_a_picture_is_under_11_px_on_a_phone(
    tab: browser.Browser, pages: dict[str, Path], name: str
) -> None:
    tab.open(pages[name], width=390, scheme="light")
    tab.value("document.querySelector('.every').click()")
    small = """[...document.querySelectorAll("svg text")]
      .filter(text => text.getClientRects().length)
      .map(text => [parseFloat(getComputedStyle(text).fontSize)
                    * Math.hypot(text.getScreenCTM().a, text.getScreenCTM().b), text.textContent])
      .filter(([size]) => size < 10.95)"""
    assert tab.value(small) == []


def test_values_are_read_by_key_by_finger_and_by_mouse(
    tab: browser.Browser, pages: dict[str, Path]
) -> None:
    tab.open(pages["everything"], width=390, scheme="light")
    first, words = ("document.querySelector('.timed input')", "document.querySelector('output')")
    tab.value(f"{first}.focus()")
    for kind in ("keyDown", "keyUp"):
        tab.call("Input.dispatchKeyEvent", type=kind, key="End", windowsVirtualKeyCode=35)
    last = proof_fixture.falls_short().series_c["tank"][-1]
    assert f"tank {last:.1f}" in tab.value(f"{words}.textContent")
    assert f"tank {last:.1f}" in tab.value(f"{first}.getAttribute('aria-valuetext')")
    spot = tab.value(
        """(() => { const d = [...document.querySelectorAll('.drawing')].find(d => d.clientHeight);
        d.scrollIntoView(); const box = d.getBoundingClientRect();
        return [box.left + box.width * (Number(d.dataset.left) + 0.1) / 100, box.top + 90]; })()"""
    )
    tab.call("Input.dispatchMouseEvent", type="mouseMoved", x=spot[0], y=spot[1])
    assert tab.value(f"{words}.textContent").startswith("1 min, soak")
    assert tab.value("getComputedStyle(document.querySelector('.narrow .hair')).visibility") == (
        "visible"
    )


def test_outings_of_a_season_are_read_by_key_with_their_day_and_both_values(
    tab: browser.Browser, pages: dict[str, Path]
) -> None:
    tab.open(pages["season"], width=390, scheme="light")
    tab.value("document.querySelector('.timed input').focus()")
    for kind in ("keyDown", "keyUp"):
        tab.call("Input.dispatchKeyEvent", type=kind, key="End", windowsVirtualKeyCode=35)
    words = tab.value("document.querySelector('output').textContent")
    assert re.match(r"26 April 2026 · K under like conditions \d+ BTU/\(h °F\) · K as run", words)


def test_dark_is_dark_and_print_is_light_whatever_the_reader_prefers(
    tab: browser.Browser, pages: dict[str, Path]
) -> None:
    ground = "getComputedStyle(document.documentElement).backgroundColor"
    ink = "getComputedStyle(document.documentElement).getPropertyValue('--ink-hot').trim()"
    tab.open(pages["everything"], width=1280, scheme="dark")
    assert tab.value(ground) == "rgb(21, 23, 26)"
    tab.look(scheme="dark", media="print")
    assert tab.value(ground) == "rgb(255, 255, 255)"
    assert tab.value(ink) == INKS["hot"]


def test_print_has_few_full_sheets_the_main_picture_across_and_splits_no_row(
    tab: browser.Browser, pages: dict[str, Path]
) -> None:
    # The width, in CSS pixels, of A4 less the page's margins of 16 mm.
    wide = round((210 - 32) * 96 / 25.4)
    tab.open(pages["everything"], width=wide, scheme="light", media="print")
    main = "document.querySelector('[aria-labelledby=outing] .wide').clientWidth"
    assert tab.value(main) == tab.value("document.body.clientWidth")
    assert tab.value("getComputedStyle(document.querySelector('.read')).display") == "none"
    for part in ("figure", "tr", ".next", ".caution", ".part", "summary"):
        kept = f'[...document.querySelectorAll("{part}")].map(p => getComputedStyle(p).breakInside)'
        assert set(tab.value(kept)) == {"avoid"}, part
    kept = '[...document.querySelectorAll("h2, h3")].map(p => getComputedStyle(p).breakAfter)'
    assert set(tab.value(kept)) == {"avoid"}
    tab.look(scheme="light", media="")
    sheets = tab.printed()
    assert sheets.startswith(b"%PDF")
    assert 2 <= len(re.findall(rb"/Type\s*/Page\b", sheets)) <= 4


PLANTED = {
    "a picture without words": ("<img src='data:,'>", "image-alt"),
    "pale text": ("<p style='color: #999; background: #fff'>pale</p>", "color-contrast"),
    "a button without a name": ("<button></button>", "button-name"),
}


@pytest.mark.parametrize("what", PLANTED)
def test_a_planted_fault_is_found(tab: browser.Browser, tmp_path: Path, what: str) -> None:
    fault, rule = PLANTED[what]
    page = tmp_path / "planted.html"
    text = page_of(proof_fixture.cannot_tell(), whole=False)
    page.write_text(text.replace("</main>", f"{fault}</main>"), encoding="utf-8")
    tab.open(page, width=390, scheme="light")
    assert [line.split(":")[0] for line in tab.violations()] == [rule]


def test_a_planted_complaint_request_and_overflow_are_found(
    tab: browser.Browser, tmp_path: Path
) -> None:
    page = tmp_path / "planted.html"
    page.write_text(
        "<!doctype html><title>t</title><img src='absent.png'><div style='width: 900px'>w</div>"
        "<script>console.error('planted'); missing()</script>",
        encoding="utf-8",
    )
    seen = tab.open(page, width=390, scheme="light")
    assert any("planted" in text for text in seen.complaints)
    assert any("Uncaught" in text for text in seen.complaints)
    assert (tmp_path / "absent.png").as_uri() in seen.addresses
    assert tab.value("document.documentElement.scrollWidth") > 390
    assert len(tab.value(TOO_WIDE)) == 1


def test_a_machine_without_a_browser_skips_and_a_promised_one_fails(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(browser, "chromium", lambda: None)
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="needs chromium"):
        browser.need_chromium()
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="needs chromium"):
        browser.need_chromium()
