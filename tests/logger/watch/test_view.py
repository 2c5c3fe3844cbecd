"""The live screen: facts in the text, 80 columns, 16 colours or none, nothing that jumps."""

import io
import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.console import Console

from wattsump_logger.printable import printable
from wattsump_logger.watch.alarms import State
from wattsump_logger.watch.figures import big
from wattsump_logger.watch.guide import Advice
from wattsump_logger.watch.moment import Course, Forecast, Gauge, Screen, Sounding
from wattsump_logger.watch.picture import render
from wattsump_logger.watch.view import Picture, line, showing

TANK = Gauge(name="tank", value_c=71.25, rate_k_min=1.24, limit_c=82.0)
OUT = Gauge(name="cooler_out", value_c=None, fault="open")
HOT = Sounding(
    name="tank above 66 degC",
    urgent=True,
    state=State.ALARM,
    text="alarm: tank above 66 degC (71.3 degC)",
)
GUIDED = Advice(
    stage="fan-off rise",
    do="Fan off, engine at working speed.",
    left_s=754.0,
    until="until the oil is at 66 degC",
    safety=("Oil and cooler scald.", "Tracks turn."),
    learned=("K to ±9 %, two more minutes for ±7 %",),
    position="2 of 10",
)
SCREEN = Screen(
    machine="Bracken",
    outing="20260504-0730Z",
    link="recording",
    elapsed_s=2530.0,
    row_count=2531,
    complete_pct=99.83,
    gauges=(TANK, OUT, *(Gauge(name=f"probe_{i}", value_c=-3.5) for i in range(3))),
    others=(("fan_on", "1"), ("engine_rpm", "1800.00")),
    phase="working, warming",
    forecast=Forecast(heading_c=88.4, minutes_to_limit=12.3, limit_c=82.0),
    faults=("cooler_out: open",),
    marks=((2400.0, "fan"), (None, "climb")),
    differences_k=(("inlet less outlet", 6.5), ("inlet less air", None)),
    course=Course(name="tank", temps_c=(40.0, None, 60.0), minutes=10.0),
)
TEXTS = st.text(max_size=100)


def shown(screen: Screen, *, height: int = 24) -> list[str]:
    return [text.plain for text in render(screen, height=height)]


def lines(screen: Screen, **options: object) -> list[str]:
    return [text.plain for text in render(screen, **options)]  # type: ignore[arg-type]


def page(screen: Screen, colours: str | None = None, **options: object) -> str:
    out = io.StringIO()
    console = Console(
        file=out,
        force_terminal=True,
        color_system=colours,  # type: ignore[arg-type]
        width=80,
        height=24,
        **options,  # type: ignore[arg-type]
    )
    picture = Picture()
    picture.screen = screen
    console.print(picture, end="")
    return out.getvalue()


@pytest.mark.parametrize(
    "fact",
    [
        "20260504-0730Z  RECORDING",
        "0:42:10",
        "2531 rows",
        "complete 99.8 %",
        "tank",
        "+1.2 K/min",
        "10.8 K to 82",
        "NO READING",
        "WORKING, WARMING   heading for 88 degC, 12 min to 82",
        "fan on   engine 1800 rpm",
        "faults  cooler_out: open",
        "now climb   0:40:00 fan",
        "f fan  c climb  l load  s stop  n note  u undo",
        "°C tank",
        "inlet less outlet 6.5 K",
        "inlet less air -",
        "tank 40 ▁ █ 60",
    ],
)
def test_what_a_driver_wants_to_know_is_on_the_screen(fact: str) -> None:
    assert fact in "\n".join(shown(SCREEN))


@pytest.mark.parametrize(
    "fact",
    [
        "2 of 10  FAN-OFF RISE   at most 0:12:34 more, until the oil is at 66 degC",
        "-> Fan off, engine at working speed.",
        "!  Oil and cooler scald.",
        "!  Tracks turn.",
        "known: K to ±9 %, two more minutes for ±7 %",
        "g go on",
    ],
)
def test_the_guides_advice_its_cautions_and_what_is_known_are_on_the_screen(fact: str) -> None:
    assert fact in "\n".join(shown(replace(SCREEN, advice=GUIDED)))


