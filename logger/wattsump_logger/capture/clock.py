"""The host's two clocks, and the times they give to received bytes.

Wall time may be stepped, back or by years. Monotonic time never is, but it starts again
with the host. An `Anchor` holds both.
"""

import time
from dataclasses import dataclass
from typing import Protocol

__all__ = ("NO_ANCHOR", "Anchor", "Clock", "FastClock", "HostClock")


@dataclass(frozen=True, slots=True, kw_only=True)
class Anchor:
    """When the host received something; None where there was no host, as on a card."""

    utc_ms: int | None
    mono_ms: int | None


_ALWAYS: int | None = getattr(time, "CLOCK_BOOTTIME", None)
NO_ANCHOR = Anchor(utc_ms=None, mono_ms=None)


class Clock(Protocol):
    """Where anchors come from."""

    def anchor(self) -> Anchor:
        """Return the present moment: ms since 1970-01-01 UTC, and monotonic ms."""


class HostClock:
    """The clocks of this computer."""

    def anchor(self) -> Anchor:
        """Return the present moment."""
        return Anchor(utc_ms=time.time_ns() // 1_000_000, mono_ms=_steady_ns() // 1_000_000)


def _steady_ns() -> int:
    """Return monotonic time that also counts while a laptop sleeps, if the system has it."""
    return time.monotonic_ns() if _ALWAYS is None else time.clock_gettime_ns(_ALWAYS)


class FastClock:
    """Clocks that run `speed` times as fast, to go with a fast emulated controller."""

    def __init__(self, speed: float, start_utc_ms: int) -> None:
        self._speed = speed
        self._start_utc_ms = start_utc_ms
        self._began_s = time.monotonic()

    def anchor(self) -> Anchor:
        """Return the present moment in fast time."""
        passed_ms = round((time.monotonic() - self._began_s) * self._speed * 1000)
        return Anchor(utc_ms=self._start_utc_ms + passed_ms, mono_ms=passed_ms)
