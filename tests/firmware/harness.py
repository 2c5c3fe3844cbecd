"""Talks to the portable firmware modules, compiled for this host."""

import os
import subprocess
from pathlib import Path

import pytest

__all__ = ("Harness", "need")


def need(missing: tuple[str, ...]) -> None:
    """Skip for want of a tool on a person's machine; fail for it in CI."""
    if missing and os.environ.get("CI") == "true":
        pytest.fail(f"CI must have {', '.join(missing)}")
    if missing:
        pytest.skip(f"needs {', '.join(missing)}")


class Harness:
    """The portable modules, one order at a time."""

    def __init__(self, program: Path) -> None:
        self.process = subprocess.Popen(
            [str(program)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def order(self, text: str) -> str:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(text + "\n")
        self.process.stdin.flush()
        answer = self.process.stdout.readline()
        assert answer, f"the harness ended on {text!r}"
        assert answer != "error\n", f"the harness does not know {text!r}"
        return answer.rstrip("\n")

    def lines(self) -> bytes:
        """Everything committed to the ring, taken out of it."""
        return bytes.fromhex(self.order("take 4096"))

    def close(self) -> None:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        assert self.process.wait(timeout=10) == 0
        self.process.stdout.close()
