"""The picture of a moment: a pure function from `moment.Screen` to lines.

Temperatures are in big figures, because the screen is an arm's length away. Every state is in
words too, so nothing depends on colour. The picture keeps its height, so nothing jumps. A narrow
terminal gets the same facts on more and smaller lines; if there is too little room for those, the
last line says how much is not shown.
"""

import re
import textwrap
from collections.abc import Sequence

from rich.style import Style
from rich.text import Text

from wattsump_logger.printable import in_ascii, printable
from wattsump_logger.session.rows import by_program
from wattsump_logger.units.quantities import shown_unit, to_shown
from wattsump_logger.units.sentences import in_units
from wattsump_logger.watch.alarms import State
from wattsump_logger.watch.figures import big, curve
from wattsump_logger.watch.moment import Course, Gauge, Screen, Sounding
from wattsump_logger.width import USUAL

__all__ = ("render", "temp_text")

_CELL = 40  # of one temperature in big figures
_FIGURE = 18  # five figures and a point
_TIGHT_CELL = 20
_LEAST_GUIDE = 4
_ALARM_LINES = 2
# The 16 colours that every terminal has.
_URGENT = Style(color="red", bold=True, reverse=True)
_WARNING = Style(color="yellow", bold=True, reverse=True)
_SEEN = Style(color="red", bold=True)
_HOT = Style(color="red", bold=True)
_NEAR = Style(color="yellow", bold=True)
_BRIGHT = Style(bold=True)
_QUIET = Style()
_POSTER = Style(color="white", bgcolor="black")
_NEAR_K = 5.0
_OPEN_K = 15.0
_LEAST_COURSE_K = 3.0
_DEGREE = re.compile(r"°(\S+)")


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: max(width - 1, 0)] + "~"[:width]


def _wrapped(text: str, width: int) -> list[str]:
    """Return a sentence over as many lines as it needs."""
    return textwrap.wrap(text, max(width, 8), subsequent_indent="   ") or [""]


def _packed(parts: Sequence[str], width: int, gap: str = "   ") -> list[str]:
    """Return parts side by side, each whole, over as many lines as they need."""
    lines: list[str] = []
    for part in filter(None, parts):
        if lines and len(lines[-1] + gap + part) <= width:
            lines[-1] += gap + part
        else:
            lines.append(_cut(part, width))
    return lines


