"""Keys for gloves: one press, one mark; vibration counts once; the terminal is put back."""

import io
import os
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattsump_logger.watch.keys import MARK_KEYS, Action, Keyboard, listening, press, wake


def play(chars: str, step_s: float = 1.0) -> list[Action]:
    keyboard, actions = Keyboard(), list[Action]()
    for count, char in enumerate(chars):
        keyboard, asked = press(keyboard, char, count * step_s)
        actions += asked
    return actions


@pytest.mark.parametrize(("key", "mark"), list(MARK_KEYS.items()))
@pytest.mark.parametrize("shift", [str.lower, str.upper])
def test_one_key_is_one_mark_with_shift_or_without(
    key: str, mark: str, shift: Callable[[str], str]
) -> None:
    assert play(shift(key)) == [Action(what="mark", text=mark)]


@pytest.mark.parametrize("key", ["a", "A", " "])
def test_the_space_bar_acknowledges_as_well(key: str) -> None:
    assert play(key) == [Action(what="seen")]


def test_a_key_held_down_is_one_mark_however_long() -> None:
    assert play("f" * 200, step_s=0.03) == [Action(what="mark", text="fan")]


def test_the_same_key_a_second_later_is_another_mark() -> None:
    assert play("ff") == [Action(what="mark", text="fan")] * 2


def test_a_note_is_marked_at_once_and_its_words_follow() -> None:
    assert play("nmud on core\r") == [
        Action(what="mark", text="note"),
        Action(what="mark", text="note: mud on core"),
    ]


def test_letters_of_a_note_are_no_marks_and_mistakes_can_be_erased() -> None:
    assert play("nfalls\x7f\x7f\x1bf") == [
        Action(what="mark", text="note"),
        Action(what="mark", text="fan"),
    ]


def test_the_note_key_held_down_types_nothing() -> None:
    actions = play("n" * 30 + "\r", step_s=0.03)
    assert actions == [Action(what="mark", text="note")]


def test_a_note_nobody_ends_keeps_its_words_and_frees_the_keys() -> None:
    keyboard = Keyboard()
    for count, char in enumerate("noil "):
        keyboard, _ = press(keyboard, char, count)
    assert wake(keyboard, 30.0) == (keyboard, ())
    keyboard, actions = wake(keyboard, 100.0)
    assert actions == (Action(what="mark", text="note: oil"),)
    assert press(keyboard, "f", 101.0)[1] == (Action(what="mark", text="fan"),)


@settings(deadline=None)
@given(chars=st.text(max_size=400))
def test_any_characters_give_marks_that_are_short_and_printable(chars: str) -> None:
    for action in play(chars, step_s=0.5):
        assert len(action.text) <= 130
        assert action.text.isprintable()


def test_without_a_terminal_no_key_is_ever_pressed() -> None:
    with listening(io.StringIO("ffff")) as read:
        assert read() == ""


def test_a_terminal_gives_keys_without_enter_and_is_put_back_afterwards() -> None:
    termios = pytest.importorskip("termios")
    ours, theirs = os.openpty()
    with open(theirs, encoding="utf-8") as terminal:  # noqa: PTH123 (a handle has no path)
        before = termios.tcgetattr(theirs)
        with listening(terminal) as read:
            os.write(ours, b"fa")
            assert read() == "fa"
            assert read() == ""
            assert termios.tcgetattr(theirs) != before
        assert termios.tcgetattr(theirs) == before
    os.close(ours)
