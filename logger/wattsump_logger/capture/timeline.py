"""Turns the controller's uptime into one increasing time for an outing.

Elapsed time counts from the first reading and follows the controller's clock. A restart
begins a new stretch, placed by the host's monotonic clock. Without such a clock it is placed at
the earliest possible time, the last frame plus the new uptime, and flagged as unknown.
UTC follows the host's clock and is left out while that clock is plainly not set.
"""

from dataclasses import dataclass

from wattsump_logger.capture.clock import Anchor

__all__ = ("CLOCK_SET_FROM_MS", "Timeline")

CLOCK_SET_FROM_MS = 1_735_689_600_000  # 2025-01-01: this software did not exist before
_WRAP_MS = 2**32
_STEP_MS = 2_000  # a larger jump of wall against monotonic time is a step, not an adjustment
_DRIFT_MS = 500  # how far the controller's clock may drift from the host's
_SLACK_MS = 2_000  # and how far they may differ over a lost connection,
_SLACK_SHARE = 0.02  # with a ceramic resonator's 0.5 % well inside (common, no source)
_PACED_MS = 60_000  # over which their paces are compared


# Not frozen: it changes with every frame.
@dataclass(slots=True, kw_only=True)
class Timeline:
    """Places frames in time."""

    start_utc_ms: int | None = None  # as typed by the user, for boards without a clock
    last_ms: int = -1  # elapsed time of the last frame placed
    _shift_ms: int | None = None  # elapsed time minus uptime
    _stepped_from_ms: int | None = None  # the same before the last frame's uptime was not followed
    _last_uptime_ms: int = 0
    _last_mono_ms: int | None = None
    _paced_from: tuple[int, int] | None = None  # elapsed and monotonic time a minute ago
    _zero_utc_ms: int | None = None  # UTC at elapsed time 0
    _wall_minus_mono_ms: int | None = None

    def place(self, uptime_ms: int, anchor: Anchor) -> int:
        """Return the elapsed ms of a frame of the running stretch."""
        if self._shift_ms is None:
            self._shift_ms = -uptime_ms
        self._last_uptime_ms = uptime_ms
        self._last_mono_ms = anchor.mono_ms
        return uptime_ms + self._shift_ms

    def advance(self, elapsed_ms: int) -> int:
        """Take a row at this time; rows are at least 1 ms apart."""
        self.last_ms = max(elapsed_ms, self.last_ms + 1)
        return self.last_ms

    def begin_here(self, uptime_ms: int) -> None:
        """Let elapsed time be 0 at this uptime."""
        if self._shift_ms is not None and self._zero_utc_ms is not None:
            self._zero_utc_ms += uptime_ms + self._shift_ms
        self._shift_ms = -uptime_ms
        self.last_ms = -1

    def wrap(self) -> None:
        """Continue the stretch after uptime has wrapped to 0."""
        if self._shift_ms is not None:
            self._shift_ms += _WRAP_MS

    def reboot(self, uptime_ms: int, anchor: Anchor) -> bool:
        """Begin a new stretch; False if how long the restart took is not known."""
        if self._shift_ms is None:
            return True
        last_ms = self._last_uptime_ms + self._shift_ms
        passed_ms = uptime_ms
        ours_ms = self._ours_ms(anchor)
        if ours_ms is not None:
            # An uptime far beyond ours is false: nothing began anew so long ago.
            is_false = uptime_ms - ours_ms > _SLACK_MS + _SLACK_SHARE * ours_ms
            passed_ms = ours_ms if is_false else max(uptime_ms, ours_ms)
        self._shift_ms = last_ms + max(passed_ms, 1) - uptime_ms
        return ours_ms is not None

    def _ours_ms(self, anchor: Anchor) -> int | None:
        """Return the time since the last frame by the host's clock, None without one."""
        if anchor.mono_ms is None or self._last_mono_ms is None:
            return None
        return anchor.mono_ms - self._last_mono_ms

    def step(self, uptime_ms: int, anchor: Anchor, period_ms: int) -> None:
        """Place an uptime that cannot be right just after the last frame."""
        if self._shift_ms is None:
            return
        ours_ms = self._ours_ms(anchor)
        passed_ms = period_ms if ours_ms is None else ours_ms
        last_ms = self._last_uptime_ms + self._shift_ms
        self._stepped_from_ms = self._shift_ms
        self._shift_ms = last_ms + max(passed_ms, 1) - uptime_ms

    def returns(self, uptime_ms: int, period_ms: int) -> bool:
        """Undo a step if this uptime continues the time before it."""
        before_ms, self._stepped_from_ms = self._stepped_from_ms, None
        if before_ms is None or self._shift_ms is None:
            return False
        passed_ms = uptime_ms + before_ms - self._last_uptime_ms - self._shift_ms
        if not 0 < passed_ms <= 3 * period_ms:
            return False
        # The last frame keeps its place in time; its uptime is now by the restored clock.
        self._last_uptime_ms += self._shift_ms - before_ms
        self._shift_ms = before_ms
        return True

    def leaps(self, uptime_ms: int, anchor: Anchor, period_ms: int) -> bool:
        """Tell whether uptime ran ahead by several readings that the host had no time to miss.

        For frames whose counter shows that none is missing; needs the host's clock.
        """
        ours_ms = self._ours_ms(anchor)
        if ours_ms is None:
            return False
        theirs_ms = uptime_ms - self._last_uptime_ms
        return theirs_ms > 3 * period_ms + _SLACK_MS and theirs_ms > 2 * ours_ms + _SLACK_MS

    def is_slow(self, elapsed_ms: int, anchor: Anchor) -> bool:
        """Tell, once a minute, whether elapsed time ran at less than half the host's pace."""
        if anchor.mono_ms is None:
            return False
        since, now = self._paced_from, (elapsed_ms, anchor.mono_ms)
        if since is not None and now[1] - since[1] < _PACED_MS:
            return False
        self._paced_from = now
        return since is not None and now[0] - since[0] < (now[1] - since[1]) / 2

    def fits(self, uptime_ms: int, anchor: Anchor) -> bool:
        """Tell whether the controller's clock ran on as long as ours since the last frame."""
        ours_ms = self._ours_ms(anchor)
        if ours_ms is None:
            return True
        theirs_ms = (uptime_ms - self._last_uptime_ms) % _WRAP_MS
        return abs(ours_ms - theirs_ms) <= _SLACK_MS + _SLACK_SHARE * ours_ms

    def read_clock(self, elapsed_ms: int, anchor: Anchor) -> int | None:
        """Follow the host's clock at a frame; return by how many ms it was stepped, None if not."""
        utc_ms, mono_ms = anchor.utc_ms, anchor.mono_ms
        if self.start_utc_ms is not None:
            self._zero_utc_ms = self.start_utc_ms
            return None
        if utc_ms is None or utc_ms < CLOCK_SET_FROM_MS:
            return None
        wall_minus_mono_ms = None if mono_ms is None else utc_ms - mono_ms
        before, self._wall_minus_mono_ms = self._wall_minus_mono_ms, wall_minus_mono_ms
        zero_ms = utc_ms - elapsed_ms
        if self._zero_utc_ms is None or abs(zero_ms - self._zero_utc_ms) > _DRIFT_MS:
            self._zero_utc_ms = zero_ms
        if before is None or wall_minus_mono_ms is None:
            return None
        step_ms = wall_minus_mono_ms - before
        return step_ms if abs(step_ms) > _STEP_MS else None

    def utc_ms(self, elapsed_ms: int) -> int | None:
        """Return UTC at an elapsed time, None while it is not known."""
        return None if self._zero_utc_ms is None else self._zero_utc_ms + elapsed_ms
