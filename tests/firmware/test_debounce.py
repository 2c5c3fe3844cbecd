"""One mark per press, however the contact chatters."""

from firmware.harness import Harness


def presses(harness: Harness, looks: str) -> list[int]:
    return [at for at, pressed in enumerate(harness.order(f"press {looks}")) if pressed == "1"]


def test_a_press_counts_once_after_twenty_looks_that_agree(harness: Harness) -> None:
    assert presses(harness, "0" * 5 + "1" * 200 + "0" * 200) == [24]


def test_chatter_shorter_than_twenty_looks_is_no_press(harness: Harness) -> None:
    assert presses(harness, ("1" * 19 + "0") * 20) == []


def test_chatter_on_release_is_no_second_press(harness: Harness) -> None:
    chatter = ("0" * 10 + "1" * 10) * 5
    assert presses(harness, "1" * 50 + chatter + "0" * 50) == [19]


def test_two_presses_are_two_marks(harness: Harness) -> None:
    assert presses(harness, ("1" * 30 + "0" * 30) * 2) == [19, 79]
