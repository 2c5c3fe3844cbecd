"""The adversarial table: files and words nobody should give, what each costs and is answered.

    python tests/fuzzing/adversarial.py [megabytes]

Each is given to the program in a process of its own; told are seconds, MB, exit code and the
last line. No answer is a traceback. `megabytes` is the size of those that are large.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path

__all__ = ("CASES", "words_of")

_PROGRAM = "import sys; from wattsump_analysis.commands.program import main; sys.exit(main())"
# Without an air probe there is no fit: what is tried here is the reading.
_HEAD = "time_utc,elapsed_s,seq,tank_c,case_c,fan_on,fault,mark\r\n"
_LONGEST_S = 120.0

Make = Callable[[Path, int], list[str]]


def _rows(count: int, first: int = 0) -> str:
    return "".join(
        f",{n}.000,{n},{20 + n % 600 / 20:.2f},15,1,,\r\n" for n in range(first, first + count)
    )


def _session(body: Callable[[int], str]) -> Make:
    def make(folder: Path, megabytes: int) -> list[str]:
        path = folder / "a.csv"
        path.write_text(_HEAD + body(megabytes), encoding="utf-8", newline="")
        return ["prove", str(path)]

    return make


def _profile(body: Callable[[int], str]) -> Make:
    def make(folder: Path, megabytes: int) -> list[str]:
        (folder / "m.toml").write_text(body(megabytes), encoding="utf-8")
        words = _session(lambda _: _rows(300))(folder, megabytes)
        return [*words, "--machine", str(folder / "m.toml")]

    return make


def _fifo(*words: str) -> Make:
    def make(folder: Path, megabytes: int) -> list[str]:
        os.mkfifo(folder / "pipe")
        return [word.replace("PIPE", str(folder / "pipe")) for word in words]

    return make


def _card(*words: str) -> Make:
    def make(folder: Path, megabytes: int) -> list[str]:
        card = folder / "card.txt"
        card.write_bytes(b"H1,0,0,x,1000,fan:state*0000\r\n")
        return ["import", str(card), "--out", str(folder / "out"), *words]

    return make


def _deep_sidecar(folder: Path, megabytes: int) -> list[str]:
    words = _session(lambda _: _rows(300))(folder, megabytes)
    (folder / "a.csv-metadata.json").write_text("[" * 200_000, encoding="utf-8")
    return words


CASES: Mapping[str, Make] = {
    "a pipe for a session": _fifo("prove", "PIPE"),
    "a pipe for a profile": _fifo("prove", "PIPE", "--machine", "PIPE"),
    "a pipe for a wire file": _fifo("import", "PIPE"),
    "/dev/zero for a session": lambda folder, _: ["prove", "/dev/zero"],
    "/dev/zero for a wire file": lambda folder, _: ["import", "/dev/zero", "--out", str(folder)],
    "a folder for a session": lambda folder, _: ["prove", str(folder)],
    "a name of 300 characters": lambda folder, _: ["prove", "x" * 300],
    "a profile as deep as it goes": _profile(lambda _: "a = " + "[" * 100_000),
    "a profile that is too large": _profile(lambda mb: "# " + "x" * ((mb + 16) << 20)),
    "a profile with a byte order mark": _profile(lambda _: "\ufeffname = 'Bracken'\n"),
    "a sidecar as deep as it goes": _deep_sidecar,
    "a start in the year 1": _card("--start", "0001-01-01"),
    "a name that leaves the folder": _card("--name", "../../evil"),
    "a name too long for a file": _card("--name", "x" * 300),
    "states of 7 and 1e308": _session(lambda _: _rows(300).replace(",15,1,", ",15,7,")),
    "times of 1e308": _session(lambda _: _rows(300) + ",1e308,1,20,15,1,,\r\n"),
    "an open quote": _session(
        lambda mb: _rows(300) + ',300.000,300,20,15,1,,"\r\n' + _rows(mb * 25_000, 301)
    ),
    "one bad cell among many": _session(
        lambda mb: _rows(300) + ",300.000,300,2O,15,1,,\r\n" + _rows(mb * 25_000, 301)
    ),
    "zeros from a power cut": _session(lambda mb: _rows(300) + "\0" * (mb << 20)),
    "one line without an end": _session(lambda mb: _rows(300) + "x" * (mb << 20)),
    "nothing but line ends": _session(lambda mb: "\r\n" * (mb << 19)),
}


def words_of(case: str, folder: Path, megabytes: int) -> list[str]:
    """Make the files of a case; return the words that give them to the program."""
    return CASES[case](folder, megabytes)


def main() -> None:
    """Print the table."""
    megabytes = int(sys.argv[1]) if len(sys.argv) > 1 else 180
    print(f"{'given':<34}{'s':>6}{'MB':>7}{'code':>6}  answer")
    for case in CASES:
        with tempfile.TemporaryDirectory() as place:
            words = words_of(case, Path(place), megabytes)
            before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
            began_s = time.monotonic()
            done = subprocess.run(
                [sys.executable, "-c", _PROGRAM, *words],
                check=False,
                capture_output=True,
                text=True,
                timeout=_LONGEST_S,
            )
            took_s = time.monotonic() - began_s
            peak = max(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss, before) / 1024
            said = (done.stderr or done.stdout).strip().splitlines() or [""]
            answer = said[-1].replace(place, "...")[:110]
            print(f"{case:<34}{took_s:>6.1f}{peak:>7.0f}{done.returncode:>6}  {answer}", flush=True)


if __name__ == "__main__":
    main()
