"""Follows one temperature of a recorded outing from the wire to the verdict.

python docs/pictures/follow.py outings/bracken.csv

Each line names the room in which it happens; docs/how-it-works.md shows what is printed.
"""

import sys
from pathlib import Path

import numpy as np

from wattsump_analysis.commands.prove import prove_file
from wattsump_analysis.reading.cuts import record_of
from wattsump_analysis.reading.phases import find_soak, switches_of
from wattsump_analysis.reading.samples import gather
from wattsump_logger.capture.wirefile import Chunk, read_wire
from wattsump_logger.session.reader import load_session
from wattsump_logger.thermocouples.converters import decode
from wattsump_logger.wire.events import Hello, Reading
from wattsump_logger.wire.frames import FrameParser

ROW = 3000  # of the outing: oil warm, fan on
CHANNEL = "cooler_in"


def line(room: str, text: str) -> None:
    """Print one step."""
    sys.stdout.write(f"{room:<22} {text}\n")


def frames(path: Path) -> tuple[Hello, list[Reading]]:
    """The hello and the readings of a wire file."""
    parser = FrameParser()
    events = [
        event
        for item in read_wire(path)
        if isinstance(item, Chunk)
        for event in parser.feed(item.data)
    ]
    hello = next(event for event in events if isinstance(event, Hello))
    return hello, [event for event in events if isinstance(event, Reading)]


def main() -> None:
    """Follow the reading of `ROW` and `CHANNEL`."""
    path = Path(sys.argv[1])
    hello, readings = frames(path.with_suffix(".wire"))
    number = [channel.name for channel in hello.channels].index(CHANNEL)
    channel, reading = hello.channels[number], readings[ROW]
    word = reading.fields[number]
    line("logger wire", f"frame {reading.seq}, uptime {reading.uptime_ms} ms, {CHANNEL} = {word}")
    decoded = decode(channel.source, channel.detail, [word])
    line("logger thermocouples", f"{channel.source}, type K: {decoded.temp_c[0]:.2f} °C")
    session = load_session(path)
    temp_c = session.columns[f"{CHANNEL}_c"][ROW]
    line("logger session", f"row {ROW}: elapsed {session.elapsed_s[ROW]:.0f} s, {temp_c:.2f} °C")
    samples = gather(session, None)
    switches, _ = switches_of(samples)
    soak = find_soak(samples, switches.engine)
    offsets_k = soak.offsets_k if soak is not None else {}
    record = record_of(samples, switches, offsets_k, None)
    at = int(session.elapsed_s[ROW] // record.bin_s)
    line("analysis reading", f"offset from the soak: {offsets_k.get(CHANNEL, 0.0):+.2f} K")
    line("analysis reading", f"bin {at} of {record.bins}: {record.oils_c[CHANNEL][at]:.2f} °C")
    proof = prove_file(path, None).proof
    model_c = float(np.interp(session.elapsed_s[ROW], proof.series_s, proof.model_c))
    line("analysis model", f"the tank, by the fitted network: {model_c:.1f} °C")
    k = proof.k_w_k
    line("analysis proof", f"K = {k.value:.1f} W/K, {k.low:.1f} to {k.high:.1f}")
    line("analysis proof", f"verdict: {proof.verdict}")


if __name__ == "__main__":
    main()
