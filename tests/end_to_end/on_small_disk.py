"""Stories of a capture on a filesystem too small for it, run in a process of their own.

    python on_small_disk.py STORY FOLDER

The folder is the mount point of the small filesystem; prints what was seen as JSON.
"""

import json
import sys
from collections.abc import Callable
from pathlib import Path

from end_to_end.rig import Cable, Capture, controller
from wattsump_logger.bench.controller import MemoryPort
from wattsump_logger.capture import loop, recorder
from wattsump_logger.capture.importing import import_files
from wattsump_logger.errors import WattsumpError
from wattsump_logger.session.reader import load_session


def fill(folder: Path) -> Path:
    """Take all the space of the filesystem but a little, and return what takes it."""
    ballast = folder / "ballast"
    with ballast.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(b"\0" * 1024)
        except OSError:
            return ballast


def _capture_over_a_full_disk(folder: Path, rows_while_full: int) -> dict[str, object]:
    trouble: set[str] = set()
    with Cable() as cable, Capture(cable.source(), folder, name="a") as running:
        sender = controller()
        cable.play(sender.step() for _ in range(20))
        running.wait_rows(20)
        ballast = fill(folder)
        for number in range(rows_while_full):
            cable.send(sender.step())
            if number % 50 == 0:
                running.wait_rows(20 + number)
        running.wait_rows(20 + rows_while_full)
        running.wait_status(lambda status: bool(status.trouble))
        status = running.last_status
        assert status is not None
        trouble.add(status.trouble)
        most_waiting = status.waiting_rows
        ballast.unlink()
        cable.play(sender.step() for _ in range(10))
        running.wait_rows(30 + rows_while_full)
        captured = running.end()
    session = load_session(folder / "a.csv")
    told = [fault for fault in session.faults if fault.code == "rows_dropped"]
    gaps = [fault for fault in session.faults if fault.code == "gap"]
    return {
        "trouble": ", ".join(trouble),
        "sent": 30 + rows_while_full,
        "rows": len(session.elapsed_s),
        "most_waiting": most_waiting,
        "dropped": captured.dropped_rows,
        "told_dropped": sum(int(fault.detail) for fault in told),
        "gaps": len(gaps),
    }


def fills_and_recovers(folder: Path) -> dict[str, object]:
    """Fill the disk for a time that memory bridges."""
    seen = _capture_over_a_full_disk(folder, 500)
    import_files([folder / "a.wire"], folder, "again")
    equal = (folder / "again.csv").read_bytes() == (folder / "a.csv").read_bytes()
    return {**seen, "again_equal": equal}


def fills_for_long(folder: Path) -> dict[str, object]:
    """Fill the disk for longer than memory bridges, with a memory of 200 rows."""
    recorder.MOST_WAITING = 200
    return _capture_over_a_full_disk(folder, 500)


def starts(folder: Path) -> dict[str, object]:
    """Just start, and say what came of it."""
    try:
        loop.run(MemoryPort(controller(), until_s=3), folder)
    except WattsumpError as error:
        return {"error": str(error)}
    return {"error": ""}


def main() -> None:
    """Run the story that was asked for."""
    stories: dict[str, Callable[[Path], dict[str, object]]] = {
        story.__name__: story for story in (fills_and_recovers, fills_for_long, starts)
    }
    print(json.dumps(stories[sys.argv[1]](Path(sys.argv[2]))))


if __name__ == "__main__":
    main()
