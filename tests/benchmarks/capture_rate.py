"""Capture at 1000 frames a second of 8 channels through a terminal port.

    python tests/benchmarks/capture_rate.py [seconds]

A process of its own sends; `loop.run` and a bare pyserial loop that only writes the
bytes to a file each receive the same in turn. Told are the frames lost and the CPU time
of both receivers, their start not counted. A last figure is the growth of memory over a
simulated outing of 24 h at 1 Hz.
"""

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
import tty
from pathlib import Path

from wattsump_logger.bench.controller import EmulatedController, MemoryPort
from wattsump_logger.capture import loop, ports
from wattsump_logger.wire.events import WireChannel

_RATE_HZ = 1000
_CHANNELS = [WireChannel(name=f"t{i}", source="max31855", detail="K") for i in range(8)]
_DAY_S = 86_400


def _source(elapsed_s: float) -> dict[str, float | str | None]:
    return {channel.name: 40 + i + elapsed_s / 10 for i, channel in enumerate(_CHANNELS)}


def send(handle: int, seconds: float) -> None:
    """Send frames at the rate, in the bursts of a millisecond timer; end with a hang-up."""
    controller = EmulatedController(_source, _CHANNELS, period_ms=1)
    pieces = list(controller.until(seconds))
    began = time.perf_counter()
    for number, piece in enumerate(pieces):
        while time.perf_counter() - began < number / _RATE_HZ:
            time.sleep(0.0005)
        view = memoryview(piece)
        while view:
            view = view[os.write(handle, view) :]


def _cpu_s() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def receive_ours(name: str, folder: Path, frames: int) -> dict[str, float]:
    """Capture until all frames are there, or nothing came for 3 s."""
    state = {"rows": 0.0, "began": 0.0, "heard": time.monotonic()}

    def on_rows(rows: object) -> None:
        if not state["began"]:
            state["began"] = _cpu_s()
        state["rows"] += len(rows)  # type: ignore[arg-type]  # a sequence of rows
        state["heard"] = time.monotonic()

    def stop() -> bool:
        return state["rows"] >= frames or (
            bool(state["rows"]) and time.monotonic() - state["heard"] > 3
        )

    captured = loop.run(ports.SerialSource(name), folder, stop=stop, on_rows=on_rows)
    return {"cpu_s": _cpu_s() - state["began"], "frames": captured.row_count}


def receive_bare(name: str, folder: Path, frames: int) -> dict[str, float]:
    """Write what comes to a file, with no more than pyserial needs."""
    import serial

    lines, began, heard = -2, 0.0, time.monotonic()  # a hello and a boot event come first
    with serial.Serial(name, 115_200, timeout=0.25) as port, (folder / "bare").open("wb", 0) as out:
        while lines < frames and (lines < 0 or time.monotonic() - heard < 3):
            data = port.read(port.in_waiting or 1)
            if data:
                began = began or _cpu_s()
                heard = time.monotonic()
                out.write(data)
                lines += data.count(b"\n")
    return {"cpu_s": _cpu_s() - began, "frames": lines}


def through_port(kind: str, seconds: float) -> dict[str, float]:
    """Run one receiver in a process of its own against a sender in another."""
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    frames = round(seconds * _RATE_HZ)
    with tempfile.TemporaryDirectory() as folder:
        receiver = subprocess.Popen(
            [sys.executable, __file__, "--receive", kind, os.ttyname(theirs), folder, str(frames)],
            stdout=subprocess.PIPE,
            text=True,
        )
        sender = subprocess.Popen(
            [sys.executable, __file__, "--send", str(ours), str(seconds)], pass_fds=[ours]
        )
        output, _ = receiver.communicate(timeout=seconds * 3 + 60)
        sender.wait(30)
    os.close(ours)
    os.close(theirs)
    figures: dict[str, float] = json.loads(output)
    return figures


def memory_over_a_day() -> tuple[float, float]:
    """Return MB of growth over the second half of a 24 h outing, and MB in all."""
    peaks: list[int] = []

    def on_rows(rows: object) -> None:
        peaks.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)

    controller = EmulatedController(_day_source, _CHANNELS, period_ms=1000)
    with tempfile.TemporaryDirectory() as folder:
        port = MemoryPort(controller, until_s=_DAY_S, periods=20)
        loop.run(port, Path(folder), on_rows=on_rows)
    return (peaks[-1] - peaks[len(peaks) // 2]) / 1024, peaks[-1] / 1024


def _day_source(elapsed_s: float) -> dict[str, float | str | None]:
    return {c.name: 20 + i + 40 * (elapsed_s / _DAY_S) for i, c in enumerate(_CHANNELS)}


def ratios() -> dict[str, float]:
    """Return the CPU time of a capture at 1000 frames a second, in bare receivers'."""
    pairs = [(through_port("bare", 10.0), through_port("ours", 10.0)) for _ in range(3)]
    bare_s, ours_s = (min(figures["cpu_s"] for figures in way) for way in zip(*pairs, strict=True))
    return {"capture at 1000 frames a second, in bare pyserial": ours_s / bare_s}


def main() -> None:
    """Print the figures with their goals."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    sent = round(seconds * _RATE_HZ)
    bare = through_port("bare", seconds)
    ours = through_port("ours", seconds)
    for name, figures in (("capture", ours), ("bare pyserial", bare)):
        share = figures["cpu_s"] / seconds
        print(f"{name}: {sent - figures['frames']:.0f} of {sent} frames lost, CPU {share:.1%}")
    print(f"CPU ratio {ours['cpu_s'] / bare['cpu_s']:.2f} (goal <= 3)")
    growth, peak = memory_over_a_day()
    print(f"memory over 24 h at 1 Hz: {growth:+.1f} MB in its second half, peak {peak:.0f} MB")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--send"]:
        send(int(sys.argv[2]), float(sys.argv[3]))
    elif sys.argv[1:2] == ["--receive"]:
        way = receive_ours if sys.argv[2] == "ours" else receive_bare
        print(json.dumps(way(sys.argv[3], Path(sys.argv[4]), int(sys.argv[5]))))
    else:
        main()
