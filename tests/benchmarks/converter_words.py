"""What decoding costs a live stream, beside the cheapest thing that could stand there.

Run: python tests/benchmarks/converter_words.py
"""

import time
from collections.abc import Callable

import numpy as np

from wattsump_logger.thermocouples import converters
from wattsump_logger.thermocouples.converters import decode, decode_word, encode

_WORDS = 20_000
_REPEATS = 3
_FRAMES_PER_S = 1000
_CHANNELS = 8


def _plain(word: str) -> float:
    value = int(word, 16)
    return ((value >> 18 ^ 0x2000) - 0x2000) * 0.25


def _seconds_a_word(work: Callable[[], object]) -> float:
    took_s = []
    for _ in range(_REPEATS):
        converters._block.cache_clear()  # an outing's words are new once
        start = time.process_time()
        work()
        took_s.append(time.process_time() - start)
    return min(took_s) / _WORDS


def measured() -> dict[str, float]:
    """Return the seconds a word costs, by way."""
    rng = np.random.default_rng(5)
    hot = 20.0 + 50.0 * np.linspace(0.0, 1.0, _WORDS) + rng.normal(0.0, 0.3, _WORDS)
    cold = 15.0 + 10.0 * np.linspace(0.0, 1.0, _WORDS) + rng.normal(0.0, 0.1, _WORDS)
    outing = [encode("max31855", "K", h, c) for h, c in zip(hot, cold, strict=True)]
    wild = [f"{int(w) & 0xFFFCFFF0:08X}" for w in rng.integers(0, 2**32, _WORDS)]
    ways: dict[str, Callable[[], object]] = {
        "reading the bits alone": lambda: [_plain(word) for word in outing],
        "an outing, word by word": lambda: [decode_word("max31855", "K", w) for w in outing],
        "an outing, one column": lambda: decode("max31855", "K", outing),
        "random words, word by word": lambda: [decode_word("max31855", "K", w) for w in wild],
    }
    return {name: _seconds_a_word(work) for name, work in ways.items()}


def ratios() -> dict[str, float]:
    """Return what decoding costs, in readings of the bits alone."""
    cost = measured()
    plain = cost.pop("reading the bits alone")
    return {f"decoding {name}, in readings of bits": value / plain for name, value in cost.items()}


def main() -> None:
    """Print the cost of each way as a multiple of reading the bits alone."""
    costs = measured()
    plain = costs.pop("reading the bits alone")
    print(f"reading the bits alone: {plain * 1e6:.2f} µs a word")
    for name, cost in costs.items():
        share = cost * _FRAMES_PER_S * _CHANNELS
        print(f"{name}: {cost / plain:.1f} times that; {share:.1%} of a core at 8000 words/s")


if __name__ == "__main__":
    main()
