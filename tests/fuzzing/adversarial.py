"""The adversarial table: files and words nobody should give, what each costs and is answered.

    python tests/fuzzing/adversarial.py [megabytes]

Each is given to the program in a process of its own; told are seconds, the most MB of any so
far, exit code and the last line. No answer is a traceback. `megabytes` is the size of those that
are large.
"""

import gzip
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


def _raw(data: Callable[[str, int], bytes], name: str = "a.csv") -> Make:
    """A session's file as bytes of our own making, from the text of a sound one."""

    def make(folder: Path, megabytes: int) -> list[str]:
        (folder / name).write_bytes(data(_HEAD + _rows(300), megabytes))
        return ["prove", str(folder / name)]

    return make


def _beside(sidecar: Callable[[Path], object]) -> Make:
    def make(folder: Path, megabytes: int) -> list[str]:
        words = _session(lambda _: _rows(300))(folder, megabytes)
        sidecar(folder / "a.csv-metadata.json")
        return words

    return make


def _wire(data: bytes, *words: str) -> Make:
    def make(folder: Path, megabytes: int) -> list[str]:
        (folder / "a.wire").write_bytes(data)
        return ["import", str(folder / "a.wire"), "--out", str(folder / "out"), *words]

    return make


def _asking(*words: str) -> Make:
    """A sound session, asked for with other words; FOLDER is where it lies."""

    def make(folder: Path, megabytes: int) -> list[str]:
        given = _session(lambda _: _rows(300))(folder, megabytes)
        return [*given, *(word.replace("FOLDER", str(folder)) for word in words)]

    return make


def _loop(name: str, *words: str) -> Make:
    def make(folder: Path, megabytes: int) -> list[str]:
        (folder / name).symlink_to(folder / name)
        return [word.replace("FOLDER", str(folder)) for word in words]

    return make


def _many(count: int, *words: str) -> Make:
    def make(folder: Path, megabytes: int) -> list[str]:
        for number in range(count):
            (folder / f"{number}.csv").write_text(_HEAD + _rows(3), newline="")
        return [word.replace("FOLDER", str(folder)) for word in words]

    return make


def _column(name: str, count: int = 1) -> Make:
    names = ",".join(name if count == 1 else f"{name}{n}_c" for n in range(count))
    head = _HEAD.replace("case_c", names)
    return _raw(lambda _, mb: (head + _rows(300).replace(",15,", "," + "15," * count)).encode())


