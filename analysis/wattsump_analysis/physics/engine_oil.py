"""Engine oils used as hydraulic oil, by name: "10W-30", "SAE 30".

SAE J300 sets limits at 100 °C and in the cold only. The viscosity at
40 °C is up to the blender; the typical value here is common practice, with a wide range.
"""

import math
import re
from dataclasses import dataclass

from wattsump_logger.errors import UsageError
from wattsump_logger.machine.oil_line import Walther, walther_from_two_points

__all__ = (
    "HOT_MM2_S",
    "TYPICAL_40_MM2_S",
    "WINTER",
    "EngineOil",
    "Winter",
    "engine_oil",
    "names_engine_oil",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Winter:
    """A W grade: cranks and pumps down to these temperatures [°C]."""

    cranks_c: float
    pumps_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineOil:
    """An engine oil by its name: limits at 100 °C, typical value at 40 °C, and the line drawn.

    `u_rel` is the relative standard uncertainty of a viscosity read off the line. `bounded` is
    false for a W grade alone, whose limits at 100 °C are only typical.
    """

    name: str
    low_100_mm2_s: float
    high_100_mm2_s: float
    typical_40_mm2_s: float
    winter: Winter | None
    bounded: bool
    line: Walther
    u_rel: float


# SAE J300 (2015-01), table of viscosity grades, as three lubricant makers' pages reprint it; the
# standard itself was not opened. Kinematic viscosity at 100 °C, from this up to under that.
HOT_MM2_S = {
    8: (4.0, 6.1), 12: (5.0, 7.1), 16: (6.1, 8.2), 20: (6.9, 9.3), 30: (9.3, 12.5),
    40: (12.5, 16.3), 50: (16.3, 21.9), 60: (21.9, 26.1),
}  # fmt: skip
WINTER = {
    0: Winter(cranks_c=-35.0, pumps_c=-40.0),
    5: Winter(cranks_c=-30.0, pumps_c=-35.0),
    10: Winter(cranks_c=-25.0, pumps_c=-30.0),
    15: Winter(cranks_c=-20.0, pumps_c=-25.0),
    20: Winter(cranks_c=-15.0, pumps_c=-20.0),
    25: Winter(cranks_c=-10.0, pumps_c=-15.0),
}
# Typical kinematic viscosity at 40 °C of oils sold under a name (winter or None, hot or None):
# common practice, from memory of data sheets, no one source.
TYPICAL_40_MM2_S: dict[tuple[int | None, int | None], float] = {
    (0, 20): 44.0, (0, 30): 56.0, (0, 40): 75.0, (5, 20): 48.0, (5, 30): 64.0, (5, 40): 85.0,
    (10, 30): 70.0, (10, 40): 95.0, (15, 40): 110.0, (20, 50): 165.0,
    (10, None): 40.0, (None, 20): 65.0, (None, 30): 95.0, (None, 40): 145.0, (None, 50): 215.0,
}  # fmt: skip
# SAE J300 gives a W grade alone only a lower limit at 100 °C (10W: 4.1). Oils sold as such have
# this much: common practice, from memory of data sheets.
_BARE_WINTER_100 = {10: (5.6, 7.2)}
# Typical values of data sheets of one name differ by about 15 % either way, taken as rectangular.
U_TYPICAL_REL = 0.15 / math.sqrt(3.0)
_NAME = re.compile(
    r"\s*(?:SAE\s*)?(?P<winter>\d{1,2})\s*W(?:\s*[-/ ]\s*(?P<hot>\d{1,2}))?\s*"
    r"|\s*SAE\s*(?P<mono>\d{1,2})\s*",
    re.I,
)


def names_engine_oil(text: str) -> bool:
    """Whether a text looks like an engine-oil name: a W after a number, or SAE before it."""
    return _NAME.fullmatch(text) is not None


def engine_oil(text: str) -> EngineOil:
    """Read an engine oil's name: "10W-30", "SAE 15W-40", "SAE 30" or "10W".

    Returns
    -------
    EngineOil
        Its line goes through the typical value at 40 °C and the middle of the limits at 100 °C.

    Raises
    ------
    UsageError
        A text that is no such name, or a name without a typical value in this module.

    References
    ----------
    SAE J300 (2015-01) for the limits at 100 °C; the value at 40 °C is common practice, from
    memory. ASTM D341 for the line.
    """
    match = _NAME.fullmatch(text)
    key = (None, None) if match is None else _key(match)
    if key not in TYPICAL_40_MM2_S:
        names = ", ".join(_words(*key) for key in TYPICAL_40_MM2_S)
        raise UsageError(
            expected=f"an engine-oil name, one of {names}",
            found=repr(text),
            where="oil grade",
            do="give --viscosity-40 and --viscosity-100 from the data sheet instead",
        )
    winter, hot = key
    low, high = _BARE_WINTER_100[winter or 0] if hot is None else HOT_MM2_S[hot]
    typical = TYPICAL_40_MM2_S[key]
    middle = math.sqrt(low * high)
    # At 100 °C the oil may lie anywhere within its limits: rectangular in the logarithm.
    u_hot = math.log(high / low) / 2.0 / math.sqrt(3.0)
    return EngineOil(
        name=_words(winter, hot),
        low_100_mm2_s=low,
        high_100_mm2_s=high,
        typical_40_mm2_s=typical,
        winter=None if winter is None else WINTER[winter],
        bounded=hot is not None,
        line=walther_from_two_points(40.0, typical, 100.0, middle),
        u_rel=max(U_TYPICAL_REL, u_hot),
    )


def _key(match: re.Match[str]) -> tuple[int | None, int | None]:
    if match["mono"] is not None:
        return None, int(match["mono"])
    return int(match["winter"]), None if match["hot"] is None else int(match["hot"])


def _words(winter: int | None, hot: int | None) -> str:
    if winter is None:
        return f"SAE {hot}"
    return f"{winter}W" if hot is None else f"{winter}W-{hot}"