def test_every_figure_of_a_temperature_is_three_lines_high() -> None:
    rows = big("-0123456789.")
    assert len({len(row) for row in rows}) == 1
    one = {tuple(big(char)) for char in "-0123456789."}
    assert len(one) == 12


def test_each_figure_of_strokes_differs_from_all_others() -> None:
    assert len({big(char, blocks=False) for char in "-0123456789."}) == 12


@pytest.mark.parametrize("channels", [0, 1, 5, 8, 16])
@pytest.mark.parametrize("height", [10, 24, 50])
@pytest.mark.parametrize("advice", [None, GUIDED])
def test_the_picture_fits_and_keeps_its_height(
    channels: int, height: int, advice: Advice | None
) -> None:
    gauges = tuple(replace(TANK, name=f"a_long_name_{i}") for i in range(channels))
    for alarms in ((), (HOT,), (HOT,) * 5):
        lines = shown(replace(SCREEN, gauges=gauges, advice=advice, alarms=alarms), height=height)
        assert len(lines) == height
        assert max(map(len, lines)) <= 80


def test_an_alarm_that_comes_moves_nothing_else() -> None:
    quiet, loud = shown(SCREEN), shown(replace(SCREEN, alarms=(HOT,)))
    assert [i for i, (a, b) in enumerate(zip(quiet, loud, strict=True)) if a != b] == [1]
    assert "ALARM: tank above 66 degC (71.3 degC) - press a" in loud[1]


def test_alarms_beyond_two_are_counted() -> None:
    assert "(+3 more)" in shown(replace(SCREEN, alarms=(HOT,) * 5))[2]


@pytest.mark.parametrize(
    ("state", "said"), [(State.SEEN, "- seen"), (State.PASSED, "- OVER, press a")]
)
def test_where_an_alarm_stands_is_said_in_words(state: State, said: str) -> None:
    assert said in shown(replace(SCREEN, alarms=(replace(HOT, state=state),)))[1]


def test_beyond_a_limit_is_said_in_words() -> None:
    hot = replace(SCREEN, gauges=(replace(TANK, value_c=84.0),))
    assert "2.0 K ABOVE 82" in "\n".join(shown(hot))


def test_sixteen_channels_at_24_lines_are_all_named() -> None:
    gauges = tuple(replace(TANK, name=f"probe_{i:02d}") for i in range(16))
    text = "\n".join(shown(replace(SCREEN, gauges=gauges, advice=GUIDED)))
    assert all(f"probe_{i:02d}" in text for i in range(16))


def test_with_16_colours_no_other_colour_is_used() -> None:
    text = page(replace(SCREEN, alarms=(HOT,), advice=GUIDED), "standard")
    codes = {int(c) for found in re.findall(r"\x1b\[([\d;]*)m", text) for c in found.split(";")}
    assert codes <= {0, 1, 7, *range(30, 38), *range(90, 98)}
    assert codes & {31, 33}


def test_without_colours_every_fact_is_still_there() -> None:
    text = page(replace(SCREEN, alarms=(HOT,)), None)
    assert "\x1b[3" not in text
    for fact in ("ALARM: tank above 66", "NO READING", "10.8 K to 82"):
        assert fact in text


@settings(deadline=None)
@given(name=TEXTS, fault=TEXTS, mark=TEXTS, trouble=TEXTS, other=TEXTS, note=TEXTS)
def test_nothing_from_the_wire_or_a_note_reaches_the_terminal_as_an_instruction(
    name: str, fault: str, mark: str, trouble: str, other: str, note: str
) -> None:
    evil = "\x1b]0;owned\x07\x9b2J\u202e[bold]"
    screen = replace(
        SCREEN,
        outing=evil + name,
        gauges=(replace(TANK, name=evil + name, value_c=None, fault=evil + fault),),
        faults=(evil + fault,),
        marks=((1.0, evil + mark),),
        others=((evil + other, evil + other),),
        alarms=(replace(HOT, text=evil + name),),
    )
    for seen in (screen, replace(screen, trouble=(evil + trouble,), note=evil + note)):
        for text in (*shown(seen), line(seen)):
            assert not re.search(r"[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", text)
    assert "[bold]" in "\n".join(shown(screen))  # markup stays text


