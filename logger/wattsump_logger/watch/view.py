"""The live screen: a pure function from `watching.Screen` to lines, and what shows them.

Big figures for the temperatures, because the screen hangs an arm's length away; every
state is said in words as well, so that nothing depends on colour. The picture keeps its
height, so that nothing jumps. Where output is no terminal: one plain line a second.
"""

import contextlib
import sys
from collections.abc import Callable, Iterator, Sequence
from typing import TextIO

from rich.console import Console, ConsoleOptions, RenderResult
from rich.live import Live
from rich.style import Style
from rich.text import Text

from wattsump_logger.printable import printable
from wattsump_logger.watch.alarms import State
from wattsump_logger.watch.guide import Advice
from wattsump_logger.watch.watch import Gauge, Screen, Sounding

__all__ = ("Picture", "big", "line", "plain", "render", "showing")

WIDTH = 80
_FIGURE = 19  # five figures and a point
# Common colours of any terminal since the first that had some; no shade beyond the 16.
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

# Three lines a figure, in half blocks: the upper and the lower half of a cell.
_BLOCKS = {
    "0": ("█▀█", "█ █", "▀▀▀"),
    "1": ("▄█ ", " █ ", "▀▀▀"),
    "2": ("▀▀█", "█▀▀", "▀▀▀"),
    "3": ("▀▀█", " ▀█", "▀▀▀"),
    "4": ("█ █", "▀▀█", "  ▀"),
    "5": ("█▀▀", "▀▀█", "▀▀▀"),
    "6": ("█▀▀", "█▀█", "▀▀▀"),
    "7": ("▀▀█", "  █", "  ▀"),
    "8": ("█▀█", "█▀█", "▀▀▀"),
    "9": ("█▀█", "▀▀█", "▀▀▀"),
    "-": ("   ", "▀▀▀", "   "),
    ".": (" ", " ", "▀"),
}
# The same in strokes, for a terminal that knows no blocks.
_STROKES = {
    "0": (" _ ", "| |", "|_|"),
    "1": ("   ", "  |", "  |"),
    "2": (" _ ", " _|", "|_ "),
    "3": (" _ ", " _|", " _|"),
    "4": ("   ", "|_|", "  |"),
    "5": (" _ ", "|_ ", " _|"),
    "6": (" _ ", "|_ ", "|_|"),
    "7": (" _ ", "  |", "  |"),
    "8": (" _ ", "|_|", "|_|"),
    "9": (" _ ", "|_|", " _|"),
    "-": ("   ", " _ ", "   "),
    ".": (" ", " ", "."),
}


def plain(text: str) -> str:
    """Return a text from outside as printable characters of one line.

    >>> plain("mud\\x1b[2J on\\tcore")
    'mud?[2J on?core'
    """
    return printable(text)


def big(text: str, *, blocks: bool = True) -> tuple[str, str, str]:
    """Return a figure of digits, point and minus as three lines.

    >>> print("\\n".join(row.rstrip() for row in big("7.1", blocks=False)))
     _
      |     |
      | .   |
    """
    glyphs = _BLOCKS if blocks else _STROKES
    rows = [" ".join(glyphs[char][row] for char in text) for row in range(3)]
    return rows[0], rows[1], rows[2]


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "~"


