"""Converts the words of thermocouple converters to temperatures, and back for the bench.

A word becomes a hot and a cold temperature or a fault, never both. Faults, in the order
in which they win: "form" (not a word of this part), "bus" (all ones, or bits set that
the part keeps at 0: the part is not answering), "suspect" (all zeros: a dead wire, or
rarely a true 0 °C), then what the part itself reports ("open", "short_ground",
"short_supply", "cold_range", "range"), then values out of range ("cold_range", "range").

max31855 and max6675 take the thermocouple for a straight line. Their report is converted
back to the measured emf, (report - cold) x slope, the cold junction's emf is added, and the
ITS-90 inverse taken: never cold + inverse(V), which is wrong by kelvins. max6675 does not
send its cold junction; `MAX6675_COLD_C` is used, and a board that differs by 20 K from that
shifts the result by less than half a kelvin.

An open junction is reported by max31855, max6675 (only with its negative lead grounded)
and max31856 (only if its firmware turned the test on); mcp9600 cannot report one, and
only max31855 reports a short.

References: the parts' datasheets (MAX31855 tables 2 to 5, MAX6675 table 1, MAX31856
register map, MCP9600 DS20005426 registers 5-1 to 5-5).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from wattsump_logger.arrays import BoolArray, FloatArray
from wattsump_logger.errors import RangeError, UsageError
from wattsump_logger.thermocouples.emf import LETTERS, emf_mv, temperature_c
from wattsump_logger.thermocouples.registers import FAULTS, PARTS, Part, code

__all__ = (
    "FAULTS",
    "MAX6675_COLD_C",
    "SOURCES",
    "Decoded",
    "decode",
    "decode_word",
    "encode",
    "supports",
)
IntArray = NDArray[np.int64]

SOURCES = tuple(PARTS)

# The part measures its cold junction but does not send it; a board under a hood.
MAX6675_COLD_C = 25.0

_FORM, _COLD_RANGE, _RANGE = code("form"), code("cold_range"), code("range")
_NO_COLD = tuple(code(fault) for fault in ("form", "bus", "suspect"))
_NAMES = np.array(FAULTS)
_HEX_DIGITS = frozenset("0123456789ABCDEF")

# Neighbours decoded together on a miss: the vector path costs the same for 32 words as
# for one, and temperatures drift to the neighbour next. 2048 blocks take about 10 MB.
_BLOCK = 32
_BLOCKS_KEPT = 2048


@dataclass(frozen=True, slots=True, kw_only=True)
class Decoded:
    """Temperatures of words, shape (n,): NaN where there is a fault or no word.

    `cold_c` stands beside a fault the part itself reports. `fault` holds codes of
    `FAULTS`, "" for none.
    """

    temp_c: FloatArray
    cold_c: FloatArray
    fault: NDArray[np.str_]


def supports(source: str, detail: str) -> bool:
    """Whether a part of this name for this thermocouple letter exists."""
    return source in PARTS and len(detail) == 1 and detail in PARTS[source].letters


def decode(
    source: str,
    detail: str,
    words: NDArray[np.integer] | Sequence[str],
    *,
    probe: str | None = None,
) -> Decoded:
    """Temperatures and faults of a column of words.

    Parameters
    ----------
    source : str
        One of `SOURCES`.
    detail : str
        The thermocouple letter the part is made or set for.
    words : sequence of str or integer ndarray, shape (n,)
        Upper-case hex fields as on the wire ("" is no reading), or their integers.
    probe : str, optional
        The letter of the fitted probe, if it differs from `detail`.

    Returns
    -------
    Decoded
        Arrays of shape (n,). A combination that does not exist gives "form" throughout.

    Raises
    ------
    UsageError
        An unknown source or probe letter.

    References
    ----------
    .. [1] Datasheets named in the module's docstring; NIST Monograph 175.
    """
    part = _part(source, probe)
    word, fault, present = _integers(words, part)
    if not supports(source, detail):
        fault = np.where(present, _FORM, 0)
        nothing = np.full(word.shape, np.nan)
        return Decoded(temp_c=nothing, cold_c=nothing.copy(), fault=_NAMES[fault])
    hot, cold, reported = part.split(word)
    fault = np.where(fault != 0, fault, np.where(present, reported, 0))
    beyond = (cold < part.cold_low_c) | (cold > part.cold_high_c)
    fault = np.where((fault == 0) & present & beyond, _COLD_RANGE, fault)
    temp = _true_c(part, detail, probe or detail, hot, cold)
    fault = np.where((fault == 0) & present & np.isnan(temp), _RANGE, fault)
    sound = present & (fault == 0)
    return Decoded(
        temp_c=np.where(sound, temp, np.nan),
        cold_c=np.where(present & ~np.isin(fault, _NO_COLD), cold, np.nan),
        fault=_NAMES[fault],
    )


def decode_word(
    source: str, detail: str, word: str, probe: str | None = None
) -> tuple[float, float, str]:
    """Hot temperature, cold temperature and fault of one word, bit for bit as by `decode`.

    Cheap for a live stream: words near one already seen come from a bounded cache.
    """
    part = PARTS.get(source)
    if part is None or len(word) != part.digits or not _HEX_DIGITS.issuperset(word):
        return _triple(decode(source, detail, [word], probe=probe), 0)
    value = int(word, 16)
    step = 1 << part.hot_shift
    place = (value >> part.hot_shift) % _BLOCK
    return _block(source, detail, probe, value - place * step)[place]


def encode(source: str, detail: str, temp_c: float, cold_c: float, fault: str | None = None) -> str:
    """The wire field a part would give at these true temperatures.

    Parameters
    ----------
    source, detail : str
        Part and the thermocouple letter it is made or set for.
    temp_c, cold_c : float
        True hot and cold junction temperatures [°C].
    fault : str, optional
        A code of `FAULTS` to give instead.

    Returns
    -------
    str
        Upper-case hex digits; no such word for "form".

    Raises
    ------
    RangeError
        A temperature outside the thermocouple's or the part's range.
    UsageError
        A part that does not exist, or a fault it cannot report.

    Notes
    -----
    The straight-line parts give E(temp) - E(cold) over their slope, plus the cold
    junction, to the nearest step, as printed in their datasheets.
    """
    part = _part(source, None)
    if not supports(source, detail):
        raise UsageError(
            expected=f"one of the letters {' '.join(part.letters)}",
            found=repr(detail),
            where=source,
            do="choose a part made for that thermocouple",
        )
    if fault == "form":
        return "-" * part.digits
    return f"{_word(source, detail, temp_c, cold_c, fault or ''):0{part.digits}X}"


def _part(source: str, probe: str | None) -> Part:
    if probe is not None and probe not in LETTERS:
        raise UsageError(
            expected="a thermocouple letter, one of " + " ".join(LETTERS),
            found=repr(probe),
            where="probe type",
            do="use the letter on the probe's plug",
        )
    if source not in PARTS:
        raise UsageError(
            expected="one of " + ", ".join(SOURCES),
            found=repr(source),
            where="converter",
            do="see the line protocol's table of sources",
        )
    return PARTS[source]


def _integers(
    words: NDArray[np.integer] | Sequence[str], part: Part
) -> tuple[IntArray, IntArray, BoolArray]:
    if isinstance(words, np.ndarray) and words.dtype.kind in "iu":
        word = words.astype(np.int64)
        outside = (word < 0) | (word >> (4 * part.digits) != 0)
        fault = np.where(outside, _FORM, 0)
        return np.where(outside, 0, word), fault, np.ones(word.shape, dtype=np.bool_)
    texts = [str(text) for text in words]
    sound = [len(text) == part.digits and _HEX_DIGITS.issuperset(text) for text in texts]
    word = np.array(
        [int(text, 16) if good else 0 for text, good in zip(texts, sound, strict=True)],
        dtype=np.int64,
    )
    present = np.array([text != "" for text in texts], dtype=np.bool_)
    return word, np.where(present & ~np.array(sound, dtype=np.bool_), _FORM, 0), present


def _true_c(part: Part, detail: str, probe: str, hot: FloatArray, cold: FloatArray) -> FloatArray:
    at = np.where(np.isnan(cold), MAX6675_COLD_C, cold)
    if part.slopes_uv_per_k is not None:
        seen_mv = (hot - at) * (part.slopes_uv_per_k[detail] * 1e-3)
    elif probe == detail:
        return hot
    else:
        seen_mv = emf_mv(hot, detail, outside="nan") - emf_mv(at, detail, outside="nan")
    return temperature_c(seen_mv + emf_mv(at, probe, outside="nan"), probe, outside="nan")


@lru_cache(maxsize=_BLOCKS_KEPT)
def _block(
    source: str, detail: str, probe: str | None, first: int
) -> tuple[tuple[float, float, str], ...]:
    step = 1 << PARTS[source].hot_shift
    decoded = decode(source, detail, first + step * np.arange(_BLOCK, dtype=np.int64), probe=probe)
    return tuple(_triple(decoded, at) for at in range(_BLOCK))


def _triple(decoded: Decoded, at: int) -> tuple[float, float, str]:
    return float(decoded.temp_c[at]), float(decoded.cold_c[at]), str(decoded.fault[at])


def _word(source: str, detail: str, temp_c: float, cold_c: float, fault: str) -> int:
    part = PARTS[source]
    if fault == "bus":
        return (1 << (4 * part.digits)) - 1
    if fault == "suspect":
        return 0
    if fault and fault not in part.reports:
        raise UsageError(
            expected="one of form, bus, suspect, " + ", ".join(part.reports),
            found=repr(fault),
            where=f"fault of {source}",
            do="this part cannot report it",
        )
    if not part.cold_low_c <= cold_c <= part.cold_high_c:
        raise RangeError(
            expected=f"{part.cold_low_c:g} to {part.cold_high_c:g} °C",
            found=f"{cold_c:g} °C",
            where=f"cold junction of {source}",
            do="keep the board within its range",
        )
    cold = _nearest(cold_c, part.cold_step_k)
    seen_mv = float(emf_mv(temp_c, detail)) - float(emf_mv(cold_c, detail))
    report_c = temp_c
    if part.slopes_uv_per_k is not None:
        report_c = seen_mv / (part.slopes_uv_per_k[detail] * 1e-3) + cold * part.cold_step_k
    return part.join(_nearest(report_c, part.hot_step_k), cold, fault)


def _nearest(value: float, step: float) -> int:
    return math.floor(value / step + 0.5)
