"""Whether two controllers send on one line.

A counter that began anew never comes back to where it stood. So a frame that goes on where the
line stood before its last jump, and not where it stands now, is of a second controller; so is a
reading too soon after another that it does not follow. While that lasts no frame can be given
to either of them with certainty.
"""

__all__ = ("Crossing", "Place")

_WRAP = 2**32
_NEAR = 16  # frames that may be missing between two of one controller
_CALM = 5  # frames in a row of one controller: the other has fallen silent
_SURE = 3  # a single return may be a restart that came to just where it had left

Place = tuple[int, int]  # counter and uptime in ms


class Crossing:
    """Looks at the counter and the uptime of every frame.

    `is_jump`: which controller sent the last frame is not known yet. `needs_hello`: the last
    hello may be of a controller that was unplugged since.
    """

    def __init__(self) -> None:
        self.is_jump = False
        self.needs_hello = False
        self._now: Place | None = None
        self._left: Place | None = None
        self._text = ""
        self._read_ms: int | None = None
        self._is_on = False
        self._calm = 0
        self._times = 0

    def take(
        self, place: Place, text: str, *, period_ms: int, is_reading: bool, boots: bool
    ) -> bool:
        """Return whether the frame is of one of two controllers, nobody knows which."""
        now, before, read_ms = self._now, self._text, self._read_ms
        self._now, self._text = place, text
        if is_reading:
            self._read_ms = place[1]
        if now is None or text == before:
            return self._is_on
        if place[0] == (now[0] + 1) % _WRAP:
            self.is_jump = False
            was_on = self._is_on
            if was_on:
                self._follow_on()
            return was_on
        is_near = _is_near(now, place, period_ms)
        returns = self._left is not None and _is_near(self._left, place, period_ms)
        too_soon = is_reading and read_ms is not None and 0 <= place[1] - read_ms < period_ms / 2
        self._left = now
        self._calm = 0
        if not boots and (too_soon or (returns and not is_near)):
            self._is_on = True
            self._times += 1
        self.is_jump = not is_near and not boots
        return self._is_on

    def _follow_on(self) -> None:
        """Count a frame that follows the last one; enough of them end the crossing."""
        self._calm += 1
        if self._calm >= _CALM:
            self._is_on = False
            self.needs_hello = self.needs_hello or self._times >= _SURE
            self._times = 0


def _is_near(before: Place, after: Place, period_ms: int) -> bool:
    """Return whether one controller may have sent both, with a few frames lost between."""
    frames = (after[0] - before[0]) % _WRAP
    passed_ms = (after[1] - before[1]) % _WRAP
    return 1 <= frames <= _NEAR and passed_ms <= (frames + 1) * period_ms + 1000
