"""Shows the newest moment: the picture on a terminal, else a plain line a second.

A terminal that cannot move its cursor gets the lines too.
"""

import contextlib
import sys
from collections.abc import Callable, Iterator, Sequence
from typing import TextIO

from rich.console import Console, ConsoleOptions, RenderResult
from rich.live import Live
from rich.text import Text

from wattsump_logger.printable import printable
from wattsump_logger.units.sentences import in_units
from wattsump_logger.watch.alarms import State
from wattsump_logger.watch.moment import Screen
from wattsump_logger.watch.picture import render, temp_text

__all__ = ("Picture", "line", "showing")


def line(screen: Screen) -> str:
    """Return a moment as one plain line, for a file, a pipe or a journal."""
    parts = [f"{screen.outing or screen.port}: {screen.link}", f"{screen.row_count} rows"]
    if screen.elapsed_s is not None:
        parts.append(f"{screen.elapsed_s:.0f} s")
    suffix = "c" if screen.units == "si" else "f"
    parts += [
        f"{gauge.name}_{suffix} "
        + ("-" if gauge.value_c is None else temp_text(gauge.value_c, screen.units, 2))
        for gauge in screen.gauges
    ]
    parts += [f"{column} {cell or '-'}" for column, cell in screen.others]
    if screen.faults:
        parts.append("fault " + "; ".join(screen.faults))
    parts += [
        in_units(alarm.text, screen.units) for alarm in screen.alarms if alarm.state is State.ALARM
    ]
    if screen.advice:
        words = in_units(screen.advice.urgent or screen.advice.do, screen.units)
        parts.append(f"guide {screen.advice.stage}: {words}")
    parts += screen.trouble
    return printable("  ".join(parts))


class Picture:
    """What rich draws: the newest screen, to the size the terminal has now."""

    def __init__(self, poster: Sequence[str] = ()) -> None:
        self.screen = Screen()
        self.poster = poster

    def lines(self, console: Console, height: int | None = None) -> tuple[Text, ...]:
        """Return the newest screen as lines for this console."""
        return render(
            self.screen,
            width=console.size.width,
            height=height or console.size.height,
            blocks=not console.options.ascii_only,
            poster=self.poster,
        )

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the lines."""
        yield Text("\n", no_wrap=True, overflow="crop").join(self.lines(console, options.height))


@contextlib.contextmanager
def showing(
    out: TextIO | None = None,
    *,
    live: bool | None = None,
    every_s: float = 1.0,
    poster: Sequence[str] = (),
) -> Iterator[Callable[[Screen], None]]:
    """Yield a function that shows a screen: the picture on a terminal, else a line now and then.

    Nothing is written while the picture stays the same, and never a blank one first, so
    nothing flickers. A screen that asks for the bell rings it, at most once a second.
    """
    out = sys.stdout if out is None else out
    console = Console(file=out, highlight=False, emoji=False, markup=False)
    can_move = console.is_terminal and not console.is_dumb_terminal
    if not (can_move if live is None else live):
        yield _line_teller(out, every_s)
        return
    picture = Picture(poster)
    before: tuple[object, ...] = ()
    rang_s = float("-inf")
    with Live(picture, console=console, screen=True, auto_refresh=False) as shown:

        def show(screen: Screen) -> None:
            nonlocal before, rang_s
            picture.screen = screen
            now = (console.size, *map(_print_of, picture.lines(console)))
            if now != before:
                before = now
                shown.refresh()
            if screen.bell and screen.now_s - rang_s >= 1.0:
                rang_s = screen.now_s
                console.bell()

        yield show


def _print_of(text: Text) -> tuple[object, ...]:
    """Return everything of a line that can be seen."""
    return text.plain, str(text.style), tuple(text.spans)


def _line_teller(out: TextIO, every_s: float) -> Callable[[Screen], None]:
    """Return a function that writes a line at most every `every_s`."""
    told_s = float("-inf")

    def show(screen: Screen) -> None:
        nonlocal told_s
        if 0 <= screen.now_s - told_s < every_s:
            return
        told_s = screen.now_s
        out.write(line(screen) + "\n")
        out.flush()

    return show
