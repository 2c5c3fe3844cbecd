"""Bit layouts of the converters' words: registers to numbers and fault codes, and back.

Only what the datasheets say of bits; `converters` makes temperatures of it. A word is an
integer of the part's bytes in the order in which the part sends them, most significant
first. Splitters are elementwise over int64 arrays.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattsump_logger.arrays import BoolArray, FloatArray

__all__ = ("FAULTS", "PARTS", "Part", "code")

IntArray = NDArray[np.int64]
# In the order in which they win; "" is a sound word.
FAULTS = (
    "",
    "form",
    "bus",
    "suspect",
    "open",
    "short_ground",
    "short_supply",
    "cold_range",
    "range",
)


def code(fault: str) -> int:
    """Index of a fault in `FAULTS`."""
    return FAULTS.index(fault)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One converter part.

    `slopes_uv_per_k` is there for a part that takes the thermocouple for a straight
    line. `hot_shift` is the place of the hot reading's lowest bit in the word.
    """

    digits: int
    letters: str
    slopes_uv_per_k: Mapping[str, float] | None
    cold_low_c: float
    cold_high_c: float
    hot_shift: int
    hot_step_k: float
    cold_step_k: float
    reports: tuple[str, ...]
    split: Callable[[IntArray], tuple[FloatArray, FloatArray, IntArray]]
    join: Callable[[int, int, str], int]


def _signed(value: IntArray, bits: int) -> IntArray:
    sign = 1 << (bits - 1)
    return (value ^ sign) - sign


def _scaled(steps: IntArray, step: float) -> FloatArray:
    return steps.astype(np.float64) * step


def _first(*tests: tuple[BoolArray, str], like: IntArray) -> IntArray:
    codes = [np.int64(code(fault)) for _, fault in tests]
    result: IntArray = np.select([test for test, _ in tests], codes, np.int64(0))
    return result.reshape(like.shape)


def _split_max31855(word: IntArray) -> tuple[FloatArray, FloatArray, IntArray]:
    hot = _scaled(_signed(word >> 18, 14), 0.25)
    cold = _scaled(_signed((word >> 4) & 0xFFF, 12), 0.0625)
    flagged = (word >> 16) & 1
    detail = word & 7
    fault = _first(
        (word == 0xFFFFFFFF, "bus"),
        # D17 and D3 are kept at 0 by the part, and D16 is the or of D2..D0.
        ((word & 0x20008) != 0, "bus"),
        (flagged != (detail != 0), "bus"),
        (word == 0, "suspect"),
        (detail & 1 != 0, "open"),
        (detail & 2 != 0, "short_ground"),
        (detail & 4 != 0, "short_supply"),
        like=word,
    )
    return hot, cold, fault


def _join_max31855(hot: int, cold: int, fault: str) -> int:
    bits = {"": 0, "open": 0x10001, "short_ground": 0x10002, "short_supply": 0x10004}[fault]
    hot = 0 if bits else hot
    return (hot & 0x3FFF) << 18 | (cold & 0xFFF) << 4 | bits


def _split_max6675(word: IntArray) -> tuple[FloatArray, FloatArray, IntArray]:
    steps = (word >> 3) & 0xFFF
    fault = _first(
        # D15 and D1 are kept at 0; D0 floats.
        ((word & 0x8002) != 0, "bus"),
        ((word & 0xFFFE) == 0, "suspect"),
        ((word & 4) != 0, "open"),
        (steps == 0xFFF, "range"),
        like=word,
    )
    return _scaled(steps, 0.25), np.full(word.shape, np.nan), fault


def _join_max6675(hot: int, _cold: int, fault: str) -> int:
    # The part reads nothing below 0 °C and stops at 1023.75 °C.
    return 4 if fault == "open" else max(0, min(hot, 0xFFF)) << 3


# Fault status register; the high and low thresholds (0x3C) are ranges the firmware set.
_MAX31856_OPEN, _MAX31856_VOLTAGE, _MAX31856_HOT, _MAX31856_COLD = 0x01, 0x02, 0x4C, 0xB0


