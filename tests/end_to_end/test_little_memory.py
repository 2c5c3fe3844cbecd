"""With too little memory, from the first import on, the program ends with a line and a code."""

import resource
import subprocess
import sys

import pytest

SMALLEST_KB = 16_000  # below, the interpreter itself does not start


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
@pytest.mark.parametrize("kilobytes", [SMALLEST_KB, 20_000, 30_000, 45_000, 60_000, 80_000])
def test_too_little_memory_is_a_line_and_a_code(kilobytes: int) -> None:
    ran = run_within(kilobytes, "prove", "sample-data/rig/rig.csv")
    assert ran.returncode == 3
    assert ran.stderr.splitlines()[-1].startswith("wattsump: too little memory")
    assert "Traceback" not in ran.stderr