@settings(deadline=None)
@given(TEXTS)
def test_plain_text_keeps_its_length_and_its_letters(text: str) -> None:
    assert len(printable(text)) == len(text)
    assert printable("Überlauf bei −3 °C") == "Überlauf bei −3 °C"


def test_where_output_is_no_terminal_there_is_one_line_a_second() -> None:
    out = io.StringIO()
    with showing(out) as show:
        for quarter in range(41):
            show(replace(SCREEN, now_s=quarter / 4))
    lines = out.getvalue().splitlines()
    assert len(lines) == 11
    assert "\x1b" not in out.getvalue()
    for part in ("recording", "2531 rows", "tank_c 71.25", "cooler_out_c -", "fan_on 1"):
        assert part in lines[0]


def test_lines_go_on_while_the_controller_is_silent() -> None:
    out = io.StringIO()
    silent = replace(SCREEN, link="silent for 9 s")
    with showing(out) as show:
        for second in range(5):
            show(replace(silent, now_s=float(second)))
    assert out.getvalue().count("silent for 9 s") == 5


def test_a_line_tells_trouble_alarms_and_the_guide() -> None:
    said = line(replace(SCREEN, trouble=("DISK: full",), alarms=(HOT,), advice=GUIDED))
    for part in ("DISK: full", "alarm: tank above", "guide fan-off rise: Fan off", "cooler_out: o"):
        assert part in said
    assert "\n" not in said


class Terminal(io.StringIO):
    """Counts what is written to it, as a terminal would show it."""

    def isatty(self) -> bool:
        return True


def test_a_picture_that_stays_the_same_is_not_written_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("LINES", "24")
    out = Terminal()
    with showing(out, live=True) as show:
        show(SCREEN)
        written = out.getvalue()
        for tick in range(20):
            show(replace(SCREEN, now_s=tick / 4))
        assert out.getvalue() == written
        show(replace(SCREEN, row_count=9999))
        more = out.getvalue()[len(written) :]
    assert "9999 rows" in more
    assert "\x1b[2J" not in more  # drawn over, never blanked: that would flicker


