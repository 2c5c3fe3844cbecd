"""With too little memory, from the first import on, the program ends with a line and a code."""

import errno
import re
import resource
import subprocess
import sys
from collections.abc import Callable

import pytest

from wattsump_analysis.commands import program

# Below the first, the interpreter itself does not start.
SIZES_KB = (16_000, 20_000, 30_000, 36_000, 45_000, 60_000, 80_000)
TOO_LITTLE = re.compile(r"^wattsump: too little memory.*\n\Z", re.MULTILINE)


def run_within(kilobytes: int, *words: str) -> subprocess.CompletedProcess[str]:
    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (kilobytes * 1024, kilobytes * 1024))

    return subprocess.run(
        [sys.executable, "-m", "wattsump_analysis", *words],
        preexec_fn=limit,
        capture_output=True,
        text=True,
        check=False,
        timeout=100,
    )


@pytest.mark.skipif(sys.platform != "linux", reason="address space is limited on Linux alone")
def test_too_little_memory_is_a_line_and_a_code() -> None:
    """At some sizes the interpreter or OpenBLAS aborts by itself, which no line of ours can mend.

    Which sizes those are depends on the machine, so most must end by our line and none in a
    traceback.
    """
    runs = [run_within(size, "prove", "sample-data/rig/rig.csv") for size in SIZES_KB]
    told = [run for run in runs if run.returncode == 3 and TOO_LITTLE.search(run.stderr)]
    assert len(told) >= len(SIZES_KB) - 2
    assert not any("Traceback" in run.stderr for run in runs)


@pytest.mark.parametrize(
    ("source", "is_memory"),
    [
        ("raise SystemError('error return without exception set')", True),
        ("def fail():\n    raise SystemError('error return without exception set')", False),
    ],
)
def test_a_system_error_is_too_little_memory_only_while_a_module_is_loaded(
    source: str, is_memory: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    def command_tree() -> None:
        names: dict[str, Callable[[], None]] = {}
        exec(source, names)  # as an import runs a module
        names["fail"]()

    monkeypatch.setattr(program, "command_tree", command_tree)
    if is_memory:
        assert program.main([]) == 3
    else:
        with pytest.raises(SystemError):
            program.main([])


def test_a_folder_that_no_memory_is_left_to_list_is_too_little_memory_and_not_a_full_disk(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def command_tree() -> None:
        raise OSError(errno.ENOMEM, "Cannot allocate memory", "site-packages/pydantic")

    monkeypatch.setattr(program, "command_tree", command_tree)
    assert program.main([]) == 3
    assert capsys.readouterr().err.startswith("wattsump: too little memory")
