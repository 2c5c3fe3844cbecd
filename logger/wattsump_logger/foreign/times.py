"""Times typed by the owner: when fan, engine, drive or heater were on."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wattsump_logger.arrays import FloatArray
from wattsump_logger.errors import UsageError
from wattsump_logger.machine.parts import Role

__all__ = ("Typed", "states", "time_of_day", "typed_times")

_ROLES = (Role.FAN, Role.ENGINE, Role.DRIVE, Role.HEATER)
_ON = frozenset({"on", "running", "working", "moving", "ran"})
_OFF = frozenset({"off", "stopped", "standing"})
_AT = r"(\d{1,2}:\d{2}(?::\d{2})?|\d+(?:\.\d+)?\s*(?:s|min|h))"
_HALF_DAY = re.compile(r"(\d{1,2}):(\d{2}(?::\d{2})?)\s*([ap])\.?m\b\.?")
_SPAN = re.compile(rf"(?:from\s+)?{_AT}(?:\s+to\s+|\s*[-–]\s*)({_AT}|end|the end)")
_WHOLE = frozenset({"throughout", "all the time", "always"})
_UNIT_S = {"s": 1.0, "min": 60.0, "h": 3600.0}
_DAY_S = 86_400.0
_EXAMPLE = (
    "'fan on 09:10 to 09:40, 09:50 to 10:05', 'engine on 5 min to 95 min', 'fan on throughout'"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """One typed line: `spans` are texts of begin and end, none for the whole outing."""

    role: Role
    is_on: bool
    spans: tuple[tuple[str, str], ...]
    text: str

    @property
    def column(self) -> str:
        """The session column it makes."""
        return f"{self.role.value}_on"


def typed_times(texts: Sequence[str]) -> tuple[Typed, ...]:
    """Return the typed lines, one for each role.

    Raises
    ------
    UsageError
        A line that cannot be read, or a role typed twice.
    """
    lines = tuple(_line(text) for text in texts)
    roles = [line.role for line in lines]
    twice = next((role for role in roles if roles.count(role) > 1), None)
    if twice is not None:
        raise _bad(f"{twice.value} twice", "write all its times in one, with commas between")
    return lines


def states(typed: Typed, elapsed_s: FloatArray, clock_s: float | None) -> FloatArray:
    """Return 0 or 1 of each row, shape (n,).

    Parameters
    ----------
    typed : Typed
        The role and its times.
    elapsed_s : ndarray, shape (n,)
        Seconds since the first row.
    clock_s : float or None
        Time of day at the first row [s], None where the file has no clock.

    Raises
    ------
    UsageError
        A clock time for a file without one, or a time outside the file.
    """
    if not typed.spans:
        return np.full(elapsed_s.shape, 1.0 if typed.is_on else 0.0)
    inside = np.zeros(elapsed_s.shape, dtype=bool)
    length_s = float(elapsed_s[-1])
    for begin, end in typed.spans:
        begin_s = _at_s(begin, clock_s, length_s, typed.text)
        at_end = end.endswith("end")
        end_s = length_s if at_end else _at_s(end, clock_s, length_s, typed.text)
        if end_s <= begin_s or begin_s > length_s:
            raise _bad(
                f"{begin} to {end} in {typed.text!r}, outside this file or empty",
                f"the file is {length_s / 60:.0f} min long"
                + ("" if clock_s is None else f" and begins at {time_of_day(clock_s)}"),
            )
        inside |= (elapsed_s >= begin_s) & ((elapsed_s < end_s) | (end_s >= length_s))
    return np.where(inside == typed.is_on, 1.0, 0.0)


def _bad(found: str, do: str) -> UsageError:
    return UsageError(expected=f"times such as {_EXAMPLE}", found=found, where="--was", do=do)


def _line(text: str) -> Typed:
    words = _HALF_DAY.sub(_whole_day, text.strip().lower()).split(maxsplit=2)
    roles = {role.value: role for role in _ROLES}
    if len(words) < 3 or words[0] not in roles or words[1] not in _ON | _OFF:
        raise _bad(repr(text), "begin with fan, engine, drive or heater, then on or off")
    rest = words[2]
    is_on = words[1] in _ON
    if rest in _WHOLE:
        return Typed(role=roles[words[0]], is_on=is_on, spans=(), text=text.strip())
    spans = []
    for part in rest.split(","):
        match = _SPAN.fullmatch(part.strip())
        if match is None:
            do = "write begin to end, as hours and minutes or in min"
            if roles.keys() & set(part.split()):
                do = "type --was again for each of them"
            raise _bad(repr(part.strip()), do)
        spans.append((match[1], match[2]))
    return Typed(role=roles[words[0]], is_on=is_on, spans=tuple(spans), text=text.strip())


def _whole_day(clock: re.Match[str]) -> str:
    """Return a 12-hour time in 24 hours: 12 am is 00, 12 pm is 12."""
    hour = int(clock[1])
    if not 1 <= hour <= 12:
        raise _bad(repr(clock[0]), "write hours of 1 to 12 with am and pm")
    return f"{hour % 12 + 12 * (clock[3] == 'p'):02d}:{clock[2]}"


def _at_s(at: str, clock_s: float | None, length_s: float, text: str) -> float:
    """Return a typed time as seconds since the first row; a clock wraps at midnight."""
    if ":" not in at:
        match = re.fullmatch(r"([\d.]+)\s*(s|min|h)", at)
        assert match is not None, "the pattern of a span allows no other form"
        return float(match[1]) * _UNIT_S[match[2]]
    if clock_s is None:
        raise _bad(
            f"{at} in {text!r}, and a file without a clock",
            "write minutes since its first row, as in '12 min to 40 min'",
        )
    hours, minutes, seconds = (float(part) for part in (at + ":0").split(":")[:3])
    since_s = hours * 3600 + minutes * 60 + seconds - clock_s
    # A minute before the file begins is that minute, not the next day's.
    if since_s < 0 and since_s + _DAY_S <= length_s + 60:
        return since_s + _DAY_S
    return since_s


def time_of_day(clock_s: float) -> str:
    """Return seconds since midnight as hours, minutes and seconds."""
    whole = int(clock_s)
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}"
