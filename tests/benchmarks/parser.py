"""Frames a second through the parser, beside `str.split` on the same lines.

    python tests/benchmarks/parser.py [frames]

The lines are 8-channel readings in chunks of 4096 bytes, as a port gives them; the
assembler's figure is the whole way from bytes to rows of a session.
"""

import sys
import time
from collections.abc import Callable

from wattsump_logger.capture.assembler import Assembler
from wattsump_logger.wire.events import WireChannel
from wattsump_logger.wire.frames import FrameParser, format_hello, format_reading

_CHUNK = 4096
_REPEATS = 5


def stream(frames: int) -> bytes:
    """Return a hello and so many readings of 8 channels, slowly warming."""
    channels = [WireChannel(name=f"t{i}", source="max31855", detail="K") for i in range(8)]
    pieces = [format_hello(seq=0, uptime_ms=0, firmware="bench-1", period_ms=1, channels=channels)]
    for number in range(1, frames + 1):
        step = (number // 200) % 400
        fields = [f"{((80 + step + i) << 18) | 0x1900:08X}" for i in range(8)]
        pieces.append(format_reading(seq=number, uptime_ms=number, fields=fields))
    return b"".join(pieces)


def best_s(run: Callable[[], int], frames: int) -> float:
    """Return the shortest of several runs, each of which must give every frame."""
    best = float("inf")
    for _ in range(_REPEATS):
        began = time.perf_counter()
        assert run() >= frames
        best = min(best, time.perf_counter() - began)
    return best


def measured(frames: int) -> dict[str, float]:
    """Return the seconds of each way over so many frames."""
    data = stream(frames)
    chunks = [data[start : start + _CHUNK] for start in range(0, len(data), _CHUNK)]
    text = data.decode("ascii")

    def parse() -> int:
        parser = FrameParser()
        return sum(len(parser.feed(chunk)) for chunk in chunks)

    def assemble() -> int:
        assembler = Assembler()
        return sum(len(assembler.feed(chunk)) for chunk in chunks)

    def split() -> int:
        return sum(1 for line in text.split("\n") if line.split(","))

    ways = {"parser": parse, "bytes to rows": assemble, "str.split": split}
    return {name: best_s(run, frames) for name, run in ways.items()}


def ratios() -> dict[str, float]:
    """Return what frames cost, in splits of the same lines at their commas."""
    took_s = measured(20_000)
    split_s = took_s.pop("str.split")
    return {f"{name}, in str.split": value / split_s for name, value in took_s.items()}


def main() -> None:
    """Print the figures."""
    frames = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    took_s = measured(frames)
    split_s = took_s.pop("str.split")
    for name, value in took_s.items():
        print(f"{name}: {frames / value:,.0f} frames/s, {value / split_s:.1f} x str.split")
    print(f"str.split: {frames / split_s:,.0f} lines/s, without checksum, numbers or order")


if __name__ == "__main__":
    main()
