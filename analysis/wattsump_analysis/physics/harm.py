"""What heat does to oil, seals, hoses and skin, each figure with its source.

Few of these are certain; "common practice" means that no source is known. The figures of the
machine's, oil's and hoses' makers come first.
"""

import math
from dataclasses import dataclass

import numpy as np

from wattsump_analysis.arrays import FloatOrArray, like, require

__all__ = (
    "BURNS",
    "MATERIALS",
    "OIL_LEVELS",
    "OIL_STANDS_C",
    "Burn",
    "Level",
    "Material",
    "burn_at",
    "levels_passed",
    "materials_exceeded",
    "oil_life_factor",
)

COMMON = "common practice, no source"
CIRCULATED = "a list in circulation since 1997 without an author; one mailing-list post read"
FROM_MEMORY = "ISO 13732-1, from memory, not read"
READ_SECOND_HAND = "ISO 13732-1 as quoted by others, bare smooth metal"


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """An oil temperature that the trade quotes, and its meaning."""

    temp_c: float
    meaning: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A seal or hose material and its temperature range [°C]."""

    name: str
    low_c: float
    high_c: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Burn:
    """A burn by contact: surface temperature [°C] and contact time [s], `from_s` to `to_s`."""

    temp_c: float
    from_s: float
    to_s: float
    source: str

    @property
    def careful_s(self) -> float:
        """The shorter usable bound [s]: `from_s`, or `to_s` where that is 0."""
        return self.from_s if self.from_s > 0.0 else self.to_s


OIL_LEVELS = (
    Level(temp_c=54.0, meaning="usual tank temperature", source=COMMON),
    Level(temp_c=66.0, meaning="advised limit in the tank", source=COMMON),
    Level(temp_c=82.0, meaning="danger to seals and oil film", source=COMMON),
    Level(temp_c=93.0, meaning="never exceed", source=COMMON),
)

# From here on mineral oil smokes, cracks and nears its flash point, so a linear heat balance no
# longer holds: common practice, no source.
OIL_STANDS_C = 150.0

MATERIALS = (
    Material(name="nitrile seal (NBR)", low_c=-40.0, high_c=100.0, source=COMMON),
    Material(name="fluorocarbon seal (FKM)", low_c=-20.0, high_c=200.0, source=COMMON),
    Material(name="wire-braid hose", low_c=-40.0, high_c=100.0, source=COMMON),
)

# Skin on bare metal or hot liquid, by temperature. The two lists disagree; both are kept so that
# the reader sees it.
BURNS = (
    Burn(temp_c=43.0, from_s=8 * 3600.0, to_s=math.inf, source=FROM_MEMORY),
    Burn(temp_c=48.0, from_s=600.0, to_s=math.inf, source=FROM_MEMORY),
    Burn(temp_c=49.0, from_s=300.0, to_s=math.inf, source=CIRCULATED),
    Burn(temp_c=51.0, from_s=60.0, to_s=math.inf, source=FROM_MEMORY),
    Burn(temp_c=52.0, from_s=90.0, to_s=120.0, source=CIRCULATED),
    Burn(temp_c=55.0, from_s=0.0, to_s=30.0, source=CIRCULATED),
    Burn(temp_c=57.0, from_s=0.0, to_s=10.0, source=CIRCULATED),
    Burn(temp_c=60.0, from_s=0.0, to_s=5.0, source=CIRCULATED),
    Burn(temp_c=63.0, from_s=0.0, to_s=3.0, source=CIRCULATED),
    Burn(temp_c=65.0, from_s=0.5, to_s=math.inf, source=READ_SECOND_HAND),
    Burn(temp_c=66.0, from_s=0.0, to_s=1.5, source=CIRCULATED),
    Burn(temp_c=68.0, from_s=0.0, to_s=1.0, source=CIRCULATED),
)


def oil_life_factor(temp_c: FloatOrArray, reference_c: float) -> FloatOrArray:
    """Life of oil at a temperature over its life at another: half per 10 K.

    Parameters
    ----------
    temp_c : float or array
        Oil temperature [°C], 40 to 150; below that, oxidation is negligible.
    reference_c : float
        Temperature at which the factor is 1 [°C], 40 to 150.

    Returns
    -------
    float or array like `temp_c`
        Factor [-].

    Raises
    ------
    RangeError
        A temperature out of range.

    References
    ----------
    Common practice, no source: reaction rates double per 10 K.

    Examples
    --------
    >>> oil_life_factor(80.0, 70.0)
    0.5
    """
    t = require(temp_c, 40.0, 150.0, unit="°C", where="oil temperature")
    require(reference_c, 40.0, 150.0, unit="°C", where="reference temperature")
    return like(temp_c, np.asarray(2.0 ** ((reference_c - t) / 10.0)))


def levels_passed(temp_c: float) -> tuple[Level, ...]:
    """Return the oil levels a temperature has reached, coolest first.

    References
    ----------
    `OIL_LEVELS`.
    """
    return tuple(level for level in OIL_LEVELS if temp_c >= level.temp_c)


def materials_exceeded(coldest_c: float, hottest_c: float) -> tuple[Material, ...]:
    """Return the seal and hose materials whose range a span of temperatures exceeds.

    Raises
    ------
    RangeError
        A coldest temperature above the hottest.

    References
    ----------
    `MATERIALS`.
    """
    require(hottest_c, coldest_c, math.inf, unit="°C", where="hottest temperature")
    return tuple(m for m in MATERIALS if coldest_c < m.low_c or hottest_c > m.high_c)


def burn_at(temp_c: float) -> Burn | None:
    """Find the shortest tabulated time to a burn at or under a surface temperature.

    Parameters
    ----------
    temp_c : float
        Surface temperature [°C].

    Returns
    -------
    Burn or None
        The tabulated row with the shortest time, so the cautious one if the lists disagree; None
        under 43 °C, where there is no row.

    References
    ----------
    `BURNS`; each row has its source.
    """
    rows = [row for row in BURNS if row.temp_c <= temp_c]
    return min(rows, key=lambda row: row.careful_s, default=None)
