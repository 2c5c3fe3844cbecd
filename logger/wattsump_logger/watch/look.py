"""The present state of an outing: values, rates of change, faults, and what the machine does.

Alarms, guides and the live view read a `Look`. `History` makes one of each sample and those
before it; its memory is bounded.
"""

import math
from collections import deque
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from wattsump_logger.machine.profile import Profile, column_of

__all__ = (
    "FAULT_WINDOW_S",
    "RATE_WINDOW_S",
    "History",
    "Look",
    "Trail",
    "channel_of",
    "phase_of",
    "rate_k_min",
)

# Common practice, no source: a minute of quarter-kelvin steps gives some 0.1 K/min.
RATE_WINDOW_S = 60.0
FAULT_WINDOW_S = 30.0
_LEAST_LOOKS = 10  # kept however old: of fewer, one fault would be a large share
_LEAST_SPAN_S = 15.0
_SPACING_S = 0.5  # closer samples of a temperature add memory and no information
_STEADY_K_MIN = 0.15
_TRAIL_BIN_S = 30.0
_TRAIL_BINS = 20
# Values from which a column of this unit means "on": below 100 r/min an engine is being cranked
# or the pickup counts noise. Common practice, no source.
_ON_FROM = {"on": 0.5, "rpm": 100.0, "w": 1.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One moment of an outing; `None` is no reading.

    `values` and `rates_k_min` go by session column, `fault_share` by channel name: the
    share of the last half minute, or of the last ten looks, in which that channel had a fault
    or no reading. `marks` reached the session since the last look, each with its elapsed seconds.
    `profile` gives the channel of a role where its name is not
    the role's.
    """

    now_s: float
    elapsed_s: float | None = None
    silent_s: float = 0.0
    values: Mapping[str, float | None] = field(default_factory=dict)
    rates_k_min: Mapping[str, float | None] = field(default_factory=dict)
    fault_share: Mapping[str, float] = field(default_factory=dict)
    marks: tuple[tuple[float, str], ...] = ()
    profile: Profile | None = None

    def column(self, role: str) -> str:
        """Return the column that plays a role, "" where none does."""
        return column_of(role, self.values, self.profile) or ""

    def read(self, role: str) -> float | None:
        """Return the reading of the channel that plays a role."""
        return self.values.get(self.column(role))

    def is_on(self, role: str) -> bool | None:
        """Tell whether the engine, drive, fan or heater is on; None if no column shows it."""
        column = self.column(role)
        value = self.values.get(column)
        return None if value is None else value >= _ON_FROM.get(column.rpartition("_")[2], 0.5)

    @property
    def is_working(self) -> bool | None:
        """Tell whether the drive turns, or the engine where no column shows the drive."""
        drive = self.is_on("drive")
        return self.is_on("engine") if drive is None else drive


def channel_of(column: str) -> str:
    """Return the name of the channel a session column belongs to.

    >>> channel_of("case_drain_c")
    'case_drain'
    """
    return column.rpartition("_")[0] or column


def rate_k_min(times_s: Sequence[float], temps_c: Sequence[float]) -> float | None:
    """Return the least-squares slope in K/min, None where the window is too short.

    >>> rate_k_min([0, 10, 20, 30], [20.0, 20.5, 21.0, 21.5])
    3.0
    """
    n = len(times_s)
    if n < 3 or times_s[-1] - times_s[0] < _LEAST_SPAN_S:
        return None
    mean_s, mean_c = sum(times_s) / n, sum(temps_c) / n
    squares = sum((t - mean_s) ** 2 for t in times_s)
    products = sum((t - mean_s) * (c - mean_c) for t, c in zip(times_s, temps_c, strict=True))
    return 60.0 * products / squares


class History:
    """The last minute of each temperature; of faults half a minute, at least ten looks."""

    def __init__(self, profile: Profile | None = None) -> None:
        self._profile = profile
        self._temps: dict[str, deque[tuple[float, float]]] = {}
        self._faulty: deque[tuple[float, frozenset[str]]] = deque(maxlen=1000)

    def take(
        self,
        *,
        now_s: float,
        elapsed_s: float | None,
        silent_s: float,
        cells: Mapping[str, str],
        faulty: Collection[str] = (),
        marks: Sequence[tuple[float, str]] = (),
    ) -> Look:
        """Take the newest cells, and the channels at fault and the marks since the last call."""
        values = {column: _number(cell) for column, cell in cells.items()}
        if elapsed_s is not None:
            self._remember(elapsed_s, values)
        missing = {channel_of(column) for column, value in values.items() if value is None}
        if cells:
            self._faulty.append((now_s, frozenset(missing.union(faulty))))
        while len(self._faulty) > _LEAST_LOOKS and self._faulty[0][0] < now_s - FAULT_WINDOW_S:
            self._faulty.popleft()
        return Look(
            now_s=now_s,
            elapsed_s=elapsed_s,
            silent_s=silent_s,
            values=values,
            rates_k_min={column: self._rate(column) for column in values if column.endswith("_c")},
            fault_share=self._shares([channel_of(column) for column in values]),
            marks=tuple(marks),
            profile=self._profile,
        )

    def _remember(self, elapsed_s: float, values: Mapping[str, float | None]) -> None:
        for column, value in values.items():
            if value is None or not column.endswith("_c"):
                continue
            kept = self._temps.setdefault(column, deque())
            if kept and elapsed_s < kept[-1][0]:
                kept.clear()  # another outing has begun
            if not kept or elapsed_s - kept[-1][0] >= _SPACING_S:
                kept.append((elapsed_s, value))
            while kept[0][0] < elapsed_s - RATE_WINDOW_S:
                kept.popleft()
        for column in self._temps.keys() - values.keys():
            del self._temps[column]

    def _rate(self, column: str) -> float | None:
        kept = self._temps.get(column, ())
        return rate_k_min([t for t, _ in kept], [c for _, c in kept])

    def _shares(self, channels: Collection[str]) -> dict[str, float]:
        n = len(self._faulty)
        return {
            name: sum(name in faulty for _, faulty in self._faulty) / n if n else 0.0
            for name in channels
        }


class Trail:
    """The last ten minutes of one temperature in steps of half a minute."""

    minutes = _TRAIL_BIN_S * _TRAIL_BINS / 60.0

    def __init__(self) -> None:
        self._newest_of: deque[tuple[int, float]] = deque(maxlen=_TRAIL_BINS)

    def take(self, elapsed_s: float | None, value_c: float | None) -> tuple[float | None, ...]:
        """Take the newest reading; return the last of each step, None for a step without one."""
        if elapsed_s is not None and value_c is not None:
            step = int(elapsed_s // _TRAIL_BIN_S)
            if self._newest_of and step < self._newest_of[-1][0]:
                self._newest_of.clear()  # another outing has begun
            if self._newest_of and step == self._newest_of[-1][0]:
                self._newest_of.pop()
            self._newest_of.append((step, value_c))
        if not self._newest_of:
            return ()
        there, last = dict(self._newest_of), self._newest_of[-1][0]
        first = max(self._newest_of[0][0], last - _TRAIL_BINS + 1)
        return tuple(there.get(step) for step in range(first, last + 1))


def _number(cell: str) -> float | None:
    try:
        value = float(cell)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def phase_of(look: Look) -> str:
    """Return in a word or two what the machine does, from its flags and the oil's rate."""
    engine, drive = look.is_on("engine"), look.is_on("drive")
    if engine is False:
        return "preheating" if look.is_on("heater") else "stopped"
    rate = look.rates_k_min.get(look.column("tank"))
    trend = ""
    if rate is not None:
        trend = "steady" if abs(rate) < _STEADY_K_MIN else "warming" if rate > 0 else "cooling"
    doing = "" if engine is None and drive is None else "working" if drive else "idling"
    return ", ".join(word for word in (doing, trend) if word) or "not known yet"