def _clock(seconds: float | None) -> str:
    if seconds is None:
        return "-:--:--"
    whole = int(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def render(
    screen: Screen, *, height: int = 24, blocks: bool = True, poster: Sequence[str] = ()
) -> tuple[Text, ...]:
    """Return the picture of a moment: at most `height` lines of at most 80 columns.

    Lines that do not fit are left out from the bottom of the least important part. `poster`,
    the code a phone scans, takes the place of the figures while the screen asks for it.
    """
    head = [_head(screen), *_alarm_lines(screen.alarms)]
    foot = [_fault_line(screen), _mark_line(screen), _key_line(screen, bool(poster))]
    doing = [_doing_line(screen), _others_line(screen)]
    guide = _guide_lines(screen.advice) if screen.advice else []
    room = height - len(head) - len(foot) - len(doing)
    grid = _grid(screen.gauges, blocks=blocks, spaced=True)
    if len(grid) + len(guide) > room:
        grid = _grid(screen.gauges, blocks=blocks, spaced=False)
    if len(grid) + min(len(guide), 4) > room:
        grid = _small_grid(screen.gauges)
    if screen.poster and poster:
        shown = poster if blocks else poster[-1:]
        grid, guide, doing = [Text(line, style=_POSTER) for line in shown], [], []
        room = height - len(head) - len(foot)
    grid = grid[: max(0, room - min(len(guide), 4))]
    guide = guide[: max(0, room - len(grid))]
    lines = [*head, *grid, *doing, *guide]
    lines += [Text()] * (height - len(lines) - len(foot))
    return tuple([*lines, *foot][:height])


def _head(screen: Screen) -> Text:
    left = plain(screen.outing or screen.port)
    complete = "" if screen.complete_pct is None else f"complete {screen.complete_pct:.1f} %"
    right = f"{_clock(screen.elapsed_s)}  {screen.row_count} rows  {complete}".rstrip()
    room = WIDTH - len(right) - 1
    first = _cut(f"{left}  {screen.link.upper()}", room)
    style = _QUIET if screen.link == "recording" else _WARNING
    return Text.assemble((first, style), " " * (WIDTH - len(first) - len(right)), right)


def _alarm_lines(alarms: Sequence[Sounding]) -> list[Text]:
    """Two lines, always: alarms come and go, the picture stands still."""
    lines: list[Text] = []
    for alarm in alarms[:2]:
        more = f"  (+{len(alarms) - 2} more)" if len(alarms) > 2 and lines else ""
        said = {
            State.SEEN: " - seen",
            State.PASSED: " - OVER, press a",
        }.get(alarm.state, " - press a")
        text = alarm.text if alarm.state is State.SEEN else alarm.text[:1].upper() + alarm.text[1:]
        if alarm.state is not State.SEEN and alarm.urgent:
            text = text.replace("Alarm", "ALARM", 1)
        style = _SEEN if alarm.state is State.SEEN else _URGENT if alarm.urgent else _WARNING
        body = _cut(plain(text), WIDTH - len(said) - len(more) - 2) + said + more
        lines.append(Text(f" {body} ".ljust(WIDTH)[:WIDTH], style=style))
    return lines + [Text()] * (2 - len(lines))


def _grid(gauges: Sequence[Gauge], *, blocks: bool, spaced: bool) -> list[Text]:
    lines: list[Text] = []
    for at in range(0, len(gauges), 2):
        cells = [_cell(gauge, blocks=blocks) for gauge in gauges[at : at + 2]]
        lines += [Text.assemble(*rows) for rows in zip(*cells, strict=True)]
        if spaced:
            lines.append(Text())
    return lines


def _cell(gauge: Gauge, *, blocks: bool) -> list[Text]:
    """Return one temperature as three lines of 40 columns."""
    figure = "" if gauge.value_c is None else f"{gauge.value_c:.1f}"
    style, words = _words(gauge)
    rows = big(figure, blocks=blocks) if figure else ("", "NO READING", "")
    said = [(_cut(plain(gauge.name), 19), _BRIGHT), (_rate(gauge), _QUIET), (words, style)]
    return [
        Text.assemble(
            (row.rjust(_FIGURE), _NEAR if gauge.value_c is None else style or _BRIGHT),
            "  ",
            (_cut(text, 19).ljust(19), text_style),
        )
        for row, (text, text_style) in zip(rows, said, strict=True)
    ]


def _rate(gauge: Gauge) -> str:
    return "" if gauge.rate_k_min is None else f"{gauge.rate_k_min:+.1f} K/min"


def _words(gauge: Gauge) -> tuple[Style, str]:
    """Return style and words for the limit: how far below it, or that it is passed."""
    if gauge.fault and gauge.value_c is None:
        return _NEAR, plain(gauge.fault)
    margin_k = gauge.margin_k
    if margin_k is None or gauge.limit_c is None:
        return _BRIGHT, ""
    if margin_k <= 0:
        return _HOT, f"{-margin_k:.1f} K ABOVE {gauge.limit_c:.0f}"
    style = _NEAR if margin_k < _NEAR_K or gauge.loud else _BRIGHT
    return style, f"{margin_k:.1f} K to {gauge.limit_c:.0f}"


def _small_grid(gauges: Sequence[Gauge]) -> list[Text]:
    """One line a temperature, two in a line: for many channels or a low screen."""
    lines = []
    for at in range(0, len(gauges), 2):
        parts: list[tuple[str, Style]] = []
        for gauge in gauges[at : at + 2]:
            style, words = _words(gauge)
            value = "----" if gauge.value_c is None else f"{gauge.value_c:.1f}"
            said = _cut(f"{_rate(gauge)} {words}".strip(), 18)
            parts.append((f"{_cut(plain(gauge.name), 13):<13}{value:>7} ", style))
            parts.append((f"{said:<18} ", _QUIET))
        lines.append(Text.assemble(*parts))
    return lines


def _doing_line(screen: Screen) -> Text:
    forecast = screen.forecast
    if forecast is None:
        return Text(_cut(screen.phase.upper(), WIDTH), style=_BRIGHT)
    minutes = forecast.minutes_to_limit
    within = f" +/- {2 * forecast.u_heading_k:.0f}" if forecast.u_heading_k else ""
    heading = f"heading for {forecast.heading_c:.0f}{within} degC"
    if (
        minutes is not None and forecast.u_heading_k > _OPEN_K
    ):  # far off and unknown: only that it is beyond is known
        heading = f"heading far beyond {forecast.limit_c:.0f} degC"
    may_reach = forecast.heading_c + 2 * forecast.u_heading_k >= forecast.limit_c
    if minutes is None:
        said = f"{'may reach' if may_reach else 'stays below'} {forecast.limit_c:.0f}"
    else:
        said = f"{minutes:.0f} min to {forecast.limit_c:.0f}"
    is_near = may_reach if minutes is None else minutes > 5
    style = _NEAR if is_near else _BRIGHT if minutes is None else _HOT
    return Text(_cut(f"{screen.phase.upper()}   {heading}, {said}", WIDTH), style=style)


def _others_line(screen: Screen) -> Text:
    return Text(_cut("   ".join(_other(*other) for other in screen.others), WIDTH))


def _other(column: str, cell: str) -> str:
    name, _, unit = plain(column).rpartition("_")
    if unit == "on":
        return f"{name} {({'1': 'on', '0': 'off'}).get(cell, '-')}"
    text = plain(cell)
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{name} {text or '-'} {unit}"


def _guide_lines(advice: Advice) -> list[Text]:
    left = "" if advice.left_s is None else f"   at most {_clock(advice.left_s)} more"
    if advice.until:
        left += f"   {advice.until}" if advice.left_s is None else f", {advice.until}"
    lines = [
        Text(_cut(f"{advice.position}  {advice.stage.upper()}{left}".strip(), WIDTH), style=_BRIGHT)
    ]
    if advice.urgent:
        lines.append(Text(_cut(advice.urgent, WIDTH), style=_URGENT))
    lines.append(Text(_cut(f"-> {advice.do}", WIDTH)))
    lines += [Text(_cut(f"!  {line}", WIDTH), style=_NEAR) for line in advice.safety]
    if advice.learned:
        lines.append(Text(_cut("known: " + plain("; ".join(advice.learned[:3])), WIDTH)))
    return lines


def _fault_line(screen: Screen) -> Text:
    if screen.trouble:
        return Text(_cut(plain("; ".join(screen.trouble)), WIDTH), style=_URGENT)
    if screen.faults:
        return Text(_cut("faults  " + plain("; ".join(screen.faults)), WIDTH), style=_NEAR)
    return Text("faults  none" if screen.row_count else "")


def _mark_line(screen: Screen) -> Text:
    if screen.note is not None:
        typed = plain(screen.note)[-55:]
        return Text(f"note> {typed}_   Enter keeps it, Esc does not", style=_BRIGHT)
    said: list[str] = []
    for at_s, text in reversed(screen.marks):
        mark = f"{'now' if at_s is None else _clock(at_s)} {plain(text)}"
        if said and len("marks   " + "   ".join([*said, mark])) > WIDTH:
            break
        said.append(mark)
    return Text(_cut("marks   " + "   ".join(said), WIDTH) if said else "")


def _key_line(screen: Screen, has_poster: bool) -> Text:
    if screen.note is not None:
        return Text("typing: the other keys mark again after Enter")
    go_on = "  g go on" if screen.advice and not screen.advice.finished else ""
    phone = "  p phone" if has_poster else ""
    marks = "f fan  c climb  l load  s stop  n note"
    return Text(_cut(f"{marks}   a or space: seen{go_on}{phone}   Ctrl-C ends", WIDTH))


def line(screen: Screen) -> str:
    """Return a moment as one plain line, for a file, a pipe or a journal."""
    parts = [f"{screen.outing or screen.port}: {screen.link}", f"{screen.row_count} rows"]
    if screen.elapsed_s is not None:
        parts.append(f"{screen.elapsed_s:.0f} s")
    parts += [
        f"{gauge.name}_c {'-' if gauge.value_c is None else format(gauge.value_c, '.2f')}"
        for gauge in screen.gauges
    ]
    parts += [f"{column} {cell or '-'}" for column, cell in screen.others]
    if screen.faults:
        parts.append("fault " + "; ".join(screen.faults))
    parts += [alarm.text for alarm in screen.alarms if alarm.state is State.ALARM]
    if screen.advice:
        parts.append(f"guide {screen.advice.stage}: {screen.advice.urgent or screen.advice.do}")
    parts += screen.trouble
    return plain("  ".join(parts))


class Picture:
    """What rich draws: the newest screen, to the height the terminal has now."""

    def __init__(self, poster: Sequence[str] = ()) -> None:
        self.screen = Screen()
        self.poster = poster

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the lines."""
        height = options.height or console.size.height
        blocks = not options.ascii_only
        lines = render(self.screen, height=height, blocks=blocks, poster=self.poster)
        yield Text("\n", no_wrap=True, overflow="crop").join(lines)  # a narrow one shows less


@contextlib.contextmanager
def showing(
    out: TextIO | None = None,
    *,
    live: bool | None = None,
    every_s: float = 1.0,
    poster: Sequence[str] = (),
) -> Iterator[Callable[[Screen], None]]:
    """Yield what shows a screen: the picture on a terminal, else a line now and then.

    Nothing is written while the picture stays the same, and never a blank one first, so
    nothing flickers. A screen that asks for the bell rings it, at most once a second.
    """
    out = sys.stdout if out is None else out
    console = Console(file=out, highlight=False, emoji=False, markup=False)
    if not (console.is_terminal if live is None else live):
        yield _line_teller(out, every_s)
        return
    picture = Picture(poster)
    before: tuple[object, ...] = ()
    rang_s = float("-inf")
    with Live(picture, console=console, screen=True, auto_refresh=False) as shown:

        def show(screen: Screen) -> None:
            nonlocal before, rang_s
            picture.screen = screen
            lines = render(screen, height=console.size.height, poster=poster)
            now = (console.size, *map(_print_of, lines))
            if now != before:
                before = now
                shown.refresh()
            if screen.bell and screen.now_s - rang_s >= 1.0:
                rang_s = screen.now_s
                console.bell()

        yield show


def _print_of(text: Text) -> tuple[object, ...]:
    """Return what makes two lines look different."""
    return text.plain, str(text.style), tuple(text.spans)


def _line_teller(out: TextIO, every_s: float) -> Callable[[Screen], None]:
    """Return what writes a line now and then."""
    told_s = float("-inf")

    def show(screen: Screen) -> None:
        nonlocal told_s
        if 0 <= screen.now_s - told_s < every_s:
            return
        told_s = screen.now_s
        out.write(line(screen) + "\n")
        out.flush()

    return show
