"""The page for the phone in a real browser, on a phone's and a desk's width, day and night."""

import http.client
import re
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from end_to_end import browser, rig
from wattsump_logger.phone.beside import Requests, on_phones
from wattsump_logger.phone.place import Place
from wattsump_logger.watch.alarms import State
from wattsump_logger.watch.guide import Advice
from wattsump_logger.watch.moment import Forecast, Gauge, Screen, Sounding

pytestmark = pytest.mark.browser

TOKEN = "aB3_" * 4
OVER = "cooler in above 82"
NASTY = "<img src=x onerror=alert(1)>"


def free_place() -> Place:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return Place(host="127.0.0.1", port=one.getsockname()[1], token=TOKEN)


def screen(elapsed_s: float = 1500.0, tank_c: float | None = 78.4) -> Screen:
    """Return a moment with something of everything."""
    return Screen(
        machine=f"Bracken {NASTY}",
        outing="first",
        link="recording",
        elapsed_s=elapsed_s,
        row_count=1500,
        complete_pct=99.9,
        gauges=(
            Gauge(name="tank", value_c=tank_c, rate_k_min=1.2, limit_c=82.0),
            Gauge(name="cooler_in", value_c=84.0, rate_k_min=0.4, limit_c=82.0, loud=True),
            Gauge(name="ambient", value_c=None, fault="open"),
        ),
        others=(("fan_on", "1"), ("engine_rpm", "2200.00")),
        phase="working, warming",
        forecast=Forecast(heading_c=90.0, minutes_to_limit=8.0, limit_c=82.0),
        known="K 81 W/K to +/- 9 %",
        alarms=(
            Sounding(
                name="a", urgent=True, state=State.ALARM, text="alarm: cooler in above 82 degC"
            ),
        ),
        faults=(f"ambient: {NASTY}",),
        marks=((1200.0, "climb"), (None, NASTY)),
        advice=Advice(
            stage="fan off",
            do="Switch the fan off.",
            left_s=90.0,
            safety=("Keep clear of the blades.",),
            learned=("cooler 78 W/K (70 to 86)",),
            position="3 of 11",
        ),
    )


@pytest.fixture(scope="module")
def tab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[browser.Browser]:
    with browser.running(tmp_path_factory.mktemp("browser")) as found:
        yield found


def visit(tab: browser.Browser, url: str, *, width: int = 390, scheme: str = "light") -> None:
    leave(tab)  # an address that differs in its token alone would not be loaded again
    tab.look(scheme=scheme)
    tab.visit(url, width=width)


def leave(tab: browser.Browser) -> None:
    """Let go of the page, so that it asks no server that has ended."""
    tab.visit("about:blank", width=390)


def wait_for(tab: browser.Browser, expression: str) -> None:
    """Wait in the page, by its own changes and clock, until an expression is true."""
    tab.value(
        f"""new Promise((done, fail) => {{
          const until = Date.now() + {1000 * rig.PATIENCE_S};
          const look = () => {{
            if ({expression}) done(true);
            else if (Date.now() > until) fail(new Error("never"));
            else setTimeout(look, 50);
          }};
          look();
        }})"""
    )


def text(part: str) -> str:
    return f"document.querySelector('{part}').textContent"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_everything_is_shown_as_text_fits_and_is_accessible_and_asks_nobody_else(
    tab: browser.Browser, width: int, scheme: str
) -> None:
    place = free_place()
    with on_phones(place, Requests()) as show:
        for second in range(0, 1500, 60):
            show(screen(float(second), 20.0 + second / 30))
        show(screen())
        visit(tab, place.url, width=width, scheme=scheme)
        show(screen())
        wait_for(tab, "document.querySelectorAll('.gauge').length === 3")
        shown = tab.value("document.body.innerText")
        for words in (
            NASTY,
            "78.4 °C",
            "3.6 K to 82 °C",
            "2.0 K over 82 °C",
            "no reading",
            "8 min to 82 °C",
            "working, warming",
            "Cooler so far: K 81 W/K to ±9\u00a0%",
            "Switch the fan off.",
            "cooler 78 W/K (70 to 86)",
            f"alarm: {OVER}\u00a0°C",
            "fan on",
        ):
            assert words in shown, words
        assert tab.value("document.querySelectorAll('main img').length") == 0
        assert tab.value("document.querySelectorAll('#curves path').length") == 2
        assert tab.value("document.documentElement.scrollWidth") <= width
        spilt = (
            "[...document.querySelectorAll('.gauge p')].filter(p => p.scrollWidth > p.clientWidth)"
        )
        assert tab.value(f"{spilt}.map(p => p.textContent)") == []
        assert tab.violations() == []
        seen = tab.seen()
        assert seen.complaints == ()
        assert {address.split("#")[0] for address in seen.addresses} == {
            f"http://{place.name}{path}" for path in ("/", "/page.css", "/page.js", "/live")
        }
        big = tab.value("parseFloat(getComputedStyle(document.querySelector('.value')).fontSize)")
        assert big >= 40  # about 7 mm on a phone: an arm's length


def test_in_us_units_every_temperature_difference_and_rate_is_exchanged(
    tab: browser.Browser,
) -> None:
    place = free_place()
    with on_phones(place, Requests()) as show:
        for second in range(0, 1500, 60):
            show(replace(screen(float(second), 20.0 + second / 30), units="us"))
        visit(tab, place.url)
        show(replace(screen(), units="us"))
        wait_for(tab, "document.querySelectorAll('.gauge').length === 3")
        wait_for(tab, f"{text('.value')}.startsWith('173.1')")
        shown = tab.value("document.body.innerText")
        for words in ("173.1 °F", "6.5 °F to 180 °F", "+2.2 °F/min", "8 min to 180 °F"):
            assert words in shown, words
        assert tab.value(text("#hour-head")) == "The last hour, °F"
        assert "°C" not in shown
        leave(tab)


