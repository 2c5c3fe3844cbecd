"""Keys for a gloved hand: one press, one mark; a key held down or shaken counts once.

`Keyboard` is a pure state machine over characters; `listening` gets them from a terminal
without waiting for Enter; where there is no terminal there are none.
"""

import contextlib
import os
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TextIO

__all__ = ("LONGEST_NOTE", "MARK_KEYS", "Action", "Keyboard", "listening", "press", "wake")

MARK_KEYS = {"f": "fan", "c": "climb", "l": "load", "s": "stop", "n": "note"}
_ACKNOWLEDGE = ("a", " ")  # the space bar is the easiest key for a glove
_GO_ON = ("g",)
_POSTER = ("p",)
_UNDO = ("u",)
_ONCE_S = 0.7  # a second press of the same key within this time is vibration
_TYPING_ENDS_S = 60.0
LONGEST_NOTE = 120
_ENTER, _ERASE, _ESCAPE = ("\r", "\n"), ("\x7f", "\b"), "\x1b"


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """What is asked for: `mark` with its text, `undo`, `seen` (acknowledge), `go_on`, `poster`."""

    what: str
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Keyboard:
    """The last key pressed, and the note being typed (None: no note)."""

    last: str = ""
    last_s: float = float("-inf")
    note: str | None = None


def press(keyboard: Keyboard, char: str, now_s: float) -> tuple[Keyboard, tuple[Action, ...]]:
    """Return the keyboard after one character, and what it asks for.

    `n` marks the moment at once; words may follow and end with Enter, or with Esc to
    have none. Without words the mark stays as it is.
    """
    if keyboard.note is not None:
        return _typed(keyboard, char, now_s)
    key = char.lower()
    after = replace(keyboard, last=key, last_s=now_s)
    if key == keyboard.last and now_s - keyboard.last_s < _ONCE_S:
        return after, ()
    if key in MARK_KEYS:
        if key == "n":
            after = replace(after, note="")
        return after, (Action(what="mark", text=MARK_KEYS[key]),)
    if key in _ACKNOWLEDGE:
        return after, (Action(what="seen"),)
    if key in _GO_ON:
        return after, (Action(what="go_on"),)
    if key in _UNDO:
        return after, (Action(what="undo"),)
    if key in _POSTER:
        return after, (Action(what="poster"),)
    return after, ()


def _typed(keyboard: Keyboard, char: str, now_s: float) -> tuple[Keyboard, tuple[Action, ...]]:
    note = keyboard.note or ""
    if char == "n" and not note and now_s - keyboard.last_s < _ONCE_S:
        return replace(keyboard, last_s=now_s), ()
    after = replace(keyboard, last_s=now_s)
    if char in _ENTER:
        return replace(after, note=None, last=""), _note(note)
    if char == _ESCAPE:
        return replace(after, note=None, last=""), ()
    if char in _ERASE:
        return replace(after, note=note[:-1]), ()
    if char.isprintable() and len(note) < LONGEST_NOTE:
        return replace(after, note=note + char), ()
    return after, ()


def _note(note: str) -> tuple[Action, ...]:
    text = note.strip()
    return (Action(what="mark", text=f"note: {text}"),) if text else ()


def wake(keyboard: Keyboard, now_s: float) -> tuple[Keyboard, tuple[Action, ...]]:
    """End a note that nobody continues, so that the keys mark again; its words are kept."""
    if keyboard.note is None or now_s - keyboard.last_s < _TYPING_ENDS_S:
        return keyboard, ()
    return replace(keyboard, note=None, last=""), _note(keyboard.note)


@contextlib.contextmanager
def listening(stream: TextIO | None = None) -> Iterator[Callable[[], str]]:
    """Yield a function that returns the characters pressed since it was last called.

    The terminal is put back as it was at the end, whatever happens.
    """
    stream = sys.stdin if stream is None else stream
    try:
        is_terminal = stream.isatty()
    except (AttributeError, ValueError):  # no stdin at all, as under a service
        is_terminal = False
    if not is_terminal:
        yield lambda: ""
    elif os.name == "posix":
        with _unbuffered(stream.fileno()) as read:
            yield read
    else:
        yield _console_keys


@contextlib.contextmanager
def _unbuffered(handle: int) -> Iterator[Callable[[], str]]:
    import select
    import termios
    import tty

    before = termios.tcgetattr(handle)

    def read() -> str:
        if not select.select([handle], [], [], 0)[0]:
            return ""
        with contextlib.suppress(OSError):
            return os.read(handle, 256).decode("utf-8", "ignore")
        return ""

    try:
        # Without waiting for output: a stopped terminal never finishes writing.
        tty.setcbreak(handle, termios.TCSANOW)
        quiet = termios.tcgetattr(handle)
        quiet[0] &= ~termios.IXON  # a stray Ctrl-S would stop the screen
        termios.tcsetattr(handle, termios.TCSANOW, quiet)
        yield read
    finally:
        termios.tcsetattr(handle, termios.TCSANOW, before)


def _console_keys() -> str:
    import importlib

    console = importlib.import_module("msvcrt")  # exists on one system only
    pressed = ""
    while console.kbhit():
        pressed += console.getwch()
    return pressed
