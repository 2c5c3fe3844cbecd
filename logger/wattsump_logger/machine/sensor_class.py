"""Tolerance classes of temperature sensors and the standard uncertainty they leave.

The half-widths are those of new thermocouple wire: IEC 60584-1:2013 (formerly
IEC 60584-2:1982 with A1:1989) classes 1 to 3, and ASTM E230 special and standard.
A tolerance says nothing of where inside it a probe lies, so it is taken as rectangular:
u = half-width / sqrt(3) (JCGM 100:2008, 4.3.7).
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from wattsump_logger.errors import UsageError

__all__ = ("BOARD_HALF_WIDTH_K", "NO_SENSOR", "SensorClass")

# Common practice, no source: hobby converter boards differ from each other by 1 to 2 K
# in their own cold-junction sensor, and a datasheet figure of 2 K is usual (from memory).
BOARD_HALF_WIDTH_K = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Band:
    """The larger of `floor_k` and `slope` times |t|, valid from `low_c` to `high_c`."""

    low_c: float
    high_c: float
    floor_k: float
    slope: float


def _band(low_c: float, high_c: float, floor_k: float, slope: float) -> _Band:
    return _Band(low_c=low_c, high_c=high_c, floor_k=floor_k, slope=slope)


# IEC 60584-1:2013 table 12, three independent tabulations agreeing; ASTM E230 table 1.
_CLASSES: Mapping[tuple[str, str], tuple[_Band, ...]] = {
    ("K", "class 1"): (_band(-40, 1000, 1.5, 0.004),),
    ("K", "class 2"): (_band(-40, 1200, 2.5, 0.0075),),
    ("K", "class 3"): (_band(-200, 40, 2.5, 0.015),),
    ("N", "class 1"): (_band(-40, 1000, 1.5, 0.004),),
    ("N", "class 2"): (_band(-40, 1200, 2.5, 0.0075),),
    ("N", "class 3"): (_band(-200, 40, 2.5, 0.015),),
    ("J", "class 1"): (_band(-40, 750, 1.5, 0.004),),
    ("J", "class 2"): (_band(-40, 750, 2.5, 0.0075),),
    ("T", "class 1"): (_band(-40, 350, 0.5, 0.004),),
    ("T", "class 2"): (_band(-40, 350, 1.0, 0.0075),),
    ("T", "class 3"): (_band(-200, 40, 1.0, 0.015),),
    ("E", "class 1"): (_band(-40, 800, 1.5, 0.004),),
    ("E", "class 2"): (_band(-40, 900, 2.5, 0.0075),),
    ("E", "class 3"): (_band(-200, 40, 2.5, 0.015),),
    ("K", "special"): (_band(0, 1260, 1.1, 0.004),),
    ("K", "standard"): (_band(-200, 0, 2.2, 0.02), _band(0, 1260, 2.2, 0.0075)),
    ("N", "special"): (_band(0, 1260, 1.1, 0.004),),
    ("N", "standard"): (_band(0, 1260, 2.2, 0.0075),),
    ("J", "special"): (_band(0, 760, 1.1, 0.004),),
    ("J", "standard"): (_band(0, 760, 2.2, 0.0075),),
    ("T", "special"): (_band(0, 370, 0.5, 0.004),),
    ("T", "standard"): (_band(-200, 0, 1.0, 0.015), _band(0, 370, 1.0, 0.0075)),
    ("E", "special"): (_band(0, 870, 1.0, 0.004),),
    ("E", "standard"): (_band(-200, 0, 1.7, 0.01), _band(0, 870, 1.7, 0.005)),
}

_HALF_WIDTH = re.compile(r"(?:±|\+/-|\+-)\s*(\d+\.?\d*|\.\d+)\s*(K|degC|°C|degF|°F)")
_NOT_STATED = "not stated"
_WIDEST_USUAL = "K class 2"
_EXPECTED = "a class such as 'K class 2' or 'T special', or a half-width such as '±0.5 K'"


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorClass:
    """What kind of temperature sensor a channel has, and how far to trust it unmatched.

    `text` is a class, "<letter> class 1|2|3" (IEC 60584-1) or "<letter> special|standard"
    (ASTM E230, table 1); a plain half-width such as "±0.5 K", which then covers the whole
    chain; "not stated", judged as K class 2, the widest of the usual ones; or "none" for a
    channel that is no temperature.
    A thermocouple carries its board's cold junction, `BOARD_HALF_WIDTH_K`, with it.
    """

    text: str

    def __post_init__(self) -> None:
        is_class = self.text in {"none", _NOT_STATED} or _class_key(self.text) in _CLASSES
        if not is_class and _HALF_WIDTH.fullmatch(self.text.strip()) is None:
            raise UsageError(
                expected=_EXPECTED,
                found=repr(self.text),
                where="sensor",
                do="see the probe's label",
            )

    @property
    def letter(self) -> str | None:
        """Thermocouple type letter, or None for any other sensor."""
        key = _class_key(self.text)
        return key[0] if key in _CLASSES else None

    def u_c(self, temp_c: float) -> float:
        """Standard uncertainty of a reading [K]: the class and the board together.

        The class is that of the wire at `temp_c`; outside its range the nearest end's
        relative tolerance is carried on, because a probe there is no better.

        Parameters
        ----------
        temp_c : float
            Junction temperature [°C].

        Returns
        -------
        float
            Standard uncertainty [K].

        Raises
        ------
        UsageError
            The channel has no temperature sensor.

        References
        ----------
        .. [1] JCGM 100:2008, 4.3.7 (rectangular) and 5.1.2 (root sum of squares).
        """
        if self.text == "none":
            raise UsageError(
                expected="a temperature channel",
                found="a channel with sensor 'none'",
                where="sensor uncertainty",
                do="ask a temperature channel",
            )
        plain = _HALF_WIDTH.fullmatch(self.text.strip())
        if plain is not None:
            return _plain_k(plain) / math.sqrt(3)
        text = _WIDEST_USUAL if self.text == _NOT_STATED else self.text
        wire_k = _carried_on_k(_CLASSES[_class_key(text)], temp_c)
        return math.hypot(wire_k, BOARD_HALF_WIDTH_K) / math.sqrt(3)


def _class_key(sensor: str) -> tuple[str, str]:
    letter, _, grade = " ".join(sensor.split()).partition(" ")
    return letter, grade


def _plain_k(match: re.Match[str]) -> float:
    return float(match[1]) * (5.0 / 9.0 if match[2].endswith("F") else 1.0)


def _carried_on_k(bands: tuple[_Band, ...], temp_c: float) -> float:
    inside = [band for band in bands if band.low_c <= temp_c <= band.high_c]
    band = (inside or [bands[0] if temp_c < bands[0].low_c else bands[-1]])[0]
    return max(band.floor_k, band.slope * abs(temp_c))


NO_SENSOR = SensorClass(text="none")