_OIL = "[oil]\ngrade = 'ISO VG 46'\nvolume = '20 L'\n"


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
    # files as other programs leave them
    "a session saved as UTF-16": _raw(lambda text, _: text.encode("utf-16")),
    "a session with semicolons": _raw(lambda text, _: text.replace(",", ";").encode()),
    "a session with decimal commas": _raw(
        lambda text, _: text.replace(",", ";").replace(".", ",").encode()
    ),
    "a session with old Macintosh lines": _raw(lambda t, _: t.replace("\r\n", "\r").encode()),
    "a comma more in every row": _raw(lambda text, _: text.replace("\r\n", ",\r\n").encode()),
    "two sessions in one file": _raw(lambda text, _: (text + text).encode()),
    "a byte order mark in a session": _raw(lambda text, _: text.encode("utf-8-sig")),
    "a compressed session": _raw(lambda text, _: gzip.compress(text.encode())),
    "a picture for a session": _raw(lambda _, mb: b"\x89PNG\r\n\x1a\n" + bytes(mb << 20)),
    "an empty file": _raw(lambda _, mb: b""),
    "a header alone": _session(lambda _: ""),
    "a single row": _session(lambda _: _rows(1)),
    "the same time in every row": _session(lambda _: ",5.000,5,20,15,1,,\r\n" * 300),
    "times that run backwards": _session(
        lambda _: "".join(reversed(_rows(300).splitlines(keepends=True)))
    ),
    "temperatures of NaN and infinity": _session(
        lambda _: _rows(300).replace(",15,", ",nan,").replace(",20.", ",inf")
    ),
    "numbers in other scripts": _session(lambda _: _rows(300).replace(",15,", ",１５,")),
    "a mark of a megabyte": _session(
        lambda mb: _rows(300) + ",300.000,300,20,15,1,," + "m" * (mb << 20) + "\r\n"
    ),
    # names
    "a column name of 4000 letters": _column("x" * 4000 + "_c"),
    "a column name with markup": _column("<script>alert(1)</script>_c"),
    "three hundred columns": _column("p", 300),
    "one column twice": _column("tank_c"),
    "a machine name of a megabyte": _profile(lambda mb: f"name = '{'M' * (mb << 20)}'\n" + _OIL),
    "a machine name of escapes": _profile(
        lambda _: 'name = "\\u001b[2J\\u202eBracken\\n\\n"\n' + _OIL
    ),
    # sidecars
    "a folder for a sidecar": _beside(lambda path: path.mkdir()),
    "a sidecar that points to itself": _beside(lambda path: path.symlink_to(path)),
    "a pipe for a sidecar": _beside(os.mkfifo),
    "a sidecar of another kind": _beside(lambda path: path.write_text('"a text"')),
    "a sidecar of NaN and large numbers": _beside(
        lambda path: path.write_text('{"offsets": {"tank_c": NaN}, "period_ms": 1e999}')
    ),
    "a sidecar whose profile is none": _beside(
        lambda path: path.write_text('{"profile": {"name": 5, "cooler": []}, "channels": {}}')
    ),
    # cards and wires
    "a wire file of nothing": _wire(b""),
    "a wire file that ends in its head": _wire(b"wattsump-w"),
    "a wire record of an exabyte": _wire(b"wattsump-wire 1\nD 0 0 999999999999999999\nabc"),
    "a card with a session's name": _card("--name", "card.txt"),
    "a card given twice": lambda folder, mb: [
        *_card()(folder, mb),
        str(folder / "card.txt"),
    ],
    # where things go
    "a report into a folder": _asking("--report", "FOLDER"),
    "a report where no folder is": _asking("--report", "FOLDER/none/report.html"),
    "a report onto the sidecar": _asking("--report", "FOLDER/a.csv-metadata.json"),
    "a link in a ring for a session": _loop("a.csv", "prove", "FOLDER/a.csv"),
    "a link in a ring in a season": _loop("a", "trend", "FOLDER"),
    "an empty season": _many(0, "trend", "FOLDER"),
    "a season of a hundred fragments": _many(100, "trend", "FOLDER"),
    "a folder compared with itself": _many(2, "compare", "FOLDER", "FOLDER"),
    # ports and words
    "a folder for a port": lambda folder, _: ["log", str(folder), "--out", str(folder / "o")],
    "a file for a port": lambda folder, mb: [
        "log",
        _session(lambda _: _rows(3))(folder, mb)[1],
        "--out",
        str(folder / "o"),
    ],
    "/dev/null for a port": lambda folder, _: ["log", "/dev/null", "--out", str(folder / "o")],
    "/dev/zero for a port": lambda folder, _: ["log", "/dev/zero", "--out", str(folder / "o")],
    "an address for a port": lambda folder, _: [
        "log",
        "socket://127.0.0.1:9",
        "--out",
        str(folder),
    ],
    "a label of no watts": _profile(
        lambda _: "name = 'a'\n" + _OIL + "[cooler]\nlabel_heat = '0 kW'\nlabel_etd = '40 K'\n"
    ),
    "litres beyond any tank": _profile(lambda _: "name = 'a'\n" + _OIL.replace("20 L", "1e300 L")),
    "a unit nobody knows": _profile(lambda _: "name = 'a'\n" + _OIL.replace("20 L", "5 parsec")),
}


def words_of(case: str, folder: Path, megabytes: int) -> list[str]:
    """Make the files of a case; return the words that give them to the program."""
    return CASES[case](folder, megabytes)


def main() -> None:
    """Print the table."""
    megabytes = int(sys.argv[1]) if len(sys.argv) > 1 else 180
    print(f"{'given':<38}{'s':>6}{'MB':>7}{'code':>6}  answer")
    for case in CASES:
        with tempfile.TemporaryDirectory() as place:
            words = words_of(case, Path(place), megabytes)
            began_s = time.monotonic()
            try:
                done = subprocess.run(
                    [sys.executable, "-c", _PROGRAM, *words],
                    check=False,
                    capture_output=True,
                    text=True,
                    timeout=_LONGEST_S,
                )
            except subprocess.TimeoutExpired:
                print(f"{case:<38}{_LONGEST_S:>6.1f}  no answer", flush=True)
                continue
            took_s = time.monotonic() - began_s
            peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
            said = (done.stderr or done.stdout).strip().splitlines() or [""]
            answer = said[-1].replace(place, "...")[:110]
            print(f"{case:<38}{took_s:>6.1f}{peak:>7.0f}{done.returncode:>6}  {answer}", flush=True)


if __name__ == "__main__":
    main()