def test_the_bell_rings_at_most_once_a_second(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    out = Terminal()
    with showing(out, live=True) as show:
        for quarter in range(13):
            show(replace(SCREEN, now_s=quarter / 4, bell=True))
    assert out.getvalue().count("\x07") == 4


def test_a_terminal_narrower_than_the_picture_cuts_it_and_wraps_nothing() -> None:
    console = Console(file=io.StringIO(), force_terminal=True, width=60, height=24)
    picture = Picture()
    picture.screen = SCREEN
    with console.capture() as taken:
        console.print(picture, end="")
    assert len(taken.get().splitlines()) == 24


def test_a_note_being_typed_is_shown_with_how_to_end_it() -> None:
    text = "\n".join(shown(replace(SCREEN, note="mud on c")))
    assert "note> mud on c_   Enter keeps it" in text


def test_the_phones_code_takes_the_place_of_the_figures_while_it_is_asked_for() -> None:
    code = ("█▀█",) * 17 + ("http://10.42.0.1:8472/#token",)
    asked = replace(SCREEN, poster=True)
    lines = [text.plain for text in render(asked, poster=code)]
    assert len(lines) == 24
    assert [line for line in lines if line in code] == list(code)  # whole, on 24 lines
    assert [text.plain for text in render(asked, blocks=False, poster=code)].count("█▀█") == 0
    kept = [text.plain for text in render(SCREEN, poster=code)]
    assert not set(kept) & set(code)
    assert "p phone" in kept[-1]
    assert "p phone" not in shown(SCREEN)[-1]


# independent: 71.25, 66, 71.3, 82 and 88.4 degC by times 9/5 plus 32; 10.75, 6.5 and 1.24 K by
# times 9/5; to the digits shown.
@pytest.mark.parametrize(
    "fact",
    [
        "°F tank",
        "19.4 °F to 180",
        "+2.2 °F/min",
        "inlet less outlet 11.7 °F",
        "tank 104 ▁ █ 140",
        "heading for 191 °F, 12 min to 180",
        "ALARM: tank above 151 °F (160.3 °F)",
        "until the oil is at 151 °F",
        "0:40:00 alarm: tank above 151 °F (160.3 °F)",
    ],
)
def test_a_driver_who_thinks_in_fahrenheit_reads_nothing_else(fact: str) -> None:
    marks = ((2400.0, "alarm: tank above 66 degC (71.3 degC)"),)
    screen = replace(SCREEN, units="us", alarms=(HOT,), advice=GUIDED, marks=marks)
    text = "\n".join(lines(screen))
    assert fact in text
    assert not re.search(r"\d K\b|degC|°C", text)


def test_a_drivers_own_words_keep_their_units() -> None:
    noted = replace(SCREEN, units="us", marks=((1.0, "note: lost 20 K"),))
    assert "note: lost 20 K" in "\n".join(lines(noted))


def test_a_plain_line_is_in_the_drivers_units_too() -> None:
    text = line(replace(SCREEN, units="us", alarms=(HOT,)))
    assert "tank_f 160.25" in text  # independent: 71.25 x 9/5 + 32
    assert "alarm: tank above 151 °F" in text


FIVE = tuple(replace(TANK, name=f"probe_{i}") for i in range(5))


@pytest.mark.parametrize("width", [40, 60, 79, 80, 200])
@pytest.mark.parametrize("blocks", [True, False])
@pytest.mark.parametrize("advice", [None, GUIDED])
def test_a_narrow_terminal_gets_every_channel_and_every_caution(
    width: int, blocks: bool, advice: Advice | None
) -> None:
    screen = replace(SCREEN, gauges=FIVE, advice=advice, alarms=(HOT,))
    found = lines(screen, width=width, blocks=blocks)
    assert len(found) == 24
    assert max(map(len, found)) <= min(width, 80)
    text = " ".join(" ".join(found).split())
    wanted = [gauge.name for gauge in FIVE] + ["RECORDING", "fan on", "(71.3 degC)", "Ctrl-C ends"]
    for fact in (*wanted, *(advice.safety if advice else ())):
        assert fact in text


@pytest.mark.parametrize("size", [(1, 1), (8, 3), (20, 6), (40, 10), (30, 24)])
@pytest.mark.parametrize("channels", [0, 3, 16])
def test_a_terminal_too_small_for_anything_is_filled_and_never_overrun(
    size: tuple[int, int], channels: int
) -> None:
    gauges = tuple(replace(TANK, name=f"probe_{i}") for i in range(channels))
    found = lines(replace(SCREEN, gauges=gauges, alarms=(HOT,)), width=size[0], height=size[1])
    assert len(found) == size[1]
    assert max(map(len, found)) <= size[0]


def test_what_a_low_terminal_leaves_out_is_counted() -> None:
    gauges = tuple(replace(TANK, name=f"probe_{i}") for i in range(16))
    text = "\n".join(lines(replace(SCREEN, gauges=gauges), width=40, height=12))
    assert "more lines: the terminal is too low" in text


def test_a_terminal_of_ascii_gets_ascii() -> None:
    text = "\n".join(lines(replace(SCREEN, advice=GUIDED), blocks=False))
    assert text.isascii()
    assert "K to +/-9 %" in text
    assert "tank 40 _ ' 60" in text


def test_noise_is_no_climb() -> None:
    quiet = replace(SCREEN, course=Course(name="tank", temps_c=(40.0, 40.1, 40.0), minutes=10.0))
    assert "tank 40 ▁▁▁ 40" in "\n".join(lines(quiet))


def test_a_terminal_that_cannot_move_its_cursor_gets_plain_lines(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("TERM", "dumb")
    out = Terminal()
    with showing(out) as show:
        show(SCREEN)
    assert "\x1b" not in out.getvalue()
    assert "tank_c 71.25" in out.getvalue()