def test_times_below_the_curves_never_run_into_each_other(tab: browser.Browser) -> None:
    place = free_place()
    with on_phones(place, Requests()) as show:
        for second in range(0, 2080, 10):
            show(screen(float(second), 20.0 + second / 40))
        visit(tab, place.url)
        show(screen(2080.0))
        wait_for(tab, "document.querySelectorAll('#curves path').length > 0")
        ends = tab.value(
            """[...document.querySelectorAll('#curves text[text-anchor=middle]')]
            .map(text => text.getBoundingClientRect()).map(box => [box.left, box.right])"""
        )
        assert len(ends) >= 3
        assert all(a[1] + 6 < b[0] for a, b in pairwise(ends))
        leave(tab)


def test_values_stay_and_say_how_old_they_are_when_the_link_drops_and_go_on_when_it_is_back(
    tab: browser.Browser,
) -> None:
    place = free_place()
    with on_phones(place, Requests()) as show:
        show(screen())
        visit(tab, place.url)
        show(screen())
        wait_for(tab, f"{text('#link')} === 'recording'")
    wait_for(tab, f"{text('#link')}.startsWith('no link, values 0:')")
    assert "78.4" in tab.value(text(".value"))
    assert tab.value("document.documentElement.classList.contains('stale')")
    with on_phones(place, Requests()) as show:
        show(screen(1600.0, 79.5))
        wait_for(tab, f"{text('.value')}.startsWith('79.5')")
        wait_for(tab, f"{text('#link')} === 'recording'")
    leave(tab)


def test_a_recorder_that_says_nothing_newer_is_told_from_a_lost_link(tab: browser.Browser) -> None:
    place = free_place()
    with on_phones(place, Requests()) as show:
        show(screen())
        visit(tab, place.url)
        wait_for(tab, f"{text('#link')}.startsWith('recorder silent, values 0:')")
        leave(tab)


def test_who_has_no_token_reads_only(tab: browser.Browser) -> None:
    place = free_place()
    with on_phones(place, Requests()) as show:
        show(screen())
        visit(tab, place.url.split("#")[0])
        show(screen())
        wait_for(tab, "document.querySelectorAll('.gauge').length === 3")
        for part in ("marking", "seen", "go_on"):
            assert tab.value(f"document.getElementById('{part}').offsetHeight") == 0
        leave(tab)


def test_an_urgent_alarm_sounds_once_somebody_allowed_it(tab: browser.Browser) -> None:
    place = free_place()
    with on_phones(place, Requests()) as show:
        show(screen())
        visit(tab, place.url)
        show(screen())
        wait_for(tab, "document.querySelectorAll('#alarms .loud').length === 1")
        tab.value("window.tones = 0; const make = AudioContext.prototype.createOscillator;"
                  "AudioContext.prototype.createOscillator = function () {"
                  " window.tones += 1; return make.call(this); }; 1")  # fmt: skip
        tab.value("document.getElementById('wake').click()")
        wait_for(tab, "window.tones >= 2")
        assert tab.value("document.getElementById('wake').getAttribute('aria-pressed')") == "true"
        leave(tab)


def test_a_mark_pressed_on_the_phone_lands_in_the_session_of_a_real_recording(
    tab: browser.Browser, tmp_path: Path
) -> None:
    place = free_place()
    cable = rig.Cable()
    start = "from wattsump_analysis.commands.program import main; main()"
    words = [sys.executable, "-c", start, "log", cable.name, "--phone", place.name]
    words += ["--out", str(tmp_path), "--name", "first", "--plain"]
    sender = rig.controller(period_ms=1000)
    stop = threading.Event()

    def send() -> None:
        for second in range(1, 600):
            cable.play(sender.until(float(second)))
            if stop.wait(0.1):
                return

    with subprocess.Popen(
        words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    ) as log:
        assert log.stderr is not None
        found = ""
        while "#" not in found:
            found = log.stderr.readline()
            assert found, "the recording ended"
        threading.Thread(target=send, daemon=True).start()
        try:
            _until_it_answers(place)
            visit(tab, found.strip())
            wait_for(tab, "document.querySelectorAll('#buttons button').length === 4")
            wait_for(tab, "document.querySelectorAll('.gauge').length === 1")
            tab.value("document.querySelectorAll('#buttons button')[1].click()")
            wait_for(tab, f"{text('#answer')} === 'climb: kept'")
            wait_for(tab, f"/[0-9] climb/.test({text('#marks')})")
        finally:
            stop.set()
            leave(tab)
            log.terminate()
            log.stderr.read()
    rows = (tmp_path / "first.csv").read_text(encoding="utf-8")
    assert re.search(r"\bclimb\b", rows)


def _until_it_answers(place: Place) -> None:
    pause = threading.Event()
    for _ in range(round(rig.PATIENCE_S / 0.1)):
        link = http.client.HTTPConnection(place.host, place.port, timeout=rig.PATIENCE_S)
        try:
            link.request("GET", "/")
            if link.getresponse().status == 200:
                return
        except OSError:
            pause.wait(0.1)
        finally:
            link.close()
    raise AssertionError("the page never came")