def _clock(seconds: float | None) -> str:
    if seconds is None:
        return "-:--:--"
    whole = int(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def temp_text(temp_c: float, units: str, digits: int = 0) -> str:
    """Return the number of a temperature in the units of a system."""
    return f"{to_shown(temp_c, 'temperature', units):.{digits}f}"


def _difference(temp_k: float, units: str, sign: str = "") -> str:
    shown = to_shown(temp_k, "temperature_difference", units)
    return f"{shown:{sign}.1f} {shown_unit('temperature_difference', units)}"


def _degrees(units: str) -> str:
    return "degC" if units == "si" else shown_unit("temperature", units)


def render(
    screen: Screen,
    *,
    width: int = USUAL,
    height: int = 24,
    blocks: bool = True,
    poster: Sequence[str] = (),
) -> tuple[Text, ...]:
    """Return the picture of a moment: at most `height` lines of at most `width` (or 80) columns.

    Lines that do not fit are left out from the bottom of the least important part. `poster`,
    the code a phone scans, takes the place of the figures while the screen asks for it.
    """
    width = min(width, USUAL)
    head = [_head(screen, width), *_alarm_lines(screen, width, height)]
    foot = [
        *_fault_lines(screen, width),
        _mark_line(screen, width),
        *_key_lines(screen, width, bool(poster)),
    ]
    room = max(height - len(head) - len(foot), 0)
    if screen.poster and poster:
        shown = poster if blocks else poster[-1:]
        body = [Text(line, style=_POSTER) for line in shown][:room]
    else:
        body = _body(screen, width, room, blocks=blocks)
    lines = [*head, *body]
    lines += [Text()] * (height - len(lines) - len(foot))
    return tuple(_spelled(line, width, blocks=blocks) for line in [*lines, *foot][:height])


def _spelled(line: Text, width: int, *, blocks: bool) -> Text:
    """Return a line of at most the width, in ASCII where the terminal has no more."""
    if not blocks and not line.plain.isascii():
        line.plain = in_ascii(_DEGREE.sub(r"\1 ", line.plain))
    line.truncate(width)
    return line


def _body(screen: Screen, width: int, room: int, *, blocks: bool) -> list[Text]:
    """Return temperatures, what the machine does, and the guide, in the room there is."""
    has_gap = width >= 2 * _CELL and len(screen.gauges) % 2 == 1
    beside = _extra_lines(screen, _CELL - 4, blocks=blocks)[:3] if has_gap else []
    extra = _extra_lines(screen, width, blocks=blocks)
    phase, others = _phase_lines(screen, width), _others_lines(screen, width)
    guide = _guide_lines(screen, width)
    needed = len(phase) + len(others) + len(guide)
    layouts = (
        (_grid(screen, width, beside, blocks=blocks, spaced=True), extra * (not has_gap)),
        (_grid(screen, width, beside, blocks=blocks, spaced=False), extra * (not has_gap)),
        (_small_grid(screen, width), extra),
        (_tight_grid(screen, width), extra),
    )
    fits = (layout for layout in layouts if len(layout[0]) + needed <= room)
    grid, under = next(fits, layouts[-1])
    grid = _limited(grid, max(room - min(len(guide), _LEAST_GUIDE), room // 2, 1))
    room -= len(grid)
    kept = []
    for part in (phase, guide, others, under):  # what matters most first
        kept.append(part[:room])
        room -= len(kept[-1])
    phase, guide, others, under = kept
    return [*grid, *under, *phase, *others, *guide]


def _limited(grid: list[Text], room: int) -> list[Text]:
    """Return as many lines as there is room for, the last of which says what is missing."""
    if len(grid) <= room:
        return grid
    missing = f"{len(grid) - room + 1} more lines: the terminal is too low"
    return [*grid[: room - 1], Text(missing, style=_NEAR)]


def _head(screen: Screen, width: int) -> Text:
    complete = "" if screen.complete_pct is None else f"complete {screen.complete_pct:.1f} %"
    clock, rows = _clock(screen.elapsed_s), f"{screen.row_count} rows"
    link, name = screen.link.upper(), printable(screen.outing or screen.port)
    style = _QUIET if screen.link == "recording" else _WARNING
    facts = ((clock, rows, complete), (clock, complete), (clock,), ())
    for shown in facts:
        right = "  ".join(filter(None, shown))
        room = width - len(right) - 1
        if len(name) + len(link) + 2 <= room:
            break
    first = f"{_cut(name, max(room - len(link) - 2, 1))}  {link}"[:room]
    return Text.assemble((first, style), " " * (width - len(first) - len(right)), right)


def _alarm_lines(screen: Screen, width: int, height: int) -> list[Text]:
    """Two lines, so that the rest does not move when an alarm comes; fewer on a low screen."""
    alarms = screen.alarms
    lines: list[Text] = []
    for alarm in alarms[:_ALARM_LINES]:
        more = f"  (+{len(alarms) - 2} more)" if len(alarms) > 2 and lines else ""
        style, text, state = _alarm_words(alarm, screen.units)
        room = width - len(state) - len(more) - 2
        *first, last = _wrapped(text, room) if len(alarms) == 1 else [text]
        last = _cut(" ".join([*first[1:], last]), room) + state + more
        lines += [
            Text(f" {body} ".ljust(width)[:width], style=style) for body in (*first[:1], last)
        ]
    kept = _ALARM_LINES if height >= 16 else len(lines)
    return lines + [Text()] * (kept - len(lines))


def _alarm_words(alarm: Sounding, units: str) -> tuple[Style, str, str]:
    state = {State.SEEN: " - seen", State.PASSED: " - OVER, press a"}.get(alarm.state, " - press a")
    text = in_units(printable(alarm.text), units)
    if alarm.state is State.SEEN:
        return _SEEN, text, state
    text = text[:1].upper() + text[1:]
    if alarm.urgent:
        text = text.replace("Alarm", "ALARM", 1)
    return _URGENT if alarm.urgent else _WARNING, text, state


def _grid(
    screen: Screen, width: int, beside: Sequence[Text], *, blocks: bool, spaced: bool
) -> list[Text]:
    """Return big figures; `beside` fills the place of the last where their number is odd."""
    across = max(width // _CELL, 1)
    lines: list[Text] = []
    for at in range(0, len(screen.gauges), across):
        cells = [
            _cell(gauge, screen.units, max(width // across, _CELL), blocks=blocks)
            for gauge in screen.gauges[at : at + across]
        ]
        if len(cells) < across and beside:
            lines_beside = [*beside, *[Text()] * (3 - len(beside))]
            cells.append([Text.assemble("  ", line) for line in lines_beside])
        lines += [Text.assemble(*rows) for rows in zip(*cells, strict=True)]
        if spaced:
            lines.append(Text())
    return lines


def _cell(gauge: Gauge, units: str, width: int, *, blocks: bool) -> list[Text]:
    """Return one temperature as three lines, its unit beside the figure."""
    style, words = _words(gauge, units)
    shown = "" if gauge.value_c is None else temp_text(gauge.value_c, units, 1)
    rows = big(shown, blocks=blocks) if shown else ("", "NO READING", "")
    room = width - _FIGURE - 4
    facts = [
        (_cut(printable(gauge.name), room), _BRIGHT),
        (_rate(gauge, units), _QUIET),
        (words, style),
    ]
    return [
        Text.assemble(
            (row.rjust(_FIGURE), _NEAR if gauge.value_c is None else style or _BRIGHT),
            f" {shown_unit('temperature', units):<3}" if number == 0 and shown else "    ",
            (_cut(text, room).ljust(room), text_style),
        )
        for number, (row, (text, text_style)) in enumerate(zip(rows, facts, strict=True))
    ]


def _rate(gauge: Gauge, units: str) -> str:
    if gauge.rate_k_min is None:
        return ""
    return f"{_difference(gauge.rate_k_min, units, '+')}/min"


def _words(gauge: Gauge, units: str) -> tuple[Style, str]:
    """Return style and words for the limit: how far below it, or that it is passed."""
    if gauge.fault and gauge.value_c is None:
        return _NEAR, printable(gauge.fault)
    margin_k = gauge.margin_k
    if margin_k is None or gauge.limit_c is None:
        return _BRIGHT, ""
    limit = temp_text(gauge.limit_c, units)
    if margin_k <= 0:
        return _HOT, f"{_difference(-margin_k, units)} ABOVE {limit}"
    style = _NEAR if margin_k < _NEAR_K or gauge.loud else _BRIGHT
    return style, f"{_difference(margin_k, units)} to {limit}"


def _small_grid(screen: Screen, width: int) -> list[Text]:
    """One line a temperature, two in a line where there is room: many channels, a low screen."""
    across = max(width // _CELL, 1)
    cell = width // across
    room = max(cell - 22, 0)
    lines = []
    for at in range(0, len(screen.gauges), across):
        parts: list[tuple[str, Style]] = []
        for gauge in screen.gauges[at : at + across]:
            style, words = _words(gauge, screen.units)
            facts = f"{_rate(gauge, screen.units)} {words}".strip()
            if len(facts) > room:
                facts = words
            parts.append((_name_and_value(gauge, screen.units, 20), style))
            parts.append((f" {_cut(facts, room):<{room}} ", _QUIET))
        lines.append(Text.assemble(*parts))
    return lines


def _tight_grid(screen: Screen, width: int) -> list[Text]:
    """Names and values alone."""
    across = max(width // _TIGHT_CELL, 1)
    cells = [
        (f"{_name_and_value(gauge, screen.units, 19)} ", _words(gauge, screen.units)[0])
        for gauge in screen.gauges
    ]
    return [Text.assemble(*cells[at : at + across]) for at in range(0, len(cells), across)]


def _name_and_value(gauge: Gauge, units: str, width: int) -> str:
    value = "----" if gauge.value_c is None else temp_text(gauge.value_c, units, 1)
    room = width - 7
    return f"{_cut(printable(gauge.name), room - 1):<{room}}{value:>7}"


def _extra_lines(screen: Screen, width: int, *, blocks: bool) -> list[Text]:
    """Return the differences that tell of the cooler, and the oil's course."""
    differences = [
        f"{name} {'-' if value is None else _difference(value, screen.units)}"
        for name, value in screen.differences_k
    ]
    lines = [Text(text, style=_BRIGHT) for text in _packed(differences, width)]
    if screen.course and len(screen.course.temps_c) > 1:
        lines.append(Text(_course_text(screen.course, screen.units, width, blocks=blocks)))
    return lines


def _course_text(course: Course, units: str, room: int, *, blocks: bool) -> str:
    """Return the oil's last minutes between their lowest and highest temperature."""
    temps_c = [value for value in course.temps_c if value is not None]
    drawn = curve(course.temps_c, least_span=_LEAST_COURSE_K, blocks=blocks)
    low, high = temp_text(min(temps_c), units), temp_text(max(temps_c), units)
    text = f"{printable(course.name)} {low} {drawn} {high}"
    with_minutes = f"{text}, {course.minutes:.0f} min"
    return with_minutes if len(with_minutes) <= room else _cut(text, room)


def _phase_lines(screen: Screen, width: int) -> list[Text]:
    phase, forecast, units = screen.phase.upper(), screen.forecast, screen.units
    if forecast is None:
        return [Text(line, style=_BRIGHT) for line in _packed([phase], width)]
    minutes, limit = forecast.minutes_to_limit, temp_text(forecast.limit_c, units)
    within_k = 2 * forecast.u_heading_k
    if minutes is not None and forecast.u_heading_k > _OPEN_K:
        # an extrapolation too wide to show as a number
        heading = f"heading far beyond {limit} {_degrees(units)}"
    else:
        shown_k = to_shown(within_k, "temperature_difference", units)
        within = f" +/- {shown_k:.0f}" if within_k else ""
        heading = f"heading for {temp_text(forecast.heading_c, units)}{within} {_degrees(units)}"
    may_reach = forecast.heading_c + within_k >= forecast.limit_c
    if minutes is None:
        reach = f"{'may reach' if may_reach else 'stays below'} {limit}"
    else:
        reach = f"{minutes:.0f} min to {limit}"
    is_near = may_reach if minutes is None else minutes > 5
    style = _NEAR if is_near else _BRIGHT if minutes is None else _HOT
    sentence = f"{heading}, {reach}"
    fits = len(sentence) <= width
    lines = _packed([phase, sentence], width) if fits else [phase, *_wrapped(sentence, width)]
    return [Text(line, style=style) for line in lines]


def _others_lines(screen: Screen, width: int) -> list[Text]:
    return [Text(line) for line in _packed([_other(*other) for other in screen.others], width)]


def _other(column: str, cell: str) -> str:
    name, _, unit = printable(column).rpartition("_")
    if unit == "on":
        return f"{name} {({'1': 'on', '0': 'off'}).get(cell, '-')}"
    text = printable(cell)
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{name} {text or '-'} {unit}"


def _guide_lines(screen: Screen, width: int) -> list[Text]:
    advice, units = screen.advice, screen.units
    if advice is None:
        return []
    head = f"{advice.position}  {advice.stage.upper()}".strip()
    wait = "" if advice.left_s is None else f"at most {_clock(advice.left_s)} more"
    until = in_units(", ".join(filter(None, (wait, advice.until))), units)
    styled = [(f"{head}   {until}".rstrip(), _BRIGHT)]
    styled += [(in_units(advice.urgent, units), _URGENT)] if advice.urgent else []
    styled.append((f"-> {in_units(advice.do, units)}", _QUIET))
    styled += [(f"!  {line}", _NEAR) for line in advice.safety]
    if advice.learned:
        lessons = in_units("; ".join(advice.learned[:3]), units)
        styled.append((f"known: {printable(lessons)}", _QUIET))
    return [Text(line, style=style) for text, style in styled for line in _wrapped(text, width)]


def _fault_lines(screen: Screen, width: int) -> list[Text]:
    if screen.trouble:
        text, style = printable("; ".join(screen.trouble)), _URGENT
    elif screen.faults:
        text, style = "faults  " + printable("; ".join(screen.faults)), _NEAR
    else:
        return [Text("faults  none" if screen.row_count else "")]
    return [Text(_cut(text, width), style=style)]


def _mark_line(screen: Screen, width: int) -> Text:
    if screen.note is not None:
        keys = "   Enter keeps it, Esc does not" if width >= 70 else "  Enter/Esc"
        typed = printable(screen.note)[-(width - len(keys) - 7) :]
        return Text(f"note> {typed}_{keys}", style=_BRIGHT)
    shown: list[str] = []
    for at_s, text in reversed(screen.marks):
        words = in_units(text, screen.units) if by_program(text) else text
        mark = f"{'now' if at_s is None else _clock(at_s)} {printable(words)}"
        if shown and len("marks   " + "   ".join([*shown, mark])) > width:
            break
        shown.append(mark)
    return Text(_cut("marks   " + "   ".join(shown), width) if shown else "")


def _key_lines(screen: Screen, width: int, has_poster: bool) -> list[Text]:
    if screen.note is not None:
        return [Text(_cut("typing: the other keys mark again after Enter", width))]
    if screen.poster and has_poster:
        return [Text("p back  space seen  Ctrl-C ends")]
    keys = ["f fan", "c climb", "l load", "s stop", "n note", "u undo", "space seen"]
    keys += ["g go on"] if screen.advice and not screen.advice.finished else []
    keys += ["p phone"] if has_poster else []
    return [Text(line) for line in _packed([*keys, "Ctrl-C ends"], width, gap="  ")]