def _split_max31856(word: IntArray) -> tuple[FloatArray, FloatArray, IntArray]:
    hot = _scaled(_signed((word >> 29) & 0x7FFFF, 19), 0.0078125)
    cold = _scaled(_signed((word >> 10) & 0x3FFF, 14), 0.015625)
    fault = _first(
        (word == 0xFFFFFFFFFFFF, "bus"),
        (word == 0, "suspect"),
        ((word & _MAX31856_OPEN) != 0, "open"),
        ((word & _MAX31856_VOLTAGE) != 0, "short_supply"),
        ((word & _MAX31856_COLD) != 0, "cold_range"),
        ((word & _MAX31856_HOT) != 0, "range"),
        like=word,
    )
    return hot, cold, fault


def _join_max31856(hot: int, cold: int, fault: str) -> int:
    status = {"": 0, "open": 1, "short_supply": 2, "cold_range": 0x80, "range": 0x40}[fault]
    return (hot & 0x7FFFF) << 29 | (cold & 0x3FFF) << 10 | status


def _split_mcp9600(word: IntArray) -> tuple[FloatArray, FloatArray, IntArray]:
    hot = _scaled(_signed((word >> 24) & 0xFFFF, 16), 0.0625)
    cold = _scaled(_signed((word >> 8) & 0xFFFF, 16), 0.0625)
    fault = _first(
        (word == 0xFFFFFFFFFF, "bus"),
        (word == 0, "suspect"),
        # Status bit 4, input out of range (register 5-5; bit place from memory).
        ((word & 0x10) != 0, "range"),
        like=word,
    )
    return hot, cold, fault


def _join_mcp9600(hot: int, cold: int, fault: str) -> int:
    # Bit 6, a fresh conversion, is set whenever firmware reads on the part's own beat.
    status = 0x50 if fault == "range" else 0x40
    return (hot & 0xFFFF) << 24 | (cold & 0xFFFF) << 8 | status


# µV/K. K as read in the MAX31855 datasheet; the others from memory, and each equals the
# mean slope of its reference function from 0 to 1000 °C (T: 0 to 400 °C) in the tests.
_MAX31855_SLOPES = {
    "K": 41.276,
    "J": 57.953,
    "N": 36.256,
    "T": 52.18,
    "E": 76.373,
    "R": 10.506,
    "S": 9.587,
}

PARTS: Mapping[str, Part] = {
    "max31855": Part(
        digits=8,
        letters="KJNTERS",
        slopes_uv_per_k=_MAX31855_SLOPES,
        cold_low_c=-40.0,
        cold_high_c=125.0,
        hot_shift=18,
        hot_step_k=0.25,
        cold_step_k=0.0625,
        reports=("open", "short_ground", "short_supply"),
        split=_split_max31855,
        join=_join_max31855,
    ),
    "max6675": Part(
        digits=4,
        letters="K",
        slopes_uv_per_k={"K": 41.0},
        cold_low_c=-20.0,
        cold_high_c=85.0,
        hot_shift=3,
        hot_step_k=0.25,
        cold_step_k=0.25,
        reports=("open",),
        split=_split_max6675,
        join=_join_max6675,
    ),
    "max31856": Part(
        digits=12,
        letters="KJTNERSB",
        slopes_uv_per_k=None,
        cold_low_c=-55.0,
        cold_high_c=125.0,
        hot_shift=29,
        hot_step_k=0.0078125,
        cold_step_k=0.015625,
        reports=("open", "short_supply", "cold_range", "range"),
        split=_split_max31856,
        join=_join_max31856,
    ),
    "mcp9600": Part(
        digits=10,
        letters="KJTNERSB",
        slopes_uv_per_k=None,
        cold_low_c=-40.0,
        cold_high_c=125.0,
        hot_shift=24,
        hot_step_k=0.0625,
        cold_step_k=0.0625,
        reports=("range",),
        split=_split_mcp9600,
        join=_join_mcp9600,
    ),
}
